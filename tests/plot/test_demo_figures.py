"""Every figure of the shipped demos, one stage and two: what each must hold (`figure_checks`)."""

from __future__ import annotations

from pathlib import Path

import matplotlib.pyplot as plt
import numpy as np
import pytest
from evidence_by_hand import pieces_of
from figure_checks import complaints
from firing_logs import FIRINGS
from flown_logs import noisy_log, true_flight
from recorded import recorded

import sixdof
from sixdof import plot

OF_FLIGHT = (
    "plot_flight",
    "plot_control",
    "plot_tilt",
    "plot_fins",
    "plot_attitude_error",
    "plot_demands",
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
OF_STACK = ("plot_flight", "plot_track", "plot_separation", "plot_bodies", "plot_timeline", "plot_path", "plot_map")
OF_ENSEMBLE = ("plot_fan", "plot_landing", "plot_landings", "plot_ensemble", "plot_static_margins", "plot_rule_times", "plot_map")


@pytest.fixture(autouse=True)
def unchanged():
    before = dict(plt.rcParams)
    yield
    assert dict(plt.rcParams) == before
    plt.close("all")


def figures_of(found):
    """Return the figures of what a figure function returned: a figure, axes, or a dictionary of figures."""
    if isinstance(found, dict):
        return list(found.values())
    return [found if hasattr(found, "savefig") else np.ravel(np.array(found, dtype=object))[0].figure]


def assert_good(found):
    for figure in figures_of(found):
        assert complaints(figure) == []


@pytest.mark.parametrize("name", OF_FLIGHT)
def test_figure__of_the_demo(name, demo_flight):
    assert_good(getattr(plot, name)(demo_flight))


@pytest.mark.parametrize("name", OF_STACK)
def test_figure__of_the_two_stage_demo(name, stack_flight):
    assert_good(getattr(plot, name)(stack_flight))


@pytest.mark.parametrize("name", OF_ENSEMBLE)
def test_figure__of_an_ensemble_of_the_demo(name, demo_ensemble):
    assert_good(getattr(plot, name)(demo_ensemble))


@pytest.mark.parametrize("name", ["draw_vehicle", "plot_air", "aero_figures"])
def test_figure__of_the_demos_mission(name, demo_mission):
    assert_good(getattr(plot, name)(demo_mission))


@pytest.mark.parametrize("name", ["draw_vehicle", pytest.param("aero_figures", marks=pytest.mark.slow)])
def test_figure__of_the_two_stage_mission(name, stack_mission):
    assert_good(getattr(plot, name)(stack_mission))


def test_figure__of_a_recording(demo_flight, demo_mission, tmp_path):
    ds = recorded(demo_flight, demo_mission, tmp_path / "a.rec")
    assert_good(plot.plot_recording(ds))
    assert_good(plot.plot_recording(ds.drop_vars(["height", "east", "silence_height", "silence_east"]).assign(lost=np.nan, latency=np.nan * ds.latency)))


@pytest.mark.slow
def test_figure__of_the_turn_into_the_wind(stack_mission):
    assert_good(plot.plot_weathercock(sixdof.preflight.weathercock(stack_mission, "lean at burnout < 6 deg in 90 % of flights", 4, wind="9 m/s")))


def test_figure__of_the_stability_in_flight(stack_mission):
    assert_good(plot.plot_stability_in_flight(sixdof.preflight.stability(stack_mission, 2)))


def test_figure__of_landing_maps(demo_ensemble, stack_mission):
    field = Path(__file__).parents[2] / "configs" / "lake-orrin-field.geojson"
    assert_good(plot.plot_landing_map(sixdof.preflight.landing(demo_ensemble, field=field, people_distance="100 m")))
    found = sixdof.preflight.landing(stack_mission, 15, field=field, progress=False)
    for branch in ("all", "nominal"):
        assert_good(plot.plot_landing_map(found, branch=branch))
    leans = sixdof.preflight.rail_map(stack_mission, 2, azimuths=["75 deg"], elevations=["89 deg", "83 deg"], field=field, progress=False)
    assert_good(plot.plot_rail_map(leans))
    assert_good(plot.plot_rail_map(leans.drop_dims("limit")))


@pytest.mark.slow
def test_figure__of_wind_limits(demo_mission):
    criteria = ["rail_departure_incidence < 13 deg in 80 % of flights", "tilt_max < 8 deg in 60 % of flights", "apogee_height > 100 m in 50 % of flights"]
    for wanted in (criteria, criteria[2:]):
        found = sixdof.preflight.wind_limit(demo_mission, wanted, directions=4, flights=4, winds=2, tolerance=1.0, progress=False)
        assert_good(plot.plot_wind_limit(found))
        assert_good(plot.plot_wind_shares(found, "90 deg"))
    few = {"directions": ["255 deg", "300 deg"], "elevations": ["88 deg", "80 deg"], "flights": 3, "winds": 2, "tolerance": 1.0, "progress": False}
    rails = sixdof.preflight.rail_for_wind(demo_mission, "rail_departure_incidence < 13 deg in 75 % of flights", **few)
    for direction in (None, "300 deg"):
        assert_good(plot.plot_rail_for_wind(rails, direction))
    with pytest.raises(ValueError, match="about wind from 255 deg, 300 deg"):
        plot.plot_rail_for_wind(rails, "10 deg")


@pytest.mark.slow
def test_figure__of_a_choice_of_motors(demo_path, stack_mission):
    """By an outcome with motors that fail and one that does not fit, and by a price; where nothing fits there is nothing to draw."""
    files = sorted((demo_path.parent / "motors").glob("*.csv"))
    asked = {"columns": {"mesa-i": {"price": 48}, "mesa-j": {"price": 61}}, "flights": 4, "confirm": False, "progress": False}
    for prefer in ("most apogee_height", "least price"):
        found = sixdof.preflight.choose_motor(stack_mission, files, "waypoints_captured >= 2 in 50 % of flights", prefer, **asked)
        assert_good(plot.plot_motor_choice(found))
    with pytest.raises(ValueError, match="no motor fits, and none was flown"):
        plot.plot_motor_choice(sixdof.preflight.choose_motor(stack_mission, files, limits={"propellant_mass": "1 g"}, **asked))


@pytest.mark.slow
def test_figure__of_the_launch_card(demo_mission, stack_mission):
    wide = {"flights": 4, "winds": 2, "tolerance": 1.0, "progress": False}
    for mission in (demo_mission, stack_mission):
        limits = sixdof.preflight.wind_limit(mission, "lean at burnout < 10 deg in 50 % of flights", directions=4, **wide)
        card = sixdof.preflight.launch_card(mission, limits=limits, wind="2 m/s from 240 deg", flights=4, progress=False)
        for page in ("a4", "letter"):
            assert_good(plot.plot_launch_card(card, page=page))


@pytest.mark.slow
def test_figure__of_sizes_of_canopies(demo_mission, stack_mission):
    """With a drift and without one; two stages; a canopy that the study is not about."""
    few = {"sizes": [0.8, 1.3], "flights": 2, "failing": 0}
    assert_good(plot.plot_canopy_size(sixdof.workshop.canopy_size(demo_mission, **few)))
    found = sixdof.workshop.canopy_size(stack_mission, ["main", "booster main"], descent_speed="7 m/s", drift="2 km", **few)
    for canopy in ("main", "booster main"):
        assert_good(plot.plot_canopy_size(found, canopy))
    with pytest.raises(ValueError, match="there is no canopy .drogue."):
        plot.plot_canopy_size(found, "drogue")


@pytest.mark.slow
def test_figure__of_charges(stack_mission):
    """As written; too strong on a weak harness; without a table; for a harness that there is not."""
    other = {
        "harness.drogue.charge.mass": "0.6 g",
        "harness.drogue.strength": "500 N",
        "harness.booster main.charge": None,
        "harness.booster main.impulse": 4.0,
    }
    for mission in (stack_mission, stack_mission.change(other)):
        found = sixdof.workshop.charge(mission, flights=4, failing=0)
        for harness in ("drogue", "booster main"):
            assert_good(plot.plot_charge(found, harness))
    with pytest.raises(ValueError, match="there is no harness .main."):
        plot.plot_charge(found, "main")


@pytest.mark.slow
def test_figure__of_deployments_about_apogee(demo_mission, stack_mission):
    """With strengths, harnesses and the width of one; with none of them; for a canopy that the study is not about."""
    known = stack_mission.change({"harness.drogue.width": "14 mm", "stage.1.part.booster main.strength": "150 N"})
    found = sixdof.workshop.deployment(known, offsets=[-3.0, 3.0], flights=2, failing=0)
    for canopy in ("drogue", "booster main"):
        assert_good(plot.plot_deployment(found, canopy))
    assert_good(plot.plot_deployment(sixdof.workshop.deployment(demo_mission, offsets=[0.0, 2.0], flights=2)))
    with pytest.raises(ValueError, match="there is no canopy .main."):
        plot.plot_deployment(found, "main")


@pytest.mark.slow
def test_figure__of_trigger_windows(demo_mission, stack_mission):
    """One backup; several, of canopies and of a joint; a branch alone; a name that is no backup."""
    assert_good(plot.plot_trigger_windows(sixdof.workshop.trigger_windows(demo_mission, 4, branches=["bigger motor: thistledown"], progress=False)))
    found = sixdof.workshop.trigger_windows(stack_mission, 2, branches=["no_separation: drayhorse", "trigger lost: separate drayhorse"], progress=False)
    assert_good(plot.plot_trigger_windows(found))
    assert_good(plot.plot_trigger_windows(found, "deploy booster main: motor delay"))
    with pytest.raises(ValueError, match="there is no backup .light."):
        plot.plot_trigger_windows(found, "light")


def test_figure__of_rehearsals(demo_mission, stack_mission):
    assert_good(plot.plot_rehearsal(sixdof.rehearse(demo_mission)))
    assert_good(plot.plot_rehearsal(sixdof.rehearse(stack_mission)))


def test_figure__of_the_conventions():
    assert_good(plot.draw_conventions())


# ---------------------------------------------------------------- the checks themselves


@pytest.fixture
def ax():
    ax = plt.subplots(figsize=(5.0, 3.5), layout="constrained")[1]
    ax.set(xlabel="time (s)", ylabel="height (m)")
    ax.plot([0.0, 1.0], [0.0, 1.0], color="#03428c", label="one")
    ax.plot([0.0, 1.0], [1.0, 0.5], color="#a32e16", label="two")
    ax.set_ylim(-0.1, 2.0)
    return ax


def test_checks__pass_a_good_figure(ax):
    ax.legend(loc="upper left")
    assert complaints(ax.figure) == []


def test_checks__see_a_legend_that_says_something_else(ax):
    legend = ax.legend(loc="upper left")
    first, second = legend.legend_handles
    first.set_color("#a32e16")
    second.set_color("#03428c")
    assert [text for text in complaints(ax.figure) if "looks otherwise" in text] == [
        "legend entry 'one' looks otherwise than its line",
        "legend entry 'two' looks otherwise than its line",
    ]
    legend.get_texts()[0].set_text("three")
    assert "legend entry 'three' names nothing that is drawn" in complaints(ax.figure)


def test_checks__see_a_companion_in_a_stranger_s_colour(ax):
    """The fault that began this: dashed lines of before and now in each other's colour."""
    ax.plot([0.0, 1.0], [0.2, 0.2], color="#a32e16", ls="--", gid="of:one")
    assert complaints(ax.figure) == ["a companion of 'one' has not its colour"]


def test_checks__see_an_entry_for_what_is_not_drawn(ax):
    ax.plot([], [], color="#7a7a7a", ls="--", label="commanded")
    ax.legend(loc="upper left")
    assert complaints(ax.figure) == ["legend entry 'commanded' stands for a line or mark that is not drawn"]


def test_checks__see_a_line_that_the_legend_lacks(ax):
    ax.legend(handles=ax.lines[:1], loc="upper left")
    assert complaints(ax.figure) == ["'two' is drawn and missing in the legend"]


def test_checks__see_a_legend_over_a_line(ax):
    ax.legend(loc="lower left")
    assert any("runs through the legend" in text for text in complaints(ax.figure))


def test_checks__see_texts_on_each_other(ax):
    ax.text(0.5, 1.5, "apogee")
    ax.text(0.52, 1.52, "burnout")
    assert any("'apogee' and 'burnout' overlap" in text for text in complaints(ax.figure))


def test_checks__see_a_missing_unit_and_a_line_that_leaves(ax):
    ax.set(ylabel="height")
    ax.set_ylim(0.2, 2.0)
    found = complaints(ax.figure)
    assert any("no unit" in text for text in found) and any("leaves its axes" in text for text in found)


def test_checks__see_axes_without_data():
    ax = plt.subplots()[1]
    ax.set(xlabel="time (s)", ylabel="height (m)")
    assert complaints(ax.figure) == ["axes '' hold no data"]


@pytest.mark.slow
def test_figure__of_flutter(stack_mission):
    assert_good(plot.plot_flutter(sixdof.workshop.flutter(stack_mission, 3, progress=False)))


@pytest.mark.slow
def test_figure__of_static_firings(stack_mission):
    """The shipped logs beside the mission's motor; one log alone, without a mission."""
    logs = sorted(FIRINGS.glob("mesa-i-*.csv"))
    said = {"calibration": FIRINGS / "cell.csv", "propellant_mass": "270 g", "stand": "nozzle up"}
    assert_good(plot.plot_static_firing(sixdof.workshop.static_firing(logs, **said, mission=stack_mission, motor="mesa-i"), "mesa-i-3"))
    assert_good(plot.plot_static_firing(sixdof.workshop.static_firing(logs[0], **said)))
    with pytest.raises(ValueError, match="there is no log"):
        plot.plot_static_firing(sixdof.workshop.static_firing(logs[0], **said), "mesa-i-9")


def test_figure__of_skin_temperatures(demo_mission):
    assert_good(plot.plot_skin_temperature(sixdof.workshop.skin_temperature(demo_mission, 2, progress=False)))


@pytest.mark.slow
def test_figures__of_the_vehicle_as_built(demo_path, stack_mission, demo_mission):
    """With readings that agree and one that does not, far away too; ballast that is found, none needed, out of reach."""
    readings = demo_path.parent / "whinchat-readings.toml"
    built = sixdof.workshop.as_built(stack_mission, readings)
    assert_good(plot.plot_as_built(built))
    light = stack_mission.change({"stage.whinchat.part.instruments.mass": "90 g", "disperse.vehicle.inertia": None, "disperse.motor.tilt_y": None})
    assert_good(plot.plot_as_built(sixdof.workshop.as_built(light, readings)))
    for margin in (2.0, 1.76, 3.5):
        assert_good(plot.plot_ballast(sixdof.workshop.ballast(demo_mission, margin, flights=4, most="100 g", threads=1, progress=False)))
    with pytest.raises(ValueError, match="plot_as_built needs the result of sixdof.workshop.as_built"):
        plot.plot_as_built(built[["value"]])


@pytest.mark.slow
def test_figure__of_loads(stack_mission):
    found = sixdof.workshop.structure(stack_mission, 2)
    assert_good(plot.plot_structure(found)[0].figure)
    assert_good(plot.plot_bending(found)[0].figure)


@pytest.mark.slow
def test_figure__of_what_happened(stack_mission, demo_mission, demo_flight):
    found = sixdof.postflight.what_happened(demo_mission, pieces_of(demo_flight), flights=10, rounds=2, progress=False)
    assert_good(plot.plot_what_happened(found))
    found = sixdof.postflight.what_happened(stack_mission, pieces_of(sixdof.fly(stack_mission)), flights=10, rounds=2, progress=False)
    assert_good(plot.plot_what_happened(found, "drayhorse"))
    with pytest.raises(ValueError, match="there is no body"):
        plot.plot_what_happened(found, "pelican")


@pytest.mark.slow
def test_figure__of_a_log_against_flights(demo_flight, demo_mission):
    log = sixdof.postflight.read_log(*sixdof.postflight.log_of(demo_flight), demo_mission)
    found = sixdof.postflight.compare_log(demo_mission, log, flights=40, progress=False)
    assert_good(plot.plot_against(found))
    assert_good(plot.plot_against(found, ["tilt", "body_rate[y]"]))
    with pytest.raises(ValueError, match="there is no channel 'colour'"):
        plot.plot_against(found, "colour")


def test_figure__of_a_log(demo_flight, demo_mission):
    """As it should be; and with a gap, a saturated gyro, a barometer pulled by the charge and another clock."""
    table, columns = sixdof.postflight.log_of(demo_flight, noise={"body_rate": 0.01, "pressure": 10.0})
    assert_good(plot.plot_log(sixdof.postflight.read_log(table, columns, demo_mission)))
    rows = table.assign(
        gy=table["gy"].clip(-0.3, 0.3), press=table["press"] + 800.0 * table["time (ms)"].between(14e3, 14.2e3), rx=1.001e-3 * table["time (ms)"]
    )
    bad = columns | {"second_clock": {"column": "rx"}}
    bad["read"] = columns["read"] | {"body_rate": columns["read"]["body_rate"] | {"limit": "0.3 rad/s"}}
    log = sixdof.postflight.read_log(rows.drop(index=range(1500, 1600)), bad, demo_mission)
    assert {"barometer", "drift", "gap", "lost", "saturated"} <= set(log["finding_kind"].values)
    assert_good(plot.plot_log(log))


def test_figures__of_a_video(demo_flight):
    """Nearly under the rocket, from beside it, one point alone; a swing that is told and one that is not."""
    lens = {"picture": (3840, 2160), "field_of_view": "60 deg", "frame_rate": 60.0, "liftoff_frame": 0}
    for place, bearing, elevation in (((8.0, -14.0, 1.5), "-20 deg", "78 deg"), ((60.0, -40.0, 1.5), "-58 deg", "30 deg")):
        seen = sixdof.postflight.camera(**lens, place=place, bearing=bearing, elevation=elevation, pointing_error="1 deg")
        table = sixdof.postflight.frames_of(demo_flight, seen, range(0, 200, 8), pixel_error=0.5)
        video = sixdof.postflight.from_video(seen, table)
        assert_good(plot.plot_video(video))
    assert_good(plot.plot_video(sixdof.postflight.video_band(demo_flight, seen, video)))
    point = {"frame": table["frame"].values, "x": table["nose_x"].values, "y": table["nose_y"].values}
    assert_good(plot.plot_video(sixdof.postflight.from_video(seen, point)))
    time = np.arange(0.0, 2.0, 1.0 / 30.0)
    for values in (np.exp(-0.6 * time) * np.cos(9.0 * time), np.random.default_rng(1).standard_normal(time.size)):
        assert_good(plot.plot_swing(sixdof.postflight.swing_of((time, values))))
    with pytest.raises(ValueError, match="plot_video needs what"):
        plot.plot_video(demo_flight)
    with pytest.raises(ValueError, match="plot_swing needs what"):
        plot.plot_swing(video)


@pytest.mark.slow
def test_figure__of_an_estimate(stack_mission):
    """Two flights of a stack: parameters of one stage, of the day of each, and correlations of all."""
    names = ["aero.drag of whinchat", "motor.impulse", "wind.speed", "aero.cp of whinchat"]
    time = np.arange(0.0, 4.0, 0.1)
    logs = [noisy_log(true_flight(stack_mission, {"motor.impulse": size})[1], time, seed) for seed, size in ((1, 0.98), (2, 1.01))]
    found = sixdof.postflight.estimate(stack_mission, logs, names, carry=False, progress=False)
    assert_good(plot.plot_estimate(found, "log 2"))
    with pytest.raises(ValueError, match="there is no log"):
        plot.plot_estimate(found, "log 3")
