"""The verb landing: where every body comes down."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from sixdof.cli.codes import INTERRUPTED, OK
from sixdof.cli.options import mission_of, on_mission, value_of, with_flights, with_flown, with_out
from sixdof.cli.output import say, write_figures

FLOWN = (".nc", ".zarr")  # ends of the name of an ensemble that was flown before


def add(commands) -> None:
    """Add the verb to the command line."""
    landing = on_mission(commands, "landing", _landing, "where every body lands, and how probable it is to leave a field, a ceiling, a waiver; maps to hand on")
    with_flights(landing, "how many are flown; in place of the mission file stands an ensemble (.nc, .zarr) that is not flown again")
    landing.add_argument("--field", type=Path, metavar="FILE", help="GeoJSON of field, no-go areas, people, waiver (the property role of each feature)")
    landing.add_argument("--terrain", type=Path, metavar="FILE", help="grid of heights: netCDF, or CSV with the columns latitude, longitude, height")
    landing.add_argument("--people-distance", metavar="LENGTH", help='that landing places keep from people, such as "200 m"')
    landing.add_argument("--ceiling", metavar="HEIGHT", help='that no body is to pass, above the launch point, such as "1500 m"')
    landing.add_argument("--waiver", metavar="RADIUS", help='of a circle about the rail that nothing is to leave, such as "2 km"')
    landing.add_argument("--failing", type=int, default=0, metavar="N", help="fly N more with each failure made certain, weighted by its probability")
    landing.add_argument("--criterion", action="append", default=[], metavar="TEXT", help='such as "landing within 500 m of the rail in 95 %% of flights"')
    landing.add_argument("--confidence", type=float, default=0.9, metavar="C", help="of each interval and verdict by itself (default: 0.9)")
    landing.add_argument("--branch", action="append", metavar="NAME", help='whose contours are drawn and written (default: "all"); may be repeated')
    landing.add_argument("--rail-map", type=int, metavar="N", help="fly N flights from every direction of the rail too, and name the best one")
    landing.add_argument("--rail-azimuth", nargs="+", metavar="ANGLE", help="directions of that map (default: every 30 deg)")
    landing.add_argument("--rail-elevation", nargs="+", metavar="ANGLE", help="elevations of that map (default: 90, 87, 84, 80 deg)")
    landing.add_argument("--out-geojson", type=Path, metavar="FILE", help="write field, rail, contours and mean landing places as GeoJSON")
    landing.add_argument("--out-kml", type=Path, metavar="FILE", help="write the same as KML")
    landing.add_argument("--threads", type=int, metavar="N", help="threads (default: one per core)")
    with_out(landing, "netCDF-4")
    with_flown(landing)


def _landing(chosen) -> int:
    from sixdof import report, save
    from sixdof.preflight import landing, landing_geojson, landing_kml
    from sixdof.stats import check_netcdf_path

    if chosen.out:
        check_netcdf_path(chosen.out, overwrite=chosen.overwrite)
    for path in (chosen.out_geojson, chosen.out_kml):
        if path is not None and path.exists() and not chosen.overwrite:
            raise FileExistsError(f"{path} exists; give another name, or --overwrite")
    limits = {name: getattr(chosen, name) for name in ("field", "terrain", "ceiling", "waiver", "people_distance", "confidence")}
    limits |= {name: value_of(limits[name]) for name in ("ceiling", "waiver", "people_distance") if limits[name] is not None}
    how = {"seed": chosen.seed, "threads": chosen.threads, "progress": not chosen.quiet}
    what = _flown_or_mission(chosen)
    ds = landing(what, chosen.flights, failing=chosen.failing, criteria=chosen.criterion, **limits, **how)
    say(report(ds))
    branches = chosen.branch or ["all"]
    for path, write in ((chosen.out_geojson, landing_geojson), (chosen.out_kml, landing_kml)):
        if path is not None:
            write(ds, path, branches=branches, overwrite=chosen.overwrite)
            say(f"written: {path}")
    if chosen.out:
        say(f"written: {save(ds, chosen.out, overwrite=chosen.overwrite)}")
    if chosen.figures:
        from sixdof.plot import plot_landing_map

        names = {name: "landing" if name == "all" else "landing-" + "".join(c if c.isalnum() else "-" for c in name) for name in branches}
        write_figures(chosen.figures, {names[name]: plot_landing_map(ds, branch=name).figure for name in branches})
    if chosen.rail_map:
        _rail_map(chosen, what, limits, how)
    return INTERRUPTED if "interrupted" in ds.attrs else OK


def _flown_or_mission(chosen):
    """Return what is asked about, an ensemble or a mission. Raises ValueError for options that do not go with it."""
    from sixdof import open_result

    if chosen.mission.suffix not in FLOWN:
        mission = mission_of(chosen)
        if chosen.flights is None:
            raise ValueError("landing: say how many flights are flown, such as --flights 400")
        return mission
    if chosen.changes or chosen.fail or chosen.only is not None or chosen.rail_map:
        raise ValueError(f"landing: --set, --fail, --only and --rail-map are about a mission, and {chosen.mission} is flown already; give the mission file")
    return open_result(chosen.mission)


def _rail_map(chosen, mission, limits: dict, how: dict) -> None:
    """Fly, print and draw the map of rail directions."""
    from sixdof import report
    from sixdof.preflight import rail_map

    given = {"azimuths": chosen.rail_azimuth, "elevations": chosen.rail_elevation}
    grid: dict[str, Any] = {name: [value_of(one) for one in values] for name, values in given.items() if values}
    leans = rail_map(mission, chosen.rail_map, **grid, **limits, **how)
    say()
    say(report(leans))
    if chosen.figures:
        from sixdof.plot import plot_rail_map

        write_figures(chosen.figures, {"rail-map": plot_rail_map(leans).figure})
