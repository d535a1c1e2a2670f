"""Files of logs as loggers, radios and spreadsheets leave them: all say the same log, what did not read is said."""

from __future__ import annotations

import sys

import log_signals as ls
import numpy as np
import pandas as pd
import pytest

import sixdof

read_log = sixdof.postflight.read_log
COLUMNS = ls.columns()


@pytest.fixture(scope="module")
def rows():
    return pd.DataFrame(ls.table(rate=50.0, end=14.0))


@pytest.fixture(scope="module")
def plain(rows):
    return read_log(rows, COLUMNS)


def same(log, plain, but=()):
    """Hold that two logs say the same: all readings to the rounding of text, and findings but those of the kinds `but`."""
    assert log["time"].size == plain["time"].size
    for name in ("height", "velocity", "specific_force", "body_rate"):
        np.testing.assert_allclose(log[name].values, plain[name].values, rtol=0.0, atol=1e-9)
    assert set(log["finding_kind"].values if "finding" in log else ()) <= {*but, *(plain["finding_kind"].values if "finding" in plain else ())}


def text_of(rows: pd.DataFrame, mark: str = ",", **how) -> str:
    return rows.to_csv(index=False, sep=mark, **how)


def write(tmp_path, text, encoding="utf-8"):
    path = tmp_path / "log.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode(encoding))
    return path


@pytest.mark.parametrize(
    ("name", "change"),
    [
        ("plain", lambda t: t),
        ("windows line ends", lambda t: t.replace("\n", "\r\n")),
        ("byte-order mark", lambda t: "\ufeff" + t),
        ("comments", lambda t: "# flight of the day\n// board 2\n\n" + t.replace("\n", " # ok\n", 3)),
        ("blank lines", lambda t: t.replace("\n", "\n\n")),
        ("a column without a name or a number", lambda t: t.replace("\n", ",\n")),
        ("quoted names", lambda t: t.replace("alt", '"alt"', 1)),
        ("a preamble", lambda t: "Flight computer log\nboard: 2\n" + t),
        ("blanks beside commas", lambda t: t.replace(",", " , ")),
    ],
)
def test_csv__reads_as_the_same_log(name, change, rows, plain, tmp_path):
    same(read_log(write(tmp_path, change(text_of(rows))), COLUMNS), plain)


def test_csv__semicolons_with_decimal_commas(rows, plain, tmp_path):
    same(read_log(write(tmp_path, text_of(rows, ";", decimal=",")), COLUMNS), plain)


@pytest.mark.parametrize("mark", ["\t", "|", " "])
def test_csv__other_marks(mark, rows, plain, tmp_path):
    same(read_log(write(tmp_path, text_of(rows, mark)), COLUMNS), plain)


def test_csv__utf_16_of_a_spreadsheet(rows, plain, tmp_path):
    same(read_log(write(tmp_path, text_of(rows), "utf-16"), COLUMNS), plain)


def test_csv__units_in_a_line_of_their_own(rows, tmp_path):
    head, rest = text_of(rows).split("\n", 1)
    log = read_log(write(tmp_path, f"{head}\ns,,ft,ft/s,g,g,g,deg/s,deg/s,deg/s\n{rest}"), COLUMNS)
    assert float(log["height"].max()) == pytest.approx(0.3048 * rows["alt"].max())
    assert float(log["specific_force"].max()) == pytest.approx(9.80665 * rows["ax"].max())


def test_csv__without_a_header_by_numbers(rows, plain, tmp_path):
    numbers = {name: str(k + 1) for k, name in enumerate(rows)}
    columns = ls.columns()
    columns["clock"]["column"], columns["counter"]["column"] = numbers["t"], numbers["n"]
    for one in columns["read"].values():
        one.update({"column": numbers[one["column"]]} if "column" in one else {"columns": [numbers.get(name, "") for name in one["columns"]]})
    same(read_log(write(tmp_path, text_of(rows).split("\n", 1)[1]), columns), plain)


