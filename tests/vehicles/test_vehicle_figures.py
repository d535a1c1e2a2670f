"""Every figure of vehicles nobody tuned: it is drawn with labels, or says in one sentence why not. Warnings are errors here."""

from __future__ import annotations

import numpy as np
import pytest
from evidence_by_hand import pieces_of
from figure_checks import complaints
from firing_logs import fired_again
from flown_logs import noisy_log, true_flight
from recorded import recorded
from strangers import FILES, FOLDER
from workbench import readings

import sixdof
from sixdof import plot
from sixdof.study.loops.frozen import simulate_frozen
from sixdof.study.loops.limit_cycle import limit_cycle_curves, limit_cycles
from sixdof.study.loops.margins import margins
from sixdof.study.tuning.gain_map import gain_map
from sixdof.study.uncertainty.margin_spread import margin_spread
from sixdof.study.variants.judging import judge_criteria

MOTORS = FOLDER / "motors"
OF_FLIGHT = (
    "plot_flight",
    "plot_control",
    "plot_track",
    "plot_ground_track",
    "plot_fins",
    "plot_margin",
    "plot_mach",
    "plot_estimate_error",
    "plot_waypoints",
    "plot_separation",
    "plot_bodies",
    "plot_timeline",
    "plot_height",
    "plot_speed",
    "plot_acceleration",
    "plot_thrust",
    "plot_behind",
    "plot_path",
    "plot_map",
)
OF_ENSEMBLE = (
    "plot_fan",
    "plot_landing",
    "plot_landings",
    "plot_ensemble",
    "plot_histogram",
    "plot_quantiles",
    "plot_convergence",
    "plot_static_margins",
    "plot_rule_times",
    "plot_map",
)
OF_MISSION = ("draw_vehicle", "plot_air")
BEFORE = (
    "plot_stability_in_flight",
    "plot_weathercock",
    "plot_motor_choice",
    "plot_landing_map",
    "plot_rail_map",
    "plot_wind_limit",
    "plot_wind_shares",
    "plot_rail_for_wind",
    "plot_launch_card",
)
WORKSHOP = (
    "plot_charge",
    "plot_canopy_size",
    "plot_deployment",
    "plot_trigger_windows",
    "plot_flutter",
    "plot_structure",
    "plot_bending",
    "plot_skin_temperature",
    "plot_static_firing",
    "plot_as_built",
    "plot_ballast",
)
AFTERWARDS = ("plot_recording", "plot_log", "plot_against", "plot_estimate", "plot_what_happened", "plot_search_map", "plot_video", "plot_swing")
OF_LOOPS = (
    "plot_modes",
    "plot_bode",
    "plot_nyquist",
    "plot_nichols",
    "plot_root_locus",
    "plot_steps",
    "plot_disturbances",
    "plot_margins",
    "plot_responses",
    "plot_limit_cycle",
    "plot_describing",
    "plot_limit_cycles",
    "plot_margin_spread",
    "plot_gain_map",
    "plot_tuning",
    "plot_schedule",
    "plot_lags",
)
OF_COMPARISON = ("plot_comparison", "plot_paired", "plot_verdicts", "plot_tornado", "plot_scatter_matrix")
# drawn by those above, or of no vehicle
WITHIN = (
    "aero_figures",
    "plot_tilt",
    "plot_attitude_error",
    "plot_demands",
    "plot_rehearsal",
    "plot_drag_build_up",
    "plot_stability",
    "plot_slopes",
    "plot_centres",
    "plot_pitch_damping",
    "plot_roll",
    "plot_authority",
    "plot_authorities",
    "plot_trim",
    "plot_hinge_moments",
    "plot_survival",
    "draw_axes",
    "draw_fin_numbers",
    "draw_conventions",
)
REFUSED = {
    ("plot_fins", "slender"): "needs control fins, and this vehicle has none",
    ("plot_fins", "stack"): "needs control fins, and this vehicle has none",
    ("plot_waypoints", "slender"): "needs waypoints",
    ("plot_waypoints", "stack"): "needs waypoints",
    ("plot_separation", "slender"): "needs stages that separate",
    ("plot_separation", "canard"): "needs stages that separate",
    ("plot_estimate_error", "slender"): "the sensors of this mission are ideal",
    ("plot_estimate_error", "stack"): "the sensors of this mission are ideal",
}
EVERY = pytest.mark.parametrize("name", FILES)
LIGHTEST = pytest.mark.parametrize("name", ["slender", *(pytest.param(name, marks=pytest.mark.slow) for name in ("canard", "stack"))])


