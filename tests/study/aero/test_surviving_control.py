"""What control keeps behind its own vortices, at the Mach numbers of a flight: on the page of `check` and in the cautions."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from canards import with_canards
from results_by_hand import flight_by_hand

import sixdof
from sixdof.autopilot.mixer import deflection_arms
from sixdof.cli import main
from sixdof.study.aero.surviving_control import control_lines, flown_span, passed_lines, steered_stacks, surviving_shares
from sixdof.study.aero.tunnel import wind_tunnel
from sixdof.study.report.cautions import cautions
from sixdof.vehicle.mass import mass_at, mass_table


@pytest.fixture(scope="module")
def live_stack(stack_mission):
    """The two-stage demo with its fins live while the booster is attached."""
    rules = [rule.model_dump(exclude_none=True) for rule in stack_mission.rule]
    for rule in rules:
        if rule["action"] == "enable_fins":
            rule.pop("booster", None)
    return stack_mission.change({"rule": rules})


def test_stacks__only_those_whose_control_fins_have_fins_behind(demo_mission, stack_mission):
    assert steered_stacks(demo_mission) == [] and control_lines(demo_mission) == []
    assert steered_stacks(stack_mission) == [[0, 1]]
    assert steered_stacks(with_canards(demo_mission)) == [[0]]
    assert steered_stacks(with_canards(demo_mission, control="tail")) == []


def test_span__is_that_of_the_flight_while_the_stages_are_together(stack_flight):
    ds, parted = stack_flight, float(stack_flight["separation_time"][0])
    both, alone = flown_span(ds, 2), flown_span(ds, 1)
    track = ds["mach"].sel(time=slice(float(ds.event_time.sel(event="rail_departure")[0]), parted)).values
    assert both.low[0] == pytest.approx(track.min(), abs=0.01) and both.high[0] == pytest.approx(track.max(), abs=0.01)
    assert not both.live[0] and alone.live[0]
    climb = ds["mach"].sel(time=slice(parted, float(ds["apogee_time"]))).values
    assert alone.high[0] == pytest.approx(climb.max(), abs=0.01)


def test_shares__moment_with_the_fins_behind_over_that_of_a_tail_out_of_reach(demo_mission):
    """Second statement: the same moment with the tail taken away altogether, which changes nothing else of a deflection."""
    mission = with_canards(demo_mission, semispan=0.08)
    bare = mission.change({"stage.0.part.tail.semispan": 1e-4, "stage.0.part.tail.tip_chord": 0.14})
    found = surviving_shares(mission, [0], [0.3])
    angle = 1e-3
    for channel, name, pattern in (("roll", "C_l", (1, 1, 1, 1)), ("pitch", "C_m", (0, 1, 0, -1)), ("yaw", "C_n", (1, 0, -1, 0))):
        fins = xr.DataArray(angle * np.array(pattern), dims="fin")
        for state, left in (("loaded", 1.0), ("burnt", 0.0)):
            cg = mass_at(mass_table(mission, [0]), left)[1][0]
            kept, whole = (float(wind_tunnel(m, mach=0.3, fin_angle=fins, cg=cg)[name]) for m in (mission, bare))
            assert float(found.sel(channel=channel, state=state)[0]) == pytest.approx(kept / whole, abs=0.02)


def test_check__prints_each_channel_and_says_reversed(stack_path, demo_path, capsys):
    assert main(["check", str(stack_path)]) == 0
    text = capsys.readouterr().out
    rows = {line.split("  ")[2].strip(): line for line in text[text.index("Control: share") :].splitlines() if line.startswith("    ")}
    assert set(rows) == {"Mach", "roll", "pitch, loaded", "pitch, burnt", "yaw, loaded", "yaw, burnt"}
    assert "REVERSED" in rows["pitch, loaded"] and "REVERSED" in rows["yaw, burnt"] and "REVERSED" not in rows["roll"]
    assert "of the nominal flight; its fins are not live there" in text
    assert main(["check", str(demo_path)]) == 0
    assert "Control: share" not in capsys.readouterr().out


def test_check__says_it_of_a_flight_that_does_not_land(stack_mission):
    """Given up under its canopy: the page says what it can, and nothing of the end."""
    cut = control_lines(stack_mission.change({"solver.time_limit": 60.0}))
    assert any("REVERSED" in line for line in cut) and "of the nominal flight" in cut[1]


def test_check__names_control_fins_that_the_centre_of_mass_passes(demo_mission):
    """Loaded it lies behind the canards' load, burnt ahead of it: their station put half way between, by the vehicle's own masses."""
    mission = with_canards(demo_mission, station=0.7)
    cg = [mass_at(mass_table(mission, [0]), left)[1][0] for left in (1.0, 0.0)]
    assert cg[0] - cg[1] > 0.01
    load = cg[0] - deflection_arms(mission, [0], 1.0)[-1]  # station of the canards' own, m
    between = with_canards(demo_mission, station=0.7 + 0.5 * sum(cg) - load)
    found = passed_lines(between)
    assert len(found) == 1 and "canard is REVERSED in pitch and yaw for part of the burn" in found[0]
    assert passed_lines(mission.change({"stage.0.part.canard.station": 0.4})) == [] == passed_lines(demo_mission)


def test_cautions__reversed_control_while_the_fins_are_live(stack_flight, live_stack):
    assert not any("REVERSED" in text for text in cautions(stack_flight))
    found = [text for text in cautions(sixdof.fly(live_stack)) if "REVERSED" in text]
    assert len(found) == 2 and "control in pitch is REVERSED with whinchat + drayhorse" in found[0]


def test_cautions__unstable_as_flown(demo_mission):
    """Large canards: without the downwash that they make its margin would be called low."""
    ds = sixdof.fly(with_canards(demo_mission, semispan=0.125, root_chord=0.1, tip_chord=0.06))
    assert float(ds["static_margin_min"]) < 0.0
    assert any("UNSTABLE" in text for text in cautions(ds))


LOST = [
    ("roll_error_rms", np.radians(21.0), "the roll loop loses its attitude: its error is more than 20 deg root mean square while the fins are live, 21.0"),
    ("tilt_error_rms", np.radians(11.0), "the tilt loop loses its attitude: its error is more than 10 deg"),
    ("rate_reversals", 110.0, "change sign more than 4 times per second while the fins are live, 11.7 times"),
]


@pytest.mark.parametrize(("name", "value", "words"), LOST)
def test_cautions__a_lost_loop(demo_mission, name, value, words):
    """The flight by hand has its fins live from 0.6 to 10 s."""
    ds = flight_by_hand(demo_mission)
    assert not any(words in text for text in cautions(ds))
    ds[name].values[()] = value
    assert any(words in text for text in cautions(ds)), cautions(ds)


def test_cautions__gains_five_times_too_high_swing(demo_mission):
    gains = {f"autopilot.{c}.{k}": 5.0 * getattr(getattr(demo_mission.autopilot, c), k) for c in ("pitch", "yaw", "roll") for k in "pid"}
    assert any("oscillates under control" in text for text in cautions(sixdof.fly(demo_mission.change(gains))))
    assert not any("loop" in text or "swings" in text for text in cautions(sixdof.fly(demo_mission)))
