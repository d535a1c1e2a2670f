"""Verbs that fly or rehearse: fly, disperse, rehearse."""

from __future__ import annotations

from pathlib import Path

from sixdof.cli.codes import INTERRUPTED, MISFIRED, NOT_LANDED, OK
from sixdof.cli.options import mission_of, on_mission, with_flights, with_out, with_seed
from sixdof.cli.output import complain, say, write_figures


def add(commands) -> None:
    """Add the verbs to the command line."""
    fly = on_mission(commands, "fly", _fly, "fly once, print the outcome, write the flight and its figures")
    fly.add_argument("--flight", type=int, metavar="N", help="fly flight N of the ensemble with this seed again, bit for bit")
    with_seed(fly)
    with_out(fly, "netCDF-4")

    rehearse = on_mission(commands, "rehearse", _rehearse, "run event rules and laws over sensed values without flying; print when they fire and what misfires")
    rehearse.add_argument("--script", type=Path, metavar="FILE", help="sensed values, a CSV or a flight (.nc); a nominal flight is flown if omitted")
    rehearse.add_argument("--columns", type=Path, metavar="TOML", help="the column map of a flight log, which --script is then")
    rehearse.add_argument("--lead", default="0 s", metavar="TIME", help="from ignition to liftoff of a flight log, such as 0.1 s (default: 0 s)")
    rehearse.add_argument("--stage", metavar="NAME", help="the stage whose altimeter runs (default: the flight computer of the front stage)")
    with_out(rehearse, "netCDF-4")

    disperse = on_mission(commands, "disperse", _disperse, "Monte Carlo: fly many times, each flight with its own draw of the [disperse] table")
    with_flights(disperse, "number of flights", required=True)
    disperse.add_argument(
        "--sampling",
        choices=("random", "latin", "sobol"),
        default="random",
        help="how inputs are drawn: independent, Latin hypercube or Sobol sequence (default: random)",
    )
    disperse.add_argument("--tracks", default="all", metavar="N", help='tracks to keep: "all", "none", or those of the first N flights')
    disperse.add_argument("--threads", type=int, metavar="N", help="threads (default: one per core)")
    with_out(disperse, "netCDF-4; NAME.zarr: a store that the same call goes on with")


def _fly(chosen) -> int:
    from sixdof import fly, report, save
    from sixdof.stats import Status, check_netcdf_path

    mission = mission_of(chosen)
    if chosen.out:
        check_netcdf_path(chosen.out, overwrite=chosen.overwrite)
    ds = fly(mission, flight=chosen.flight, seed=chosen.seed)
    say(report(ds))
    if chosen.out:
        say(f"written: {save(ds, chosen.out, overwrite=chosen.overwrite)}")
    if chosen.figures:
        from sixdof.plot import draw_vehicle, plot_bodies, plot_flight, plot_separation, plot_timeline

        write_figures(chosen.figures, {"vehicle": draw_vehicle(mission).figure, "flight": plot_flight(ds)})
        write_figures(chosen.figures, {"timeline": plot_timeline(ds).figure})
        if ds.sizes.get("joint") and (ds["separation_cause"] > 0).any():
            write_figures(chosen.figures, {"separation": plot_separation(ds).figure, "bodies": plot_bodies(ds)[0].figure})
    return OK if int(ds.status) == Status.LANDED else NOT_LANDED


def _rehearse(chosen) -> int:
    from sixdof import rehearse, report, save
    from sixdof.stats import check_netcdf_path

    mission = mission_of(chosen)
    if chosen.out:
        check_netcdf_path(chosen.out, overwrite=chosen.overwrite)
    ds = rehearse(mission, chosen.script, stage=chosen.stage, columns=chosen.columns, lead=chosen.lead)
    say(report(ds))
    if chosen.out:
        say(f"written: {save(ds, chosen.out, overwrite=chosen.overwrite)}")
    if chosen.figures:
        from sixdof.plot import plot_rehearsal

        write_figures(chosen.figures, {"rehearsal": plot_rehearsal(ds)[0].figure})
    return MISFIRED if ds.sizes["misfire"] else OK


def _disperse(chosen) -> int:
    from sixdof import disperse, report

    mission = mission_of(chosen)
    ds = disperse(
        mission,
        chosen.flights,
        seed=chosen.seed,
        sampling=chosen.sampling,
        out=chosen.out,
        overwrite=chosen.overwrite,
        tracks=int(chosen.tracks) if chosen.tracks.isdecimal() else chosen.tracks,
        threads=chosen.threads,
        progress=not chosen.quiet,
    )
    if not ds.sizes["flight"]:
        complain("interrupted before the first flight was finished")
        return INTERRUPTED
    say(report(ds))
    if chosen.out:
        say(f"written: {chosen.out}")
    if chosen.figures:
        from sixdof.plot import plot_ensemble, plot_landings

        write_figures(chosen.figures, {"ensemble": plot_ensemble(ds)})
        if len(mission.stage) > 1:
            write_figures(chosen.figures, {"landings": plot_landings(ds).figure})
    return INTERRUPTED if "interrupted" in ds.attrs else OK