def test_figures__are_all_tried():
    tried = {*OF_FLIGHT, *OF_ENSEMBLE, *OF_MISSION, *OF_LOOPS, *OF_COMPARISON, *BEFORE, *WORKSHOP, *AFTERWARDS, *WITHIN}
    assert tried == set(plot.__all__)


# labels of pure numbers: gains and drawn factors
PURE = ("pitch p, yaw p", "pitch p", "schedule 1 pitch p", "motor impulse", "vehicle mass", "aero drag", "canopy drag")


def rendered(found):
    """Draw whatever a figure function returned, and hold what every figure must."""
    figures = found.values() if isinstance(found, dict) else [found if hasattr(found, "savefig") else np.ravel(np.array(found, dtype=object))[0].figure]
    for figure in figures:
        assert not complaints(figure, PURE)


@pytest.mark.parametrize("function", OF_FLIGHT)
@EVERY
def test_figure__of_a_flight(flights, name, function):
    if (function, name) in REFUSED:
        with pytest.raises(ValueError, match=REFUSED[function, name]):
            getattr(plot, function)(flights[name])
        return
    rendered(getattr(plot, function)(flights[name]))


@pytest.mark.parametrize("function", OF_ENSEMBLE)
@EVERY
def test_figure__of_an_ensemble(ensembles, name, function):
    more = ("apogee_height",) if function in ("plot_histogram", "plot_quantiles", "plot_convergence") else ()
    rendered(getattr(plot, function)(ensembles[name], *more))


@pytest.mark.parametrize("function", OF_MISSION)
@EVERY
def test_figure__of_a_mission(missions, name, function):
    rendered(getattr(plot, function)(missions[name]))


@pytest.mark.slow
@EVERY
def test_figure__of_the_turn_into_the_wind(missions, name):
    found = sixdof.preflight.weathercock(missions[name], "lean at burnout < 4 deg in 50 % of flights", 2, winds=[0.0, 9.0], threads=1, progress=False)
    rendered(plot.plot_weathercock(found))


@pytest.mark.parametrize("name", ["slender", pytest.param("canard", marks=pytest.mark.slow), pytest.param("stack", marks=pytest.mark.slow)])
def test_figure__of_the_stability_in_flight(missions, name):
    rendered(plot.plot_stability_in_flight(sixdof.preflight.stability(missions[name], 2)))


@pytest.mark.parametrize("name", ["slender", "stack", pytest.param("canard", marks=pytest.mark.slow)])
def test_figure__of_landing_maps(ensembles, missions, name):
    rendered(plot.plot_landing_map(sixdof.preflight.landing(ensembles[name], waiver="3 km", ceiling="900 m")))
    leans = sixdof.preflight.rail_map(missions[name], 1, azimuths=["40 deg", "220 deg"], elevations=["88 deg"], waiver="1 km", progress=False)
    rendered(plot.plot_rail_map(leans))


@pytest.mark.parametrize("name", ["slender", pytest.param("canard", marks=pytest.mark.slow)])
def test_figure__of_wind_limits(missions, name):
    found = sixdof.preflight.wind_limit(missions[name], directions=4, flights=4, winds=2, tolerance=1.0, progress=False)
    rendered(plot.plot_wind_limit(found))
    rendered(plot.plot_wind_shares(found))
    rails = sixdof.preflight.rail_for_wind(missions[name], elevations=["88 deg", "80 deg"], flights=4, winds=2, tolerance=1.0, progress=False)
    rendered(plot.plot_rail_for_wind(rails))


