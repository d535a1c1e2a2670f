"""Files of logs as tables: CSV as loggers and radios leave it, Parquet, or columns in memory. What did not read is counted and said."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from os import PathLike
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from sixdof.mission.errors import Fault, MissionError, suggestion
from sixdof.mission.files.incoming import MOST_BYTES, FileFault, check_ordinary
from sixdof.mission.units import shown
from sixdof.postflight.logs.checks.finding import Finding, counted

MOST_NUMBERS = 100_000_000  # that a Parquet file, which is packed, may unpack to
MISSING = {"", "nan", "null", "none", "na", "n/a", "-", "--", "---", "inf", "-inf", "+inf"}  # of a cell, in small letters
_COMMENTS = ("#", "//", "%")
_LOOKED_AT = 50  # first lines that say what parts the columns
_UNITS = re.compile(r"\s*[(\[{]([^)\]}]*)[)\]}]\s*$")
_DECIMAL_COMMA = re.compile(r"[+-]?\d*,\d+(?:[eE][+-]?\d+)?")


class RawTable(NamedTuple):
    """Columns by name as they stand in a log: floats (NaN: missing), or text. lines : of the file, of each row. findings : what did not read."""

    columns: dict[str, np.ndarray]
    lines: np.ndarray
    source: str
    findings: tuple[Finding, ...]

    @property
    def rows(self) -> int:
        """Return how many rows there are."""
        return len(self.lines)


def raw_table(log: Any, who: str = "read_log") -> RawTable:
    """Return a log as a table. log : path of a CSV or Parquet file, or a mapping (a pandas table too) of columns.

    Raises
    ------
    TypeError
        For what is neither.
    MissionError
        For a file that cannot be read, in one sentence.
    """
    if isinstance(log, str | PathLike):
        path = Path(log)
        return _parquet(path) if path.suffix.lower() in (".parquet", ".pq") else _csv(path)
    if not (isinstance(log, Mapping) or hasattr(type(log), "keys")):
        raise TypeError(f"{who}: the log must be the path of a CSV or Parquet file, or a table of columns, not {shown(log)}")
    columns = {str(name): _column(np.asarray(log[name])) for name in list(log.keys())}
    lengths = {len(values) for values in columns.values()}
    if len(lengths) != 1 or min(lengths) < 2:
        raise ValueError(f"{who}: the columns of a log must be of one length, of two rows or more; here they are {sorted(lengths)} long")
    return RawTable(columns, np.arange(1, lengths.pop() + 1), "the table", ())


def _fault(path: Path, message: str, hint: str, place: str = "") -> MissionError:
    return MissionError([Fault(str(path), "", None, message, hint, place)])


def _checked(path: Path) -> None:
    try:
        check_ordinary(path, MOST_BYTES)
    except FileFault as fault:
        raise _fault(path, fault.message, fault.hint) from None
    if not path.exists():
        raise _fault(path, "there is no such file", "check the name and the folder")
    if path.is_dir():
        raise _fault(path, "is a folder", "give the path of a file")


# ---------------------------------------------------------------- Parquet


def _parquet(path: Path) -> RawTable:
    _checked(path)
    try:
        import pyarrow.parquet as pq
    except ImportError:
        raise _fault(path, "is a Parquet file, which is read by pyarrow", "pip install 'sixdof[parquet]', or give a CSV file") from None
    try:
        about = pq.read_metadata(path)
        if about.num_rows * about.num_columns > MOST_NUMBERS:
            raise _fault(path, f"unpacks to more than {MOST_NUMBERS:,} numbers", "cut it to the flight first")
        frame = pq.read_table(path).to_pandas()
    except MissionError:
        raise
    except Exception:  # pyarrow's errors have no class of their own, and a damaged file may raise any of them
        raise _fault(path, "is not a Parquet file, or is damaged", "write it again, or give a CSV file") from None
    if len(frame) < 2 or not len(frame.columns):
        raise _fault(path, f"holds {len(frame)} rows", "a log has two rows or more")
    columns = {str(name): _column(frame[name].to_numpy()) for name in frame.columns}
    return RawTable(columns, np.arange(1, len(frame) + 1), str(path), ())


def _column(values: np.ndarray) -> np.ndarray:
    """Return a column in memory as floats, dates as seconds since 1970, or as text."""
    if values.dtype.kind in "Mm":
        missing = np.isnat(values)
        return np.where(missing, np.nan, values.astype(f"{values.dtype.kind}8[ns]").astype(np.int64) * 1e-9)
    if values.dtype.kind in "fiub":
        numbers = values.astype(float)
        return np.where(np.isfinite(numbers), numbers, np.nan)
    return _typed(pd.Series(values).astype("object").where(pd.notna(values), "").astype(str))[0]


# ---------------------------------------------------------------- CSV


def _csv(path: Path) -> RawTable:
    _checked(path)
    text, found = _text(path)
    ended = text.endswith("\n")
    kept = [(number, bare) for number, line in enumerate(text.split("\n"), start=1) if (bare := line.partition("#")[0].strip(" \r\x0b\x0c")) and _is_data(bare)]
    if len(kept) < 2:
        raise _fault(path, f"holds {counted(len(kept), 'row')}", "a log has a header and two rows or more")
    mark = _mark([line for _, line in kept[:_LOOKED_AT]])
    head, names, units = _header(kept, mark)
    rows = kept[head:]
    if not rows:
        raise _fault(path, "holds no rows of numbers", "a log has a header and two rows of numbers or more")
    if len(rows) < 2:
        raise _fault(path, f"holds {counted(len(rows), 'row')} below its header", "a log has two rows or more")
    return _assembled(path, rows, names, units, mark, ended, found)


def _text(path: Path) -> tuple[str, list[Finding]]:
    raw, found = path.read_bytes(), []
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        text = raw.decode("utf-16", errors="replace")
    else:
        zeros = raw.count(b"\0")
        if zeros:
            raw = raw.replace(b"\0", b"")
            found.append(
                Finding("bytes", f"{counted(zeros, 'zero byte')} in the file, as a card leaves where power failed while it wrote", "dropped", count=zeros)
            )
        try:
            text = raw.decode("utf-8-sig")
        except UnicodeDecodeError:
            text = raw.decode("latin-1")
            found.append(Finding("bytes", "the file is not UTF-8 text and is read as Latin-1; names of columns may look odd", "kept"))
    return text.replace("\r\n", "\n").replace("\r", "\n"), found


def _is_data(line: str) -> bool:
    return not line.startswith(_COMMENTS) and line.strip(",;\t| ") != ""


def _mark(lines: Sequence[str]) -> str | None:
    """Return what parts the columns: what stands in most lines in the same number; None for blanks."""
    last = lines[len(lines) // 2 :]
    for mark in ";\t|,":
        counts = [line.count(mark) for line in last]
        if min(counts) > 0 or (max(counts) > 0 and np.median(counts) > 0):
            return mark
    return None


def split(line: str, mark: str | None) -> list[str]:
    """Return the cells of a line."""
    return [cell.strip().strip('"').strip() for cell in line.split(mark)]


def _header(kept: list[tuple[int, str]], mark: str | None) -> tuple[int, list[str], dict[str, str]]:
    """Return where the rows begin, the names of the columns, and units that stand in a line of their own."""
    cells = [split(line, mark) for _, line in kept[:_LOOKED_AT]]
    width = int(np.median([len(row) for row in cells[len(cells) // 2 :]]))
    first = next((k for k, row in enumerate(cells) if _numbers(row) and abs(len(row) - width) <= 1), None)
    if first is None or first == 0:
        return (0 if first == 0 else len(kept)), [str(k + 1) for k in range(width)], {}
    above = [k for k in range(first) if len(cells[k]) >= max(width - 1, 1)]
    if not above:
        return first, [str(k + 1) for k in range(width)], {}
    named = above[-2] if len(above) > 1 and above[-1] == above[-2] + 1 and _are_units(cells[above[-1]]) else above[-1]
    names = _unique(cells[named])
    return first, names, dict(zip(names, cells[above[-1]])) if named != above[-1] else {}


def _numbers(row: Sequence[str]) -> bool:
    """Tell whether a row is data: a third of its cells are numbers or more."""
    return sum(_is_number(cell) for cell in row) >= max(1, len(row) / 3)


def _is_number(cell: str) -> bool:
    try:
        float(cell.replace(",", ".", 1))
    except ValueError:
        return False
    return True


def _are_units(row: Sequence[str]) -> bool:
    """Tell whether a row below the names holds units: short words, with one that only a unit has."""
    words = [cell.strip("()[]") for cell in row if cell]
    return bool(words) and max(map(len, words)) <= 12 and any(word.lower() in _UNIT_WORDS for word in words)


_UNIT_WORDS = {"s", "ms", "us", "m", "ft", "g", "m/s", "m/s^2", "m/s2", "deg", "deg/s", "dps", "rad", "rad/s", "pa", "hpa", "mbar", "degc", "c", "°c", "v"}


def _unique(names: Sequence[str]) -> list[str]:
    """Return names that differ; an empty one gets its number, one that comes again its number behind."""
    found: list[str] = []
    for k, name in enumerate(names):
        name = name or str(k + 1)
        found.append(f"{name} ({k + 1})" if name in found else name)
    return found


def _assembled(path: Path, rows, names: list[str], units: dict[str, str], mark: str | None, ended: bool, found: list[Finding]) -> RawTable:
    cells = [split(line, mark) for _, line in rows]
    lines = np.array([number for number, _ in rows])
    width = len(names)
    again = np.array([row[:width] == names for row in cells])
    if again.any():
        found.append(
            Finding(
                "header", f"the header stands {counted(int(again.sum()), 'time')} more in the file: the logger began anew", "dropped", count=int(again.sum())
            )
        )
    lengths = np.array([len(row) - (len(row) > width and not any(row[width:])) * (len(row) - width) for row in cells])
    cut = not ended and lengths[-1] < width
    whole = lengths == width if mark != "," else lengths == width
    bad = ~whole & ~again
    if cut:
        found.append(Finding("row", f"the last row, line {lines[-1]}, is cut: it has {lengths[-1]} of {width} cells", "dropped", count=1))
        bad[-1] = False
    if bad.any():
        which = ", ".join(map(str, lines[bad][:5])) + (" ..." if bad.sum() > 5 else "")
        found.append(
            Finding("row", f"{counted(int(bad.sum()), 'row')} of another width than the header's {width} cells (line {which})", "dropped", count=int(bad.sum()))
        )
    good = whole & ~again
    if good.sum() < 2:
        raise _fault(path, "has no two rows of the header's width", f"the header has {width} columns: {', '.join(names[:8])}")
    table = [row[:width] for row, keep in zip(cells, good) if keep]
    columns: dict[str, np.ndarray] = {}
    for k, name in enumerate(names):
        values, strange = _typed(pd.Series([row[k] for row in table], dtype=object))
        if strange:
            found.append(Finding("cell", f"{counted(strange, 'cell')} of the column {shown(name)} that hold no number", "dropped", count=strange))
        if values.dtype.kind != "f" or np.isfinite(values).any():
            columns[f"{name} ({units[name].strip('()[]')})" if units.get(name) else name] = values
    if not columns:
        raise _fault(path, "holds no numbers", "give a log with a header that names its columns")
    return RawTable(columns, lines[good], str(path), tuple(found))


def _typed(cells: pd.Series) -> tuple[np.ndarray, int]:
    """Return cells as floats, NaN where missing, and how many hold something else; as text where most of them are no numbers."""
    words = cells.str.strip()
    missing = words.str.lower().isin(MISSING)
    numbers = pd.to_numeric(words.where(~missing, "nan"), errors="coerce")
    comma = numbers.isna() & ~missing & words.str.fullmatch(_DECIMAL_COMMA)
    if comma.any():
        numbers = numbers.where(~comma, pd.to_numeric(words.where(comma, "nan").str.replace(",", ".", regex=False), errors="coerce"))
    strange = int((numbers.isna() & ~missing).sum())
    if strange * 2 > len(words) - int(missing.sum()):
        return words.to_numpy(dtype=str), 0
    values = numbers.to_numpy(dtype=float, copy=True)
    values[~np.isfinite(values)] = np.nan
    return values, strange


# ---------------------------------------------------------------- columns by name


def bare_name(heading: str) -> tuple[str, str]:
    """Return (name, unit) of a heading such as "baro (ft)"; "" where it has no unit."""
    found = _UNITS.search(heading)
    return (heading[: found.start()].strip(), found[1].strip()) if found else (heading.strip(), "")


def heading_of(table: RawTable, name: str, key: str) -> str:
    """Return the heading that a column map means by a name: as it stands, without its unit, in any case, or its number.

    Raises MissionError where there is none.
    """
    headings = list(table.columns)
    if name in headings:
        return name
    for same in (lambda one: one.lower(), lambda one: bare_name(one)[0].lower()):
        near = [one for one in headings if same(one) == same(name)]
        if len(near) == 1:
            return near[0]
        if near:
            raise MissionError([Fault(table.source, key, name, f"{shown(name)} stands for {' and '.join(near)}", "write the whole heading")])
    if name.isdigit() and 1 <= int(name) <= len(headings):
        return headings[int(name) - 1]
    raise MissionError([Fault(table.source, key, name, f"there is no column {shown(name)}", suggestion(name, headings, "columns"))])
