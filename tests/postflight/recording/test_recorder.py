"""`Recorder` and its file: what is acknowledged is there after kills, full disks and damage, and what is damaged is said."""

from __future__ import annotations

import io
import itertools
import json
import os
import subprocess
import sys
import zlib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sixdof.postflight.recording.lines import Damage, Placed, line_of, payload_of, scan, scanned
from sixdof.postflight.recording.packet import Packet
from sixdof.postflight.recording.recorder import Recorder
from sixdof.postflight.recording.replaying import packets

ROWS = [{"time": 0.1 * k, "sequence": k, "height": 1.25 * k} for k in range(5)]


def payloads(path: Path) -> list:
    """The payloads of a file, in order."""
    return [payload_of(piece.record) for piece in scan(path) if isinstance(piece, Placed) and payload_of(piece.record) is not None]


@pytest.fixture
def small(tmp_path):
    """A closed recording of five packets."""
    with Recorder(tmp_path / "small.rec") as recorder:
        recorder.extend(ROWS)
    return tmp_path / "small.rec"


def test_line__is_length_checksum_and_json():
    """The format a second time, by hand."""
    length, check, text = line_of({"n": 3, "text": "a\nb é"}).split(b" ", 2)
    assert text.endswith(b"\n") and int(length) == len(text) - 1 and int(check, 16) == zlib.crc32(text[:-1])
    assert json.loads(text) == {"n": 3, "text": "a\nb é"} and text.count(b"\n") == 1


def test_packets__come_back_bit_for_bit(tmp_path):
    values = {"time": 0.1 + 0.2, "sequence": 7, "height": -0.0, "velocity": [1e-300, 5e-324, 1.7976931348623157e308], "armed": True, "note": "é\n\x00"}
    given = [Packet(1796090000.123456, values), Packet(1796090000.2, "raw, text\r"), Packet(1796090000.3, b"\x00\xff\n 1")]
    with Recorder(tmp_path / "a.rec") as recorder:
        assert recorder.extend(given) == 3
    found = list(packets(tmp_path / "a.rec"))
    assert found == given and [type(one.payload) for one in found] == [dict, str, bytes]
    assert repr(found[0].payload) == repr(values)  # -0.0 and True too


def test_not_measured__is_null_in_the_file_and_nan_behind_it(tmp_path):
    with Recorder(tmp_path / "a.rec") as recorder:
        recorder.append({"height": float("nan"), "velocity": [1.0, None, 2.0]})
    assert b'"height":null,"velocity":[1.0,null,2.0]' in (tmp_path / "a.rec").read_bytes()
    (found,) = packets(tmp_path / "a.rec")
    assert found.values["height"] != found.values["height"] and found.values["velocity"][1] != found.values["velocity"][1]


# ---------------------------------------------------------------- kills


def killed(path: Path, kills: int, seed: int) -> None:
    """Kill recorders that write one file after each other, and see that all they acknowledged is there, in order and once."""
    script = Path(__file__).with_name("killed_recorders.py")
    said = subprocess.run([sys.executable, str(script), str(path), str(kills), str(seed)], capture_output=True, text=True, check=True).stdout.split()
    acknowledged = [range(100_000 * k, int(last)) for k, last in enumerate(said)]
    assert sum(map(len, acknowledged)) > kills  # some had time to record
    found = [one["sequence"] for one in payloads(path)]
    assert found == sorted(set(found))
    assert {number for those in acknowledged for number in those} <= set(found)


@pytest.mark.skipif(not hasattr(os, "fork"), reason="kills are those of POSIX")
def test_kill__loses_nothing_acknowledged(tmp_path):
    killed(tmp_path / "a.rec", 8, 1)


@pytest.mark.slow
@pytest.mark.skipif(not hasattr(os, "fork"), reason="kills are those of POSIX")
def test_kill__loses_nothing_acknowledged_in_hundreds(tmp_path):
    for k in range(6):
        killed(tmp_path / f"{k}.rec", 60, 100 * k)


def test_restart__goes_on_and_is_recorded(small):
    with Recorder(small, title="the same flight") as recorder:
        assert recorder.before == 5 and "holds 5 packets" in recorder.notes[0]
        assert recorder.append({"sequence": 5}) == 1
    records = [piece.record for piece in scan(small)]
    assert [record["n"] for record in records] == list(range(len(records)))
    assert [record["session"] for record in records if "session" in record] == [0, 1] and sum("closed" in record for record in records) == 2
    assert [one["sequence"] for one in payloads(small)] == [0, 1, 2, 3, 4, 5]


# ---------------------------------------------------------------- damage


