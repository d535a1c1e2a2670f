"""A printed sheet: texts, tables and boxes set in points from the top left corner, as large as lets everything fit on one page."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cache
from typing import Any, NamedTuple

PAGES = {"a4": (595.3, 841.9), "letter": (612.0, 792.0)}  # width and height, points
EDGE = 25.0  # points of paper that stay white on every side
WIDER = 1.03  # times their advances: letters fitted to the pixels of a picture grow by some per cent
LEAD = 1.2  # height of a line over the size of its letters
BLACK, DARK = "#000000", "#444444"


class Mark(NamedTuple):
    """One thing on the sheet: "text", "line", "box", or "room" for axes of their own, where (points from the top left), and what matplotlib is told of it."""

    kind: str
    at: tuple[float, ...]
    text: str = ""
    look: dict[str, Any] = {}


@cache
def _font(bold: bool):
    """Return the font of the sheet at 100 points."""
    from matplotlib.font_manager import FontProperties, findfont
    from matplotlib.ft2font import FT2Font

    font = FT2Font(findfont(FontProperties(weight="bold" if bold else "normal")))
    font.set_size(100.0, 72.0)
    return font


@cache
def _advance(letter: str, bold: bool) -> float:
    return _font(bold).load_char(ord(letter)).linearHoriAdvance / 65536.0 / 100.0


def text_width(text: str, size: float, bold: bool = False) -> float:
    """Return the width that a line of text may take, points: the sum of its letters' advances and a little more."""
    return WIDER * size * sum(_advance(letter, bold) for letter in text)


def broken(text: str, wide: float, size: float, bold: bool = False) -> list[str]:
    """Return a text as lines that are no wider than `wide`, points; a word that is wider stands alone."""
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, size, bold) <= wide:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines or [""]


