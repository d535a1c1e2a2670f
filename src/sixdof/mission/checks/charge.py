"""Checks of ejection charges: what says one thing twice, a bay without a size, pins without a strength."""

from __future__ import annotations

import math
from collections.abc import Iterator

from sixdof.mission import tables
from sixdof.mission.checks.bodies import Stack
from sixdof.mission.checks.within import ROUNDING
from sixdof.mission.errors import Problem
from sixdof.mission.tables.base import check_of

MOST_POWDER = 0.1  # kg: no rocket of this size has a tenth of it


@check_of(tables.Charge)
def _charge(charge: tables.Charge) -> Iterator[Problem]:
    if charge.mass > MOST_POWDER:
        yield Problem(("mass",), charge.mass, f"{charge.mass:g} kg is no ejection charge", 'a bare number is in kg; write, for example, "1.2 g"')
    if (charge.free_volume is None) == (charge.bay_length is None):
        both = "both say how much room the gas has" if charge.bay_length is not None else "neither says how much room the gas has"
        yield Problem(("free_volume",), charge.free_volume, f"free_volume and bay_length: {both}", 'give one of them, such as free_volume = "0.6 L"')
    yield from _pins(charge)


def _pins(charge: tables.Charge) -> Iterator[Problem]:
    low, high, given = charge.pin_strength_low, charge.pin_strength_high, charge.pin_diameter is not None
    if charge.pins and (low is None or high is None) and not given:
        hint = 'give pin_strength_low and pin_strength_high, such as "110 N" and "160 N", or pin_diameter'
        yield Problem(("pins",), charge.pins, "the pins have no strength", hint)
    if not charge.pins and (low is not None or high is not None or given):
        yield Problem(("pins",), charge.pins, "there are no pins whose strength is told", "say how many pins there are, or remove it")
    if given and (low is not None or high is not None):
        yield Problem(("pin_diameter",), charge.pin_diameter, "the pins' strength is told twice", "give strengths, or the diameter with its material's")
    for key, least, most in (("pin_strength", low, high), ("pin_shear_strength", charge.pin_shear_strength_low, charge.pin_shear_strength_high)):
        if least is not None and most is not None and least > most:
            yield Problem((f"{key}_low",), least, f"{least:g} is more than {key}_high, {most:g}", "swap them")


@check_of(tables.Harness)
def _harness(harness: tables.Harness) -> Iterator[Problem]:
    if harness.charge is not None and harness.impulse > 0.0:
        message = "the impulse follows from the charge, and is given too"
        yield Problem(("impulse",), harness.impulse, message, "remove one of the two")


def charge_problems(mission: tables.MissionTables, number: int, stage: int, stack: Stack) -> Iterator[Problem]:
    """Yield what is wrong with the charge of a harness in the body it separates; paths start from the mission."""
    harness = mission.harness[number]
    charge = harness.charge
    if charge is None:
        return
    diameter, why = bay_diameter(mission.stage[stage], harness, stack, stage)
    if diameter is None:
        yield Problem(("harness", number, "charge", "bay_diameter"), None, why, 'write, for example, bay_diameter = "72 mm"')
    elif charge.bay_length is not None and not free_length(mission.stage[stage], harness) > ROUNDING:
        message = f"the canopies packed in the bay fill its {charge.bay_length:g} m"
        yield Problem(("harness", number, "charge", "bay_length"), charge.bay_length, message, "give the bay's whole length, or its free_volume")
    elif 0.25 * math.pi * diameter**2 < charge.vent_area:
        message = f"{charge.vent_area:g} m^2 is more than the bay's own section"
        yield Problem(("harness", number, "charge", "vent_area"), charge.vent_area, message, 'a bare number is in m^2; write, for example, "7 mm^2"')


def bay_diameter(stage: tables.Stage, harness: tables.Harness, stack: Stack, number: int) -> tuple[float | None, str]:
    """Return the inner diameter (m) of the bay that a harness's charge fills, or None and why it is not known."""
    given, at = harness.charge.bay_diameter, harness.separation_station
    section = next((one for one in stack.bodies[number] if one.x0 - ROUNDING <= at <= one.x1 + ROUNDING), None)
    if section is None:
        return given, "the harness separates no body"
    outer = 2.0 * section.radius(at)
    if given is not None:
        return (given, "") if given <= outer + ROUNDING else (None, f"{given:g} m is more than the body's {outer:g} m where it separates")
    wall = section.part.wall_thickness
    if wall is None or not outer > 2.0 * wall + ROUNDING:
        return None, f"the body at {at:g} m has no wall_thickness, so that the bay has no diameter"
    return outer - 2.0 * wall, ""


def free_length(stage: tables.Stage, harness: tables.Harness) -> float:
    """Return bay_length (m) less the packed length of the canopies whose middle lies in the bay."""
    at, length = harness.separation_station, harness.charge.bay_length
    canopies = [part for part in stage.part if part.kind == "parachute"]
    aft = next(part.station for part in canopies if part.name == harness.canopy) >= at
    fore, rear = (at, at + length) if aft else (at - length, at)
    return length - sum(part.packed_length for part in canopies if fore <= part.station <= rear)
