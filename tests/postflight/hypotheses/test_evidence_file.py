"""Files of evidence: read in SI, every fault one sentence with the key."""

from __future__ import annotations

import math

import pytest

import sixdof
from sixdof.mission.errors import MissionError
from sixdof.postflight.hypotheses.tables import KINDS

FIX = {"kind": "fix", "time": "84 s", "east": "412 m", "north": "-60 m"}
FILE = """
title = "A test"
[[evidence]]
kind = "fix"
time = "1.4 min"
latitude = "38.001 deg"
longitude = "-117 deg"
[[evidence]]
kind = "silence"
start = 90
"""


def test_file__is_read_in_si(tmp_path):
    path = tmp_path / "evidence.toml"
    path.write_text(FILE)
    read = sixdof.postflight.read_evidence(path)
    fix, silence = read.evidence
    assert read.title == "A test" and fix.time == pytest.approx(84.0) and fix.latitude == pytest.approx(math.radians(38.001))
    assert silence.end is None and sixdof.postflight.read_evidence(read) is read


def test_keys__explain_every_kind():
    page = str(sixdof.postflight.evidence_keys())
    assert all(f'[[evidence]] kind = "{kind}"' in page for kind in KINDS) and "nan" not in page


@pytest.mark.parametrize(
    "pieces, says",
    [
        ([{"kind": "fix", "time": "84 s", "east": "412 m"}], "evidence[0], key north: missing: east alone is no place; add north"),
        ([FIX, FIX | {"latitude": 0.3, "longitude": 1.0}], "evidence[1], key east: a place is latitude and longitude, or east and north, not both"),
        ([{"kind": "fix", "time": "84 s"}], "evidence[0], key latitude: missing: it has no place"),
        ([{"kind": "fx", "time": "84 s"}], 'evidence[0], key kind: there is no kind of evidence "fx"; did you mean "fix"?'),
        ([{"time": "84 s"}], "evidence[0], key kind: it says no kind"),
        ([FIX | {"tim": 3}], 'evidence[0], key tim: unknown key; did you mean "time"?'),
        ([FIX | {"time": "84 m"}], 'evidence[0], key time: "84 m" has the wrong unit'),
        ([FIX | {"horizontal_error": 0}], "evidence[0], key horizontal_error: 0 must be more than 0 m"),
        ([FIX | {"gross": "120 %"}], "evidence[0], key gross: "),
        ([{"kind": "silence", "start": "84 s", "end": 3}], "evidence[0], key end: is not after start, 84 s"),
        ([{"kind": "packet", "time": 3}], "evidence[0], key height: missing: the packet tells neither height nor climb_rate"),
        ([{"kind": "searched", "corners": [[0, 0], [1, 2]]}], "evidence[0], key corners: 2 corners make no area"),
        ([{"kind": "searched", "east": 1, "north": 2}], "evidence[0], key radius: missing: it says no area"),
        ([{"kind": "landed", "time": 3, "landed": "yes"}], 'evidence[0], key landed: "yes" is not what belongs there; write landed = true'),
        ([], "the evidence: there is no evidence; give a piece at least"),
        ({"evidence": 3}, "key evidence: 3 is not what belongs there"),
    ],
)
def test_fault__is_one_sentence(pieces, says):
    with pytest.raises(MissionError) as caught:
        sixdof.postflight.read_evidence(pieces)
    assert str(caught.value).startswith(says) and "\n" not in str(caught.value)


def test_fault__names_the_file(tmp_path):
    path = tmp_path / "evidence.toml"
    path.write_text(FILE.replace("90", '"90 m"'))
    with pytest.raises(MissionError, match=r"evidence.toml: evidence\[1\], key start"):
        sixdof.postflight.read_evidence(path)
    path.write_text("title = ")
    with pytest.raises(MissionError, match="is not valid TOML"):
        sixdof.postflight.read_evidence(path)
    with pytest.raises(TypeError, match="must be the path of a file of evidence"):
        sixdof.postflight.read_evidence(3)


def test_evidence__a_mission_in_its_place_is_one_sentence(demo_path):
    with pytest.raises(sixdof.MissionError, match="this is a mission, not evidence") as caught:
        sixdof.postflight.read_evidence(demo_path)
    assert len(str(caught.value).splitlines()) <= 2
