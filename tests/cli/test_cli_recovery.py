"""The verb recovery: a page, the pages of its parts, a file and figures; what it is asked wrongly."""

from __future__ import annotations

import pytest

import sixdof
from sixdof.cli import main
from sixdof.cli.codes import BAD_INPUT, OK


def test_recovery__writes_pages_file_and_figures(stack_path, tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    arguments = ["recovery", str(stack_path), "--flights", "4", "--failing", "0", "--seed", "2", "--part", "charge", "--pages", "--quiet"]
    arguments += ["--set", "harness.drogue.charge.mass=0.6 g", "--out", "a.nc", "--figures", "figures"]
    assert main(arguments) == OK
    page = " ".join(capsys.readouterr().out.split())
    assert "The charge of 0.6 g is too strong" in page and page.index("What else to change") < page.index("Charges and harnesses")
    assert "Ejection charges, pins and harnesses" in page  # the part's own page
    assert {path.name for path in (tmp_path / "figures").iterdir()} == {"charge-drogue.png", "charge-booster-main.png"}
    found = sixdof.open_result(tmp_path / "a.nc")
    assert float(sixdof.workshop.recovery_part(found, "charge").charge_mass.sel(harness="drogue")) == pytest.approx(0.6e-3)
    assert main(arguments) == BAD_INPUT and "exists" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (["--set", "harness.drogue.impulse=5 N*s"], "the impulse follows from the charge"),
        (["--load-share", "2"], "load_share = 2"),
        (["--share", "2"], "share"),
        (["--drift", "10 s"], "drift"),
        (["--descent-speed", "0"], "descent_speed = 0 must be above 0"),
        (["--flights", "1"], "recovery: flights"),
    ],
)
def test_recovery__says_what_is_wrong(stack_path, capsys, more, words):
    assert main(["recovery", str(stack_path), "--flights", "2", "--failing", "0", "--part", "charge", "--quiet", *more]) == BAD_INPUT
    found = capsys.readouterr().err
    assert words in found and "Traceback" not in found
