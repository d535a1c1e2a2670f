"""`report`: the page of everything sixdof makes, and one sentence for what it has none about."""

from __future__ import annotations

import math
import re
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from evidence_by_hand import pieces_of
from recorded import recorded

import sixdof
from sixdof.pages.report import KINDS, kind_of
from sixdof.study.loops.margins import holds


@pytest.fixture(scope="module")
def models(demo_mission):
    return sixdof.loops.linearise(demo_mission, points=6)


@pytest.fixture(scope="module")
def made(demo_mission, stack_mission, demo_flight, demo_ensemble, models, tmp_path_factory):
    """One thing of every kind that `report` answers for, by the kind's name."""
    compared = sixdof.compare({"as it is": demo_mission}, 2, criteria="apogee_height > 100 m in 50 % of flights", tracks="none", progress=False)
    changes = [("autopilot.pitch.p", [0.2, 0.4, 0.8]), ("autopilot.pitch.d", [0.05, 0.1])]
    sticky = demo_mission.change({"servo.dead_band": "0.2 deg"})
    motors = [Path(__file__).parents[2] / "configs" / "motors" / name for name in ("mesa-i.csv", "playa-h.csv")]
    log = sixdof.postflight.read_log(*sixdof.postflight.log_of(demo_flight), demo_mission)
    heights = log[["height"]].isel(time=slice(None, None, 10))
    lens = {"place": (60.0, 0.0, 1.5), "picture": (1920, 1080), "field_of_view": "70 deg", "frame_rate": 60.0, "liftoff_frame": 30}
    seen = sixdof.postflight.camera(**lens, bearing="270 deg", elevation="20 deg", pointing_error="1 deg")
    time = np.arange(0.0, 2.0, 1.0 / 30.0)
    recording = recorded(demo_flight, demo_mission, tmp_path_factory.mktemp("recorded") / "a.rec")
    few = {"flights": 4, "winds": 2, "tolerance": 1.0, "progress": False}
    return {
        "a mission": demo_mission,
        "a comparison": compared,
        "judged criteria": sixdof.stats.judge_criteria(compared),
        "a rehearsal": sixdof.rehearse(demo_mission),
        "linear models": models,
        "margins of many flights": sixdof.loops.margin_spread(demo_mission, 2, seed=1, points=3, progress=False),
        "margins": sixdof.loops.margins(models),
        "a gain map": sixdof.loops.gain_map(demo_mission, *changes[0], *changes[1], models=models, flown=False, progress=False),
        "a table of limit cycles": sixdof.loops.limit_cycle_table(models, gains=sticky, points=[2]),
        "predicted limit cycles": sixdof.loops.limit_cycles(models, 2, gains=sticky),
        "nominal flights of variants": sixdof.stats.compare_nominal(sixdof.parts.vary(demo_mission, {"flat": {}, "round": {"site.earth": "wgs84"}})),
        "check cases": xr.Dataset({name: ("check", [value]) for name, value in _CHECK.items()}),
        "a choice of motors": sixdof.preflight.choose_motor(stack_mission, motors, prefer="most apogee_height", flights=2, confirm=False, progress=False),
        "landing places": sixdof.preflight.landing(demo_ensemble, waiver="1 km"),
        "a search map": sixdof.postflight.search_map(demo_ensemble, cell="50 m", last_fix=(100.0, 50.0), declination="11 deg"),
        "a map of rail directions": sixdof.preflight.rail_map(demo_mission, 2, azimuths=["90 deg"], elevations=["85 deg"], progress=False),
        "a launch card": sixdof.preflight.launch_card(demo_mission, flights=8, directions=0, progress=False),
        "a vehicle as built": sixdof.workshop.as_built(stack_mission, motors[0].parents[1] / "whinchat-readings.toml"),
        "ballast for a margin": sixdof.workshop.ballast(demo_mission, flights=2, most="20 g", threads=1, progress=False),
        "a static firing": sixdof.workshop.static_firing(
            motors[0].parents[1] / "firings" / "mesa-i-1.csv", calibration=motors[0].parents[1] / "firings/cell.csv"
        ),
        "a flight log": log,
        "a recording": recording,
        "a last position": sixdof.postflight.last_position(recording),
        "a log against flights": sixdof.postflight.compare_log(demo_mission, heights, flights=20, points=20, progress=False),
        "a rest before launch": sixdof.postflight.gyro_bias(log),
        "an estimate": sixdof.postflight.estimate(demo_mission, heights, ["aero.drag"], carry=False, progress=False),
        "flights held back": sixdof.postflight.hold_back(demo_mission, [heights, heights], ["aero.drag"], carry=False, progress=False),
        "a column map": sixdof.postflight.column_map({"time (ms)": [0.0, 20.0], "baro (ft)": [0.0, 3.0]}),
        "skin temperatures": sixdof.workshop.skin_temperature(demo_ensemble.isel(flight=slice(2)), failing=0, progress=False),
        "fin flutter": sixdof.workshop.flutter(demo_ensemble.isel(flight=slice(2)), failing=0, progress=False),
        "sizes of canopies": sixdof.workshop.canopy_size(demo_mission, "main", sizes=[0.8, 1.2], flights=2, failing=0, progress=False),
        "a recovery": sixdof.workshop.recovery(stack_mission, 2, failing=0, parts=["charge"], progress=False),
        "ejection charges": sixdof.workshop.charge(stack_mission, "drogue", flights=2, failing=0, progress=False),
        "deployments about apogee": sixdof.workshop.deployment(demo_mission, "main", offsets=[0.0], flights=2, failing=0, progress=False),
        "trigger windows": sixdof.workshop.trigger_windows(demo_mission, 2, branches=[], progress=False),
        "a turn into the wind": sixdof.preflight.weathercock(demo_mission, "lean at burnout < 8 deg in 50 % of flights", 2, maps=False, cures=False),
        "a stability as flown": sixdof.preflight.stability(demo_mission, 2),
        "rails for a wind": sixdof.preflight.rail_for_wind(demo_mission, elevations=["80 deg"], **few),
        "wind limits": sixdof.preflight.wind_limit(demo_mission, directions=["255 deg"], **few),
        "a structure": sixdof.workshop.structure(demo_mission, 2, progress=False),
        "bending along the stack": sixdof.workshop.bending(stack_mission, 2, failing=0, progress=False),
        "loads on guides": sixdof.workshop.guide_loads(demo_mission, 2, progress=False),
        "loads at deployment": sixdof.workshop.deployment_loads(stack_mission, 2, failing=0, progress=False),
        "a camera": seen,
        "a video": sixdof.postflight.from_video(seen, sixdof.postflight.frames_of(demo_flight, seen, range(30, 90, 10), pixel_error=1.0)),
        "a swing": sixdof.postflight.swing_of((time, np.exp(-0.6 * time) * np.cos(9.0 * time))),
        "what happened": sixdof.postflight.what_happened(demo_mission, pieces_of(demo_flight), flights=4, rounds=1, progress=False),
        "an ensemble": demo_ensemble,
        "a flight": demo_flight,
        "aerodynamics against Mach": sixdof.aero.drag_against_mach(demo_mission),
        "a tuning": sixdof.tune(demo_mission, {"schedule": "none", "channels": ["roll"]}, points=4, progress=False),
    }


