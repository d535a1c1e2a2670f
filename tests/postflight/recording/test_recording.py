"""A recording read: what came and what was lost, clocks and silences against the truth of made packets, the last position, column maps, the page."""

from __future__ import annotations

import math
import struct

import numpy as np
import pytest
import xarray as xr
from recorded import flight_by_hand

import sixdof
from sixdof.postflight.recording.last import last_position
from sixdof.postflight.recording.packet import Packet
from sixdof.postflight.recording.recorded_log import recorded_log
from sixdof.postflight.recording.recorder import Recorder
from sixdof.postflight.recording.recording import read_recording
from sixdof.postflight.recording.sources.simulated import simulated_packets
from sixdof.postflight.recording.under_way import record

SITE = {"latitude": "38 deg", "longitude": "-117 deg", "altitude": "1250 m"}
START = 1.8e9
MAP = {
    "clock": {"column": "ms", "unit": "ms"},
    "counter": {"column": "n"},
    "read": {"height": {"column": "alt", "unit": "ft"}, "latitude": {"column": "lat"}, "longitude": {"column": "lon"}},
}


def kept(path, packets, **about) -> xr.Dataset:
    """A recording of packets, read again."""
    with Recorder(path, **about) as recorder:
        recorder.extend(packets)
    return read_recording(path)


@pytest.fixture(scope="module")
def packets():
    """Ten packets a second of the flight by hand: nothing lost, all of them 50 ms and a little on the way."""
    return simulated_packets(flight_by_hand(), before=5.0, after=5.0, clock_drift=40e-6, start=START, seed=1)


def at(packets, sent_after_liftoff: float) -> int:
    """The packet sent so long after liftoff: ten a second from 5 s before it."""
    return next(k for k, one in enumerate(packets) if one.sequence >= round(10.0 * (sent_after_liftoff + 5.0)))


def test_recording__says_what_came_and_how_the_clocks_run(tmp_path, packets):
    ds = kept(tmp_path / "a.rec", packets, site=SITE)
    assert ds.sizes["packet"] == len(packets) and float(ds.lost) == 0.0 and float(ds.loss_share) == 0.0 and ds.attrs["numbered_by"] == "sequence"
    assert ds.height.values == pytest.approx([one.values["height"] for one in packets]) and ds.velocity.dims == ("packet", "axis")
    assert ds.height.attrs["units"] == "m" and ds.velocity.attrs["units"] == "m/s"
    drift, error = float(ds.clock_drift[0]), float(ds.clock_drift_error[0])
    assert abs(drift - 40e-6) < 4.0 * error and error < 5e-6
    # the first packet: sent at -25.0002 s of the sender's clock, received 1.8e9 - 5 s later by the receiver's, and at least 50 ms on the way
    assert float(ds.clock_offset[0]) == pytest.approx(START - 5.0 + 0.05 - packets[0].sent, abs=1e-3)
    assert float(ds.latency.mean()) == pytest.approx(0.01, abs=0.002) and float(ds.latency.min()) >= 0.0


def test_silence__is_where_packets_are_missing(tmp_path, packets):
    first, last = at(packets, 30.0), at(packets, 42.0)
    ds = kept(tmp_path / "a.rec", packets[: first + 1] + packets[last:])
    assert ds.sizes["silence"] == 1 and float(ds.lost) == 119.0 and float(ds.burst_longest) == 119.0 and int(ds.bursts) == 1
    assert float(ds.silence_length[0]) == pytest.approx(12.0, abs=0.1) and float(ds.silence_begin[0]) == pytest.approx(START + 30.05, abs=0.1)
    # after 10 s at 50 m/s it falls at 5 m/s, and moves east at 2 m/s
    assert float(ds.silence_height[0]) == pytest.approx(500.0 - 5.0 * 20.0, abs=0.6) and float(ds.silence_east[0]) == pytest.approx(60.0, abs=0.3)
    page = str(sixdof.report(ds))
    assert "longest silence took 12.0 s" in page and "400 m above ground, 60 m from the rail, bearing 90 deg true" in page
    assert "Of 1201 packets sent" in page and "119 were lost (9.9 %), in 1 gap of 119.0" in page


