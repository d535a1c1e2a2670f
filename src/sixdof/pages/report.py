"""`report`: one page for whatever the library made. It finds out what it is given; the pages themselves are made in the rooms below."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any, NamedTuple

import xarray as xr

from sixdof.mission.errors import suggestion
from sixdof.mission.mission import Mission
from sixdof.mission.units import shown
from sixdof.surface.page import Page


def report(
    what: Any,
    about: str | None = None,
    *,
    gain_db: float | None = None,
    phase: float | None = None,
    count: int | None = None,
    criteria: Any = None,
    outcomes: Sequence[str] | None = None,
    confidence: float | None = None,
) -> Page:
    """Return a page of text about whatever sixdof made: a mission, a flight, an ensemble, margins, a tuning, a comparison ...

    Parameters
    ----------
    what : a Mission; what `fly`, `refly`, `disperse`, `rehearse`, `compare`, `tune` or `verify` returned; or what the façades return:
        linear models, margins, margins of many flights, a gain map, limit cycles, judged criteria, nominal flights of variants, aerodynamics against Mach,
        and of `sixdof.preflight` turns into the wind, stability, choices of motors, wind limits, rails for a wind, landings, rail maps, launch cards,
        and of `sixdof.workshop` static firings, and of `sixdof.postflight` flight logs, rests before launch, column maps
    about : a page of its own. Of a mission "vehicle" (parts, masses, margins, air, cautions; what None gives), "aero" (coefficients
        against Mach, control fins) or "control" (what the fins behind leave of a command); of a flight "summary" (what None gives) or
        "control" (how it was controlled).
    gain_db, phase : the requirement that margins are held against, dB and rad; 6 dB and 45 deg, or what many flights were judged by
    count : of the flights with the least margins that are named; 5
    criteria : text or `stats.criterion`, one or several, that a comparison is judged by; those given to `compare`; () judges nothing
    outcomes : names of outcomes that a comparison shows besides those its criteria speak of
    confidence : of each verdict of a comparison by itself; 0.9

    Returns
    -------
    Page
        A string; it prints as it is, and a notebook shows it as it is.

    Raises
    ------
    TypeError
        For what report has no page about, and for an option that the page does not take.
    ValueError
        For a page that there is not, and as the pages do.

    Examples
    --------
    >>> page = sixdof.report(flight)
    >>> page.splitlines()[0]
    'Thistledown: air samples over Lake Orrin'
    >>> print(sixdof.report(sixdof.loops.margins(models), gain_db=6.0).splitlines()[-1].split(":")[0])
    required
    """
    kind = kind_of(what)
    page = kind.pages.get(about or next(iter(kind.pages)))
    if page is None:
        raise ValueError(f"report: {kind.name} has no page {shown(about)}; {suggestion(str(about), list(kind.pages), 'pages')}")
    given = dict(gain_db=gain_db, phase=phase, count=count, criteria=criteria, outcomes=outcomes, confidence=confidence)
    options = {name: value for name, value in given.items() if value is not None}
    for name in options.keys() - set(page.options):
        takes = f"takes {', '.join(page.options)}" if page.options else "takes no option"
        raise TypeError(f"report: {name} says nothing about {kind.name}; the page of {kind.name} {takes}")
    return Page(page.make(what, **options).rstrip("\n"))


class _Page(NamedTuple):
    """make : (thing, **options) -> text. options : that it takes."""

    make: Callable[..., str]
    options: tuple[str, ...] = ()


class _Kind(NamedTuple):
    """One kind of thing that has pages, by name, the usual one first. fits : tells it from the others."""

    name: str
    fits: Callable[[Any], bool]
    pages: dict[str, _Page]


def kind_of(what: Any) -> _Kind:
    """Return the kind of thing that `what` is. Raises TypeError, saying where all kinds are named, for anything else."""
    for kind in KINDS:
        if kind.fits(what):
            return kind
    known = "a mission, a flight, an ensemble, a comparison, margins, gains, and what any study returned: help(sixdof.report) names them"
    raise TypeError(f"report has no page about {_called(what)}; it has one about {known}")


def _called(what: Any) -> str:
    if isinstance(what, (xr.Dataset, xr.DataArray)):
        return f"a {type(what).__name__} of the dims {', '.join(map(str, what.dims)) or 'none'}"
    return shown(what)


def _dataset(*names: str, dims: Iterable[str] = (), without: Iterable[str] = ()) -> Callable[[Any], bool]:
    """Return a test for Datasets that hold variables, along dims, and along none of others."""
    return lambda ds: isinstance(ds, xr.Dataset) and all(n in ds for n in names) and {*dims} <= {*ds.dims} and not {*without} & {*ds.dims}


# ---------------------------------------------------------------- pages; each loads what it needs when it is made


def _vehicle(mission: Mission) -> str:
    from sixdof.study.aero.surviving_control import control_lines
    from sixdof.study.reading.page import caution_lines
    from sixdof.study.report.mission_cautions import balance_cautions, mission_cautions
    from sixdof.vehicle.describe import describe

    silent = "no cautions raised about the file; those about a flight are on its page"
    return "\n".join([describe(mission), *control_lines(mission), *caution_lines([*balance_cautions(mission), *mission_cautions(mission)], silent)])


def _aero(mission: Mission) -> str:
    from sixdof.study.aero.report import aero_report

    return aero_report(mission)


def _surviving(mission: Mission) -> str:
    from sixdof.study.aero.surviving_control import control_lines

    return "\n".join(control_lines(mission)) or "no control fin has fins behind it, and none is passed by the centre of mass"


def _flown(ds: xr.Dataset) -> str:
    from sixdof.study.report.summary import summarise

    return summarise(ds)


def _controlled(ds: xr.Dataset) -> str:
    from sixdof.study.reading.control_metrics import control_report

    return control_report(ds)


def _rehearsed(ds: xr.Dataset) -> str:
    from sixdof.study.report.rehearsal_report import timeline

    return timeline(ds)


def _compared(ds: xr.Dataset, **options: Any) -> str:
    from sixdof.study.variants.comparison_text import comparison_text

    return comparison_text(ds, options.pop("criteria", None), **options)


def _chosen(ds: xr.Dataset) -> str:
    from sixdof.study.motor_choice.motor_choice_text import choice_text

    return choice_text(ds)


def _judged(ds: xr.Dataset) -> str:
    from sixdof.study.variants.comparison_text import criteria_text

    return criteria_text(ds)


def _models(ds: xr.Dataset) -> str:
    from sixdof.pages.linear import models_page

    return models_page(ds)


def _margins(ds: xr.Dataset, **options: Any) -> str:
    from sixdof.study.loops.margins import margin_report

    return margin_report(ds, **options)


def _spread(ds: xr.Dataset, **options: Any) -> str:
    from sixdof.study.uncertainty.robust_margins import spread_report

    return spread_report(ds, **options)


def _gain_map(ds: xr.Dataset, **options: Any) -> str:
    from sixdof.pages.linear import gain_map_page

    return gain_map_page(ds, **options)


def _cycles(ds: xr.Dataset) -> str:
    from sixdof.study.loops.limit_cycle import limit_cycle_report

    return limit_cycle_report(ds)


def _predicted(ds: xr.Dataset) -> str:
    from sixdof.pages.linear import cycles_page

    return cycles_page(ds)


def _landed(ds: xr.Dataset) -> str:
    from sixdof.study.landing.text import landing_text

    return landing_text(ds)


def _searched(ds: xr.Dataset) -> str:
    from sixdof.postflight.search.text import search_text

    return search_text(ds)


def _leaned(ds: xr.Dataset) -> str:
    from sixdof.study.landing.rail_map import rail_map_text

    return rail_map_text(ds)


def _nominal(ds: xr.Dataset) -> str:
    from sixdof.study.variants.nominal import nominal_page

    return nominal_page(ds)


def _checked(ds: xr.Dataset) -> str:
    from sixdof.study.verification.verify import verification_text

    return verification_text(ds)


def _against_mach(ds: Any) -> str:
    from sixdof.pages.aero import against_mach

    return against_mach(ds)


def _wind_limit(ds: xr.Dataset) -> str:
    from sixdof.study.wind_limit.wind_limit_text import wind_limit_text

    return wind_limit_text(ds)


def _rails(ds: xr.Dataset) -> str:
    from sixdof.study.wind_limit.rail_text import rail_text

    return rail_text(ds)


def _is_tuned(what: Any) -> bool:
    from sixdof.study.tuning.tuned import Tuned

    return isinstance(what, Tuned)


def _turned(ds: xr.Dataset) -> str:
    from sixdof.study.weathercock.weathercock_text import weathercock_page

    return weathercock_page(ds)


def _stability(ds: xr.Dataset) -> str:
    from sixdof.study.weathercock.stability_text import stability_page

    return stability_page(ds)


def _fluttered(ds: xr.Dataset) -> str:
    from sixdof.study.structure.flutter_text import flutter_page

    return flutter_page(ds)


def _built(ds: xr.Dataset) -> str:
    from sixdof.study.as_built.as_built_text import as_built_page

    return as_built_page(ds)


def _ballasted(ds: xr.Dataset) -> str:
    from sixdof.study.as_built.ballast_text import ballast_page

    return ballast_page(ds)


def _logged(ds: xr.Dataset) -> str:
    from sixdof.postflight.logs.log_text import log_text

    return log_text(ds)


def _recorded(ds: xr.Dataset) -> str:
    from sixdof.postflight.recording.recording_text import recording_text

    return recording_text(ds)


def _last_known(ds: xr.Dataset) -> str:
    from sixdof.postflight.recording.recording_text import last_position_text

    return last_position_text(ds)


def _rested(ds: xr.Dataset) -> str:
    from sixdof.postflight.logs.log_text import rest_text

    return rest_text(ds)


def _is_column_map(what: Any) -> bool:
    return type(what).__name__ == "ColumnMap" and isinstance(what, dict)


def _mapped(proposed: Any) -> str:
    from sixdof.postflight.logs.log_text import map_text

    return map_text(proposed)


def _estimated(ds: xr.Dataset) -> str:
    from sixdof.postflight.estimation.estimate_text import estimate_text

    return estimate_text(ds)


def _held_back(ds: xr.Dataset) -> str:
    from sixdof.postflight.estimation.hold_back import hold_back_text

    return hold_back_text(ds)


def _happened(ds: xr.Dataset) -> str:
    from sixdof.postflight.hypotheses.text import happened_text

    return happened_text(ds)


def _against(ds: xr.Dataset) -> str:
    from sixdof.postflight.compare.compare_text import compare_text

    return compare_text(ds)


def _fired(ds: xr.Dataset) -> str:
    from sixdof.study.static_firing.static_firing_text import static_firing_text

    return static_firing_text(ds)


def _skin(ds: xr.Dataset) -> str:
    from sixdof.study.structure.skin_text import skin_page

    return skin_page(ds)


def _card(ds: xr.Dataset) -> str:
    from sixdof.study.launch_card.page import card_page

    return card_page(ds)


def _sized(ds: xr.Dataset) -> str:
    from sixdof.study.recovery.sizing.text import sizing_text

    return sizing_text(ds)


def _recovered(ds: xr.Dataset) -> str:
    from sixdof.study.recovery.recovery_text import recovery_text

    return recovery_text(ds)


def _ejected(ds: xr.Dataset) -> str:
    from sixdof.study.recovery.ejection.text import charge_text

    return charge_text(ds)


def _deployed(ds: xr.Dataset) -> str:
    from sixdof.study.recovery.deployment_text import deployment_text

    return deployment_text(ds)


def _trigger_windows(ds: xr.Dataset) -> str:
    from sixdof.study.recovery.triggers.text import windows_text

    return windows_text(ds)


def _structure(ds: xr.Dataset) -> str:
    from sixdof.study.structure.loads.structure_text import structure_text

    return structure_text(ds)


def _bent(ds: xr.Dataset) -> str:
    from sixdof.study.structure.loads.structure_text import bending_text

    return bending_text(ds)


def _on_guides(ds: xr.Dataset) -> str:
    from sixdof.study.structure.loads.structure_text import guide_text

    return guide_text(ds)


def _deployment_loads(ds: xr.Dataset) -> str:
    from sixdof.study.structure.loads.structure_text import deployment_loads_text

    return deployment_loads_text(ds)


def _camera(ds: xr.Dataset) -> str:
    from sixdof.postflight.video.video_text import camera_text

    return camera_text(ds)


def _video(ds: xr.Dataset) -> str:
    from sixdof.postflight.video.video_text import video_text

    return video_text(ds)


def _swung(ds: xr.Dataset) -> str:
    from sixdof.postflight.video.swing_text import swing_text

    return swing_text(ds)


_REQUIRED = ("gain_db", "phase")
# the first that fits is meant: what is told by more comes before what is told by less
KINDS = (
    _Kind("a mission", lambda what: isinstance(what, Mission), {"vehicle": _Page(_vehicle), "aero": _Page(_aero), "control": _Page(_surviving)}),
    _Kind("a choice of motors", _dataset("standing", "fits", dims=("motor",)), {"choice": _Page(_chosen)}),
    _Kind("a comparison", _dataset("mission", dims=("variant", "flight")), {"outcomes": _Page(_compared, ("criteria", "outcomes", "confidence"))}),
    _Kind("landing places", _dataset("flight_branch", "contour_area"), {"landing": _Page(_landed)}),
    _Kind("a search map", _dataset("prior_outside", "searchable", dims=("body", "north", "east")), {"search": _Page(_searched)}),
    _Kind("a map of rail directions", _dataset("landing_distance_95", dims=("rail_azimuth", "rail_elevation")), {"rail": _Page(_leaned)}),
    _Kind("a launch card", _dataset("setting_value", "weighed_mass", "expected"), {"card": _Page(_card)}),
    _Kind("a vehicle as built", _dataset("difference_by_guess", "budget", dims=("row", "reading")), {"built": _Page(_built)}),
    _Kind("ballast for a margin", _dataset("ballast_mass", "margin_tried", dims=("tried",)), {"ballast": _Page(_ballasted)}),
    _Kind("what happened", _dataset("tail_by_others", "log_alone", dims=("candidate", "evidence")), {"happened": _Page(_happened)}),
    _Kind("a log against flights", _dataset("standardised_residual", "log_holds", dims=("channel", "level")), {"against": _Page(_against)}),
    _Kind("a static firing", _dataset("impulse_error", "curve_thrust", dims=("firing",)), {"firing": _Page(_fired)}),
    _Kind("judged criteria", _dataset("verdict", dims=("criterion",)), {"verdicts": _Page(_judged)}),
    _Kind("a flight log", lambda what: isinstance(what, xr.Dataset) and what.attrs.get("kind") == "flight log", {"log": _Page(_logged)}),
    _Kind("a recording", lambda what: isinstance(what, xr.Dataset) and what.attrs.get("kind") == "recording", {"recording": _Page(_recorded)}),
    _Kind("a last position", lambda what: isinstance(what, xr.Dataset) and what.attrs.get("kind") == "last position", {"last": _Page(_last_known)}),
    _Kind("a rest before launch", lambda what: isinstance(what, xr.Dataset) and what.attrs.get("kind") == "rest before launch", {"rest": _Page(_rested)}),
    _Kind("a column map", _is_column_map, {"map": _Page(_mapped)}),
    _Kind("an estimate", _dataset("direction_information", "cramer_rao", dims=("parameter", "log")), {"parameters": _Page(_estimated)}),
    _Kind("flights held back", _dataset("rms_predicted", "covered_before", dims=("log", "channel")), {"prediction": _Page(_held_back)}),
    _Kind("a rehearsal", _dataset("misfire", "rule_due"), {"timeline": _Page(_rehearsed)}),
    _Kind("linear models", _dataset("state_matrix", "input_matrix"), {"modes": _Page(_models)}),
    _Kind("margins of many flights", _dataset("gain_margin_db", dims=("flight", "channel")), {"margins": _Page(_spread, (*_REQUIRED, "count"))}),
    _Kind("margins", _dataset("gain_margin_db", dims=("point", "channel")), {"margins": _Page(_margins, _REQUIRED)}),
    _Kind("a gain map", _dataset("gain_margin_db", "stable", without=("point", "flight")), {"map": _Page(_gain_map, _REQUIRED)}),
    _Kind("a table of limit cycles", _dataset("predicted_frequency", "simulated_frequency"), {"cycles": _Page(_cycles)}),
    _Kind("predicted limit cycles", _dataset("imperfection", dims=("cycle",)), {"cycles": _Page(_predicted)}),
    _Kind("nominal flights of variants", _dataset("apogee_height", dims=("variant",), without=("flight",)), {"differences": _Page(_nominal)}),
    _Kind("a turn into the wind", _dataset("wind_limit", "cause_mean", dims=("fins", "wind")), {"turn": _Page(_turned)}),
    _Kind("a stability as flown", _dataset("margin_over_incidence", "margin_at"), {"margins": _Page(_stability)}),
    _Kind("skin temperatures", _dataset("skin_temperature", "soft_share", dims=("flight", "wall")), {"skin": _Page(_skin)}),
    _Kind("fin flutter", _dataset("flutter_reserve", "critical_pressure", dims=("flight", "fins")), {"flutter": _Page(_fluttered)}),
    _Kind("a structure", _dataset("bending_moment", "worst_first", dims=("configuration",)), {"structure": _Page(_structure)}),
    _Kind("bending along the stack", _dataset("bending_moment", dims=("configuration", "point")), {"bending": _Page(_bent)}),
    _Kind("loads on guides", _dataset("guide_load", dims=("flight", "guide")), {"guides": _Page(_on_guides)}),
    _Kind("loads at deployment", _dataset("piece_acceleration", dims=("canopy", "side")), {"deployment": _Page(_deployment_loads)}),
    _Kind("check cases", _dataset("passed", dims=("check",)), {"checks": _Page(_checked)}),
    _Kind("rails for a wind", _dataset("best_elevation", "gain", dims=("direction", "rail_elevation")), {"rails": _Page(_rails)}),
    _Kind("wind limits", _dataset("limit_kind", "criterion_limit", dims=("direction",)), {"limits": _Page(_wind_limit)}),
    _Kind("sizes of canopies", _dataset("needed_diameter", "first_guess", dims=("canopy", "size")), {"size": _Page(_sized)}),
    _Kind("a recovery", _dataset("trouble_share", "branch_troubles", dims=("part",)), {"recovery": _Page(_recovered)}),
    _Kind("ejection charges", _dataset("least_mass", "step_broken", dims=("harness", "flight")), {"charge": _Page(_ejected)}),
    _Kind("deployments about apogee", _dataset("below_share", "own_offset_flown", dims=("offset", "canopy")), {"window": _Page(_deployed)}),
    _Kind("trigger windows", _dataset("window_begin", "earliest_of_flight", dims=("branch", "trigger")), {"windows": _Page(_trigger_windows)}),
    _Kind("a camera", _dataset("error_covariance", "rotation", dims=("error",)), {"camera": _Page(_camera)}),
    _Kind("a video", _dataset("bearing_error_camera", "sight_rate", dims=("frame",)), {"video": _Page(_video)}),
    _Kind("a swing", _dataset("fitted", "decrement", dims=("sample",)), {"swing": _Page(_swung)}),
    _Kind("an ensemble", _dataset("status", dims=("flight",)), {"summary": _Page(_flown)}),
    _Kind("a flight", _dataset("status"), {"summary": _Page(_flown), "control": _Page(_controlled)}),
    _Kind(
        "aerodynamics against Mach", lambda what: isinstance(what, (xr.Dataset, xr.DataArray)) and "mach" in what.dims, {"coefficients": _Page(_against_mach)}
    ),
    _Kind("a tuning", _is_tuned, {"gains": _Page(str)}),
)
