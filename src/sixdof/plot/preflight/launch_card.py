"""The launch-day card as one sheet of paper, A4 or letter: black on white, with room to write what is measured by hand."""

from __future__ import annotations

import math

import numpy as np
import xarray as xr

from sixdof.mission.units import shown
from sixdof.plot.preflight.sheet import BLACK, DARK, EDGE, LEAD, PAGES, Block, Flow, Mark, columns, paint, text_width
from sixdof.study.launch_card import words
from sixdof.study.launch_card.verdict import NO_GO
from sixdof.study.reading.result import need_result

LARGEST, LEAST, STEP = 10.0, 6.0, 0.1  # points, of the letters
DPI = 150
HEAVY = len("9999 ± 999")  # letters of a mass from which its column is wider
SKETCH = 0.42  # of a column's width: the sketch of the wind limits beside their table
BLANKS = ("date and time", "wind now, m/s", "from, deg", "at height, m", "range safety officer")


def plot_launch_card(ds: xr.Dataset, *, page: str = "a4"):
    """Draw a launch-day card on one sheet to print, and return its axes; `.figure.savefig("card.pdf")` and "card.png" write it.

    Letters are as large as lets everything stand on the sheet. What is measured on the day is written onto the lines.

    Parameters
    ----------
    ds : as `sixdof.preflight.launch_card` returns it
    page : "a4" or "letter", upright

    Raises
    ------
    TypeError, ValueError
        For what is not a card, a page that there is not, and a card with more on it than a sheet holds.

    Examples
    --------
    >>> card = sixdof.preflight.launch_card(mission, "tilt at burnout < 15 deg", flights=10, directions=0, progress=False)
    >>> ax = sixdof.plot.plot_launch_card(card, page="letter")
    >>> [round(float(side), 1) for side in ax.figure.get_size_inches()]
    [8.5, 11.0]
    """
    need_result(ds, "plot_launch_card", "setting_value", "weighed_mass", "expected")
    if page not in PAGES:
        raise ValueError(f"plot_launch_card: page = {shown(page)} is not a sheet; write one of {', '.join(PAGES)}")
    wide, high = PAGES[page]
    marks = _laid_out(ds, wide, high)
    ax = _sheet(wide, high)
    paint(ax, marks)
    for x0, y0, x1, y1 in (mark.at for mark in marks if mark.kind == "room"):
        _draw_sketch(ds, ax.figure.add_axes((x0 / wide, 1.0 - y1 / high, (x1 - x0) / wide, (y1 - y0) / high)))
    return ax


def _sheet(wide: float, high: float):
    """Return axes over the whole of a new figure, in points from its top left corner."""
    import matplotlib.pyplot as plt

    figure = plt.figure(figsize=(wide / 72.0, high / 72.0), facecolor="white", dpi=DPI)
    ax = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    ax.set(xlim=(0.0, wide), ylim=(high, 0.0))
    ax.set_axis_off()
    return ax


# ---------------------------------------------------------------- what stands where


def _laid_out(ds: xr.Dataset, wide: float, high: float) -> list[Mark]:
    """Return the marks of a sheet, with the largest letters that fit. Raises ValueError where the least do not."""
    steps = round((LARGEST - LEAST) / STEP)
    best, low, high_step = _at_size(ds, wide, high, LARGEST), 0, steps
    if best is not None:
        return best
    while low <= high_step:  # whether it fits falls with the size
        middle = (low + high_step) // 2
        found = _at_size(ds, wide, high, LEAST + middle * STEP)
        best, low, high_step = (best, low, middle - 1) if found is None else (found, middle + 1, high_step)
    if best is None:
        raise ValueError("plot_launch_card: the card holds more than one sheet takes; give fewer directions or criteria, or take the page of sixdof.report")
    return best


def _at_size(ds: xr.Dataset, wide: float, high: float, size: float) -> list[Mark] | None:
    """Return the marks of a sheet in letters of a size, None where they do not fit on it."""
    head, foot = (Flow(EDGE, wide - EDGE, top, size) for top in (EDGE, 0.0))
    _head(ds, head)
    _foot(ds, foot)
    both = columns(_blocks(ds), (EDGE, wide - EDGE), head.y, size)
    bottom = high - EDGE - foot.y
    if max(each.y for each in both) > bottom - 0.3 * size:
        return None
    foot = Flow(EDGE, wide - EDGE, bottom, size)
    _foot(ds, foot)
    return [mark for flow in (head, *both, foot) for mark in flow.marks]


def _blocks(ds: xr.Dataset) -> list[Block]:
    """Return what goes into the columns, in order; what the vehicle lacks has no block."""
    blocks: list[Block] = [lambda flow: _settings(ds, flow), lambda flow: _weights(ds, flow), lambda flow: _margins(ds, flow)]
    blocks.append(lambda flow: _criteria(ds, flow))
    if "wind_limit" in ds:
        blocks.append(lambda flow: _winds(ds, flow))
    return [*blocks, lambda flow: _expected(ds, flow), lambda flow: _heights(ds, flow)]