def test_silence__at_the_end_counts_while_the_recorder_listens(tmp_path, monkeypatch):
    clock = [1000.0]
    monkeypatch.setattr("sixdof.postflight.recording.recorder.receiver_clock", lambda: clock[0])
    recorder = Recorder(tmp_path / "a.rec")
    recorder.extend([Packet(1000.0 + 0.1 * k, {"height": 100.0 - k}) for k in range(20)])
    clock[0] = 1031.9
    recorder.close()
    ds = read_recording(tmp_path / "a.rec")
    assert ds.silence_length.values == pytest.approx([30.0]) and math.isnan(float(ds.silence_lost[0])) and math.isnan(float(ds.lost))
    assert float(last_position(ds).age) == pytest.approx(30.0)
    assert "nothing tells: they bear neither a number" in str(sixdof.report(ds))


def test_sessions__tell_a_kill_from_an_end(tmp_path, packets):
    with Recorder(tmp_path / "a.rec", site=SITE, title="an invented flight") as recorder:
        recorder.extend(packets[:100])
    killed = Recorder(tmp_path / "a.rec")
    killed.extend(packets[100:])
    with (tmp_path / "a.rec").open("ab") as file:
        file.write(b"12 half")
    killed._lock.close()  # as its process is gone
    ds = read_recording(tmp_path / "a.rec")
    assert ds.session_packets.values.tolist() == [100, len(packets) - 100] and ds.session_closed.values.tolist() == [True, False]
    assert 0.0 < float(ds.sync_mean[0]) <= float(ds.sync_worst[0]) and math.isnan(float(ds.sync_mean[1]))
    page = str(sixdof.report(ds))
    assert page.startswith("an invented flight\n") and "the last 7 bytes of a.rec are half written" in page
    assert "each wait for the disk" in page and "never closed: it is running, was killed or lost its power" in page and "nan" not in page


# ---------------------------------------------------------------- the last position


def test_last_position__is_the_truth_at_the_last_packet(tmp_path, packets):
    last = last_position(kept(tmp_path / "a.rec", packets[: at(packets, 60.0) + 1], site=SITE), now=START + 75.0)
    assert float(last.height) == pytest.approx(250.0, abs=0.6) and float(last.east) == pytest.approx(120.0, abs=0.3)
    assert last.velocity.values == pytest.approx([2.0, 0.0, -5.0]) and str(last.velocity_by.values) == "packets"
    assert float(last.age) == pytest.approx(15.0 - 0.05, abs=0.1)  # since it was sent, the least latency left out
    assert float(last.bearing) == pytest.approx(math.pi / 2.0) and float(last.distance) == pytest.approx(120.0, abs=0.3)
    # radii of curvature of WGS-84 at 38 deg, at the site's altitude
    prime = 6378137.0 / math.sqrt(1.0 - 6.69437999014e-3 * math.sin(math.radians(38.0)) ** 2)
    assert float(last.longitude) == pytest.approx(-117.0 + math.degrees(float(last.east) / ((prime + 1250.0) * math.cos(math.radians(38.0)))), abs=1e-6)
    assert float(last.latitude) == pytest.approx(38.0, abs=1e-6)
    page = str(sixdof.report(last))
    assert "LAST KNOWN: 120 m from the rail, bearing 90 deg true, 250 m above ground; 1" in page
    assert "falling at 5.0 m/s and moving over the ground at 2.0 m/s towards 90 deg true" in page and "live charges" in page


def test_last_position__moves_by_its_places_where_packets_say_no_velocity(tmp_path, packets):
    places = [Packet(one.received, {name: value for name, value in one.payload.items() if name != "velocity"}) for one in packets[: at(packets, 60.0)]]
    last = last_position(kept(tmp_path / "a.rec", places))
    # 10 ms of jitter on places that are known to a tenth of a millimetre, over 3 s of the sender's clock
    assert last.velocity.values == pytest.approx([2.0, 0.0, -5.0], abs=0.01) and str(last.velocity_by.values) == "positions"
    assert math.isnan(float(last.latitude))


def test_last_position__is_the_one_sent_last_not_the_one_that_came_last(tmp_path):
    made = [Packet(100.0 + 0.1 * k, {"time": 0.1 * k, "sequence": k, "height": 50.0 - k, "east": float(k), "north": 0.0}) for k in range(20)]
    late = made.pop(12)._replace(received=102.5)
    assert float(last_position(kept(tmp_path / "a.rec", [*made, late])).height) == 31.0


