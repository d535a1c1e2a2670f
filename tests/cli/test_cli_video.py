"""The verb video: a camera and a table of frames in, page, figures and a file out."""

from __future__ import annotations

from pathlib import Path

import pytest

import sixdof
from sixdof.cli import main
from sixdof.cli.codes import BAD_INPUT, OK

SLENDER = Path(__file__).parents[1] / "vehicles" / "slender.toml"
CAMERA = """
place = [60.0, -40.0, 1.5]
picture = [3840, 2160]
field_of_view = "50 deg"
bearing = "-56 deg"
elevation = "30 deg"
pointing_error = "0.5 deg"
frame_rate = "60 Hz"
liftoff_frame = 30
"""


@pytest.fixture
def files(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    Path("camera.toml").write_text(CAMERA)
    seen = sixdof.postflight.camera("camera.toml")
    sixdof.postflight.frames_of(sixdof.fly(sixdof.load_mission(SLENDER)), seen, range(30, 120), pixel_error=0.4, out="frames.csv")


def test_video__writes_a_page_and_a_file(files, capsys):
    assert main(["video", "camera.toml", "frames.csv", "--length", "1.4 m", "--swing", "0.1 s", "1 s", "--out", "v.nc"]) == OK
    page = capsys.readouterr().out
    assert "ANSWER: " in page and "A swing" in page and "nan" not in page and "verdict" in sixdof.open_result("v.nc")
    assert main(["video", "camera.toml"]) == OK
    assert "Where it stood and looked" in capsys.readouterr().out


@pytest.mark.slow
def test_video__writes_page_figures_and_file(files, capsys):
    arguments = [
        "camera.toml",
        "frames.csv",
        "--mission",
        str(SLENDER),
        "--flights",
        "3",
        "--quiet",
        "--swing",
        "0.1 s",
        "1 s",
        "--figures",
        "out",
        "--out",
        "v.nc",
    ]
    assert main(["video", *arguments]) == OK
    page = capsys.readouterr().out
    assert "ANSWER: " in page and "Among the flights" in page and "A swing" in page and "nan" not in page
    assert Path("out/video.png").exists() and Path("out/swing.png").exists() and "rank" in sixdof.open_result("v.nc")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["none.toml"], "there is no such file"),
        (["camera.toml", "none.csv"], "there is no such file"),
        (["camera.toml", "frames.csv", "--flights", "3"], "give --mission too"),
        (["camera.toml", "frames.csv", "--wanted", "2 kg"], "wanted"),
        (["camera.toml", "frames.csv", "--swing", "5 s", "6 s"], "too few"),
    ],
)
def test_video__bad_input_is_one_sentence(files, arguments, words, capsys):
    assert main(["video", *arguments]) == BAD_INPUT
    error = capsys.readouterr().err
    assert words in error and len(error.splitlines()) == 1
