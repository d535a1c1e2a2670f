"""What a choice is made of as variables of a Dataset: of every motor, of the motors flown, of the measurements that would change the answer."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import xarray as xr

from sixdof.mission.mission import Mission
from sixdof.study.motor_choice.deciding import STANDINGS, UNFIT, UNKNOWN
from sixdof.study.motor_choice.facts import column_entries, fact_entries
from sixdof.study.motor_choice.fit import Fit
from sixdof.study.motor_choice.measurement import MEASURABLE, Flip
from sixdof.study.motor_choice.settings import Setting, setting_entries
from sixdof.study.motor_choice.thrust_to_weight import RATIOS, thrust_to_weight


def motor_sheet(fits: Sequence[Fit], columns: Mapping[str, Mapping[str, Any]]) -> xr.Dataset:
    """Return what is known of every motor before anything is flown, dim motor: fit, data sheet, free columns."""
    names = [fit.name for fit in fits]
    entries = {
        "fits": ([not fit.reasons for fit in fits], {"long_name": "whether the motor goes into the mount"}),
        "fit_reason": (["; ".join(fit.reasons) for fit in fits], {"long_name": "why the motor does not go into the mount"}),
        "adapter": ([fit.adapter for fit in fits], {"long_name": "adapter that the motor needs"}),
        "adapter_mass": ([fit.adapter_mass for fit in fits], {"units": "kg", "long_name": "mass of the adapters"}),
        "room_ahead": ([fit.room_ahead for fit in fits], {"units": "m", "long_name": "room from the motor's fore end to what is ahead of it"}),
        "fin_clearance": ([fit.fin_clearance for fit in fits], {"units": "m", "long_name": "radial room between the mount and the wall beside fins"}),
        "vehicle_impulse": ([fit.vehicle_impulse for fit in fits], {"units": "N s", "long_name": "total impulse of all motors of the vehicle"}),
        "vehicle_propellant": ([fit.vehicle_propellant for fit in fits], {"units": "kg", "long_name": "propellant of all motors of the vehicle"}),
    }
    found = {name: ("motor", np.array(values), attrs) for name, (values, attrs) in entries.items()} | fact_entries([fit.motor for fit in fits])
    found |= column_entries(columns, names, set(found))
    return xr.Dataset(found, {"motor": ("motor", names, {"long_name": "motor"})})


def with_standings(sheet: xr.Dataset, told: Mapping[str, tuple[str, str]]) -> xr.Dataset:
    """Return the sheet with what became of every motor and why. told : motor flown -> (standing, why)."""
    known = sheet["motor_class"].values.astype(str)
    rows = [
        told.get(str(name), (UNFIT, f"does not fit: {reason}") if of else (UNKNOWN, f"not known: {reason}"))
        for name, reason, of in zip(sheet["motor"].values, sheet["fit_reason"].values, known, strict=True)
    ]
    flag = {"units": "1", "flag_values": np.arange(len(STANDINGS), dtype=np.int8), "flag_meanings": " ".join(STANDINGS)}
    standing = np.array([STANDINGS.index(word) for word, _ in rows], dtype=np.int8)
    return sheet.assign(
        standing=("motor", standing, {"long_name": "what became of the motor", **flag}), why=("motor", [why for _, why in rows], {"long_name": "why it did"})
    )


def ratio_entries(missions: Mapping[str, Mission], each: Mapping[str, xr.Dataset]) -> dict[str, tuple]:
    """Return thrust over weight of every flight of every motor flown, (variant, flight)."""
    rows = [thrust_to_weight(missions[name], ds) for name, ds in each.items()]
    return {name: (("variant", "flight"), np.array([row[name] for row in rows]), {"units": "1", "long_name": text}) for name, text in RATIOS.items()}


def settings_sheet(found: list[list[Setting]]) -> xr.Dataset:
    """Return the settings of every motor flown, (variant, setting); nothing where there are none."""
    settings, paths = setting_entries(found)
    return (
        xr.Dataset(settings, {"setting": ("setting", np.array(paths, dtype=str), {"long_name": "setting, as Mission.change takes it"})})
        if paths
        else xr.Dataset()
    )


def flip_entries(flips: Sequence[Flip]) -> xr.Dataset:
    """Return the measurements that would change the answer, dim measurement, the likeliest first; nothing where there are none."""
    if not flips:
        return xr.Dataset()
    entries = {
        "flip_value": ([flip.value for flip in flips], "number from which another motor is the best, or a verdict turns", "as flip_units"),
        "flip_middle": ([flip.probe.middle for flip in flips], "median of what is drawn", "as flip_units"),
        "flip_share": ([flip.share for flip in flips], "share of the draws that lie there or beyond", "1"),
        "flip_below": ([flip.below for flip in flips], "whether the answer changes below that number", "1"),
        "flip_flown": ([flip.flown for flip in flips], "whether flights with the number measured bear it out", "1"),
    }
    found = {name: ("measurement", np.array(values), {"long_name": text, "units": units}) for name, (values, text, units) in entries.items()}
    texts = {
        "flip_to": ([flip.to for flip in flips], "best motor there"),
        "flip_verdict": ([flip.verdict for flip in flips], "verdict that turns there, of a measurement that leaves the best motor as it is"),
        "flip_units": ([flip.probe.units for flip in flips], "unit of the number"),
        "flip_how": ([MEASURABLE[flip.probe.stem] for flip in flips], "how it is measured"),
    }
    found |= {name: ("measurement", np.array(values, dtype=str), {"long_name": text}) for name, (values, text) in texts.items()}
    return xr.Dataset(found, {"measurement": ("measurement", [str(flip.probe) for flip in flips], {"long_name": "input that is measured"})})


def by_motor(variable: xr.DataArray) -> dict[str, float]:
    return {str(name): float(value) for name, value in zip(variable["motor"].values, variable.values, strict=True) if math.isfinite(value)}