def test_last_position__of_a_place_that_is_older_than_the_height(tmp_path):
    made = [Packet(100.0 + k, {"height": 500.0 - 10.0 * k} | ({"east": 3.0, "north": 4.0} if k < 3 else {})) for k in range(9)]
    last = last_position(kept(tmp_path / "a.rec", made), now=110.0)
    assert [float(last[name]) for name in ("distance", "height", "age", "height_age", "heard_age")] == pytest.approx([5.0, 420.0, 8.0, 2.0, 2.0])
    assert "(that -6.0 s older)" not in str(sixdof.report(last)) and "420 m above ground (heard 6.0 s later)" in str(sixdof.report(last))


def test_last_position__says_where_there_is_none(tmp_path):
    ds = kept(tmp_path / "a.rec", [{"pressure": 9e4}, {"pressure": 9e4}])
    with pytest.raises(ValueError, match="no packet of this recording holds a place"):
        last_position(ds)
    assert "LAST KNOWN: nothing" in str(sixdof.report(ds))
    with pytest.raises(ValueError, match='now = "later" must be seconds since 1970'):
        last_position(ds, now="later")
    with pytest.raises(ValueError, match="last_position needs what"):
        last_position(xr.Dataset())


# ---------------------------------------------------------------- other senders


def test_sender__that_began_anew_has_two_clocks(tmp_path):
    first = [Packet(100.0 + 0.1 * k, {"time": 40.0 + 0.1 * k, "sequence": 400 + k, "height": 1.0 * k}) for k in range(100)]
    again = [Packet(112.0 + 0.1 * k, {"time": 0.1 * k, "sequence": k, "height": 1.0 * k}) for k in range(80)]
    ds = kept(tmp_path / "a.rec", first + again)
    assert ds.run.values.tolist() == [0] * 100 + [1] * 80 and ds.clock_offset.values == pytest.approx([60.0, 112.0]) and float(ds.lost) == 0.0
    assert float(last_position(ds).height) == 79.0
    assert "The sender's clock began anew 1 time:" in str(sixdof.report(ds))


def foreign(packets) -> list[Packet]:
    """The same packets as another sender would have them: feet, milliseconds, degrees, a counter of 8 bits."""
    rows = []
    for one in packets:
        lat, lon = 38.0 + math.degrees(one.values["north"] / 6.37e6), -117.0 + math.degrees(one.values["east"] / (6.37e6 * math.cos(math.radians(38.0))))
        rows.append(Packet(one.received, {"ms": 1e3 * one.sent, "n": int(one.sequence) % 256, "alt": one.values["height"] / 0.3048, "lat": lat, "lon": lon}))
    return rows


def test_columns__turn_names_and_units_of_other_senders(tmp_path, packets):
    flown = packets[: at(packets, 60.0) + 1]
    ds = kept(tmp_path / "a.rec", foreign(flown), site=SITE, columns=MAP)
    assert ds.height.values == pytest.approx([one.values["height"] for one in flown], abs=1e-6)
    assert ds.sent.values == pytest.approx([one.sent for one in flown], abs=1e-9) and float(ds.lost) == 0.0
    assert float(ds.east[-1]) == pytest.approx(120.0, rel=4e-3)  # the sphere of `foreign` against the ellipsoid
    assert float(last_position(ds).height) == pytest.approx(250.0, abs=0.6)


def test_columns__read_rows_of_raw_text_by_their_first(tmp_path, packets):
    rows = foreign(packets[:300])
    text = [Packet(START - 6.0, "ms,n,alt,lat,lon"), *(Packet(one.received, ",".join(map(repr, one.payload.values()))) for one in rows)]
    text[100] = text[100]._replace(payload="1,2")
    ds = kept(tmp_path / "a.rec", text, columns=MAP, site=SITE)
    assert math.isnan(ds.height[0]) and math.isnan(ds.height[100])
    assert ds.height.values[[1, 200, 300]] == pytest.approx([0.3048 * rows[k].payload["alt"] for k in (0, 199, 299)])
    assert "1 row of raw text of another number of cells" in ds.finding.values[0] and float(ds.lost) == 1.0
    named = kept(tmp_path / "b.rec", text[1:], columns=MAP, names=["ms", "n", "alt", "lat", "lon"])
    assert named.height.values[0] == pytest.approx(0.3048 * rows[0].payload["alt"])
    si = kept(tmp_path / "c.rec", [Packet(100.0 + k, f"{0.5 * k};{k};{10.0 * k}") for k in range(4)], names=["time", "sequence", "height"])
    assert si.height.values.tolist() == [0.0, 10.0, 20.0, 30.0] and si.sent.values.tolist() == [0.0, 0.5, 1.0, 1.5] and float(si.lost) == 0.0


