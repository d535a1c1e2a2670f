"""Cautions about stages, canopies and rules: each check is a bool for every flight and a sentence."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import xarray as xr

from sixdof.mission.mission import Mission
from sixdof.study.reading.doings import doings
from sixdof.study.reading.page import worst
from sixdof.study.reading.practice import IGNITION_TILT
from sixdof.study.reading.result import apart, came_down, event_values, fact, mission_of, outcomes, pieces
from sixdof.study.report.staging import canopies_of, harness_strength

# of this project
ENERGY = 20.0  # J, of a piece without a canopy
RELEASE_SPEED = 30.0  # m/s, airspeed as a canopy is released
CLIMBING = 0.5  # s before apogee: a canopy released earlier opens in the climb
BY_DRAG, UNDER_CANOPY = 2, 1  # of `separation_cause` and `descent`

Checks = Iterator[tuple[np.ndarray, str]]


def staging_checks(ds: xr.Dataset) -> Checks:
    """Yield (bool (flights,), what to say) of each check; what did not happen is NaN and passes."""
    mission = mission_of(ds, "cautions") if "mission" in ds.attrs else None
    for k in range(ds.sizes.get("joint", 0)):
        yield from _separation(ds, k, mission)
        yield from _ignition(ds, k)
    for k in pieces(ds):
        yield from _landing(ds, k)
    if mission is not None:
        for k, (canopy, harness) in enumerate(canopies_of(mission)):
            yield from _canopy(ds, k, canopy, harness, mission)
    for k, name in enumerate(ds["rule"].values if "rule" in ds.dims else ()):
        yield from _rule(ds, k, str(name))


def _separation(ds: xr.Dataset, k: int, mission: Mission | None) -> Checks:
    name = ds["joint"].values[k]
    yield (fact(ds, "recontact", k) > 0.0, f"the pieces touch again after {name} has separated: use more impulse in the joint, or ignite the upper stage later")
    if mission is not None and f"separate {name}" in doings(mission):
        yield (
            fact(ds, "separation_cause", k) == BY_DRAG,
            f"drag separates {name} before its separation is commanded: use a joint that holds, or an earlier command",
        )


def _ignition(ds: xr.Dataset, k: int) -> Checks:
    """Yield the checks of stage k, whose aft joint is joint k, at its ignition."""
    name, behind = ds["body"].values[k], ds["joint"].values[k]
    lit, tilt = (event_values(ds, f"ignition {name}", column) for column in ("time", "tilt"))
    yield (
        np.isfinite(lit) & ~(fact(ds, "separation_time", k) < lit),
        f"{name} is ignited while {behind} is still attached: separate first, and leave the stages time to clear each other",
    )
    yield (
        tilt > IGNITION_TILT,
        f"{name} is ignited while it leans more than 20 deg{worst(ds, np.degrees(tilt), 'deg', np.fmax)} "
        "(common practice inhibits ignition beyond 20 to 30 deg): give its rule tilt_below",
    )


def _landing(ds: xr.Dataset, k: int) -> Checks:
    name, down = ds["body"].values[k], came_down(ds, k)
    if k:  # of the front body the status says it
        yield apart(ds, k) & ~down, f"{name} does not come down within the flight"
    energy = fact(ds, "body_landing_energy", k)
    said = ~np.isfinite(outcomes(ds, "opening_airspeed")) if k == 0 else np.zeros_like(down)  # a ballistic return of the whole
    without = down & ~said & (fact(ds, "descent", k) != UNDER_CANOPY)
    yield (
        without & (energy > ENERGY),
        f"{name} comes down without a canopy and with more than {ENERGY:.0f} J (a project threshold)"
        f"{worst(ds, np.where(without, energy, np.nan), 'J', np.fmax)}",
    )


def _canopy(ds: xr.Dataset, k: int, canopy, harness, mission: Mission) -> Checks:
    name, speed = canopy.name, fact(ds, "deployment_airspeed", k)
    yield (
        speed > RELEASE_SPEED,
        f"{name} is deployed at more than {RELEASE_SPEED:.0f} m/s (a project threshold){worst(ds, speed, 'm/s', np.fmax)}: "
        "deploy nearer to apogee, or a smaller canopy first",
    )
    carrier = next(i for i, stage in enumerate(mission.stage) if canopy in stage.part)
    early = event_values(ds, "apogee", body=carrier) - event_values(ds, f"deployment {name}", body=carrier)
    yield early > CLIMBING, f"{name} is deployed in the climb{worst(ds, early, 's before apogee', np.fmax)}"
    if canopy.strength is not None:
        yield from _too_weak(ds, f"the opening load of {name}", fact(ds, "opening_load", k), canopy.strength, "its strength")
    if harness is not None:
        strength = harness_strength(ds, harness)
        yield from _too_weak(ds, f"the snatch of {name}'s ejection", fact(ds, "snatch_load", k), strength, "its harness's strength")
        failure = f"harness_breaks: {name}"
        if failure not in [each.name for each in mission.failure]:  # else it may have been drawn, not torn
            happened = outcomes(ds[["failure_happened", "status"]].sel(failure=failure), "failure_happened")
            yield happened > 0.0, f"the harness of {name} breaks under its load: use a stronger or longer one, or a slower opening"


def _too_weak(ds: xr.Dataset, what: str, load: np.ndarray, strength, of: str) -> Checks:
    share = 100.0 * load / strength
    yield share > 100.0, f"{what} is above {of}{worst(ds, share, '% of it', np.fmax)}"


def _rule(ds: xr.Dataset, k: int, name: str) -> Checks:
    fired, given_up = fact(ds, "rule_fired", k), fact(ds, "rule_given_up", k)
    yield np.isfinite(given_up), f"the rule {name!r} gives up waiting for its conditions"
    yield ~np.isfinite(fired) & ~np.isfinite(given_up), f"the rule {name!r} never fires"
