"""Pages of text: no line wider than the page, columns as wide as what stands in them."""

from __future__ import annotations

import pytest

from sixdof.mission.page import PAGE, indented, side_by_side, table, underlined, wrapped


def test_wrapped__keeps_every_word_within_the_page():
    text = " ".join(f"word-{k}" for k in range(120))
    lines = wrapped(text, "- ", "    ")
    assert max(map(len, lines)) <= PAGE and lines[0].startswith("- word-0 ") and all(line.startswith("    word-") for line in lines[1:])
    assert " ".join(line.strip("- ") for line in lines) == text  # no word is broken at its hyphen


def test_indented__one_paragraph_after_the_other():
    assert indented(["first", "second " * 20]) == ["  first", "  " + "second " * 16 + "second", "    " + "second second second"]
    assert indented([]) == []


@pytest.mark.parametrize("remark", [False, True])
def test_table__words_left_numbers_right(remark):
    lines = table([["", "s", "note"], ["long name", "1.25", "a"], ["x", "10", "bb"]], remark=remark)
    assert lines[0] == "                s  note"
    assert lines[1:] == (["  long name  1.25  a", "  x            10  bb"] if remark else ["  long name  1.25     a", "  x            10    bb"])


def test_table__a_short_row_runs_on_and_widens_nothing():
    assert table([["a", "1", "2"], ["b", "a sentence in place of numbers"]], set_in="") == ["a  1  2", "b  a sentence in place of numbers"]
    assert table([]) == []


def test_underlined__over_the_whole_table():
    assert underlined(["head", "longer line"]) == ["head", "-" * 11, "longer line"]


def test_side_by_side__what_has_no_room_goes_below_behind_the_same_head():
    columns = [[f"{k} " + "c" * 40, "v"] for k in range(4)]
    lines = side_by_side(["head", "row"], columns)
    assert len(lines) == 5 and lines[2] == "" and max(map(len, lines)) <= PAGE
    assert [line.split()[0] for line in lines if line] == ["head", "row", "head", "row"]
