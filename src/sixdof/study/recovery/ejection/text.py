"""The page about ejection charges, pins and harnesses, in plain words."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import xarray as xr

from sixdof.mission.page import indented, table, wrapped
from sixdof.study.reading.page import LAST_LINE
from sixdof.study.reading.result import plural
from sixdof.study.recovery.ejection.charge import need_charge
from sixdof.study.recovery.ejection.masses import MARGIN, NARROW

THIN_AIR = 6000.0  # m above the sea: beyond it black powder burns badly where it is not shut in tightly (common practice: 6 km, 20,000 ft)
PULL_MARGIN = 2.0  # times the largest pull: pins that hold less are named (a project threshold)
PSI = 6894.757
BEYOND = 1.25  # times the largest load without a failure: less is the scatter of a few flights
TINY = 1.02  # two masses that differ by less are the same
CAUTIONS = (
    "A charge mass from a calculation is never a recipe: whoever handles powder and igniters does so by local law and licensed practice, and every charge is "
    "fired on the ground first, in the vehicle as it will fly, with nobody near, in front of or behind it. Computers stay off and pyrotechnics shunted "
    "until the vehicle stands on its rail.",
    "A piece without its harness falls freely: keep people out from under the whole of the drift.",
)
WORTH = (
    "The pressure takes all powder as burnt before anything moves, typical numbers of black powder (219 J a gram: common practice; closed vessels give 260, "
    "Noble and Abel 1875) and a bay that is as free as the mission says; canopies that soak up gas, damp powder, a loose cap and slow burning take off "
    "it by tens of per cent. Pins scatter, and so does friction.",
    "The snatch v sqrt(k m) takes the harness as a spring without loss and the pieces as points on its line: folds that tear off on the way, and webbing "
    "that gives more at speed, make it less. Knots and stitching take a third and more off a webbing's strength (common practice).",
)


def charge_text(ds: xr.Dataset) -> str:
    """Return the page about what `charge` returned. Raises ValueError for anything else."""
    need_charge(ds, "charge_text")
    lines = [ds.attrs.get("title", "untitled"), "Ejection charges, pins and harnesses", *wrapped(flown(ds)), ""]
    for name in ds["harness"].values:
        one = ds.sel(harness=name)
        lines += [str(name), *indented([*answers(one), *_others(one)]), *table([["quantile", "", "5 %", "50 %", "95 %"], *_rows(one)]), ""]
    lines += ["What this is worth", *indented([*WORTH, _limit(ds.attrs)])]
    return "\n".join([*lines, "Cautions", *indented(CAUTIONS), "", LAST_LINE])


def flown(ds: xr.Dataset) -> str:
    """Return what was flown, in words."""
    said = ds.attrs
    more = f", {said['failing']} more with each failure made certain" if "failure" in ds.dims else ""
    return f"{plural(said['flights'])}, seed {said['seed']}{more}, with harnesses and canopies that hold whatever comes; {said.get('source', 'source unknown')}"


def _limit(said) -> str:
    usual = " (a factor of safety of 2: common practice)" if said["load_share"] == 0.5 else ""
    return f"Harness loads are held against {percent(said['load_share'])} of the strength drawn{usual}, in {percent(said['share'])} of the flights."


def percent(share: float) -> str:
    """Return a share in per cent."""
    return f"{100.0 * share:.3g} %"


def grams(mass: float) -> str:
    """Return a mass of powder as people weigh it."""
    return f"{1e3 * mass:.3g} g"


# ---------------------------------------------------------------- what the page says first


def answers(one: xr.Dataset) -> list[str]:
    """Return what is to be said first of one harness: what breaks or holds, and what to change."""
    return [*powder(one), harness(one)]


def powder(one: xr.Dataset) -> list[str]:
    """Return whether the charge is right, and what to take; [] without a charge's table."""
    mass, least, largest, breaking = (float(one[f"{name}_mass"]) for name in ("charge", "least", "largest", "breaking"))
    if not math.isfinite(mass):
        return []
    parts = [_verdict(one, mass, least, largest)]
    if math.isfinite(least):
        parts.append(f"below {grams(least)} the strongest pins hold")
    if math.isfinite(largest) and largest < 20.0 * least:
        parts.append(f"above {grams(largest)} the snatch passes {percent(one.attrs['load_share'])} of the harness's strength")
    if math.isfinite(breaking) and breaking < 20.0 * least:
        parts.append(f"above {grams(breaking)} the harness breaks in more than {percent(1.0 - one.attrs['share'])} of the flights")
    return ["; ".join(parts) + "."]


