"""Pages about loads: what breaks first, the section loads along the body, guides, deployments; where the model is weak."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import xarray as xr

from sixdof.mission.page import indented, table
from sixdof.study.reading.page import LAST_LINE
from sixdof.study.reading.practice import not_stable
from sixdof.study.reading.result import stays_below
from sixdof.study.structure.loads.bending_dataset import WHEN
from sixdof.study.structure.loads.deployment_loads import in_g
from sixdof.study.structure.loads.guides import BUTTON_STRENGTH, PHASES

FIRST = 16  # lines of the table of what may break
_STIFF = (
    "Loads are those of a stiff body whose axis stays straight. A load that comes on faster than the body's first bending period makes up to twice of it "
    "(the factor of a suddenly applied load); holes, slots, hatches and glue lines carry less than the plain wall."
)
_WALLS = (
    "Strengths of walls are typical values of their material (common practice, with a scatter of 30 % either way: `python -m sixdof keys materials`); "
    "buckling by NASA SP-8007 for an isotropic wall, which a laminate is not. Stress at the ends of couplers and under fins is not looked at."
)
_AIR = "Above Mach 0.8 and beyond 15 deg of incidence the loads of the air are estimates, and so are those here; a tumbling stage's are no more than that."
_CHARGES = (
    "Charges, igniters and falling bodies injure people: test a charge on the ground with nobody near, by licensed practice and local law; a number on this "
    "page is no permission to load one."
)


def structure_text(ds: xr.Dataset) -> str:
    """Return the page of `structure`: what breaks first, then the loads."""
    lines = [_title(ds), f"What breaks first: {_flights(ds)}", "", *indented([*_answers(ds)]), ""]
    if "check" in ds.dims:
        lines += [
            "Load over what is carried, nearest to breaking first (of flutter the margin demanded is in it, of skin the rise above 20 degC)",
            *table(list(_checks(ds)), words=1, remark=True),
            "",
        ]
    lines += [*_bending_lines(ds), "", *_guide_lines(ds)]
    if "piece_acceleration" in ds:
        lines += ["", *_deployment_lines(ds)]
    lacks = [line for line in ds.attrs["lacks"].split("\n") if line]
    if lacks:
        lines += ["", "What the mission does not say", *indented(lacks)]
    weak = [_STIFF, _WALLS, _AIR, _GUIDES, *([_DEPLOYED, _CHARGES] if "piece_acceleration" in ds else [])]
    return "\n".join([*lines, "", "Where this is weak", *indented(weak), "", LAST_LINE])


def bending_text(ds: xr.Dataset) -> str:
    """Return the page of `bending`."""
    lines = [_title(ds), f"Bending along the stack: {_flights(ds)}", "", *indented(list(_bending_answer(ds))), "", *_bending_lines(ds)]
    return "\n".join([*lines, "", "Where this is weak", *indented([_STIFF, _WALLS, _AIR]), "", LAST_LINE])


def guide_text(ds: xr.Dataset) -> str:
    """Return the page of `guide_loads`."""
    lines = [_title(ds), f"Loads on the rail guides: {_flights(ds)}", "", *indented([_guide_answer(ds)]), "", *_guide_lines(ds)]
    return "\n".join([*lines, "", "Where this is weak", *indented([_GUIDES]), "", LAST_LINE])


def deployment_loads_text(ds: xr.Dataset) -> str:
    """Return the page of `deployment_loads`."""
    lines = [_title(ds), f"Loads as canopies come out: {_flights(ds)}", "", *indented(list(_deployment_answer(ds))), "", *_deployment_lines(ds)]
    return "\n".join([*lines, "", "Where this is weak", *indented([_DEPLOYED, _CHARGES]), "", LAST_LINE])


# ---------------------------------------------------------------- what breaks first


def _title(ds: xr.Dataset) -> str:
    return ds.attrs.get("title", "untitled")


def _flights(ds: xr.Dataset) -> str:
    drawn, forced = int(ds.attrs["flights"]), int(ds["forced"].sum())
    with_branches = f", and {forced} with one failure each made to happen" if forced else ""
    return f"{drawn} drawn flight{'s' if drawn != 1 else ''}, seed {ds.attrs.get('seed', '?')}{with_branches}"


_WORDS = {  # of a kind: what the nearest does, what breaks
    "flutter": ("uses up {share:.0f} % of the margin demanded", "short of the margin against flutter that is demanded"),
    "skin": ("warms by {share:.0f} % of what its material stands", "hotter than its material's service temperature"),
    "": ("carries {share:.0f} % of its strength, a factor of {factor:.1f}", "loaded beyond strength"),
}


def _answers(ds: xr.Dataset) -> Iterator[str]:
    if unstable := not_stable(ds["departure_margin"].values[ds["forced"].values == 0]):
        yield unstable
    if "check" not in ds.dims:
        yield "Nothing is held against a strength: the mission says none. The loads below are what each thing must carry."
        return
    usual, worst, kinds = ds["check_95"].values, ds["check_worst"].values, ds["check_kind"].values
    factor = np.where(np.isin(kinds, list(_WORDS)), 1.0, float(ds.attrs["factor"]))  # flutter and skin have their margins in them
    broken, rare = usual > 1.0, (worst > 1.0) & ~(usual > 1.0)
    short = (usual > 1.0 / factor) & ~broken
    for k in np.flatnonzero(broken):
        most = f"{100.0 * usual[k]:.0f} % in the 95 % quantile{_moment(ds.isel(check=k))}"
        yield f"{_name(ds, k)} is {_words(kinds[k])[1]} in more than 5 % of the drawn flights: {most}."
    if not broken.any():
        share = float(usual[0])
        nearest = _words(kinds[0])[0].format(share=100.0 * share, factor=1.0 / share)
        yield f"Nothing breaks in 95 % of the drawn flights. The nearest is {ds['check'].values[0]}: it {nearest}{_moment(ds.isel(check=0))}."
    if short.any():
        names = [str(ds["check"].values[k]) for k in np.flatnonzero(short)]
        has = "has" if len(names) == 1 else "have"
        yield f"{_listed(names)} {has} less than the factor {ds.attrs['factor']:g} that is common practice: make {_them(names)} stronger."
    for k in np.flatnonzero(rare):
        yield f"{_name(ds, k)} is {_words(kinds[k])[1]} in the worst flight, branch {ds['check_branch'].values[k]}: {100.0 * worst[k]:.0f} %."
    if not broken.any() and not rare.any() and worst[0] > 1.05 * usual[0]:
        yield f"In the worst of all flights and branches that is {100.0 * worst[0]:.0f} % ({ds['check_branch'].values[0]})."
    yield from _bending_answer(ds)


def _words(kind: str) -> tuple[str, str]:
    return _WORDS.get(str(kind), _WORDS[""])


def _name(ds: xr.Dataset, k: int) -> str:
    return _listed([str(ds["check"].values[k])])


def _listed(names: list[str]) -> str:
    text = " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)
    return text[0].upper() + text[1:]


def _them(names: list[str]) -> str:
    return "it" if len(names) == 1 else "them"


def _moment(one: xr.Dataset) -> str:
    """Return ", at 4.4 s, Mach 0.57" of the flight that carries most among the drawn ones."""
    drawn = one["forced"].values == 0
    shares = np.where(drawn & np.isfinite(one["check_share"].values), one["check_share"].values, -1.0)
    k = int(shares.argmax())
    time, mach = float(one["check_time"][k]), float(one["check_mach"][k])
    at = f", at {time:.2f} s" if math.isfinite(time) else ""
    return at + (f", Mach {mach:.2f}" if math.isfinite(mach) else "")


def _checks(ds: xr.Dataset) -> Iterator[list[str]]:
    yield ["what", "95 %", "worst", "factor", "flights beyond", "when most"]
    drawn = ds["forced"].values == 0
    for k in range(min(ds.sizes["check"], FIRST)):
        one = ds.isel(check=k)
        share = float(one["check_95"])
        known = one["check_share"].values[drawn]
        known = known[np.isfinite(known)]
        beyond = f"{int((known > 1.0).sum())} of {known.size}"
        branch = str(one["check_branch"].values)
        where = f"; worst in {branch}" if branch != "nominal" and float(one["check_worst"]) > 1.02 * share else ""
        factor = f"{1.0 / share:.1f}" if share > 0.0 else "-"
        yield [str(one["check"].values), _percent(share), _percent(float(one["check_worst"])), factor, beyond, _moment(one).removeprefix(", ") + where]


def _percent(share: float) -> str:
    return f"{100.0 * share:.1f} %" if math.isfinite(share) else "-"


# ---------------------------------------------------------------- bending


def _upper(ds: xr.Dataset, values: np.ndarray, share: float = 0.95) -> float:
    return stays_below(values[ds["forced"].values == 0], share)


def _bending_answer(ds: xr.Dataset) -> Iterator[str]:
    most = [_upper(ds, ds["moment_max"].values[:, k]) for k in range(ds.sizes["configuration"])]
    k = int(np.nanargmax(most))
    name = str(ds["configuration"].values[k])
    yield f"The largest bending moment is {most[k]:.2f} N m (95 % of the drawn flights stay below), along {name}{_of_peak(ds, k)}; {_sources(ds, k)}."
    if np.isfinite(ds["wall_share"].values).any():
        shares = [_upper(ds, ds["wall_share"].values[:, p]) for p in range(ds.sizes["part"])]
        p = int(np.nanargmax(shares))
        yield f"Of the walls {ds['part'].values[p]} is nearest to its limit: {_percent(shares[p])} of what it carries."


def _of_peak(ds: xr.Dataset, k: int) -> str:
    """Return where and when the drawn flight with the largest moment has it."""
    values = np.where(ds["forced"].values == 0, np.nan_to_num(ds["moment_max"].values[:, k], nan=-1.0), -1.0)
    one = ds.isel(flight=int(values.argmax()), configuration=k)
    when, live = WHEN[int(one["moment_when"])], ", with live fins" if float(one["moment_live"]) > 0.5 else ""
    return (
        f": in the flight with most of it at {float(one['moment_station']):.2f} m, {float(one['moment_time']):.2f} s, Mach {float(one['moment_mach']):.2f}, "
        f"incidence {math.degrees(float(one['moment_incidence'])):.1f} deg ({when}{live})"
    )


def _sources(ds: xr.Dataset, k: int) -> str:
    """Return what makes the largest moment, in the median of the drawn flights."""
    shares = ds["moment_source"].values[ds["forced"].values == 0, k]
    shares = shares[np.isfinite(shares).all(axis=1)]
    middle = np.median(shares, axis=0)
    parts = [f"{100.0 * value:.0f} % {name}" for value, name in sorted(zip(middle, ds["source"].values), key=lambda pair: -abs(pair[0])) if abs(value) >= 0.03]
    return f"it comes from {', '.join(parts)}"


def _bending_lines(ds: xr.Dataset) -> list[str]:
    rows = [["what flies together", "moment N m", "at m", "shear N", "compression N", "when most", "from"]]
    for k, name in enumerate(ds["configuration"].values):
        moment = ds["moment_max"].values[:, k]
        if not np.isfinite(moment).any():
            continue
        drawn = np.flatnonzero((ds["forced"].values == 0) & np.isfinite(moment))
        when = np.bincount(ds["moment_when"].values[drawn, k].astype(int), minlength=len(WHEN)).argmax() if drawn.size else 0
        shear, compression = (_upper(ds, np.max(ds[name].values[:, k], axis=1)) for name in ("shear_force", "compression"))
        station = float(np.median(ds["moment_station"].values[drawn, k])) if drawn.size else math.nan
        source = _sources(ds, k).removeprefix("it comes from ") if drawn.size else ""
        rows.append([str(name), f"{_upper(ds, moment):.2f}", f"{station:.2f}", f"{shear:.1f}", f"{compression:.0f}", WHEN[when], source])
    lines = ["Along the body, largest over each flight: 95 % of the drawn flights stay below", *table(rows, words=1, remark=True)]
    if "joint" in ds.dims:
        lines += ["", "Joints: what 95 % of the drawn flights stay below, and what a joint should carry", *table(list(_joint_rows(ds)), words=1, remark=True)]
    return lines


def _joint_rows(ds: xr.Dataset) -> Iterator[list[str]]:
    yield ["joint", "at m", "moment N m", "worst of all", "should carry", "carries", "when most"]
    for k, name in enumerate(ds["joint"].values):
        moment = ds["joint_moment"].values[:, k]
        if not np.isfinite(moment).any():
            continue
        strength = float(ds["joint_strength"][k])
        drawn = np.where(ds["forced"].values == 0, np.nan_to_num(moment, nan=-1.0), -1.0)
        one = ds.isel(flight=int(drawn.argmax()), joint=k)
        at = f"{float(one['joint_time']):.2f} s, Mach {float(one['joint_mach']):.2f}, {math.degrees(float(one['joint_incidence'])):.1f} deg"
        yield [
            str(name),
            f"{float(ds['joint_station'][k]):.2f}",
            f"{_upper(ds, moment):.2f}",
            f"{np.nanmax(moment):.2f}",
            f"{float(ds['joint_required'][k]):.2f}",
            f"{strength:.1f}" if math.isfinite(strength) else "not given",
            f"{at} ({WHEN[int(one['joint_when'])]})",
        ]


# ---------------------------------------------------------------- guides

_GUIDES = (
    "Guides stand on the axis as in the flight itself: couples by a guide's height off the axis, a bent rail, play and knocks at joints of the rail are left "
    f"out and may be larger than what is counted. What a guide's screw carries is common practice where the mission does not say ({BUTTON_STRENGTH:.0f} N for "
    "a moulded button on one 4 mm screw in a backed wall, 100 to 400 N are found): pull on it with a spring scale."
)


def _guide_answer(ds: xr.Dataset) -> str:
    shares = [_upper(ds, ds["guide_share"].values[:, k]) for k in range(ds.sizes["guide"])]
    if not np.isfinite(shares).any():
        return "No drawn flight moves along the rail, so nothing is told of the guides."
    k = int(np.nanargmax(shares))
    verdict = "holds" if shares[k] <= 1.0 else "breaks"
    load = _upper(ds, ds["guide_load"].values[:, k])
    return f"The {ds['guide'].values[k]} {verdict}: 95 % of the drawn flights load it by {load:.1f} N at most, {_percent(shares[k])} of what it carries."


def _guide_lines(ds: xr.Dataset) -> list[str]:
    rows = [["guide", "at m", "load N", "worst", "carries N", "phase", "from"]]
    for k, name in enumerate(ds["guide"].values):
        load = ds["guide_load"].values[:, k]
        drawn = np.flatnonzero((ds["forced"].values == 0) & np.isfinite(load))
        if not drawn.size:
            continue
        phase = PHASES[int(round(float(np.median(ds["guide_phase"].values[drawn, k]))))]
        shares = np.median(ds["guide_source"].values[drawn, k], axis=0)
        parts = [f"{100.0 * v:.0f} % {s}" for v, s in sorted(zip(shares, ds["guide_cause"].values), key=lambda pair: -abs(pair[0])) if abs(v) >= 0.03]
        given = "" if int(ds["guide_strength_given"][k]) else " (common practice)"
        rows.append(
            [
                str(name),
                f"{float(ds['guide_station'][k]):.2f}",
                f"{_upper(ds, load):.1f}",
                f"{np.nanmax(load):.1f}",
                f"{float(ds['guide_strength'][k]):.0f}{given}",
                phase,
                ", ".join(parts),
            ]
        )
    return ["Rail guides: load across the rail, 95 % of the drawn flights stay below", *table(rows, words=1, remark=True)]


# ---------------------------------------------------------------- deployments

_DEPLOYED = (
    "Accelerations at a deployment are those of stiff pieces: a bulkhead, foam and the harness' own give take the top off the charge's and the snatch's, whose "
    "push lasts a few milliseconds; a stiffly mounted battery feels it all. A charge's largest pressure is that of the shut bay."
)


def _deployment_answer(ds: xr.Dataset) -> Iterator[str]:
    most = ds["deployment_acceleration"].values
    if not np.isfinite(most).any():
        yield "No canopy comes out in any flight, so nothing is told of its loads."
        return
    usual, worst = in_g(_upper(ds, most)), in_g(np.nanmax(most))
    yield f"The hardest deployment accelerates a piece by {usual:.0f} g (95 % of the drawn flights stay below), {worst:.0f} g at worst{_hardest(ds)}."
    if "item" in ds.dims and np.isfinite(ds["item_load"].values).any():
        loads = [_upper(ds, ds["item_load"].values[:, k]) for k in range(ds.sizes["item"])]
        k = int(np.nanargmax(loads))
        should = f"make it hold {_should_hold(loads[k], np.nanmax(ds['item_load'].values[:, k])):.0f} N (1.5 times, common practice)"
        yield f"Most is asked of the mounting of {ds['item'].values[k]}: it carries {loads[k]:.0f} N; {should}."


def _hardest(ds: xr.Dataset) -> str:
    values = ds["piece_acceleration"].values
    flight, canopy, cause, side = np.unravel_index(np.nanargmax(values), values.shape)
    piece = f"{ds['side'].values[side]} piece" if ds["piece_mass"].values[flight, canopy].min() > 0.0 else "body"
    branch = str(ds["branch"].values[flight])
    return f", by the {ds['cause'].values[cause]} of {ds['canopy'].values[canopy]} on the {piece}" + ("" if branch == "nominal" else f" ({branch})")


def _deployment_lines(ds: xr.Dataset) -> list[str]:
    rows = [["canopy", "by", "piece", "mass kg", "bulkhead N", "worst", "piece g", "worst", "worst in"]]
    for c, name in enumerate(ds["canopy"].values):
        for j, cause in enumerate(ds["cause"].values):
            for s, side in enumerate(ds["side"].values):
                load, felt = ds["bulkhead_load"].values[:, c, j, s], ds["piece_acceleration"].values[:, c, j, s]
                if not np.isfinite(load).any():
                    continue
                mass = ds["piece_mass"].values[:, c]
                whole = not (mass.min(axis=1) > 0.0).any()  # a comparison with NaN is false
                rows.append(
                    [
                        str(name),
                        str(cause),
                        "body" if whole else str(side),
                        f"{np.nanmedian(mass[:, s]):.2f}",
                        f"{_upper(ds, load):.0f}",
                        f"{np.nanmax(load):.0f}",
                        f"{in_g(_upper(ds, felt)):.1f}",
                        f"{in_g(np.nanmax(felt)):.1f}",
                        str(ds["branch"].values[int(np.nanargmax(load))]),
                    ]
                )
    lines = ["Deployments: loads on bulkheads and accelerations of the pieces, 95 % of the drawn flights stay below", *table(rows, words=3, remark=True)]
    if "item" in ds.dims:
        lines += ["", "What stands on the bulkheads: load of its mounting, in the climb or at a deployment", *table(list(_item_rows(ds)), words=1, remark=True)]
    return lines


def _item_rows(ds: xr.Dataset) -> Iterator[list[str]]:
    yield ["part", "kg", "g", "load N", "worst", "should hold", "by"]
    for k, name in enumerate(ds["item"].values):
        load = ds["item_load"].values[:, k]
        if not np.isfinite(load).any():
            continue
        mass, upper, worst = float(ds["item_mass"][k]), _upper(ds, load), float(np.nanmax(load))
        canopy = int(ds["item_canopy"].values[int(np.nanargmin(np.abs(load - upper))), k])  # of the flight whose load is told
        by = "the climb" if canopy < 0 else str(ds["canopy"].values[canopy])
        yield [str(name), f"{mass:.3f}", f"{in_g(upper / mass):.1f}", f"{upper:.0f}", f"{worst:.0f}", f"{_should_hold(upper, worst):.0f}", by]


def _should_hold(upper: float, worst: float) -> float:
    """Return what a mounting should hold, N: 1.5 times what 95 % of the drawn flights stay below (common practice), and no less than the worst flight's."""
    return max(1.5 * upper, worst)