class Flow:
    """A column that is filled from the top: `y` is how far. size : of its letters, points; marks : what is on it."""

    def __init__(self, x0: float, x1: float, y: float, size: float):
        self.x0, self.x1, self.y, self.size = x0, x1, y, size
        self.marks: list[Mark] = []

    @property
    def wide(self) -> float:
        """Return the column's width, points."""
        return self.x1 - self.x0

    def write(
        self, x: float, text: str, *, y: float | None = None, size: float | None = None, bold: bool = False, ha: str = "left", color: str = BLACK
    ) -> None:
        """Put one line of text with its top at `y` (the column's own by default)."""
        look = {"fontsize": size or self.size, "fontweight": "bold" if bold else "normal", "ha": ha, "color": color}
        self.marks.append(Mark("text", (x, self.y if y is None else y), text, look))

    def gap(self, lines: float = 0.5) -> None:
        """Leave some lines empty."""
        self.y += lines * LEAD * self.size

    def rule(self, x0: float, x1: float, y: float, width: float = 0.5) -> None:
        """Draw a level line."""
        self.marks.append(Mark("line", (x0, y, x1, y), look={"lw": width}))

    def box(self, x0: float, y0: float, x1: float, y1: float, *, width: float = 0.6, fill: str = "none") -> None:
        """Draw a box."""
        self.marks.append(Mark("box", (x0, y0, x1, y1), look={"lw": width, "fc": fill}))

    def heading(self, text: str) -> None:
        """Write a heading over the column, underlined."""
        large = 1.1 * self.size
        for line in broken(text, self.wide, large, True):
            self.write(self.x0, line, bold=True, size=large)
            self.y += LEAD * large
        self.y += 0.12 * self.size
        self.rule(self.x0, self.x1, self.y - 0.12 * self.size, 0.9)
        self.y += 0.15 * self.size

    def paragraph(self, text: str, *, bold: bool = False, small: bool = False, indent: float = 0.0) -> None:
        """Write text over as many lines as it takes; small : a note, in smaller letters."""
        size = 0.86 * self.size if small else self.size
        for line in broken(text, self.wide - indent, size, bold):
            self.write(self.x0 + indent, line, bold=bold, size=size)
            self.y += LEAD * size

    def pair(self, name: str, value: str, *, share: float = 0.36, tick: bool = False) -> None:
        """Write a name and, beside it, what it is set to; tick : with a box to tick."""
        indent = 1.25 * self.size if tick else 0.0
        if tick:
            side = 0.72 * self.size
            self.box(self.x0 + 1.0, self.y + 0.2 * self.size, self.x0 + 1.0 + side, self.y + 0.2 * self.size + side)
        left = self.x0 + share * self.wide
        names, values = broken(name, left - self.x0 - indent - 5.0, self.size), broken(value, self.x1 - left, self.size)
        top = self.y
        for lines, x in ((names, self.x0 + indent), (values, left)):
            for k, line in enumerate(lines):
                self.write(x, line, y=top + k * LEAD * self.size)
        self.y = top + max(len(names), len(values)) * LEAD * self.size

    def table(self, head: Sequence[str], rows: Sequence[Sequence[str]], shares: Sequence[float], *, write_in: Sequence[int] = (), lead: float = 1.0) -> None:
        """Write a table: the first column left, numbers right, its heads in small bold letters.

        shares : widths of the columns over the table's. write_in : columns that get a line to write on. lead : height of a row over a line's.
        """
        edges = [self.x0]
        for share in shares:
            edges.append(edges[-1] + share / sum(shares) * self.wide)
        heads = [broken(text, edges[k + 1] - edges[k] - 3.0, 0.86 * self.size, True) for k, text in enumerate(head)]
        most, small = max(map(len, heads)), 0.86 * self.size
        for k, lines in enumerate(heads):
            for number, line in enumerate(lines, start=most - len(lines)):
                self._cell(edges, k, line, self.y + number * LEAD * small, bold=True, size=small)
        self.y += most * LEAD * small
        self.rule(self.x0, self.x1, self.y + 0.05 * self.size)
        self.y += 0.2 * self.size
        for row in rows:
            self._row(edges, row, write_in, lead)

    def _row(self, edges: list[float], row: Sequence[str], write_in: Sequence[int], lead: float) -> None:
        lines = broken(row[0], edges[1] - edges[0] - 3.0, self.size)
        high = lead * LEAD * self.size
        for k, line in enumerate(lines):
            self._cell(edges, 0, line, self.y + k * LEAD * self.size + 0.5 * (high - LEAD * self.size))
        bottom = self.y + high + (len(lines) - 1) * LEAD * self.size
        for k, text in enumerate(row[1:], start=1):
            if k in write_in:
                self.rule(edges[k] + 5.0, edges[k + 1] - 1.0, bottom - 0.12 * self.size, 0.7)
            elif text:
                self._cell(edges, k, text, bottom - 0.5 * (high - LEAD * self.size) - LEAD * self.size)
        self.y = bottom

    def _cell(self, edges: list[float], k: int, text: str, y: float, **look: Any) -> None:
        if k == 0:
            self.write(edges[0], text, y=y, **look)
        else:
            self.write(edges[k + 1] - 1.0, text, y=y, ha="right", **look)


Block = Callable[[Flow], None]


def columns(blocks: Sequence[Block], edges: tuple[float, float], top: float, size: float, gutter: float = 16.0) -> list[Flow]:
    """Return two columns filled with blocks in their order, broken where the longer one is shortest. edges : left and right of both."""
    half = 0.5 * (edges[1] - edges[0] - gutter)
    sides = ((edges[0], edges[0] + half), (edges[1] - half, edges[1]))
    best: list[Flow] = []
    for split in range(1, len(blocks) + 1):
        both = [_filled(part, *side, top, size) for part, side in zip((blocks[:split], blocks[split:]), sides, strict=True)]
        if not best or max(each.y for each in both) < max(each.y for each in best):
            best = both
    return best


def _filled(blocks: Sequence[Block], x0: float, x1: float, top: float, size: float) -> Flow:
    flow = Flow(x0, x1, top, size)
    for number, block in enumerate(blocks):
        if number:
            flow.gap(0.6)
        block(flow)
    return flow


def paint(ax, marks: Sequence[Mark]) -> None:
    """Draw marks into axes whose data are points of the sheet, y downwards."""
    from matplotlib.patches import Rectangle

    for mark in marks:
        if mark.kind == "text":
            ax.text(*mark.at, mark.text, **{"va": "top", "parse_math": False, **mark.look})
        elif mark.kind == "line":
            ax.plot(mark.at[0::2], mark.at[1::2], color=BLACK, solid_capstyle="butt", **mark.look)
        elif mark.kind == "box":
            x0, y0, x1, y1 = mark.at
            ax.add_patch(Rectangle((x0, y0), x1 - x0, y1 - y0, ec=BLACK, **mark.look))