def _verdict(one: xr.Dataset, mass: float, least: float, largest: float) -> str:
    """Return the sentence's first part: the charge as written, and what to take."""
    if math.isinf(least):
        return f"No charge of a sensible size opens this bay: fewer or weaker pins, less friction (as written {grams(mass)})"
    narrow = not largest >= NARROW * least
    strong = mass > (MARGIN * least if narrow else largest) * TINY
    times = f"{mass / least:.2f} times what the strongest pins need"
    take = f"take {grams(float(one['advised_mass']))}"
    if narrow:
        what = "is too weak, the strongest pins hold it" if mass < least else f"is too strong, {times}" if strong else f"is {times}"
        spares = "no charge that shears them spares this harness" if not largest >= least else "the harness leaves no room for one that surely does"
        return f"The charge of {grams(mass)} {what}, and {spares}: {take} and a harness of {_newtons(float(one['advised_strength']))} or more"
    if mass < least:
        return f"The charge of {grams(mass)} is too weak, the strongest pins hold it: {take}, or fewer or weaker pins"
    if strong:
        return f"The charge of {grams(mass)} is too strong, {times} and {mass / largest:.2f} times what the harness bears with its reserve: {take}"
    if mass < NARROW * least:
        return f"The charge of {grams(mass)} is {times}, which is little: {take}"
    return f"The charge of {grams(mass)} is right: {times}"


def harness(one: xr.Dataset) -> str:
    """Return whether the harness holds, and which would."""
    share, said = one["harness_load_share"].values, one.attrs
    known = share[np.isfinite(share)]
    if not known.size:
        return "Its canopy never comes out in these flights, so that nothing can be said of the harness."
    broken, top = float(one["broken"]), float(np.sort(known)[math.ceil(said["share"] * known.size - 1e-9) - 1])
    wanted, of = percent(said["load_share"]), f"{percent(top)} of its strength"
    if broken > 0.0:
        text = f"The harness, {_written(one)}, breaks in {percent(broken)} of the flights ({of} in {percent(said['share'])} of them)"
    elif top <= said["load_share"]:
        reach = f"at most {of} in {percent(said['share'])} of the flights, {percent(known.max())} at worst"
        return f"The harness, {_written(one)}, holds: {reach}{_branch(one)}."
    else:
        text = f"The harness, {_written(one)}, holds in all of them, but bears {of}"
        text += f", where {wanted} is wanted" if said["load_share"] < 1.0 else ""
    return f"{text}: {_instead(one)}{_branch(one)}."


def _written(one: xr.Dataset) -> str:
    strength = float(one["strength_nominal"])
    return f"{float(one['length_nominal']):g} m of {f'{strength / 1e3:g} kN' if strength >= 1e3 else f'{strength:g} N'}"


def _instead(one: xr.Dataset) -> str:
    """Return what would bear the load with the reserve asked for: strength, length, stiffness, each alone."""
    found = dict(zip(one["trade"].values, one["safe_factor"].values))
    offers = [f"take {_newtons(found['strength'] * float(one['strength_nominal']))}"]
    if math.isfinite(found["length"]) and found["length"] < 4.0:
        offers.append(f"{found['length'] * float(one['length_nominal']):.2g} m of it")
    if found["stiffness"] > 0.25 and math.isfinite(found["stiffness"]):
        offers.append(f"webbing of {_newtons(found['stiffness'] * float(one['stiffness_nominal']))} stiffness")
    return ", or ".join(offers)


def _newtons(force: float) -> str:
    rounded = float(f"{force:.2g}")
    rounded = rounded if rounded >= force or rounded >= 0.995 * force else float(f"{force * 1.05:.2g}")
    return f"{rounded / 1e3:g} kN" if rounded >= 1e3 else f"{rounded:g} N"


