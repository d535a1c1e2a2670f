"""The keys of the mission file explained: nothing is without a meaning, a unit or an example that loads."""

from __future__ import annotations

import math
import re
import tomllib

import pytest
from pydantic import ValidationError

from sixdof.mission.explain.keys import keys
from sixdof.mission.explain.walk import NEEDED, all_tables, as_toml, spelled
from sixdof.mission.units import parse

TABLES = {table.name: table for table in all_tables()}
VALUES = [(table.name, key) for table in all_tables() for key in table.keys if "table" not in key.kind]


def named(entry):
    return f"{entry[0]}.{entry[1].name}" if isinstance(entry, tuple) else None


@pytest.mark.parametrize("entry", [(table.name, key) for table in all_tables() for key in table.keys], ids=named)
def test_key__has_a_meaning_and_an_example(entry):
    name, key = entry
    assert key.meaning and key.example, f"{name}.{key.name}: write Field(description=..., examples=[...])"
    assert not key.meaning.endswith("."), "a line of a table, no sentence"
    if "number" in key.kind and "whole" not in key.kind:
        assert key.unit or "[" in key.kind or _is_pure(name, key), f"{name}.{key.name} has no unit"


def _is_pure(name, key):
    """Whether the key's type says that it is a pure number."""
    from sixdof.mission.explain.walk import form_of

    info = TABLES[name].kind.model_fields[key.name]
    return form_of(info.annotation, tuple(info.metadata)).unit == "1"


@pytest.mark.parametrize("name", TABLES)
def test_examples__all_of_a_table_are_valid_each_for_its_key(name):
    table = TABLES[name]
    written = tomllib.loads("\n".join(key.example for key in table.keys if "table" not in key.kind))
    try:
        table.kind.model_validate(written)
    except ValidationError as error:
        # tables in it are missing here, and not all of its examples go together: that is no fault of one example
        wrong = [one for one in error.errors() if one["type"] not in ("missing", "problems")]
        assert not wrong, wrong


def test_defaults__are_what_loading_fills_in():
    """Every default of a quantity, read back from the page, is the default of the class."""
    read = 0
    for name, key in VALUES:
        info = TABLES[name].kind.model_fields[key.name]
        if key.kind == "number" and key.default not in (NEEDED, "") and key.unit:
            unit = next(note for note in info.metadata if isinstance(note, str))
            assert parse(key.default, unit) == pytest.approx(info.default, rel=1e-3), (name, key.name)
            read += 1
    assert read > 60


def test_needed__keys_cannot_be_left_out():
    for table in TABLES.values():
        try:
            table.kind.model_validate({})
        except ValidationError as error:
            missing = {one["loc"][0] for one in error.errors() if one["type"] == "missing"}
        else:
            missing = set()
        kind = {"kind"} if table.name.startswith("stage.part.") and table.name.count(".") == 2 else set()  # which class it is, for a file
        assert missing | kind == {key.name for key in table.keys if key.default == NEEDED}, table.name


@pytest.mark.parametrize("word", ["fins", "stage.part.fins", "[[stage.part]]", "autopilot.yaw", "[motor.NAME]", "wind", "mission"])
def test_keys__are_found_by_every_word_a_user_has(word):
    if word == "[[stage.part]]":
        assert "kind" in str(keys("stage.part.fins"))
        return
    assert str(keys(word)).startswith(keys(word).tables[0].heading)


def test_keys__of_a_key_are_told_in_each_table_that_has_it():
    page = keys("drag_coefficient")
    assert [table.name for table in page.tables] == ["stage.part.parachute"] and len(page.tables[0].keys) == 1
    assert len(keys("station").tables) > 4
    assert keys("rail.length").tables[0].name == "rail"


def test_keys__all_tables_are_listed_with_a_line_each():
    text = str(keys())
    assert all(name in text for name in TABLES)
    assert max(map(len, text.splitlines())) <= 120


def test_keys__page_fits_and_holds_unit_range_and_choices():
    text = str(keys("rail"))
    assert "needed" in text and "0 deg to 90 deg" in text and 'elevation = "' in text
    assert "tangent-ogive" in str(keys("nose")) and 'default "tangent-ogive"' in str(keys("nose"))
    for name in TABLES:
        assert max(map(len, str(keys(name)).splitlines())) <= 120, name


def test_keys__html_has_a_row_a_key_and_escapes():
    html = keys("fins")._repr_html_()
    assert html.count("<tr>") == len(TABLES["stage.part.fins"].keys) + 1
    assert "kind = &quot;fins&quot;" in html and "<table>" in keys()._repr_html_()


def test_keys__kinds_of_part_are_named_where_parts_are():
    (part,) = keys("stage.part").tables[0].keys
    assert part.example == "[[stage.part]]" and part.choices == tuple(name.rpartition(".")[2] for name in TABLES if re.fullmatch(r"stage\.part\.\w+", name))


def test_keys__dispersible_quantities_are_listed_with_their_units():
    text = str(keys("disperse"))
    assert "wind.speed" in text and "motor.impulse" in text and "m/s" in text


@pytest.mark.parametrize("word, near", [("fns", "fins"), ("[air.wnd]", "air.wind"), ("elevatoin", "elevation")])
def test_keys__a_misspelt_word_suggests(word, near):
    with pytest.raises(ValueError, match=f'did you mean "{near}"'):
        keys(word)
    with pytest.raises(ValueError, match='"span"; it is called "semispan" now'):
        keys("span")
    with pytest.raises(TypeError, match="name of a table"):
        keys(3)


@pytest.mark.parametrize(
    "number, unit, text", [(20e-6, "m", "20 um"), (0.008, "m", "8 mm"), (0.0, "rad", "0 deg"), (math.pi / 2, "rad", "90 deg"), (101325.0, "Pa", "101.3 kPa")]
)
def test_spelled__as_people_read_it(number, unit, text):
    assert spelled(number, unit) == text


def test_as_toml__reads_back():
    for value in ("75 mm", True, 0.3, ["0 s", 'a "b"'], {"p": 0.3, "q": {"r": [1, 2]}}):
        assert tomllib.loads(f"x = {as_toml(value)}")["x"] == value
