"""The link: losses in bursts against closed forms, clocks recovered from simulated packets, counters that wrap, senders that begin anew."""

from __future__ import annotations

import math

import numpy as np
import pytest
import xarray as xr
from recorded import flight_by_hand
from scipy.optimize import linprog

from sixdof.postflight.recording.clocks import clock_of, sender_runs
from sixdof.postflight.recording.loss import loss_of, silences, unwrapped
from sixdof.postflight.recording.packet import Malformed, datagram, packet_of
from sixdof.postflight.recording.sources.link import link_of, lost
from sixdof.postflight.recording.sources.simulated import simulated_packets
from sixdof.postflight.recording.tally import Tally

N = 40_000


def bursts(gone: np.ndarray) -> np.ndarray:
    """Lengths of the runs of True."""
    edges = np.diff(np.concatenate([[0], gone.astype(int), [0]]))
    return np.flatnonzero(edges == -1) - np.flatnonzero(edges == 1)


@pytest.mark.parametrize(("loss", "burst"), [(0.2, 5.0), (0.05, 2.0), (0.5, 12.0)])
def test_gilbert__loses_its_share_in_bursts_of_its_length(loss, burst):
    """Gilbert 1960: share p/(p + r), runs of 1/r, and between them runs of 1/p; errors of means by the variances of a two-state chain."""
    link = link_of(loss, burst)
    gone = lost(link, N, np.random.default_rng(1))
    p, r = link.to_bad, link.to_good
    correlation = (2.0 - p - r) / (p + r)  # by which a chain's mean varies more than that of independent draws
    assert gone.mean() == pytest.approx(p / (p + r), abs=4.0 * math.sqrt(loss * (1.0 - loss) * correlation / N)) and p / (p + r) == pytest.approx(loss)
    runs = bursts(gone)
    assert runs.mean() == pytest.approx(burst, abs=4.0 * math.sqrt(burst * (burst - 1.0) / runs.size))  # a geometric run's variance
    assert bursts(~gone).mean() == pytest.approx(1.0 / p, rel=4.0 / math.sqrt(runs.size))


def test_elliott__loses_in_both_states():
    """Elliott 1963: loss = (r h_good + p h_bad)/(p + r)."""
    link = link_of(0.2, 20.0, good_loss=0.05, bad_loss=0.8)
    assert (link.to_good * 0.05 + link.to_bad * 0.8) / (link.to_good + link.to_bad) == pytest.approx(0.2)
    gone = lost(link, N, np.random.default_rng(2))
    assert gone.mean() == pytest.approx(0.2, abs=0.02)
    # a packet behind a lost one: the states' own chain, two steps of conditional probability
    bad = (0.2 - 0.05) / (0.8 - 0.05)  # share of time in the bad state
    both = (1 - bad) * 0.05 * ((1 - link.to_bad) * 0.05 + link.to_bad * 0.8) + bad * 0.8 * ((1 - link.to_good) * 0.8 + link.to_good * 0.05)
    assert gone[1:][gone[:-1]].mean() == pytest.approx(both / 0.2, abs=0.05)


def test_independent_loss__comes_in_runs_of_the_geometric_law():
    gone = lost(link_of(0.3, None), N, np.random.default_rng(3))
    assert gone.mean() == pytest.approx(0.3, abs=0.01) and bursts(gone).mean() == pytest.approx(1.0 / 0.7, abs=0.03)


def test_link__says_where_there_is_none():
    with pytest.raises(ValueError, match="cannot lose a share of 0.9; let them last 9 packets or more"):
        link_of(0.9, 2.0)
    with pytest.raises(ValueError, match="must lie between good_loss = 0.3 and bad_loss = 1"):
        link_of(0.1, 2.0, good_loss=0.3)


# ---------------------------------------------------------------- clocks


def test_clock__is_that_of_a_link_without_jitter():
    """Closed form: received = 100 + t + 0.05, sent = 7 + (1 + d) t, so the sender runs fast by d and is behind by 93.05 s at t = 0."""
    time = np.arange(0.0, 60.0, 0.1)
    clock = clock_of(7.0 + (1.0 + 30e-6) * time, 100.0 + time + 0.05)
    assert clock.drift == pytest.approx(30e-6, abs=1e-11) and clock.offset == pytest.approx(93.05, abs=1e-9)
    assert clock.at_receiver(np.array([7.0 + (1.0 + 30e-6) * 40.0])) == pytest.approx(140.05, abs=1e-9)