@pytest.mark.parametrize("name", ["slender", pytest.param("canard", marks=pytest.mark.slow), pytest.param("stack", marks=pytest.mark.slow)])
def test_figure__of_a_choice_of_motors(missions, name):
    files = sorted(MOTORS.glob("wick-*.csv" if name == "slender" else "reed-*.csv"))
    choice = sixdof.preflight.choose_motor(missions[name], files, "apogee_height > 400 m in 50 % of flights", flights=4, confirm=False, progress=False)
    rendered(plot.plot_motor_choice(choice))


@pytest.mark.parametrize("name", ["slender", pytest.param("canard", marks=pytest.mark.slow), pytest.param("stack", marks=pytest.mark.slow)])
def test_figure__of_the_launch_card(missions, name):
    criteria = ["lean at burnout < 20 deg in 90 % of flights", "apogee_height > 10 m in 60 % of flights"]
    card = sixdof.preflight.launch_card(missions[name], criteria, wind="3 m/s from 200 deg", flights=3, directions=0, progress=False)
    rendered(plot.plot_launch_card(card))


@pytest.mark.parametrize("name", ["slender", pytest.param("canard", marks=pytest.mark.slow), pytest.param("stack", marks=pytest.mark.slow)])
def test_figure__of_aerodynamics(missions, name):
    rendered(plot.aero_figures(missions[name]))


@LIGHTEST
def test_figure__of_a_recording(flights, missions, name, tmp_path):
    rendered(plot.plot_recording(recorded(flights[name], missions[name], tmp_path / "a.rec")))


@EVERY
def test_figure__of_a_rehearsal(missions, name):
    rendered(plot.plot_rehearsal(sixdof.rehearse(missions[name])))


def test_drawing__centres_stay_within_the_outline(missions):
    """Odd fins reach further on one side: marks as long as the longer one would run through the labels on the other."""
    ax = plot.draw_vehicle(missions["stack"])
    top = max(patch.get_xy()[:, 1].max() for patch in ax.patches)
    for line in ax.lines:
        if line.get_linewidth() == 1.8:
            assert max(line.get_ydata()) < top


def test_survival__nothing_runs_out_of_its_axes(missions):
    """The tail answers the canards' wake: more than all of a pitch demand survives."""
    axes = plot.plot_survival(sixdof.study.aero.authority.survival(missions["canard"], mach=0.3))
    for ax in axes:
        top = max(line.get_ydata().max() for line in ax.lines if len(line.get_ydata()) > 2)
        assert ax.get_ylim()[1] > top > 0.5


def test_landings__ellipses_stand_clear_of_the_frame(ensembles):
    for name in FILES:
        ax = plot.plot_landings(ensembles[name])
        ax.figure.canvas.draw()
        (x0, y0), (x1, y1) = ax.transData.inverted().transform(ax.bbox.corners()[[0, 3]])
        for patch in ax.patches:
            outline = patch.get_verts() if not hasattr(patch, "width") else patch.get_patch_transform().transform_path(patch.get_path()).to_polygons()[0]
            assert x0 < outline[:, 0].min() and outline[:, 0].max() < x1 and y0 < outline[:, 1].min() and outline[:, 1].max() < y1


def test_separation__pieces_that_leave_do_not_touch(flights):
    """They touch as the joint lets go, by definition: no cross for that."""
    ds = flights["stack"]
    assert not ds.recontact.any()
    assert not [line for line in plot.plot_separation(ds).lines if "touch" in str(line.get_label())]


# ---------------------------------------------------------------- of loops and comparisons


def test_figure__of_loops(models, flights, missions):
    found = margins(models)
    for function, channel in zip(OF_LOOPS[1:7], ("pitch", "roll", "yaw") * 2):
        rendered(getattr(plot, function)(models, channel=channel))
    rendered(plot.plot_modes(models))
    rendered(plot.plot_margins(found))
    rendered(plot.plot_responses({"own": flights["canard"]}))


