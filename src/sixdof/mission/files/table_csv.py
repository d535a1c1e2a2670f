"""Columns of numbers from a CSV file, with or without a header that names units.

`time (ms), thrust (lbf)` and `t [s]; F [N]` are headers; commas, semicolons, tabs or blanks part the columns; `#`
starts a comment. With a header, columns are found by name, in any order, and others are ignored; without one, they are
the wanted ones in order, in SI.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

from sixdof.mission.errors import Fault, MissionError
from sixdof.mission.files.curves import Flaw
from sixdof.mission.files.incoming import FileFault, check_ordinary
from sixdof.mission.units import LARGEST, QuantityError, converter, example, shown

Wanted = Sequence[tuple[str, str]]

_ALIASES = {
    "time": ("t",),
    "thrust": ("f", "force"),
    "height": ("h", "z"),
    "speed": ("v",),
    "blows_from": ("from", "direction"),
    "mach": ("m", "ma"),
    "coefficient": ("ca", "cd"),
    "slope": ("cn_alpha", "cna"),
    "damping": ("c_l_p", "clp"),
    "forcing": ("c_l_delta", "cld"),
    "incidence": ("alpha", "a"),
    "centre": ("x_cp", "xcp", "cp"),
}
_HEADING = re.compile(r"([^\s()\[\]]+)\s*(?:\(([^)]*)\)|\[([^\]]*)\])?")
_MOST_FAULTS = 10  # a file of another kind is wrong on every line


def read_columns(path: str | Path, wanted: Wanted, flaws: Callable[[tuple], Iterator[Flaw]] | None = None) -> tuple[tuple[float, ...], ...]:
    """Return the `wanted` columns of a CSV file, each a tuple of finite floats in the unit wanted.

    Parameters
    ----------
    path : str or Path
    wanted : sequence of (name, unit)
        Such as `[("time", "s"), ("thrust", "N")]`, or `curves.THRUST.columns`.
    flaws : function, optional
        Further check over the columns read, such as `curves.THRUST.flaws`: its findings come with file and line.

    Raises
    ------
    MissionError
        If the file cannot be read, a column is missing, or a cell is not a finite number: every fault with its line.
    """
    file = str(path)
    lines = _lines(file, read_text(path))
    if not lines:
        raise MissionError([Fault(file, "", None, "holds no numbers", f"write the columns {_listed(wanted)}")])
    split = _splitter([text for _, text in lines])
    header = None if _is_numbers(split(lines[0][1])) else lines.pop(0)
    order, convert = _layout(file, header, wanted, split, lines)
    columns, faults = _numbers(file, lines, split, order, convert, wanted)
    if not faults and flaws is not None:
        faults = [_fault(file, lines, flaw) for flaw in flaws(columns)]
    if faults:
        raise MissionError(faults)
    return columns


class Rows(NamedTuple):
    """What a CSV file holds of what may be in it: columns by name, each row's label, and each row's line in the file."""

    columns: dict[str, tuple[float, ...]]
    labels: tuple[str, ...]
    lines: tuple[int, ...]


def read_known(path: str | Path, known: Mapping[str, str], aliases: Mapping[str, Sequence[str]], label: str = "") -> Rows:
    """Return those of the `known` columns (name -> unit wanted) that the header of a CSV file names, in that unit.

    aliases : other names of the columns. label : name of a column of text that must be there ("": none).

    Raises
    ------
    MissionError
        If the file cannot be read, has no header or none of the columns, or a cell is not a finite number.
    """
    file = str(path)
    lines = _lines(file, read_text(path))
    if not lines:
        raise MissionError([Fault(file, "", None, "holds no numbers", f"write some of the columns {_listed(tuple(known.items()))}")])
    split = _splitter([text for _, text in lines])
    header = lines.pop(0)
    names = [name for name, _ in _headings(header[1], split(header[1]))]
    wanted = [(name, unit) for name, unit in known.items() if set(names) & {name, *aliases.get(name, ())}]
    hint = f"write a first line that names them: {label and label + ', '}{_listed(tuple(known.items()))}"
    if not wanted:
        raise MissionError([_at(file, header[0], "the header names no known column", hint)])
    if label and label not in names:
        raise MissionError([_at(file, header[0], f"there is no column {label}", hint)])
    order, convert = _layout(file, header, wanted, split, lines, aliases)
    columns, faults = _numbers(file, lines, split, order, convert, wanted)
    if faults:
        raise MissionError(faults)
    labels = tuple(split(text)[names.index(label)] for _, text in lines) if label else ()
    return Rows({name: values for (name, _), values in zip(wanted, columns)}, labels, tuple(line for line, _ in lines))


def read_column(path: str | Path, name: str) -> tuple[tuple[float, ...], str]:
    """Return one column of a CSV file with a header, as finite floats, and the unit its header gives ("": none).

    Raises
    ------
    MissionError
        If the file cannot be read, has no header or no such column, or a cell is not a finite number.
    """
    file = str(path)
    lines = _lines(file, read_text(path))
    wanted = [(name, "1")]
    if not lines:
        raise MissionError([Fault(file, "", None, "holds no numbers", f"write a header and the column {name}")])
    split = _splitter([text for _, text in lines])
    line, header = lines.pop(0)
    if _is_numbers(split(header)):
        raise MissionError([_at(file, line, "there is no header", f"write a first line that names the columns, such as {name}")])
    headings = _headings(header, split(header))
    found = [i for i, (heading, _) in enumerate(headings) if heading == name.strip().lower().replace(" ", "_")]
    if not found:
        hint = f"the header has {', '.join(heading for heading, _ in headings)}"
        raise MissionError([_at(file, line, f"there is no column {name}", hint)])
    if not lines:
        raise MissionError([Fault(file, "", None, "holds no numbers", f"write the column {name} below the header")])
    (values,), faults = _numbers(file, lines, split, found, [float], wanted)
    if faults:
        raise MissionError(faults)
    unit = (headings[found[0]][1] or "").strip()
    return values, "" if unit == "-" else unit


def read_text(path: str | Path) -> str:
    """Return the text of a file.

    Raises
    ------
    MissionError
        If there is no such file, it is a folder, a device or a pipe, larger than any table, may not be read, or is not UTF-8 text.
    """
    try:
        check_ordinary(path)
        raw = Path(path).read_bytes()
    except FileFault as fault:
        raise _unreadable(path, fault.message, fault.hint) from None
    except FileNotFoundError:
        raise _unreadable(path, "there is no such file", "check the name and the folder") from None
    except IsADirectoryError:
        raise _unreadable(path, "is a folder", "give the path of a file") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "not a path"
        raise _unreadable(path, f"cannot be read ({reason})", "check the path and its permissions") from None
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise _unreadable(path, f"line {line}: is not UTF-8 text", "save the file as plain text in UTF-8") from None
    if "\0" in text:
        raise _unreadable(path, "holds bytes that are not text", "give a plain text file in UTF-8")
    return text


def _unreadable(path: str | Path, message: str, hint: str) -> MissionError:
    return MissionError([Fault(str(path) or '""', "", None, message, hint)])


def _lines(file: str, text: str) -> list[tuple[int, str]]:
    """Return (line number, text) of every line that holds something besides a comment."""
    bare = ((number, line.partition("#")[0].strip()) for number, line in enumerate(text.split("\n"), start=1))
    return [(number, line) for number, line in bare if line]


def _splitter(lines: Sequence[str]) -> Callable[[str], list[str]]:
    # the last line is data in any file with data: the header may hold a comma in a name
    mark = next((mark for mark in ";\t," if mark in lines[-1]), None)

    def split(line: str) -> list[str]:
        cells = [cell.strip().strip('"').strip() for cell in line.split(mark)]
        while len(cells) > 1 and not cells[-1]:
            cells.pop()
        return cells

    return split


def _is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True


def _is_numbers(cells: Sequence[str]) -> bool:
    return any(_is_number(cell) for cell in cells)


def _listed(wanted: Wanted) -> str:
    return ", ".join(f"{name} ({unit})" if unit != "1" else name for name, unit in wanted)


def _layout(file, header, wanted: Wanted, split, lines, aliases=_ALIASES):
    """Return where each wanted column stands, and the function that converts it to the unit wanted."""
    if header is None:
        if len(split(lines[0][1])) != len(wanted):
            message = f"has {len(split(lines[0][1]))} columns and no header"
            raise MissionError([_at(file, lines[0][0], message, f"write the columns {_listed(wanted)}")])
        return list(range(len(wanted))), [float] * len(wanted)
    line, text = header
    found = _headings(text, split(text))
    names = [name for name, _ in found]
    order, convert, faults = [], [], []
    for name, unit in wanted:
        place = next((i for i, heading in enumerate(names) if heading in (name, *aliases.get(name, ()))), None)
        if place is None:
            hint = f"the header has {', '.join(names) or 'no names'}; write {_listed(wanted)}"
            faults.append(_at(file, line, f"there is no column {name}", hint))
            continue
        try:
            order.append(place)
            convert.append(_convert(found[place][1], unit))
        except QuantityError as error:
            hint = f"expected a unit such as that of {example(unit)}"
            faults.append(_at(file, line, f"column {name}: unit {shown(found[place][1])} {error.message}", hint))
    if faults:
        raise MissionError(faults)
    return order, convert


def _headings(text: str, cells: Sequence[str]) -> list[tuple[str, str | None]]:
    """Return (name, unit or None) of every column of a header; blanks part columns only where nothing else does."""
    if text.split() == list(cells):
        return [(match[1].lower(), match[2] or match[3]) for match in _HEADING.finditer(text)]
    parts = (re.fullmatch(r"([^(\[]*)(?:[(\[]([^)\]]*)[)\]])?.*", cell) for cell in cells)
    return [(part[1].strip().lower().replace(" ", "_"), part[2]) for part in parts]


def _convert(written: str | None, unit: str):
    written = (written or "").strip()
    return float if written in ("", "-", unit) else converter(written, unit)


def _numbers(file, lines, split, order, convert, wanted):
    columns: list[list[float]] = [[] for _ in wanted]
    faults = []
    for line, text in lines:
        if len(faults) >= _MOST_FAULTS:
            break
        cells = split(text)
        for values, place, to_unit, (name, _) in zip(columns, order, convert, wanted):
            if place >= len(cells):
                faults.append(_at(file, line, f"there is no {name}", f"write {_listed(wanted)} on every line"))
            elif not _is_number(cells[place]):
                hint = "write a number, with a point for the decimals, and the unit in the header"
                faults.append(_at(file, line, f"column {name}: {shown(cells[place])} is not a number", hint))
            elif not math.isfinite(number := _converted(to_unit, float(cells[place]))):
                faults.append(_at(file, line, f"column {name}: {cells[place]} is not finite", "write a finite number"))
            elif abs(number) > LARGEST:
                faults.append(_at(file, line, f"column {name}: {cells[place]} is far too large", "check the number and its unit"))
            else:
                values.append(number)
    return tuple(tuple(values) for values in columns), faults


def _converted(to_unit: Callable[[float], float], number: float) -> float:
    return to_unit(number) if math.isfinite(number) else number


def _fault(file: str, lines, flaw: Flaw) -> Fault:
    what = f"column {flaw.column}: {flaw.message}" if flaw.column else flaw.message
    if flaw.row is None:
        return Fault(file, "", None, what, flaw.hint)
    return _at(file, lines[flaw.row][0], what, flaw.hint)


def _at(file: str, line: int, message: str, hint: str) -> Fault:
    return Fault(file, "", None, message, hint, f"line {line}")