def test_clock__is_the_linear_programme_s():
    """Moon, Skelly and Towsley's programme, solved as one: the line below all points with the least sum of distances."""
    random = np.random.default_rng(4)
    sent = np.sort(random.uniform(0.0, 90.0, 400))
    received = sent * (1.0 - 25e-6) + 50.0 + random.exponential(0.02, 400)
    clock = clock_of(sent, received)
    best = linprog([-400.0, -(sent - sent[0]).sum()], A_ub=np.column_stack([np.ones(400), sent - sent[0]]), b_ub=received - sent, bounds=[(None, None)] * 2)
    assert best.status == 0
    assert [clock.offset, clock.slope] == pytest.approx(best.x, abs=1e-8)


@pytest.mark.parametrize("drift", [80e-6, -20e-6])
def test_clock__drift_is_recovered_within_its_error(drift):
    """The same link a few times: the drift is found, and its standard deviation says how well."""
    misses, errors = [], []
    for seed in range(10):
        random = np.random.default_rng(seed)
        time = np.arange(0.0, 120.0, 0.1)[random.random(1200) > 0.2]
        clock = clock_of((1.0 + drift) * time - 30.0, time + 0.05 + random.exponential(0.02, time.size))
        misses.append(clock.drift - drift)
        errors.append(clock.drift_error)
    assert np.abs(misses).max() < 20e-6
    assert 0.3 < np.std(misses) / np.mean(errors) < 2.5  # of 10 trials, and of an error that is an estimate itself


def test_clock__of_few_packets_has_no_drift():
    clock = clock_of(np.array([0.0, 1.0]), np.array([10.2, 11.1]))
    assert math.isnan(clock.drift) and clock.offset == pytest.approx(10.1) and clock.slope == 0.0


def test_sender_runs__begin_where_its_clock_leaps_and_stays():
    received = np.arange(0.0, 30.0, 0.5)
    sent = np.where(received < 12.0, received + 40.0, received - 12.0)  # reset at 12 s
    sent[[8, 40]] = np.nan
    sent[20] -= 7.0  # an old packet that came late
    runs = sender_runs(sent, received)
    assert (runs == (received >= 12.0)).all()
    assert (sender_runs(np.full(5, np.nan), received[:5]) == 0).all()


# ---------------------------------------------------------------- numbers


def test_loss__counts_lost_repeated_and_late_by_hand():
    sequence = np.array([3.0, 4.0, 7.0, 6.0, 7.0, 8.0, 12.0, 12.0])
    found = loss_of(sequence, np.full(8, np.nan), np.zeros(8, dtype=int))
    assert found.by == "sequence" and found.lost == 4 and found.bursts.tolist() == [1, 3] and found.between.tolist() == [[1, 3], [5, 6]]
    assert np.flatnonzero(found.repeated).tolist() == [4, 7] and np.flatnonzero(found.late).tolist() == [3] and found.expected == 10


def test_loss__without_numbers_is_that_of_the_clock():
    sent = np.array([0.0, 0.1, 0.2, 0.5, 0.6, 0.6, 0.7, 1.0])
    found = loss_of(np.full(8, np.nan), sent, np.zeros(8, dtype=int))
    assert found.by == "clock" and found.lost == 4 and np.flatnonzero(found.repeated).tolist() == [5]
    assert math.isnan(loss_of(np.full(8, np.nan), np.full(8, np.nan), np.zeros(8, dtype=int)).lost)


def test_loss__of_a_sender_that_begins_anew_is_counted_run_by_run():
    sequence = np.array([5.0, 6.0, 8.0, 0.0, 1.0, 3.0])
    found = loss_of(sequence, np.full(6, np.nan), np.array([0, 0, 0, 1, 1, 1]))
    assert found.lost == 2 and not found.late.any() and not found.repeated.any()


def test_counters__that_begin_again_go_on():
    number = np.array([250.0, 254.0, 253.0, 255.0, 257.0, 256.0, 300.0, 511.0, 513.0])
    assert unwrapped(number % 256.0, number * 0.1).tolist() == number.tolist()
    hidden = np.array([250.0, 251.0, 252.0, 255.0, 256.0, 256.0 * 4 + 9.0, 256.0 * 4 + 10.0])  # three rounds in one silence, told by the clock
    assert unwrapped(hidden % 256.0, hidden * 0.1).tolist() == hidden.tolist()
    assert unwrapped(np.array([1.0, 2.0, 900.0]), np.full(3, np.nan)).tolist() == [1.0, 2.0, 900.0]