def test_cut_last_line__is_left_out_and_said(rows, plain, tmp_path):
    log = read_log(write(tmp_path, text_of(rows)[:-40]), COLUMNS)
    assert log["time"].size == plain["time"].size - 1
    assert "the last row, line 701, is cut" in log["finding"].values[0]


def test_broken_rows__are_left_out_and_said(rows, tmp_path):
    lines = text_of(rows).split("\n")
    lines[100] = lines[100][: len(lines[100]) // 2]
    lines[200] = lines[200] + lines[201]
    log = read_log(write(tmp_path, "\n".join(lines)), COLUMNS)
    assert log["time"].size == len(rows) - 2
    said = next(text for text in log["finding"].values if "another width" in text)
    assert "2 rows" in said and "line 101, 201" in said and said.endswith("dropped.")


def test_header_again__means_the_logger_began_anew(rows, plain, tmp_path):
    lines = text_of(rows).split("\n")
    log = read_log(write(tmp_path, "\n".join([*lines[:300], lines[0], *lines[300:]])), COLUMNS)
    same(log, plain, but=("header",))
    assert "the header stands 1 time more" in log["finding"].values[0]


def test_zero_bytes_and_odd_letters__are_said(rows, plain, tmp_path):
    raw = text_of(rows.rename(columns={"gx": "gx°"})).encode("latin-1") + b"\0" * 512
    columns = ls.columns(body_rate={"columns": ["gx°", "gy", "gz"]})
    log = read_log(write(tmp_path, raw), columns)
    same(log, plain, but=("bytes",))
    assert "512 zero bytes" in " ".join(log["finding"].values) and "Latin-1" in " ".join(log["finding"].values)


@pytest.mark.parametrize("word", ["", "nan", "NaN", "--", "null", "N/A", "inf"])
def test_missing_values__stay_missing(word, rows, tmp_path):
    cells = rows.astype(object)
    cells.loc[50:59, "alt"] = word
    log = read_log(write(tmp_path, text_of(cells)), COLUMNS)
    assert np.isnan(log["height"].values[50:60]).all() and np.isfinite(log["height"].values[[49, 60]]).all()


def test_cells_that_are_no_numbers__are_counted(rows, tmp_path):
    cells = rows.astype(object)
    cells.loc[50:52, "alt"] = "3#?"
    path = write(tmp_path, text_of(cells).replace("3#?", "3?4"))
    assert "dropped" in (said := read_log(path, COLUMNS)["finding"].values[0]) and "3 cells of the column" in said


def test_rows_of_different_kinds_at_one_time__are_joined(rows, plain):
    fast, slow = rows.drop(columns="alt"), rows[["t", "n", "alt"]]
    both = pd.concat([fast, slow]).sort_values("t", kind="stable")
    same(read_log(both, COLUMNS), plain)


def test_readings_that_the_logger_holds__are_taken_once(rows):
    held = rows.copy()
    held["alt"] = held["alt"].to_numpy()[(np.arange(len(rows)) // 5) * 5]
    log = read_log(held, COLUMNS)
    assert np.isfinite(log["height"]).sum() == len(rows) // 5
    assert (np.flatnonzero(np.isfinite(log["height"].values)) % 5 == 0).all()
    assert "each reading of height stands in 5 rows" in log["finding"].values[0]


@pytest.mark.parametrize("clock", ["text", "date"])
def test_clock__of_times_in_words(clock, rows, plain):
    stamps = pd.to_datetime("2031-04-01T12:00:00Z") + pd.to_timedelta(rows["t"], unit="s")
    words = stamps.dt.strftime("%H:%M:%S.%f") if clock == "text" else stamps.dt.strftime("%Y-%m-%dT%H:%M:%S.%fZ")
    log = read_log(rows.assign(t=words), ls.columns(clock={"column": "t", "unit": "text"}))
    np.testing.assert_allclose(log["time"].values, plain["time"].values, atol=2e-6)  # microseconds in the words


def test_parquet__is_the_same_log(rows, plain, tmp_path):
    pytest.importorskip("pyarrow")
    rows.to_parquet(tmp_path / "log.parquet")
    same(read_log(tmp_path / "log.parquet", COLUMNS), plain)


def test_parquet__damaged_or_without_its_library_is_one_sentence(rows, tmp_path, monkeypatch):
    (tmp_path / "log.parquet").write_bytes(b"PAR1 nothing")
    if "pyarrow" in sys.modules or __import__("importlib.util").util.find_spec("pyarrow"):
        with pytest.raises(sixdof.MissionError, match="not a Parquet file, or is damaged"):
            read_log(tmp_path / "log.parquet", COLUMNS)
    monkeypatch.setitem(sys.modules, "pyarrow.parquet", None)
    with pytest.raises(sixdof.MissionError, match=r"read by pyarrow; pip install 'sixdof\[parquet\]'"):
        read_log(tmp_path / "log.parquet", COLUMNS)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (b"", "holds 0 rows"),
        (b"t,alt\n0.0,1.0\n", "holds 1 row below its header"),
        (b"t,alt\nhello,you\nand,me\n", "holds no rows of numbers"),
        (b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 4, "holds"),
        (b"time,height\n0.0,1.0\n1.0,2.0\n", "there is no column"),
    ],
)
def test_file_that_is_no_log__is_one_sentence(text, said, tmp_path):
    with pytest.raises(ValueError, match=said) as refused:
        read_log(write(tmp_path, text), COLUMNS)
    assert len(str(refused.value).splitlines()) == 1


def test_files_that_are_not_read__say_why(tmp_path, monkeypatch):
    with pytest.raises(sixdof.MissionError, match="there is no such file"):
        read_log(tmp_path / "none.csv", COLUMNS)
    with pytest.raises(sixdof.MissionError, match="is a folder"):
        read_log(tmp_path, COLUMNS)
    monkeypatch.setattr("sixdof.postflight.logs.columns.table_file.MOST_BYTES", 100.0)
    with pytest.raises(sixdof.MissionError, match="more than the 0 MB"):
        read_log(write(tmp_path, b"t,alt\n" + b"1.0,2.0\n" * 100), COLUMNS)
    with pytest.raises(TypeError, match="must be the path of a CSV or Parquet file"):
        read_log(3, COLUMNS)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"clock": None}, "clock"),
        ({"clock": {"column": "t", "unit": "parsecs"}}, "unit"),
        ({"height": {"unit": "kg"}}, "unit"),
        ({"height": {"column": "altt"}}, 'did you mean "alt"'),
        ({"height": {"axes": "+x +y +z"}}, "height has no axes"),
        ({"body_rate": {"axes": "+x +y -z"}}, "mirror image"),
        ({"body_rate": {"axes": "+x +x +z"}}, "does not name each axis"),
        ({"body_rate": {"columns": ["gx", "gy"]}}, "it takes 3"),
        ({"body_rate": {"limit": "2000 kg"}}, "limit"),
        ({"height": {"sauce": "barometer"}}, 'unknown key; did you mean "source"'),
        ({"height": {"source": "crystal ball"}}, "is not one of the choices"),
        ({"hight": {}}, "unknown key"),
    ],
)
def test_column_map__with_a_fault_is_one_sentence_with_its_place(change, said, rows):
    columns = ls.columns(**{name: value for name, value in change.items() if value is not None})
    columns = {name: value for name, value in columns.items() if name not in change or change[name] is not None}
    with pytest.raises(sixdof.MissionError, match=said):
        read_log(rows, columns)


def test_column_map__of_a_file(rows, plain, tmp_path):
    import tomli_w

    (tmp_path / "map.toml").write_text(tomli_w.dumps(COLUMNS))
    same(read_log(rows, tmp_path / "map.toml"), plain)
    (tmp_path / "map.toml").write_text("clock = {column = 't'")
    with pytest.raises(sixdof.MissionError, match="map.toml: is not valid TOML"):
        read_log(rows, tmp_path / "map.toml")