LINES = [line_of({"n": 0, "session": 0}), *(line_of({"n": k + 1, "received": 0.5 * k, "payload": row}) for k, row in enumerate(ROWS))]
WHOLE = b"".join(LINES)
ENDS = list(itertools.accumulate(map(len, LINES)))


def numbers_and_damage(data: bytes) -> tuple[list[int], list[Damage]]:
    """What is read of a file of these bytes: the numbers of its records, each as it was written, and its damage."""
    pieces = list(scanned(io.BytesIO(data)))
    placed = [piece.record for piece in pieces if isinstance(piece, Placed)]
    assert all(line_of(record) == LINES[record["n"]] for record in placed)
    return [record["n"] for record in placed], [one for one in pieces if isinstance(one, Damage)]


def test_cut_anywhere__gives_a_prefix_and_says_so():
    """Every length that the file may have been cut to."""
    for length in range(len(WHOLE)):
        numbers, damage = numbers_and_damage(WHOLE[:length])
        intact = [end for end in ENDS if end <= length]
        assert numbers == list(range(len(intact)))
        start = max(intact, default=0)
        assert damage == ([Damage(start, length - start, -1, tail=True)] if length > start else [])


@pytest.mark.parametrize("flip", [0x01, 0x20, 0x80])
def test_byte_changed_anywhere__costs_its_record_alone_and_is_said(flip):
    """Every byte of the file; only the record hit is missing, and the one behind it where their line end is."""
    for place in range(len(WHOLE)):
        numbers, damage = numbers_and_damage(WHOLE[:place] + bytes([WHOLE[place] ^ flip]) + WHOLE[place + 1 :])
        hit = sum(end <= place for end in ENDS)  # number of the record that the byte is of
        gone = {hit, hit + 1} if place + 1 in ENDS else {hit}
        assert damage and numbers == [n for n in range(len(LINES)) if n not in gone], place


@settings(max_examples=60, deadline=None)
@given(st.integers(0, len(WHOLE)), st.integers(0, 300), st.binary(max_size=60))
def test_damage_of_any_kind__never_makes_up_a_packet(start, length, instead):
    numbers, _ = numbers_and_damage(WHOLE[:start] + instead + WHOLE[start + length :])
    before = sum(end <= start for end in ENDS)
    assert numbers == sorted(set(numbers)) and numbers[:before] == list(range(before))
    behind = [n for n in range(1, len(LINES)) if ENDS[n - 1] > start + length]
    assert set(behind) <= set(numbers)


def test_half_written_end__is_cut_kept_and_said(small):
    whole = small.read_bytes()
    small.write_bytes(whole + b'88 01234567 {"n":7,"rece')
    with Recorder(small) as recorder:
        assert "24 bytes at its end" in recorder.notes[1]
        recorder.append({"sequence": 5})
    assert small.read_bytes().startswith(whole)
    restart = next(piece.record for piece in scan(small) if piece.record.get("session") == 1)
    assert restart["cut"] == 24 and restart["cut_at"] == len(whole) and bytes.fromhex(restart["cut_hex"]).endswith(b"rece")
    assert not [piece for piece in scan(small) if isinstance(piece, Damage)] and len(payloads(small)) == 6


def test_damage_in_the_middle__is_left_and_nothing_behind_it_is_lost(small):
    whole = small.read_bytes()
    middle = whole.index(b'"sequence":2')
    small.write_bytes(whole[:middle] + b"#" + whole[middle + 1 :])
    with Recorder(small) as recorder:
        assert "are damaged and left as they are" in recorder.notes[1] and "1 record gone" in recorder.notes[1]
        recorder.append({"sequence": 5})
    assert [one["sequence"] for one in payloads(small)] == [0, 1, 3, 4, 5]


# ---------------------------------------------------------------- the disk


def test_full_disk__is_one_sentence_and_loses_nothing(tmp_path, monkeypatch):
    """A disk with room for ten bytes of the next packets takes these ten, and says it is full."""
    path = tmp_path / "a.rec"
    recorder = Recorder(path)
    recorder.extend(ROWS)
    before, write, room = path.read_bytes(), os.write, [10]

    def full(file, data):
        if not room[0]:
            raise OSError(28, "No space left on device")
        taken, room[0] = write(file, data[: room[0]]), 0
        return taken

    monkeypatch.setattr(os, "write", full)
    with pytest.raises(
        OSError, match=r"packet 6 of this session and those behind it cannot be recorded: No space left.*5 packets recorded before are safe; make"
    ):
        recorder.extend([{"sequence": 5}, {"sequence": 6}])
    assert path.read_bytes() == before and recorder.acknowledged == 5
    monkeypatch.setattr(os, "write", write)
    assert recorder.append({"sequence": 7}) == 6
    recorder.close()
    assert [one["sequence"] for one in payloads(path)] == [0, 1, 2, 3, 4, 7] and not [one for one in scan(path) if isinstance(one, Damage)]


