"""The verb structure: what breaks first, and by which margin."""

from __future__ import annotations

from sixdof.cli.codes import NONE_PASSES, OK
from sixdof.cli.options import mission_of, on_mission, with_out, with_seed
from sixdof.cli.output import say, write_figures

FLIGHTS = 40
FAILING = 3
PAGES = ("all", "bending", "guides", "deployment", "flutter", "skin")


def add(commands) -> None:
    """Add the verb to the command line."""
    verb = on_mission(commands, "structure", _structure, "what breaks first: walls, joints, guides, deployments, fins, skin, each against its strength")
    verb.add_argument("--flights", type=int, default=FLIGHTS, metavar="N", help=f"drawn flights (default: {FLIGHTS})")
    verb.add_argument("--about", choices=PAGES, default=PAGES[0], help="one of them alone (default: all)")
    verb.add_argument("--failing", type=int, default=FAILING, metavar="N", help=f"fly N more with each failure made certain (default: {FAILING})")
    verb.add_argument("--threads", type=int, metavar="N", help="threads (default: one per core)")
    verb.add_argument("--quiet", action="store_true", help="no progress bar")
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
    return OK if _holds(ds) else NONE_PASSES


def _holds(ds) -> bool:
    """Return whether what was looked at bears its loads in 95 % of flights."""
    if "check_95" in ds:
        return float(ds["check_95"].max()) <= 1.0
    shares = [name for name in ("short_share", "hot_share") if name in ds]
    return all(float(ds[name].max()) <= 0.05 for name in shares)


def _study(chosen):
    from sixdof import workshop

    studies = {
        "all": workshop.structure,
        "bending": workshop.bending,
        "guides": workshop.guide_loads,
        "deployment": workshop.deployment_loads,
        "flutter": workshop.flutter,
        "skin": workshop.skin_temperature,
    }
    failing = {} if chosen.about == "guides" else {"failing": chosen.failing}  # no failure happens on the rail
    return studies[chosen.about](mission_of(chosen), chosen.flights, seed=chosen.seed, threads=chosen.threads, progress=not chosen.quiet, **failing)


def _figures(chosen, ds) -> dict:
    import numpy as np

    from sixdof import plot

    draws = {"all": ("structure", plot.plot_structure), "bending": ("bending", plot.plot_bending)}
    draws |= {"flutter": ("flutter", plot.plot_flutter), "skin": ("skin-temperature", plot.plot_skin_temperature)}
    if chosen.about not in draws:
        return {}
    name, draw = draws[chosen.about]
    return {name: np.ravel(draw(ds))[0].figure}
