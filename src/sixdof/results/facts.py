"""What one flight leaves: arrays, and what their columns are called, before a Dataset is made of them."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from sixdof.results.registry import BODY, CANOPY, JOINT, RULE

BODY_FACTS, JOINT_FACTS, RULE_FACTS, CANOPY_FACTS = (tuple(variable.name for variable in group) for group in (BODY, JOINT, RULE, CANOPY))


class Flown(NamedTuple):
    """What one flight leaves.

    events : (bodies, events, EVENT_COLUMNS). summary : (SUMMARY,) of the front body. passed : (waypoints, 2). body : (bodies,
    BODY_FACTS). joint : (joints, JOINT_FACTS). rule : (rules, RULE_FACTS). canopy : (canopies, CANOPY_FACTS). failure :
    (failures,). logs : a table for each body (`wide_log`), empty where nothing was logged. gaps : (n, 3) for each joint: time, gap
    along the axis, clearance.
    """

    status: int
    time: float
    events: np.ndarray
    summary: np.ndarray
    passed: np.ndarray
    body: np.ndarray
    joint: np.ndarray
    rule: np.ndarray
    canopy: np.ndarray
    failure: np.ndarray
    logs: list[np.ndarray]
    gaps: list[np.ndarray]