@pytest.mark.slow
def test_figure__of_cycles_maps_and_spreads(models, missions):
    frozen, cycles, curves = simulate_frozen(models, 2, duration=1.0, start=0.02), limit_cycles(models, 2), limit_cycle_curves(models, 2)
    for figure in (plot.plot_limit_cycle(frozen, cycles), plot.plot_describing(curves, cycles), plot.plot_limit_cycles(frozen, cycles, curves)):
        rendered(figure)
    pair = ("autopilot.schedule.1.pitch.p", [0.2, 0.4], "autopilot.schedule.1.pitch.d", [0.01, 0.03])
    rendered(plot.plot_gain_map(gain_map(missions["canard"], *pair, models=models.isel(point=[1, 2]), flown=False, progress=False)))
    rendered(plot.plot_margin_spread(margin_spread(missions["canard"], 3, points=2, progress=False)))


@pytest.mark.slow
def test_figure__of_tuning(missions):
    tuned = sixdof.tune(missions["canard"], {"phase_margin_deg": 35.0, "rows": 2}, points=6, progress=False)
    for figure in (plot.plot_tuning(tuned), plot.plot_tuning(tuned, "roll"), plot.plot_schedule(tuned), plot.plot_lags(tuned)):
        rendered(figure)


@pytest.mark.parametrize("name", ["slender", "stack"])
def test_figure__of_loops_that_are_none(missions, flights, name):
    models = sixdof.loops.linearise(missions[name], points=3)
    rendered(plot.plot_modes(models))
    for function in OF_LOOPS[1:7]:
        with pytest.raises(ValueError, match=f"{function}: no control fins work along this flight"):
            getattr(plot, function)(models)
    with pytest.raises(ValueError, match=r"plot_responses \(own\) needs control fins, and this vehicle has none"):
        plot.plot_responses({"own": flights[name]})


@pytest.mark.parametrize("name", ["slender", pytest.param("canard", marks=pytest.mark.slow), pytest.param("stack", marks=pytest.mark.slow)])
def test_figure__of_a_comparison(missions, name):
    mission = missions[name].change({"disperse": {"motor.impulse": {"sd": "2 %"}, "canopy.drag": {"sd": "10 %"}}, "correlation": [], "failure": []})
    variants = {"as it is": mission, "steeper": mission.change({"rail.elevation": "89 deg"})}
    ds = sixdof.compare(variants, 16, seed=1, criteria=["apogee_height > 300 m in 50 % of flights"], progress=False, threads=1)
    for figure in (
        plot.plot_comparison(ds, "apogee_height"),
        plot.plot_comparison(ds, "landing"),
        plot.plot_paired(ds, "apogee_height"),
        plot.plot_verdicts(judge_criteria(ds)),
    ):
        rendered(figure)
    one = sixdof.disperse(mission, 16, seed=1, progress=False)
    rendered(plot.plot_tornado(one, "apogee_height"))
    rendered(plot.plot_scatter_matrix(one, ["apogee_height", "landing_ground_speed"], ["motor_impulse"] if len(mission.stage) == 1 else None))


@EVERY
def test_figure__and_page_of_charges(missions, name):
    if not missions[name].harness:
        with pytest.raises(ValueError, match=r"charge: the mission has no \[\[harness\]\]"):
            sixdof.workshop.charge(missions[name], flights=2, failing=0)
        return
    found = sixdof.workshop.charge(missions[name], flights=3, failing=0)
    rendered(plot.plot_charge(found)[0])
    page = str(sixdof.report(found))
    assert "has no charge table" in page and "nan" not in page and "never a recipe" in page


@pytest.mark.parametrize("name", ["slender", pytest.param("canard", marks=pytest.mark.slow), pytest.param("stack", marks=pytest.mark.slow)])
def test_figure__of_deployments_about_apogee(missions, name):
    found = sixdof.workshop.deployment(missions[name], offsets=[-2.0, 4.0], flights=2, failing=0)
    for canopy in found["canopy"].values:
        rendered(plot.plot_deployment(found, str(canopy)))
    assert "deployed at each of 2 times" in str(sixdof.report(found))


