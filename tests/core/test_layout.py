"""The published layouts: numbers that laws written in C rely on, and tables whose columns follow each other without a gap."""

from __future__ import annotations

import pytest

from sixdof.core import columns, layout
from sixdof.core.columns import Column, labels, width
from sixdof.core.computer import columns as computer_columns
from sixdof.core.layout import Commanded, Demand, Sensed

TABLES = [
    table
    for module in (columns, computer_columns, layout)
    for table in vars(module).values()
    if isinstance(table, type) and issubclass(table, Column) and table is not Column
]
# what a law written in C reads and writes, by number
BY_NUMBER = {
    Sensed.TIME: 0,
    Sensed.HEIGHT: 4,
    Sensed.VELOCITY_UP: 7,
    Sensed.Q_W: 8,
    Sensed.RATE_X: 12,
    Sensed.SPECIFIC_FORCE_X: 15,
    Sensed.DYNAMIC_PRESSURE: 18,
    Sensed.FRAME_W: 20,
    Sensed.COMMANDED_W: 24,
    Sensed.COMMANDED_RATE_X: 28,
    Sensed.PERIOD: 31,
    Sensed.WAYPOINT: 36,
    Sensed.BARO_HEIGHT: 37,
    Sensed.FIX_AGE: 44,
    Sensed.FIELD_Z: 47,
}


def test_sensed__numbers_stay():
    assert {column.label: int(column) for column in BY_NUMBER} == {column.label: number for column, number in BY_NUMBER.items()}
    assert len(layout.SENSED) == 48


def test_commands__numbers_stay():
    assert labels(Commanded) == ("q_w", "q_x", "q_y", "q_z", "rate_x", "rate_y", "rate_z")
    assert labels(Demand)[:9] == ("roll", "pitch", "yaw", "direct", "enable", "deploy", "separate", "ignite", "fin_1") and width(Demand) == 16


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.__name__)
def test_table__columns_follow_each_other(table):
    assert [int(column) for column in table] == [sum(c.count for c in list(table)[:i]) for i in range(len(table))]
    assert width(table) == int(list(table)[-1]) + list(table)[-1].count


@pytest.mark.parametrize("table", [Sensed, Commanded, Demand, layout.EventColumn, layout.Outcome], ids=lambda table: table.__name__)
def test_table__says_what_its_columns_mean(table):
    assert all(column.unit and column.meaning for column in table)


def test_block__is_followed_by_the_next_column():
    assert (int(columns.Handover.POSITION), int(columns.Handover.VELOCITY), int(columns.Handover.ATTITUDE), int(columns.Handover.RATE)) == (3, 6, 9, 13)
    assert int(computer_columns.Noticed.BURNOUT) - int(computer_columns.Noticed.IGNITION) == computer_columns.MOST_BURNS == 8