def test_disk_that_does_not_keep_its_word__acknowledges_nothing(small, monkeypatch):
    recorder = Recorder(small)

    def broken(_):
        raise OSError(5, "Input/output error")

    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", broken)
        with pytest.raises(OSError, match="Input/output error. 5 packets recorded before are safe"):
            recorder.append({"sequence": 5})
    assert recorder.acknowledged == 0 and len(payloads(small)) == 5
    recorder.close()


def test_each_acknowledgement__asks_the_disk_once(small, monkeypatch):
    asked = []
    sync = os.fsync
    monkeypatch.setattr(os, "fsync", lambda file: asked.append(os.fstat(file).st_size) or sync(file))
    with Recorder(small) as recorder:
        asked.clear()
        recorder.extend([{"sequence": k} for k in range(50)])
        assert len(asked) == 1
        recorder.append({"sequence": 50})
        assert len(asked) == 2 and asked[1] == small.stat().st_size
        assert recorder.syncs == 3 and 0.0 < recorder.sync_mean <= recorder.sync_worst


def test_interruption_inside_a_write__leaves_whole_records(small, monkeypatch):
    recorder, write = Recorder(small), os.write

    def interrupted(file, data):
        write(file, data[:7])
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(os, "write", interrupted)
        with pytest.raises(KeyboardInterrupt):
            recorder.append({"sequence": 5})
    recorder.append({"sequence": 6})
    recorder.close()
    assert [one["sequence"] for one in payloads(small)] == [0, 1, 2, 3, 4, 6] and not [one for one in scan(small) if isinstance(one, Damage)]


def test_second_recorder__is_refused(small):
    with Recorder(small), pytest.raises(RuntimeError, match="is being written by another process"):
        Recorder(small)
    Recorder(small).close()


# ---------------------------------------------------------------- bad input


def test_foreign_file__is_refused_and_left(tmp_path):
    path = tmp_path / "flight.csv"
    path.write_text("time,height\n0.0,1.0\n")
    with pytest.raises(ValueError, match="is no recording, and is left as it is"):
        Recorder(path)
    assert path.read_text() == "time,height\n0.0,1.0\n" and not path.with_name("flight.csv.lock").exists()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ({"site": {"latitude": "41 kg"}}, 'site: latitude: "41 kg" has the wrong unit'),
        ({"site": {"latitud": "41 deg"}}, "site: latitude: missing|site: latitud: unknown key"),
        ({"site": 3}, "site = 3 must be a mission"),
        ({"title": 3}, "title = 3 must be a text"),
    ],
)
def test_recorder__bad_arguments_are_one_sentence(tmp_path, arguments, words):
    with pytest.raises(ValueError, match=words):
        Recorder(tmp_path / "a.rec", **arguments)
    assert not list(tmp_path.iterdir())


def test_recorder__names_a_folder_that_is_missing_and_a_folder_in_its_place(tmp_path):
    with pytest.raises(ValueError, match="there is no folder"):
        Recorder(tmp_path / "none" / "a.rec")
    with pytest.raises(ValueError, match="is no ordinary file"):
        Recorder(tmp_path)


@pytest.mark.parametrize(
    ("packet", "words"),
    [
        ({}, "it holds 0 names"),
        ({"height": float("inf")}, "height = inf is no number"),
        ({"height": 2**70}, "height = a whole number of that size is no number"),
        ({"time": None}, "time = nan must be the sender's clock"),
        ({"sequence": 1.5}, "sequence = 1.5 must be the packet's number"),
        ({"velocity": [[1.0]]}, r"velocity = \[1.0\] is no number"),
        ({"note": "x" * 300}, "note is a text of 300 characters"),
        ({3: 1.0}, "3 is no name"),
        (3.0, "a packet is a mapping of names to numbers, text or bytes, not 3"),
    ],
)
def test_append__refuses_what_is_no_packet_and_records_nothing(small, packet, words):
    with Recorder(small) as recorder:
        with pytest.raises(ValueError, match=words):
            recorder.extend([{"sequence": 5}, packet])
        assert recorder.acknowledged == 0
    assert len(payloads(small)) == 5
    with pytest.raises(ValueError, match="is closed; open it again"):
        recorder.append({"sequence": 5})