_CHECK = dict(case="a case", quantity="height", unit="m", source="a book", reference=1.0, ours=1.0, difference=0.0, limit=0.1, passed=True)


@pytest.mark.parametrize("kind", [kind.name for kind in KINDS])
def test_report__has_a_page_about(kind, made):
    assert kind_of(made[kind]).name == kind
    page = sixdof.report(made[kind])
    assert isinstance(page, str) and repr(page) == str(page) and len(page.splitlines()) >= 3
    assert not re.search(r"\bnan\b", page) and max(map(len, page.splitlines())) <= 160
    shown = page._repr_html_()
    assert shown.startswith("<pre") and shown.count("\n") == page.count("\n") and "<" not in re.sub(r"</?pre.*?>", "", shown)


@pytest.mark.parametrize("kind", [kind.name for kind in KINDS])
def test_report__every_further_page_differs_from_the_usual_one(kind, made):
    pages = {about: sixdof.report(made[kind], about) for about in kind_of(made[kind]).pages}
    assert len(set(pages.values())) == len(pages)
    assert sixdof.report(made[kind]) == next(iter(pages.values()))


def test_report__options_reach_the_page(made):
    assert "required: 3 dB and 20 deg" in sixdof.report(made["margins"], gain_db=3.0, phase=math.radians(20.0))
    assert "20 deg at the actuator" in sixdof.report(made["margins of many flights"], gain_db=3.0, phase=math.radians(20.0))
    assert "apogee_height > 9 km" in sixdof.report(made["a comparison"], criteria="apogee_height > 9 km in 50 % of flights")
    assert "Criteria" not in sixdof.report(made["a comparison"], criteria=())
    assert "mach_max" in sixdof.report(made["a comparison"], outcomes=["mach_max"]) and "80 % confidence" in sixdof.report(made["a comparison"], confidence=0.8)


