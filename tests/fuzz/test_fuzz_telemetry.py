"""What others send or write: no packet and no recording does more than be read, or be refused in one sentence."""

from __future__ import annotations

import warnings

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import sixdof
from sixdof.postflight import Recorder, read_recording
from sixdof.postflight.recording.lines import line_of
from sixdof.postflight.recording.packet import Malformed, datagram, packet_of

NAMES = st.sampled_from(
    [
        "time",
        "sequence",
        "height",
        "east",
        "north",
        "velocity",
        "attitude",
        "latitude",
        "longitude",
        "fin_angle",
        "phase",
        "packet",
        "axis",
        "received",
        "silence",
        "clock",
        "session",
        "run",
        "title",
        "a/b",
        "\x00",
        "é",
    ]
)
NUMBERS = st.one_of(st.floats(allow_infinity=False), st.integers(-(2**62), 2**62), st.booleans(), st.none(), st.text(max_size=3))
VALUES = st.one_of(NUMBERS, st.lists(NUMBERS, max_size=5))
PAYLOADS = st.dictionaries(NAMES, VALUES, min_size=1, max_size=6)


def packed(payloads) -> list:
    """Those that can be packets."""
    found = []
    for k, payload in enumerate(payloads):
        try:
            found.append(packet_of(payload, 1e9 + k))
        except Malformed as error:
            assert len(str(error).splitlines()) == 1
    return found


COUNTS = pytest.mark.parametrize("count", [10, pytest.param(1000, marks=pytest.mark.slow)])
RECORDS = st.dictionaries(
    st.sampled_from(
        ["session", "began", "site", "columns", "names", "title", "closed", "sync_mean", "dropped", "examples", "received", "payload", "text", "bytes", "cut"]
    ),
    st.one_of(VALUES, st.dictionaries(st.sampled_from(["latitude", "earth", "clock"]), VALUES, max_size=2)),
    max_size=5,
)


def tried(function, strategy, count: int) -> None:
    """Try a function on so many things."""
    settings(max_examples=count, deadline=None, suppress_health_check=list(HealthCheck))(given(strategy)(function))()


@COUNTS
def test_datagram__of_any_bytes_is_a_packet_or_refused(count):
    def judged(data):
        try:
            packet = packet_of(data)
        except Malformed as error:
            assert len(str(error).splitlines()) == 1
        else:
            assert repr(packet_of(datagram(packet), packet.received)) == repr(packet)

    tried(judged, st.binary(max_size=120), 5 * count)


@COUNTS
def test_recording__of_any_packets_is_read_and_has_a_page(tmp_path, count):
    path = tmp_path / "a.rec"

    def judged(payloads):
        packets = packed(payloads)
        if not packets:
            return
        path.unlink(missing_ok=True)
        with Recorder(path) as recorder:
            recorder.extend(packets)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", RuntimeWarning)  # numbers near the largest there is
            ds = read_recording(path)
            page = str(sixdof.report(ds))
        assert ds.sizes["packet"] == len(packets) and page.splitlines()[-1].startswith("A calculation")

    tried(judged, st.lists(PAYLOADS, min_size=1, max_size=5), count)


@COUNTS
def test_recording__of_records_that_no_recorder_writes_is_read_or_refused(tmp_path, count):
    path = tmp_path / "strange.rec"

    def judged(records):
        whole = [{"session": 0, "began": 1e9}, *records, {"received": 1e9, "payload": {"height": 1.0}}]
        try:
            path.write_bytes(b"".join(line_of({"n": k} | record) for k, record in enumerate(whole)))
        except ValueError:
            return  # a number that JSON has not
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", RuntimeWarning)
            try:
                sixdof.report(read_recording(path))
            except (ValueError, sixdof.MissionError) as error:
                assert len(str(error).splitlines()) <= 3

    tried(judged, st.lists(RECORDS, max_size=4), count)