@LIGHTEST
def test_figure__and_page_of_flutter(ensembles, missions, name):
    found = sixdof.workshop.flutter(ensembles[name], progress=False)
    rendered(plot.plot_flutter(found))
    page = str(sixdof.report(found))
    assert "1.55 times unsafe" in page and "nan" not in page and all(f"  {fins} " in page for fins in found["fins"].values)
    assert (float(found["short_share"].max()) > 0.5) == (name == "stack")  # thin boards on its lower stages; the polygon counts as a trapezoid
    assert ("say no hinge_stiffness" in page) == (name == "canard") and ("not by their own outline: tussock fins" in page) == (name == "stack")


@pytest.mark.parametrize("name", ["slender", pytest.param("canard", marks=pytest.mark.slow), pytest.param("stack", marks=pytest.mark.slow)])
def test_figure__of_static_firings(missions, name):
    motor = next(part.motor for part in missions[name].stage[-1].part if getattr(part, "motor", None))
    rendered(plot.plot_static_firing(fired_again(missions[name], motor)))


@pytest.mark.slow
@EVERY
def test_figure__of_sizes_of_canopies(missions, name):
    found = sixdof.workshop.canopy_size(missions[name], drift="400 m", sizes=[0.7, 1.0, 1.3], flights=4, failing=1)
    for canopy in found["canopy"].values:
        rendered(plot.plot_canopy_size(found, str(canopy)))
    assert "down at most 6 m/s" in str(sixdof.report(found))


@pytest.mark.parametrize("name", ["slender", pytest.param("canard", marks=pytest.mark.slow), pytest.param("stack", marks=pytest.mark.slow)])
def test_figure__and_page_of_skin_temperatures(ensembles, name):
    found = sixdof.workshop.skin_temperature(ensembles[name].isel(flight=slice(3)), progress=False)
    rendered(plot.plot_skin_temperature(found))
    page = str(sixdof.report(found))
    assert "nose tip" in page and "nan" not in page
    assert ("nose tip, petg" in page) == (name != "canard")  # printed noses near Mach 1.1 and beyond


@LIGHTEST
def test_figures__of_a_vehicle_as_built(missions, name):
    """All stages of it, as the mission has them; and a little ballast."""
    tables = [readings(missions[name], number, error=0.05) for number in range(len(missions[name].stage))]
    rendered(plot.plot_as_built(sixdof.workshop.as_built(missions[name], {**tables[0], "stage": [one["stage"][0] for one in tables]})))
    asked = {"flights": 2, "most": "20 g", "threads": 1, "progress": False}
    rendered(plot.plot_ballast(sixdof.workshop.ballast(missions[name], 4.0, **asked)))


@pytest.mark.parametrize("name", ["slender", pytest.param("canard", marks=pytest.mark.slow), pytest.param("stack", marks=pytest.mark.slow)])
def test_figure__and_page_of_trigger_windows(missions, name):
    some = ["no_separation: bulrush", "trigger lost: separate tussock"] if name == "stack" else []
    found = sixdof.workshop.trigger_windows(missions[name], 3, branches=some, seed=2, progress=False)
    rendered(plot.plot_trigger_windows(found))
    page = " ".join(str(sixdof.report(found)).split())
    assert 'Nothing backs up "deploy' in page and "nan" not in page and "A calculation, not a clearance to fly" in page
    assert ('Nothing backs up "light the middle"' in page) == (name == "stack")


@LIGHTEST
def test_figure__and_page_of_loads(ensembles, name):
    found = sixdof.workshop.structure(ensembles[name].isel(flight=slice(2)), failing=0, progress=False)
    rendered(plot.plot_structure(found)[0].figure)
    rendered(plot.plot_bending(found)[0].figure)
    page = str(sixdof.report(found))
    assert "nan" not in page and "nearest to breaking first" in page