def test_silences__are_far_longer_than_usual():
    assert silences(np.array([0.0, 0.1, 0.2, 0.3, 0.7, 0.8, 1.5, 1.6])).tolist() == [5]
    assert silences(np.array([0.0, 2.0, 4.0, 6.0, 15.0, 26.0])).tolist() == [4]
    assert silences(np.array([0.0])).size == 0


def test_tally__counts_what_the_page_counts():
    tally = Tally()
    for k, number in enumerate([0, 1, 4, 3, 4, 6, 0, 2]):
        tally.take(
            packet_of({"sequence": number, "time": 0.1 * number + (20.0 if k < 6 else 0.0), "height": float(k), "velocity": [0.0, 0.0, -3.0]}, 100.0 + k)
        )
    assert tally.lost == 3  # 2 and 5, and 1 of the sender begun anew
    assert tally.line(dropped=2, now=108.0) == "8 packets, 3 lost (27 %), 2 dropped, height 7 m, -3 m/s; last 1.0 s ago"
    assert Tally().line(3) == "no packet yet, 3 dropped"


# ---------------------------------------------------------------- simulated packets


def test_simulated__is_the_flight_at_the_sender_s_times():
    packets = simulated_packets(flight_by_hand(), names=("height", "velocity", "phase", "roll", "tilt"), rate=8.0, jitter=0.0, clock_drift=1e-3, start=1000.0)
    sent = np.array([one.sent for one in packets])
    time = (sent + 20.0) / 1.001  # the sender's clock is -20 s at liftoff and runs fast
    assert np.diff(sent) == pytest.approx(0.125, abs=2e-6) and time[0] == pytest.approx(-5.0) and [one.sequence for one in packets] == list(range(len(packets)))
    assert [one.received for one in packets] == pytest.approx(1000.0 + time + 0.05, abs=2e-6)
    flying = (time > 0.0) & (time < 9.9)
    height = np.array([one.values["height"] for one in packets])
    assert height[flying] == pytest.approx(50.0 * time[flying], abs=1e-3) and (height[time < 0.0] == 0.0).all()
    turned = np.array([one.values["roll"] for one in packets])[flying]
    assert np.cos(turned - 2.0 * time[flying]) == pytest.approx(1.0, abs=1e-5)
    assert packets[0].values["velocity"] == [0.0, 0.0, 0.0] and packets[0].values["phase"] == 3 and math.isnan(packets[0].values["tilt"])


def test_simulated__loses_repeats_and_damages_what_it_says():
    packets = simulated_packets(flight_by_hand(), rate=30.0, loss=0.2, burst=5.0, repeated=0.05, damaged=0.03, seed=5)
    assert repr(packets[:300]) == repr(simulated_packets(flight_by_hand(), rate=30.0, loss=0.2, burst=5.0, repeated=0.05, damaged=0.03, seed=5)[:300])
    received = [one.received for one in packets]
    assert received == sorted(received)
    whole = [one for one in packets if isinstance(one.payload, dict)]
    for one in packets:
        if isinstance(one.payload, bytes):
            with pytest.raises(Malformed):
                packet_of(one.payload)
        else:
            assert repr(packet_of(datagram(one), one.received)) == repr(one)
    count = len({one.sequence for one in whole})
    assert (len(packets) - len(whole)) / len(packets) == pytest.approx(0.03, abs=0.013)
    assert (len(whole) - count) / count == pytest.approx(0.05, abs=0.016)
    assert count == pytest.approx(0.8 * 0.97 * 3600, rel=0.06)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ({"loss": 1.5}, "loss = 1.5 must be from 0 to 1"),
        ({"rate": 0.0}, "rate = 0 must be from 0.001"),
        ({"seed": 1.5}, "seed = 1.5 must be a whole number"),
        ({"names": ("hight",)}, 'there is no "hight" in the flight\'s timeline'),
        ({"loss": 0.9, "burst": 2.0}, "simulated_packets: bad spells of 2 packets"),
        ({"latency": "3 kg"}, 'latency: "3 kg" has the wrong unit'),
        ({"names": ()}, "names must name one variable"),
    ],
)
def test_simulated__bad_arguments_are_one_sentence(arguments, words):
    with pytest.raises(ValueError, match=words):
        simulated_packets(flight_by_hand(), **arguments)


def test_simulated__needs_a_flight():
    with pytest.raises(ValueError, match="simulated_packets needs a flight with its timeline"):
        simulated_packets(xr.Dataset())
