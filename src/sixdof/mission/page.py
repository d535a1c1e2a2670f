"""Pages of text: one width, sentences broken at it, and tables whose columns are as wide as what stands in them."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

PAGE = 120  # characters of a line
SET_IN = "  "  # of what stands under a heading; what goes on from a line before is set in twice
GAP = 2  # characters between the columns of a table; 1 where the page has no room for 2


def wrapped(text: str, first: str = "", further: str = "") -> list[str]:
    """Return a paragraph as lines of the page, the first one set in by `first`, the others by `further`."""
    return textwrap.wrap(text, PAGE, initial_indent=first, subsequent_indent=further, break_on_hyphens=False)


def indented(sentences: Sequence[str]) -> list[str]:
    """Return sentences as lines under a heading, set in; what does not go on a line is set in further."""
    return [line for sentence in sentences for line in wrapped(sentence, SET_IN, 2 * SET_IN)]


def table(rows: Sequence[Sequence[str]], words: int = 1, *, remark: bool = False, set_in: str = SET_IN) -> list[str]:
    """Return rows of cells as lines: the first `words` columns flush left, numbers flush right, and of a table with a `remark` the last one left.

    A row may end early: its last cell then runs on to the right as it is.
    """
    count = max((len(row) for row in rows), default=0)
    widths = [max((len(row[k]) for row in rows if len(row) > k + (len(row) < count)), default=0) for k in range(count)]
    left = {*range(words), *([count - 1] if remark else [])}
    gap = " " * (GAP if len(set_in) + sum(widths) + GAP * (count - 1) <= PAGE else 1)
    return [(set_in + gap.join(_cells(row, widths, left))).rstrip() for row in rows]


def _cells(row: Sequence[str], widths: Sequence[int], left: set[int]) -> list[str]:
    padded = [f"{text:<{width}}" if k in left else f"{text:>{width}}" for k, (text, width) in enumerate(zip(row, widths))]
    return padded if len(row) == len(widths) else [*padded[:-1], row[-1]]


def underlined(lines: Sequence[str]) -> list[str]:
    """Return a table with its head, the first line, underlined over the table's width."""
    return [lines[0], "-" * max(map(len, lines)), *lines[1:]]


def side_by_side(head: Sequence[str], columns: Sequence[Sequence[str]]) -> list[str]:
    """Return columns of words side by side, those that the page has no room for in a further table, the `head` column before each."""
    blocks: list[list[Sequence[str]]] = [[]]
    for column in columns:
        if blocks[-1] and max(map(len, _columns([head, *blocks[-1], column]))) > PAGE:
            blocks.append([])
        blocks[-1].append(column)
    tables = [_columns([head, *block]) for block in blocks]
    return [line for number, lines in enumerate(tables) for line in ([""] if number else []) + lines]


def _columns(columns: Sequence[Sequence[str]]) -> list[str]:
    return table(list(zip(*columns, strict=True)), words=len(columns))
