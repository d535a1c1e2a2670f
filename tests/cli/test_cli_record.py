"""The verbs record and replay: packets in, a recording, its page and figure, packets out again."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
import time

import pytest

from sixdof.cli import main
from sixdof.cli.codes import BAD_INPUT, OK
from sixdof.postflight import datagram, listen, record, simulated_packets
from sixdof.postflight.recording.packet import packet_of

ROWS = [{"time": 0.1 * k, "sequence": k, "height": 20.0 + k, "east": 3.0, "north": 4.0} for k in range(12)]


@pytest.fixture
def grown(tmp_path, monkeypatch):
    """A file of packets, a line each, one of them none."""
    monkeypatch.chdir(tmp_path)
    lines = [json.dumps(row) for row in ROWS]
    (tmp_path / "ground.jsonl").write_text("\n".join([*lines[:5], "#####", *lines[5:]]) + "\n")
    return tmp_path


def test_record__writes_a_recording_its_page_and_figure(grown, capsys, demo_path):
    arguments = ["record", "--follow", "ground.jsonl", "--out", "a.rec", "--timeout", "0.05", "--site", str(demo_path), "--figures", "out"]
    assert main(arguments) == OK
    said = capsys.readouterr()
    assert "LAST KNOWN: 5 m from the rail, bearing 37 deg true, 31 m above ground" in said.out and "On a map: 38.00004 N, 116.99997 W" in said.out
    assert "1 packet dropped as they came: malformed" in said.out and "recorded: a.rec" in said.out
    assert "12 packets, 0 lost (0 %), 1 dropped, height 31 m, 5 m at 37 deg; last 0." in said.err
    assert (grown / "out" / "recording.png").exists()
    assert main([*arguments[:-2], "--quiet"]) == OK  # goes on
    said = capsys.readouterr()
    assert said.err == "" and "24 packets in 2 sessions" in said.out


def test_replay__prints_what_was_recorded_and_its_page(grown, capsys):
    assert main(["record", "--follow", "ground.jsonl", "--out", "a.rec", "--timeout", "0.05", "--quiet"]) == OK
    capsys.readouterr()
    assert main(["replay", "a.rec", "--speed", "0"]) == OK
    assert [json.loads(line) for line in capsys.readouterr().out.splitlines()] == ROWS
    assert main(["replay", "a.rec", "--page"]) == OK
    assert "LAST KNOWN" in capsys.readouterr().out


def test_replay__sends_a_simulated_flight_to_a_port(demo_path, demo_flight, capsys):
    flown = simulated_packets(demo_flight, rate=2.0, loss="20 %", burst=3.0, seed=4)
    source = listen(0)
    found: list = []
    listening = threading.Thread(target=lambda: found.extend(source))
    arguments = ["replay", "--simulate", str(demo_path), "--rate", "2 Hz", "--loss", "20 %", "--burst", "3", "--seed", "4", "--speed", "0"]
    listening.start()
    assert main([*arguments, "--to-udp", str(source.port)]) == OK
    assert f"sent: {len(flown)} packets to port {source.port}" in capsys.readouterr().out
    until = time.monotonic() + 10.0
    while len(found) < len(flown) and time.monotonic() < until:
        time.sleep(0.01)
    source.close()
    listening.join(10.0)
    assert [one.payload for one in found] == [packet_of(datagram(one)).payload for one in flown]


def test_record__that_hears_nothing_says_so(tmp_path, capsys):
    assert main(["record", "--udp", "0", "--out", str(tmp_path / "a.rec"), "--timeout", "0.05", "--quiet"]) == OK
    assert "holds no packets: the recorder heard nothing" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["record", "--udp", "70000", "--out", "a.rec"], "port = 70000 must be"),
        (["record", "--udp", "0", "--out", "ground.jsonl", "--timeout", "0.05"], "ground.jsonl is no recording, and is left as it is"),
        (["record", "--udp", "0", "--out", "none/a.rec"], "there is no folder none"),
        (["record", "--udp", "0", "--address", "pad", "--out", "a.rec"], "is no IP address"),
        (["record", "--follow", ".", "--out", "a.rec"], "is no ordinary file"),
        (["record", "--udp", "0", "--out", "a.rec", "--timeout", "-1"], "timeout = -1 must be a number above 0"),
        (["replay"], "give a recording, or --simulate with a mission file"),
        (["replay", "none.rec"], "there is no file none.rec"),
        (["replay", "ground.jsonl", "--speed", "0"], "ground.jsonl is no recording"),
        (["replay", "ground.jsonl", "--speed", "-2"], "speed = -2 must be 0 or more"),
        (["replay", "ground.jsonl", "--to-udp", "0"], "port = 0 must be a whole number from 1"),
    ],
)
def test_record_and_replay__bad_input_is_one_sentence(grown, arguments, words, capsys):
    assert main(arguments) == BAD_INPUT
    error = capsys.readouterr().err
    assert words in error and len(error.splitlines()) == 1


@pytest.mark.slow
@pytest.mark.parametrize(("number", "code"), [(signal.SIGINT, 0), (signal.SIGTERM, -signal.SIGTERM), (signal.SIGKILL, -signal.SIGKILL)])
def test_record__ended_from_outside_keeps_what_came(tmp_path, number, code):
    """Politely: the session is closed. By a kill: it is not, and nothing acknowledged is lost."""
    path, out = tmp_path / "grown.jsonl", tmp_path / "a.rec"
    path.write_text("".join(json.dumps(row) + "\n" for row in ROWS))
    running = subprocess.Popen([sys.executable, "-m", "sixdof", "record", "--follow", str(path), "--out", str(out), "--quiet"], stdout=subprocess.DEVNULL)
    until = time.monotonic() + 20.0
    while time.monotonic() < until and not (out.exists() and b'"sequence":11' in out.read_bytes()):
        time.sleep(0.05)
    os.kill(running.pid, number)
    assert running.wait(20.0) == code
    text = out.read_bytes()
    assert text.count(b'"payload"') == 12 and (b'"closed"' in text) == (number != signal.SIGKILL)
    assert record([packet_of({"sequence": 12})], out, progress=False) == 1
