"""Facts of motors and the builder's own columns."""

from __future__ import annotations

import pytest

from sixdof.study.motor_choice.facts import column_entries, columns_of, fact_entries
from sixdof.vehicle.motor import motor_class


def test_facts__class_level_and_power_of_the_demos_motors(stack_mission):
    """266, 520 and 690 N s lie in H (160 to 320), I (to 640) and J (to 1280) of NFPA 1125; the sustainer's 141 g of propellant are over 125 g."""
    found = fact_entries([stack_mission.motor[name] for name in ("playa-h", "mesa-i", "mesa-j")] + [None])
    assert found["motor_class"][1] == ["H", "I", "J", ""]
    assert found["certification_level"][1][:3] == [1, 1, 2]
    assert found["high_power"][1] == [True, True, True, False]


@pytest.mark.parametrize(("impulse", "letter"), [(160.0, "G"), (160.01, "H"), (640.0, "I"), (1280.01, "K"), (20480.0, "N"), (20480.01, "O"), (40960.0, "O")])
def test_class__at_the_limits_of_nfpa_1125(impulse, letter):
    assert motor_class(impulse)[0] == letter


def test_columns__of_a_csv_come_before_comments(tmp_path):
    (tmp_path / "a.csv").write_text("# price = 50\n# maker = nobody\ntime (s), thrust (N)\n0, 9\n1, 0\n")
    (tmp_path / "prices.txt").write_text("motor; price; availability\na; 48; in stock\nb; 61;\n")
    found = columns_of(tmp_path / "prices.txt", {"a": tmp_path / "a.csv"})
    assert found == {"a": {"price": 48.0, "maker": "nobody", "availability": "in stock"}, "b": {"price": 61.0}}
    entries = column_entries(found, ["a", "b", "c"], {"adapter"})
    assert entries["price"][1][:2].tolist() == [48.0, 61.0] and entries["availability"][1].tolist() == ["in stock", "", ""]


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ("price\n48\n", "there is no column motor"),
        ("motor, price\na, 1\na, 2\n", "'a' has two rows|\"a\" has two rows"),
        ("motor, price\na\n", "a row has 1 cells and the first line 2"),
        ({"a": 3}, "a dictionary for each motor"),
        ({"a": {"adapter_mass": "3 m"}}, "adapter_mass of a: "),
        ({"a": {"adapter_mass": "-3 g"}}, "below zero"),
        (4, "must be the path of a CSV or a dictionary"),
    ],
)
def test_columns__one_sentence_on_what_is_wrong(tmp_path, given, said):
    if isinstance(given, str):
        (tmp_path / "columns.csv").write_text(given)
        given = tmp_path / "columns.csv"
    with pytest.raises(ValueError, match=said):
        columns_of(given, {})


def test_columns__no_name_of_something_else():
    with pytest.raises(ValueError, match='"fits" is the name of something else in the result'):
        column_entries({"a": {"fits": 1.0}}, ["a"], {"fits"})