def test_decode__reads_bytes_by_a_function_of_one_s_own(tmp_path):
    sent = [struct.pack("<If", k, 2.5 * k) for k in range(8)]

    def decode(data):
        if len(data) != 8:
            raise ValueError("another length")
        number, height = struct.unpack("<If", data)
        return {"sequence": number, "height": height}

    path = tmp_path / "a.rec"
    raw = kept(path, [Packet(100.0 + k, one) for k, one in enumerate([*sent[:3], b"\x00", *sent[4:]])])
    assert "nothing says how to read such" in raw.finding.values[0] and "height" not in raw
    ds = read_recording(path, decode=decode)
    assert ds.height.values.tolist()[:3] == [0.0, 2.5, 5.0] and float(ds.lost) == 1.0 and "1 packet could not be decoded" in ds.finding.values[0]


def test_recorded_log__is_the_flight_in_the_sender_s_time(tmp_path, packets):
    again = [*packets[:40], packets[39], *packets[40:300], *packets[340:]]
    log = recorded_log(kept(tmp_path / "a.rec", again), liftoff=packets[0].sent + 5.0 * (1.0 + 40e-6))
    truth = np.where(log.time < 0.0, 0.0, np.where(log.time < 10.0, 50.0 * log.time, 500.0 - 5.0 * (log.time - 10.0)))
    flying = (log.time.values > 0.15) & (log.time.values < 100.0) & (np.abs(log.time.values - 10.0) > 0.15)
    assert log.attrs["kind"] == "flight log" and (np.diff(log.time.values) > 0.0).all()
    # 40 ppm of the sender's clock over 100 s are 4 ms, at 50 m/s up and 5 m/s down
    assert log.height.values[flying] == pytest.approx(truth[flying], abs=0.03)
    assert log.sizes["time"] == len(again) - 1 and any("repeat" in text for text in log.finding.values)
    wrapped = [Packet(one.received, one.payload | {"sequence": int(one.sequence) % 256}) for one in packets]
    assert not any("never came" in text for text in recorded_log(kept(tmp_path / "b.rec", wrapped)).finding.values)
    with pytest.raises(ValueError, match="holds anything of a flight's timeline"):
        recorded_log(kept(tmp_path / "c.rec", [{"volts": 3.7}]))


def test_recording__keeps_its_own_names_and_survives_a_file(tmp_path):
    ds = kept(tmp_path / "a.rec", [{"height": 1.0, "received": 3.0, "volts": [3.7, 3.6], "note": "armed"}, {"height": 2.0}])
    assert ds.received.values[0] > 1e9 and 'packets hold "received"' in ds.finding.values[0] and ds.volts.dims == ("packet", "volts_part") and "note" not in ds
    ds.to_netcdf(tmp_path / "a.nc")
    with xr.open_dataset(tmp_path / "a.nc") as again:
        assert again.attrs["kind"] == "recording" and again.height.values.tolist() == [1.0, 2.0]
        assert "LAST KNOWN" in str(sixdof.report(again))


def test_record__says_how_things_stand_and_that_it_goes_on(tmp_path, packets):
    lines: list[str] = []
    assert record(packets[:50], tmp_path / "a.rec", site=SITE, progress=lines.append) == 50
    assert record(iter(packets[50:60]), tmp_path / "a.rec", progress=lines.append) == 10
    assert "50 packets, 0 lost (0 %), height 0 m" in lines[1] and any("is gone on with: it holds 50 packets" in line for line in lines)
    assert record(foreign(packets[60:90]), tmp_path / "b.rec", site=SITE, columns=MAP, progress=lines.append) == 30
    assert "30 packets" in lines[-1] and "height 195 m" in lines[-1]  # at 3.9 s, 50 m/s


def test_read_recording__bad_arguments_are_one_sentence(tmp_path):
    for path, words in [(tmp_path / "none.rec", "there is no file"), (tmp_path, "there is no file")]:
        with pytest.raises(ValueError, match=words):
            read_recording(path)
    with Recorder(tmp_path / "a.rec"):
        pass
    with pytest.raises(ValueError, match="holds no packets: the recorder heard nothing"):
        read_recording(tmp_path / "a.rec")
    with pytest.raises(TypeError, match="path must be the path of a recording, not 3"):
        read_recording(3)
