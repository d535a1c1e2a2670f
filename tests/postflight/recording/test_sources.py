"""Live sources: a UDP port on loopback, a file that grows, a replay; bounded, counted, and ended politely."""

from __future__ import annotations

import os
import socket
import threading
import time

import pytest

from sixdof.postflight.recording.lines import Placed, scan
from sixdof.postflight.recording.packet import Packet, datagram, packet_of, receiver_clock
from sixdof.postflight.recording.recorder import Recorder
from sixdof.postflight.recording.replaying import packets, replay
from sixdof.postflight.recording.sources.following import follow
from sixdof.postflight.recording.sources.listening import listen

ROWS = [{"time": 0.1 * k, "sequence": k, "height": 1.25 * k} for k in range(6)]


def send(port: int, *data: bytes) -> None:
    """Send datagrams to a port of this machine."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
        for one in data:
            sender.sendto(one, ("127.0.0.1", port))


# ---------------------------------------------------------------- UDP


def test_listen__takes_packets_and_drops_and_counts_what_is_none(tmp_path):
    bad = [b"\xff\xfe", b"not json", b"[1, 2]", b'{"height": 1e999}', b'{"sequence": -1}', b"[" * 1500, b"x" * 3000]
    sent = [datagram(packet_of(row)) for row in ROWS]
    before = receiver_clock()
    with listen(0, timeout=0.05) as source:
        send(source.port, *sent[:3], *bad, *sent[3:])
        with Recorder(tmp_path / "a.rec") as recorder:
            found = list(recorder.through(source))
            assert recorder.acknowledged == 6
    assert [one.payload for one in found] == ROWS and all(before <= one.received <= receiver_clock() for one in found)
    assert source.received == 6 and source.dropped == {"malformed": 6, "too long": 1}
    assert len(source.examples) == 5 and source.examples[0] == '"\\xff\\xfe": it is not UTF-8 text' and "[1, 2]" in source.examples[2]
    assert list(packets(tmp_path / "a.rec")) == found
    (note,) = [one.record for one in scan(tmp_path / "a.rec") if isinstance(one, Placed) and "dropped" in one.record]
    assert note["dropped"] == source.dropped and note["examples"] == source.examples


def test_listen__holds_the_rate():
    start = time.monotonic()
    with listen(0, timeout=0.02, most_rate=5.0) as source:
        send(source.port, *[b'{"height": 1}'] * 40)
        found = list(source)
    most = 5.0 + 5.0 * (time.monotonic() - start)  # a second's packets, and what came in since
    assert 5 <= len(found) <= most and source.dropped == {"too fast": 40 - len(found)} and not source.examples


def test_listen__keeps_raw_packets_as_they_came():
    with listen(0, timeout=0.02, form="bytes") as source:
        send(source.port, b"\x00\xff", b"12.5,3.0")
        assert [one.payload for one in source] == [b"\x00\xff", b"12.5,3.0"]
    with listen(0, timeout=0.02, form="text") as source:
        send(source.port, b"\x00\xff", b"12.5,3.0")
        assert [one.payload for one in source] == ["12.5,3.0"] and source.dropped == {"malformed": 1}


def test_listen__ticks_where_nothing_comes_and_ends_when_told():
    stop = threading.Event()
    source = listen(0, tick=0.01, stop=stop)
    assert next(source) is None and next(source) is None
    send(source.port, b'{"height": 1}')
    assert next(source).values == {"height": 1}
    stop.set()
    assert list(source) == []
    send_to = source.port
    listen(send_to).close()  # the port is free again


def test_listen__is_idle_while_it_waits():
    used = time.process_time()
    with listen(0, timeout=0.3) as source:
        assert list(source) == []
    assert time.process_time() - used < 0.1  # a loop that is busy uses all of it


def test_listen__beyond_loopback_must_be_asked_for_and_is_warned_of():
    with pytest.warns(UserWarning, match="is not this machine's loopback: whoever reaches it"):
        listen(0, address="0.0.0.0").close()
    with listen(0) as source:
        assert source._socket.getsockname()[0] == "127.0.0.1"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ({"port": 70000}, "port = 70000 must be a whole number from 0 to 65535"),
        ({"port": "4567"}, 'port = "4567" must be'),
        ({"port": 0, "address": "pad.example"}, 'address = "pad.example" is no IP address'),
        ({"port": 0, "form": "csv"}, 'form = "csv" must be one of names, text, bytes'),
        ({"port": 0, "most_bytes": 0}, "most_bytes = 0 must be"),
        ({"port": 0, "timeout": 0.0}, "timeout = 0 must be a number above 0"),
        ({"port": 0, "most_rate": -1.0}, "most_rate = -1 must be"),
    ],
)
def test_listen__bad_arguments_are_one_sentence(arguments, words):
    with pytest.raises(ValueError, match=words):
        listen(**arguments)


def test_listen__says_that_a_port_is_taken():
    with listen(0) as source, pytest.raises(ValueError, match=f"port {source.port} of 127.0.0.1 cannot be listened on"):
        listen(source.port)


# ---------------------------------------------------------------- a file that grows


def line(row: dict) -> bytes:
    """The line of a packet."""
    return datagram(packet_of(row)) + b"\n"


def test_follow__waits_for_the_file_and_for_the_end_of_a_line(tmp_path):
    path = tmp_path / "growing.jsonl"
    source = follow(path, tick=0.01)
    assert next(source) is None
    path.write_bytes(line(ROWS[0]) + line(ROWS[1])[:10])
    assert next(one for one in source if one).payload == ROWS[0] and next(source) is None
    with path.open("ab") as file:
        file.write(line(ROWS[1])[10:])
    assert next(one for one in source if one).payload == ROWS[1]
    source.close()
    assert list(source) == []


def test_follow__reads_a_file_moved_away_to_its_end_and_the_new_one_from_its_start(tmp_path):
    path = tmp_path / "growing.jsonl"
    path.write_bytes(line(ROWS[0]))
    source = follow(path, timeout=0.2)
    assert next(source).payload == ROWS[0]
    with path.open("ab") as file:
        file.write(line(ROWS[1]))
    os.replace(path, tmp_path / "old.jsonl")
    path.write_bytes(line(ROWS[2]))
    assert [one.payload for one in source] == ROWS[1:3] and source.restarts == 1


def test_follow__begins_anew_where_the_file_became_shorter(tmp_path):
    path = tmp_path / "growing.jsonl"
    path.write_bytes(line(ROWS[0]) + line(ROWS[1]) + b'{"time": 0.')
    source = follow(path, timeout=0.2)
    assert [next(source).payload, next(source).payload] == ROWS[:2]
    path.write_bytes(line(ROWS[2]))
    assert [one.payload for one in source] == [ROWS[2]] and source.restarts == 1
    assert source.dropped == {"malformed": 1} and "began anew behind half a line" in source.examples[0]


def test_follow__passes_over_endless_lines_in_bounded_memory(tmp_path):
    path = tmp_path / "growing.jsonl"
    path.write_bytes(b"x" * 300_000 + b"\n" + line(ROWS[0]) + b"\n" + b"y" * 100 + b"\n" + line(ROWS[1]).rstrip() + b"\r\n")
    source = follow(path, timeout=0.05, most_bytes=90)
    assert [one.payload for one in source] == ROWS[:2]
    assert source.dropped == {"too long": 2} and len(source._part) == 0


def test_follow__takes_only_what_comes_where_asked(tmp_path):
    path = tmp_path / "growing.csv"
    path.write_text("time,height\n0.1,2.0\n")
    source = follow(path, begin="end", form="text", timeout=0.05)
    with path.open("a") as file:
        file.write("0.2,2.5\n")
    assert [one.payload for one in source] == ["0.2,2.5"]


def test_follow__bad_arguments_are_one_sentence(tmp_path):
    with pytest.raises(ValueError, match='begin = "middle" must be start or end'):
        follow(tmp_path / "a", begin="middle")
    with pytest.raises(ValueError, match="is no ordinary file"):
        follow(tmp_path)
    with pytest.raises(TypeError, match="path must be the path of a file, not 3"):
        follow(3)


# ---------------------------------------------------------------- replay


def test_replay__takes_as_long_as_the_packets_took(tmp_path):
    played = [Packet(1000.0 + 0.4 * k, {"sequence": k}) for k in range(6)]
    start, times = time.monotonic(), []
    for _ in replay(played, speed=10.0):
        times.append(time.monotonic() - start)
    assert all(0.04 * k - 1e-3 <= when <= 0.04 * k + 0.5 for k, when in enumerate(times))  # never early; late where the machine is busy
    start = time.monotonic()
    assert list(replay([played[0], Packet(9000.0, {"sequence": 1})], longest_wait=0.01)) and time.monotonic() - start < 0.2


@pytest.mark.parametrize("speed", [0, float("inf")])
def test_replay__as_fast_as_can_be_is_what_was_recorded(tmp_path, speed):
    played = [Packet(1000.0 + 3600.0 * k, {"sequence": k, "height": 0.1 * k}) for k in range(6)]
    with Recorder(tmp_path / "a.rec") as recorder:
        recorder.extend(played)
    assert list(replay(tmp_path / "a.rec", speed)) == played


def test_replay__ends_when_told():
    stop = threading.Event()
    found = []
    for packet in replay([Packet(0.0, {"sequence": 0}), Packet(1e6, {"sequence": 1})], stop=stop):
        found.append(packet)
        stop.set()
    assert len(found) == 1


def test_replay__bad_arguments_are_one_sentence(tmp_path):
    (tmp_path / "flight.csv").write_text("time,height\n0.0,1.0\n")
    for source, speed, words in [
        (tmp_path / "none.rec", 1.0, "there is no file"),
        ([], -1.0, "speed = -1 must be 0 or more"),
        ([], float("nan"), "speed = nan must be"),
        (tmp_path / "flight.csv", 1.0, "is no recording: no line of it is a record"),
    ]:
        with pytest.raises(ValueError, match=words):
            list(replay(source, speed))
    with pytest.raises(TypeError, match="source must be the path of a recording, or packets, not 3"):
        replay(3)


def test_through__acknowledges_what_comes_together_and_loses_nothing_of_a_source_that_breaks(tmp_path):
    class Breaking:
        tick = 0.1

        def __iter__(self):
            yield from (packet_of(row) for row in ROWS)
            raise KeyboardInterrupt

    recorder = Recorder(tmp_path / "a.rec")
    with pytest.raises(KeyboardInterrupt):
        for _ in recorder.through(Breaking()):
            pass
    assert recorder.acknowledged == 6 and recorder.syncs <= 2
    recorder.close()
    assert len(list(packets(tmp_path / "a.rec"))) == 6