def _head(ds: xr.Dataset, flow: Flow) -> None:
    """Write title, what the card was made with, and the decision in a box."""
    title = ds.attrs["title"]
    large = min(1.75 * flow.size, flow.size * flow.wide / max(text_width(title, flow.size, True), 1.0))
    flow.write(flow.x0, title, bold=True, size=large)
    flow.y += LEAD * large
    for line in words.heading(ds):
        flow.paragraph(line, small=True)
    flow.gap(0.3)
    _decision(ds, flow)
    flow.gap(0.6)


def _decision(ds: xr.Dataset, flow: Flow) -> None:
    """Write go or no-go in large letters, with the wind and the reason beside it; or room for the wind where none was measured."""
    word = words.chosen(ds)
    large, top, pad = 2.9 * flow.size, flow.y, 0.55 * flow.size
    called = words.WORDS[word] if word is not None else "WIND?"
    inside = Flow(flow.x0 + text_width(called, large, True) + 4.0 * pad, flow.x1 - pad, top + pad, flow.size)
    if word is None:
        inside.paragraph("No wind measured yet. Measure it at the rail and bring it up:", bold=True)
        inside.paragraph(f"{words.wind_line(ds)}. Compare with the wind limits.")
        inside.gap(0.35)
        _wind_by_hand(ds, inside)
    else:
        inside.paragraph(words.wind_line(ds), bold=True)
        for line in words.decision_lines(ds):
            inside.paragraph(line)
    bottom = max(inside.y, top + LEAD * large) + pad
    edge = flow.x0 + text_width(called, large, True) + 3.0 * pad
    dark = word == NO_GO
    flow.box(flow.x0, top, edge, bottom, width=1.6, fill=BLACK if dark else "none")
    flow.box(flow.x0, top, flow.x1, bottom, width=1.6)
    flow.write(flow.x0 + 1.4 * pad, called, y=0.5 * (top + bottom) - 0.58 * large, size=large, bold=True, color="white" if dark else BLACK)
    flow.marks += inside.marks
    flow.y = bottom


def _wind_by_hand(ds: xr.Dataset, flow: Flow) -> None:
    """Leave room to bring a measured wind up by hand."""
    factor, height = float(ds["wind_factor"]), float(ds["reference_height"])
    parts = ("measured", "m/s from", f"deg, x {factor:.2f} =", f"m/s at {height:g} m" if math.isfinite(height) else "m/s")
    room = (flow.wide - sum(text_width(part, flow.size) for part in parts)) / (len(parts) - 1)
    left = flow.x0
    for number, part in enumerate(parts):
        flow.write(left, part)
        left += text_width(part, flow.size)
        if number < len(parts) - 1:
            flow.rule(left + 3.0, left + min(room, 70.0) - 3.0, flow.y + LEAD * flow.size, 0.7)
            left += min(room, 70.0)
    flow.y += 1.15 * LEAD * flow.size


def _settings(ds: xr.Dataset, flow: Flow) -> None:
    flow.heading("Set, and tick")
    for group, rows in words.setting_groups(ds).items():
        flow.gap(0.12)
        flow.paragraph(group, bold=True)
        for name, value in rows:
            flow.pair(name, value, tick=True)


def _weights(ds: xr.Dataset, flow: Flow) -> None:
    flow.heading("Measure on the bench")
    rows = [(name, mass, "", station, "") for name, mass, station in words.weighing_rows(ds)]
    room = 0.27 if max(len(row[1]) for row in rows) > HEAVY else 0.19
    flow.table(("", "mass, g", "found", "balance, mm", "found"), rows, (0.56 - room, room, 0.125, 0.19, 0.125), write_in=(2, 4), lead=1.25)
    for note in words.weighing_notes(ds):
        flow.paragraph(note, small=True)


def _margins(ds: xr.Dataset, flow: Flow) -> None:
    rows = words.margin_rows(ds)
    if not rows:  # nothing left the rail
        return
    flow.heading(words.margin_heading(ds))
    for name, value in rows:
        flow.pair(name, value, share=0.5)


def _criteria(ds: xr.Dataset, flow: Flow) -> None:
    flow.heading("Criteria" if words.chosen(ds) is None else "Criteria, in the wind measured now")
    for letter, text, result in words.criterion_rows(ds):
        flow.pair(f"{letter}", text, share=0.06)
        flow.paragraph(result, indent=0.06 * flow.wide, small=True)
    for line in words.change_lines(ds)[1:]:  # the first stands beside the decision
        flow.paragraph(line)
    if ds.sizes["change"]:
        flow.paragraph("Shares are of the most that is practicable on the day.", small=True)


