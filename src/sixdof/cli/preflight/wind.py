"""The verb about how much wind: wind."""

from __future__ import annotations

from pathlib import Path

from sixdof.cli.codes import OK
from sixdof.cli.options import mission_of, on_mission, with_flights, with_flown, with_out
from sixdof.cli.output import say, write_figures


def add(commands) -> None:
    """Add the verb to the command line."""
    wind = on_mission(commands, "wind", _wind, "the largest wind, by direction, in which all criteria hold, and what fails first")
    with_flights(wind, "at each wind from each direction (default: 60)")
    wind.add_argument(
        "--criterion",
        action="append",
        metavar="TEXT",
        help='such as "lean at burnout < 10 deg in 95 %% of flights"; may be repeated (default: common practice)',
    )
    wind.add_argument("--field", metavar="WHERE", help='where everything has to land: a GeoJSON file, or a radius about the rail such as "600 m"')
    wind.add_argument("--sounding", type=Path, metavar="FILE", help="this morning's air (CSV or netCDF) in place of the mission's air and wind")
    wind.add_argument("--directions", nargs="+", default=["8"], metavar="D", help='how many, or those the wind comes from, such as "255 deg" (default: 8)')
    wind.add_argument("--highest", default="20 mph", metavar="SPEED", help="wind up to which is looked (default: 20 mph, where safety codes end)")
    wind.add_argument("--turbulence", choices=("grows", "as written", "none"), default="grows", help="grows: with the wind (default)")
    wind.add_argument("--failures", action="store_true", help="draw the mission's failures too")
    wind.add_argument(
        "--rail", action="store_true", help="also which rail elevation and azimuth allow most wind (from the mission's or the sounding's direction)"
    )
    wind.add_argument("--confidence", type=float, default=0.9, metavar="C", help="confidence of each interval (default: 0.9)")
    wind.add_argument("--threads", type=int, metavar="N", help="threads (default: one per core)")
    with_out(wind, "netCDF-4")
    with_flown(wind)


def _wind(chosen) -> int:
    from sixdof import report, save
    from sixdof.preflight import rail_for_wind, wind_limit, with_sounding
    from sixdof.stats import check_netcdf_path

    if chosen.out:
        check_netcdf_path(chosen.out, overwrite=chosen.overwrite)
    mission = mission_of(chosen)
    mission = with_sounding(mission, chosen.sounding) if chosen.sounding else mission
    alone = len(chosen.directions) == 1 and chosen.directions[0].isdecimal()
    how = {name: getattr(chosen, name) for name in ("seed", "highest", "confidence", "turbulence", "failures", "field", "threads")}
    how |= {"progress": not chosen.quiet} | ({} if chosen.flights is None else {"flights": chosen.flights})
    found = wind_limit(mission, chosen.criterion, directions=int(chosen.directions[0]) if alone else chosen.directions, **how)
    say(report(found))
    if chosen.rail:
        rails = rail_for_wind(mission, chosen.criterion, **how)
        say(f"\n{report(rails)}")
    if chosen.out:
        say(f"written: {save(found, chosen.out, overwrite=chosen.overwrite)}")
    if chosen.figures:
        from sixdof.plot import plot_rail_for_wind, plot_wind_limit, plot_wind_shares

        write_figures(chosen.figures, {"wind-limit": plot_wind_limit(found).figure, "wind-shares": plot_wind_shares(found).figure})
        if chosen.rail:
            write_figures(chosen.figures, {"rail-for-wind": plot_rail_for_wind(rails).figure})
    return OK
