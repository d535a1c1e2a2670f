"""The verb structure: what breaks first, and by which margin."""

from __future__ import annotations

from sixdof.cli.codes import NONE_PASSES, OK
from sixdof.cli.options import mission_of, on_mission, with_out, with_seed
from sixdof.cli.output import say, write_figures

FLIGHTS = 40
PAGES = ("all", "bending", "guides", "deployment")


def add(commands) -> None:
    """Add the verb to the command line."""
    verb = on_mission(commands, "structure", _structure, "what breaks first: walls, joints, guides, deployments, fins, skin, each against its strength")
    verb.add_argument("--flights", type=int, default=FLIGHTS, metavar="N", help=f"drawn flights (default: {FLIGHTS})")
    verb.add_argument("--about", choices=PAGES, default=PAGES[0], help="one of the loads alone (default: all)")
    verb.add_argument("--no-branches", action="store_true", help="no flights in which a failure of the mission is made to happen")
    with_seed(verb)
    with_out(verb, "netCDF-4")


def _structure(chosen) -> int:
    from sixdof import report, save
    from sixdof.stats import check_netcdf_path

    if chosen.out:
        check_netcdf_path(chosen.out, overwrite=chosen.overwrite)
    ds = _study(chosen)
    say(report(ds))
    if chosen.out:
        say(f"written: {save(ds, chosen.out, overwrite=chosen.overwrite)}")
    if chosen.figures:
        write_figures(chosen.figures, _figures(chosen, ds))
    return NONE_PASSES if "check_95" in ds and float(ds["check_95"].max()) > 1.0 else OK


def _study(chosen):
    from sixdof import workshop

    mission, how = mission_of(chosen), {"seed": chosen.seed}
    branches = {"branches": not chosen.no_branches}
    if chosen.about == "bending":
        return workshop.bending(mission, chosen.flights, **how, **branches)
    if chosen.about == "guides":
        return workshop.guide_loads(mission, chosen.flights, **how)
    if chosen.about == "deployment":
        return workshop.deployment_loads(mission, chosen.flights, **how, **branches)
    return workshop.structure(mission, chosen.flights, **how, **branches)


def _figures(chosen, ds) -> dict:
    from sixdof.plot import plot_bending, plot_structure

    if chosen.about == "all":
        return {"structure": plot_structure(ds)[0].figure}
    return {"bending": plot_bending(ds)[0].figure} if chosen.about == "bending" else {}