@pytest.mark.parametrize(
    "what, options, error, says",
    [
        (3, {}, TypeError, "report has no page about 3; it has one about a mission, "),
        (xr.Dataset(coords={"x": [1.0]}), {}, TypeError, "report has no page about a Dataset of the dims x; "),
        ("a flight", {"count": 3}, TypeError, "report: count says nothing about a flight; the page of a flight takes no option"),
        ("margins", {"count": 3}, TypeError, "report: count says nothing about margins; the page of margins takes gain_db, phase"),
        ("a mission", {"about": "aeroo"}, ValueError, 'report: a mission has no page "aeroo"; did you mean "aero"?'),
    ],
)
def test_report__says_in_one_sentence_what_it_cannot(what, options, error, says, made):
    with pytest.raises(error) as caught:
        sixdof.report(made.get(what, what) if isinstance(what, str) else what, **options)
    assert str(caught.value).startswith(says) and "\n" not in str(caught.value)


# ---------------------------------------------------------------- what the pages say is what the numbers say


def test_models__page_shows_frequency_and_damping_of_the_state_matrix(models):
    """Second statement: the eigenvalues of the pitch states, -z w + i w sqrt(1 - z^2)."""
    rows = [line.split() for line in sixdof.report(models).splitlines()[5:11]]
    for k, row in enumerate(rows):
        a = models["state_matrix"].isel(point=k).sel(rate_of=["w", "q"], state=["w", "q"]).values
        pole = np.linalg.eigvals(a)[0]
        assert float(row[3]) == pytest.approx(abs(pole), abs=0.005)  # as many digits as the page shows
        assert float(row[4]) == pytest.approx(-pole.real / abs(pole), abs=0.0005)
        assert float(row[0]) == pytest.approx(float(models.time[k]), abs=0.005)


def test_gain_map__page_counts_what_margins_alone_would(demo_mission, models, made):
    """Second statement: margins of the mission changed to each pair, held against the requirement of a sure few."""
    required = (3.0, math.radians(20.0))
    met = 0
    for p in (0.2, 0.4, 0.8):
        for d in (0.05, 0.1):
            found = sixdof.loops.margins(models, {"autopilot.pitch.p": p, "autopilot.pitch.d": d}, channels="pitch", broken_at="actuator")
            met += bool(holds(found, *required).all())
    assert f"3 dB and 20 deg: {met} of 6 pairs" in sixdof.report(made["a gain map"], gain_db=required[0], phase=required[1])


def test_cycles__page_has_a_line_for_each(made):
    found = made["predicted limit cycles"]
    lines = sixdof.report(found).splitlines()[3:]
    assert len(lines) == found.sizes["cycle"] > 0
    for line, frequency, stable in zip(lines, found["frequency"].values, found["stable"].values):
        assert float(line.split()[1]) == pytest.approx(frequency, abs=0.005) and ("kept up" in line) == stable


def test_aero__rows_are_the_values_at_the_machs_shown(made, demo_mission):
    ds = made["aerodynamics against Mach"]
    lines = sixdof.report(ds).splitlines()
    mach = np.array(lines[1].split()[1:], dtype=float)
    axial = next(line for line in lines if line.startswith("axial  "))
    np.testing.assert_allclose([float(x) for x in axial.split()[1:-1]], ds["axial"].sel(mach=mach, method="nearest"), atol=0.0005)
    hinge = sixdof.report(sixdof.aero.hinge_moments(demo_mission))
    assert hinge.startswith("hinge moment\n") and "inc 20 def 12" in hinge and "N m" in hinge