def _branch(one: xr.Dataset) -> str:
    """Return the failure with which the harness carries most, where that is more than without."""
    if "failing_load_share" not in one:
        return ""
    share = one["failing_load_share"].values
    tops = np.array([np.nanmax(row) if np.isfinite(row).any() else -1.0 for row in share])
    worst = int(np.argmax(tops))
    if tops[worst] <= BEYOND * np.nanmax(one["harness_load_share"].values):
        return ""
    return f"; {percent(tops[worst])} with {one['failure'].values[worst]}"


# ---------------------------------------------------------------- pins, air, numbers


def _others(one: xr.Dataset) -> Iterator[str]:
    yield pins(one)
    yield from thin_air(one)
    if str(one["lacks"].values):
        yield f"Not told: {one['lacks'].item()}. Add a [harness.charge]; `sixdof keys harness.charge` explains it."


def pins(one: xr.Dataset) -> str:
    """Return whether pins, or friction alone, hold until the charge fires."""
    pull = one["pin_pull"].values
    worst, low = float(np.nanmax(pull)), float(one["pin_strength_low"])
    if not math.isfinite(low):
        return f"Before the ejection the flight pulls at the joint with up to {worst:.0f} N, which its fit must hold."
    what, held = ("the weakest pins hold", low) if low > 0.0 else ("no pins: friction alone holds", float(one["friction"]))
    when = f"most at {float(one['pin_pull_time'].values[np.nanargmax(pull)]):.1f} s" if worst > 0.5 else "at no time"
    shut_up = float(np.nanmax(one["pin_pull_air"].values))
    air = f", {shut_up:.0f} N of it air shut up in the bay" if shut_up > 0.1 * max(worst, 1.0) else ""
    text = f"drag pulls at the joint with up to {worst:.0f} N before the ejection ({when}{air}), {what} {held:.0f} N"
    if held < worst:
        return f"It opens in flight, before its charge: {text}: use more or stronger pins{', and a hole in the bay' if air else ''}."
    if held < PULL_MARGIN * worst:
        return f"Little holds the bay shut in flight: {text}: use more or stronger pins{', and a hole in the bay' if air else ''}."
    return f"The bay stays shut in flight: {text}."


def thin_air(one: xr.Dataset) -> Iterator[str]:
    """Yield the caution about black powder in thin air, where the ejections are high."""
    high = one["ejection_altitude"].values
    if np.isfinite(high).any() and np.nanquantile(high, 0.95) > THIN_AIR:
        yield (
            f"The ejection is up to {np.nanmax(high) / 1e3:.1f} km above the sea: beyond about {THIN_AIR / 1e3:g} km black powder burns badly unless it is "
            "shut in tightly (common practice); test it at that pressure, or use another way to eject."
        )


def _rows(one: xr.Dataset) -> Iterator[list[str]]:
    for name, label, unit, digits in (
        ("snatch_load", "snatch of the ejection", "N", 0),
        ("opening_share_load", "harness's part of the opening load", "N", 0),
        ("strength_drawn", "strength drawn", "N", 0),
    ):
        values = one[name].values[np.isfinite(one[name].values)]
        if values.size:
            yield [label, unit, *(f"{value:.{digits}f}" for value in np.quantile(values, (0.05, 0.5, 0.95)))]
    if math.isfinite(float(one["charge_mass"])):
        pressure, force = float(one["bay_pressure"]), float(one["bay_force"])
        low, high = (float(one[f"pin_strength_{end}"]) for end in ("low", "high"))
        against = f"{low:.0f} to {high:.0f} N of pins and {float(one['friction']):.0f} N of friction"
        yield ["pressure in the bay", f"{pressure / 1e3:.0f} kPa ({pressure / PSI:.0f} psi), {force:.0f} N on {against}"]
        aloft = float(one["impulse_aloft"]) / float(one["impulse"]) - 1.0 if float(one["impulse"]) > 0.0 else math.nan
        more = f", {100.0 * aloft:+.1f} % in the air of the ejection (as flown: the air at the rail)" if math.isfinite(aloft) else ""
        yield ["apart at", f"{float(one['separation_speed']):.1f} m/s by {float(one['impulse']):.2f} N s{more}"]
