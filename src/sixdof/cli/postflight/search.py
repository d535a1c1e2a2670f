"""The verb search: where each body lies, what was walked, where to walk next; maps for a phone."""

from __future__ import annotations

from pathlib import Path

from sixdof.cli.codes import OK
from sixdof.cli.options import mission_of, on_mission, value_of, with_flights, with_flown, with_out
from sixdof.cli.output import say

FLOWN = (".nc", ".zarr")  # ends of the name of an ensemble that was flown before


def add(commands) -> None:
    """Add the verb to the command line."""
    search = on_mission(commands, "search", _search, "where each body lies as a probability map, what was walked, the next strips to walk; maps for a phone")
    with_flights(search, "how many are flown; in place of the mission file stands an ensemble (.nc, .zarr), weighted or not, that is not flown again")
    search.add_argument("--body", action="append", metavar="NAME", help="to search for (default: all that fly by themselves); may be repeated")
    search.add_argument("--cell", metavar="LENGTH", help='width of a cell of the map (default: "10 m" or somewhat more)')
    search.add_argument("--error", metavar="LENGTH", default="0 m", help='of places, that no flight knows, such as "20 m" (standard deviation)')
    search.add_argument("--field", type=Path, metavar="FILE", help="GeoJSON whose no-go areas (water, land that must not be entered) are not searchable")
    search.add_argument("--terrain", type=Path, metavar="FILE", help="grid of heights, as in the verb landing")
    search.add_argument("--last-fix", metavar="PLACE", help='the last position known, "latitude, longitude" in degrees')
    search.add_argument("--declination", metavar="ANGLE", help='of the compass, east positive, such as "11 deg": bearings by compass are told too')
    search.add_argument("--walked", action="append", default=[], type=Path, metavar="FILE", help="GeoJSON or GPX of what was walked; may be repeated")
    search.add_argument("--cover", metavar="KIND", help="how well one sees there: open, grass, crop, scrub, forest")
    search.add_argument("--sweep-width", metavar="LENGTH", help='of your own, in place of --cover, such as "12 m"')
    search.add_argument("--hours", metavar="TIME", help='plan strips for so long, such as 4 or "90 min"; needs --cover or --sweep-width')
    search.add_argument("--speed", metavar="SPEED", default="2.5 km/h", help='of searching (default: "2.5 km/h")')
    search.add_argument("--searchers", type=int, default=2, metavar="N", help="who walk abreast (default: 2; nobody goes alone)")
    search.add_argument("--start", metavar="PLACE", default="rail", help='where one stands, "latitude, longitude" (default: the rail)')
    search.add_argument("--out-geojson", type=Path, metavar="FILE", help="write areas, what was walked and strips as GeoJSON")
    search.add_argument("--out-kml", type=Path, metavar="FILE", help="write the same as KML")
    search.add_argument("--out-gpx", type=Path, metavar="FILE", help="write waypoints and strips as GPX")
    search.add_argument("--threads", type=int, metavar="N", help="threads (default: one per core)")
    with_out(search, "netCDF-4")
    with_flown(search)


def _search(chosen) -> int:
    from sixdof import report, save
    from sixdof.postflight import next_strips, search_geojson, search_gpx, search_kml, search_map, with_walked
    from sixdof.stats import check_netcdf_path

    if chosen.out:
        check_netcdf_path(chosen.out, overwrite=chosen.overwrite)
    maps = ((chosen.out_geojson, search_geojson), (chosen.out_kml, search_kml), (chosen.out_gpx, search_gpx))
    for path in (path for path, _ in maps if path is not None and path.exists() and not chosen.overwrite):
        raise FileExistsError(f"{path} exists; give another name, or --overwrite")
    of = {name: getattr(chosen, name) for name in ("field", "terrain", "last_fix", "declination", "cell", "error")}
    ds = search_map(_flown(chosen), chosen.body, **of)
    look = {"cover": chosen.cover, "sweep_width": chosen.sweep_width, "searchers": chosen.searchers}
    if chosen.walked:
        ds = with_walked(ds, chosen.walked, **look)
    if chosen.hours:
        ds = next_strips(ds, hours=value_of(chosen.hours), speed=chosen.speed, start=chosen.start, progress=not chosen.quiet, **look)
    say(report(ds))
    for path, write in maps:
        if path is not None:
            write(ds, path, overwrite=chosen.overwrite)
            say(f"written: {path}")
    if chosen.out:
        say(f"written: {save(ds, chosen.out, overwrite=chosen.overwrite)}")
    if chosen.figures:
        from sixdof.cli.output import write_figures
        from sixdof.plot import plot_search_map

        write_figures(chosen.figures, {f"search-{number}": plot_search_map(ds, str(name)).figure for number, name in enumerate(ds["body"].values, 1)})
    return OK


def _flown(chosen):
    """Return the ensemble that is asked about: opened, or flown. Raises ValueError for options that do not go with it."""
    from sixdof import disperse, open_result

    if chosen.mission.suffix not in FLOWN:
        mission = mission_of(chosen)
        if chosen.flights is None:
            raise ValueError("search: say how many flights are flown, such as --flights 400")
        return disperse(mission, chosen.flights, seed=chosen.seed, threads=chosen.threads, progress=not chosen.quiet)
    if chosen.changes or chosen.fail or chosen.only is not None or chosen.flights is not None:
        raise ValueError(f"search: --set, --fail, --only and --flights are about a mission, and {chosen.mission} is flown already; give the mission file")
    flights = open_result(chosen.mission)
    if "searchable" in flights:
        raise ValueError(f"search: {chosen.mission} is a map already; give the ensemble that it was made of, and every --walked so far")
    return flights
