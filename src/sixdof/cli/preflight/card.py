"""The verb card: the page for the launch day."""

from __future__ import annotations

from pathlib import Path

from sixdof.cli.codes import NONE_PASSES, OK
from sixdof.cli.options import mission_of, on_mission, with_flights, with_flown, with_out
from sixdof.cli.output import say, write_figures

SHEETS = (".pdf", ".png", ".svg")  # ends of the name of a sheet to print


def add(commands) -> None:
    """Add the verb to the command line."""
    card = on_mission(
        commands, "card", _card, "the page for the launch day: settings, weights, wind limits, expected numbers, go or no-go in the wind measured now"
    )
    card.add_argument("--sounding", type=Path, metavar="FILE", help="this morning's air, CSV or netCDF")
    card.add_argument("--wind", metavar="TEXT", help='measured now at the rail, such as "5 m/s from 250 deg at 2 m"')
    card.add_argument("--field", metavar="WHERE", help='where everything has to land: a GeoJSON file, or a radius about the rail such as "600 m"')
    card.add_argument("--criterion", action="append", metavar="TEXT", help='such as "lean at burnout < 15 deg in 95 %% of flights"; may be repeated')
    card.add_argument("--directions", type=int, default=8, metavar="N", help="directions that wind limits are told for; 0: none (default: 8)")
    card.add_argument("--sheet", type=Path, metavar="FILE", help="write the card as one sheet to print: .pdf, .png or .svg")
    card.add_argument("--paper", choices=("a4", "letter"), default="a4", help="of that sheet (default: a4)")
    card.add_argument("--threads", type=int, metavar="N", help="threads (default: one per core)")
    with_flights(card, "how many are flown in each wind (default: 100)")
    with_out(card, "netCDF-4")
    with_flown(card)


def _card(chosen) -> int:
    from sixdof import report, save
    from sixdof.preflight import launch_card

    for path, ends in ((chosen.sheet, SHEETS), (chosen.out, (".nc",))):
        if path is not None and path.suffix not in ends:
            raise ValueError(f"{path}: its name must end with one of {', '.join(ends)}")
        if path is not None and path.exists() and not chosen.overwrite:
            raise FileExistsError(f"{path} exists; give another name, or --overwrite")
    ds = launch_card(
        mission_of(chosen),
        chosen.criterion,
        sounding=chosen.sounding,
        wind=chosen.wind,
        field=chosen.field,
        flights=100 if chosen.flights is None else chosen.flights,
        seed=chosen.seed,
        directions=chosen.directions,
        threads=chosen.threads,
        progress=not chosen.quiet,
    )
    say(report(ds))
    if chosen.out:
        say(f"written: {save(ds, chosen.out, overwrite=chosen.overwrite)}")
    if chosen.sheet or chosen.figures:
        from sixdof.plot import plot_launch_card

        figure = plot_launch_card(ds, page=chosen.paper).figure
        if chosen.sheet:
            figure.savefig(chosen.sheet)
            say(f"written: {chosen.sheet}")
        if chosen.figures:
            write_figures(chosen.figures, {"launch-card": figure})
    return OK if int(ds["decision"]) in (-1, 0) else NONE_PASSES