@LIGHTEST
def test_figure__and_page_of_what_happened(missions, flights, name):
    """Of the flight as written, with a fix of the front body, a find of the last one, and a sound."""
    found = sixdof.postflight.what_happened(missions[name], pieces_of(flights[name]), flights=4, rounds=2, pairs=1, progress=False)
    rendered(plot.plot_what_happened(found))
    page = str(sixdof.report(found))
    assert "MOST LIKELY" in page and "nan" not in page and found.attrs["mission"] == missions[name].to_toml()
    assert float(found.weight.sum()) == pytest.approx(1.0) and float(found.probability.sum()) == pytest.approx(1.0)


@LIGHTEST
def test_figure__and_page_of_a_log_against_flights(missions, flights, name):
    log = sixdof.postflight.read_log(*sixdof.postflight.log_of(flights[name], rate=10.0), missions[name])
    found = sixdof.postflight.compare_log(missions[name], log, flights=20, points=40, progress=False)
    rendered(plot.plot_against(found))
    page = str(sixdof.report(found))
    assert "ANSWER: " in page and "nan" not in page and "beyond: no data" in page


@EVERY
def test_figure__of_a_log(missions, flights, name):
    table, columns = sixdof.postflight.log_of(
        flights[name], losses=0.02, noise={"body_rate": 0.01, "pressure": 20.0}, what=("pressure", "specific_force", "body_rate")
    )
    log = sixdof.postflight.read_log(table, columns, missions[name], remove_bias=True)
    rendered(plot.plot_log(log))
    true = float(flights[name]["apogee_height"])
    assert abs(float(log["height"].max()) - true) < 0.01 * true + 10.0  # 20 Pa of noise are 2 m, five of them at most


@LIGHTEST
def test_figures__and_page_of_a_video(ensembles, missions, name):
    """A flight of the vehicle filmed from beside its rail, laid among others of its kind; what swings in it."""
    lens = {"place": (40.0, -30.0, 1.5), "picture": (3840, 2160), "field_of_view": "70 deg", "frame_rate": 60.0, "liftoff_frame": 0}
    seen = sixdof.postflight.camera(**lens, bearing="-53 deg", elevation="35 deg", pointing_error="1 deg", mission=missions[name])
    flights = ensembles[name].isel(flight=slice(3))
    table = sixdof.postflight.frames_of(sixdof.fly(missions[name]), seen, range(0, 200, 2), pixel_error=0.5)
    found = sixdof.postflight.video_band(flights, seen, table, flight=missions[name], progress=False)
    rendered(plot.plot_video(found))
    rendered(plot.plot_swing(sixdof.postflight.swing_of(found)))
    page = str(sixdof.report(found))
    assert "ANSWER: " in page and "Among the flights" in page and "nan" not in page


@LIGHTEST
def test_figure__and_page_of_an_estimate(missions, name):
    """Drag and thrust out of a log of two seconds, with all that the vehicle disperses carried along; of a vehicle that steers its control force too."""
    truth = {"aero.drag": 1.05, "motor.impulse": 0.98} | ({"aero.control_force": 1.05} if name == "canard" else {})
    log = noisy_log(true_flight(missions[name], truth)[1], np.arange(0.0, 2.0, 0.1), 1)
    few = missions[name].change({"disperse": {each: missions[name].disperse[each] for each in ("aero.drag", "motor.impulse")}, "correlation": []})
    found = sixdof.postflight.estimate(few, log, list(truth), priors=dict.fromkeys(truth, "10 %"), turns=4, progress=False)
    rendered(plot.plot_estimate(found))
    page = str(sixdof.report(found))
    assert "ANSWER: aero.drag is" in page and "nan" not in page
    assert "[disperse]" in sixdof.postflight.estimate_toml(found)


@LIGHTEST
def test_figures_after__where_to_search(name, ensembles):
    found = sixdof.postflight.search_map(ensembles[name])
    walked = sixdof.postflight.with_walked(found, {"track": [(0.0, 0.0), (150.0, 60.0)], "cover": "open"})
    plan = sixdof.postflight.next_strips(walked, hours=2, cover="open", progress=False)
    for body in plan["body"].values:
        rendered(plot.plot_search_map(plan, str(body)))
    assert "ANSWER: walk strip 1, " in sixdof.report(plan)