def _winds(ds: xr.Dataset, flow: Flow) -> None:
    """Write the wind limits, and keep room for their sketch on the right."""
    flow.heading(f"Wind limits at {float(ds['reference_height']):g} m")
    sketch = flow.x1 - SKETCH * flow.wide
    top = flow.y
    inner = Flow(flow.x0, sketch - 6.0, top, flow.size)
    inner.table(("wind from", "m/s", "binds"), words.wind_rows(ds), (0.54, 0.24, 0.22))
    flow.marks += inner.marks
    side = SKETCH * flow.wide
    flow.marks.append(Mark("room", (sketch, top, flow.x1, top + side)))
    flow.y = max(inner.y, top + side)
    told = "" if words.chosen(ds) is None else "; cross: the wind measured now"
    flow.paragraph(f"Sketch: seen from above, edge: the limit by where the wind comes from, arrow: the rail leans there{told}.", small=True)


def _expected(ds: xr.Dataset, flow: Flow) -> None:
    flow.heading("Expected, to compare with")
    rows = [(name, low, middle, high, "") for name, low, middle, high in words.expected_rows(ds)]
    flow.table(("", "5 %", "50 %", "95 %", "flown"), rows, (0.5, 0.12, 0.125, 0.125, 0.13), write_in=(4,), lead=1.1)
    flow.paragraph(words.expected_note(ds), small=True)


def _heights(ds: xr.Dataset, flow: Flow) -> None:
    flow.heading("Ceiling and distances")
    flow.table(("apogee", "m", "ft", "m above sea", "ft above sea"), words.ceiling_rows(ds), (0.36, 0.13, 0.15, 0.18, 0.18))
    for name, value in words.distance_rows(ds):
        flow.pair(name, value, share=0.3)


def _foot(ds: xr.Dataset, flow: Flow) -> None:
    """Write the cautions over the whole width, and the lines to fill in."""
    flow.rule(flow.x0, flow.x1, flow.y, 0.9)
    flow.gap(0.25)
    own, general = words.own_cautions(ds), words.general_cautions()
    if own:
        flow.paragraph(" ".join(own), bold=True)
    flow.paragraph(" ".join(general), small=True)
    flow.gap(0.5)
    small = 0.86 * flow.size
    lines = (flow.wide - sum(text_width(name, small) for name in BLANKS)) / len(BLANKS)
    base, left = flow.y + 1.1 * LEAD * flow.size, flow.x0
    for name in BLANKS:
        flow.write(left, name, size=small, color=DARK)
        left += text_width(name, small)
        flow.rule(left + 4.0, left + lines - 6.0, base, 0.7)
        left += lines
    flow.y = base + 2.0


# ---------------------------------------------------------------- the sketch


def _draw_sketch(ds: xr.Dataset, ax) -> None:
    """Draw the wind limits round the compass: where the wind comes from, seen from above, with the rail's lean and the wind measured now."""
    order = np.argsort(ds["direction"].values)
    angle, limit = ds["direction"].values[order], ds["wind_limit"].values[order]
    now = float(ds["reference_speed"])
    full = max(float(np.max(limit)), now if math.isfinite(now) else 0.0, 1.0)
    step = next(s for s in (1.0, 2.0, 5.0, 10.0, 20.0) if full / s <= 4.0) if full <= 80.0 else full
    rings = np.arange(step, full + step, step)
    most = float(rings[-1])
    turn = np.linspace(0.0, 2.0 * math.pi, 181)
    for ring in rings:
        ax.plot(ring * np.sin(turn), ring * np.cos(turn), color="#b0b0b0", lw=0.5)
        ax.text(0.71 * ring, -0.71 * ring, f"{ring:g}", fontsize=6.0, color=DARK, ha="center", va="center", bbox={"fc": "white", "ec": "none", "pad": 0.6})
    closed = np.append(angle, angle[:1]), np.append(limit, limit[:1])
    ax.fill(closed[1] * np.sin(closed[0]), closed[1] * np.cos(closed[0]), fc="#e4e4e4", ec=BLACK, lw=1.1)
    azimuth = ds.attrs["rail_azimuth"]
    ax.annotate("", (most * math.sin(azimuth), most * math.cos(azimuth)), (0.0, 0.0), arrowprops={"arrowstyle": "-|>", "color": BLACK, "lw": 0.9})
    if math.isfinite(now):
        at = float(ds["reference_from"])
        ax.plot([now * math.sin(at)], [now * math.cos(at)], "X", ms=6.5, mfc=BLACK, mec="white", mew=0.8)
    for name, (x, y) in {"N": (0, 1), "E": (1, 0), "S": (0, -1), "W": (-1, 0)}.items():
        ax.text(1.13 * most * x, 1.13 * most * y, name, fontsize=7.5, ha="center", va="center", fontweight="bold")
    ax.set(xlim=(-1.25 * most, 1.25 * most), ylim=(-1.25 * most, 1.25 * most), aspect="equal")
    ax.set_axis_off()
