"""The verbs weathercock and stability."""

from __future__ import annotations

import sixdof
from sixdof.cli.codes import NONE_PASSES, OK
from sixdof.cli.line import main


def test_weathercock__page_and_file(demo_path, tmp_path, capsys):
    out = tmp_path / "turn.nc"
    asked = ["--criterion", "lean at burnout < 9 deg in 75 % of flights", "--wind", "7 m/s", "--winds", "0 m/s", "7 m/s"]
    code = main(["weathercock", str(demo_path), "--flights", "4", "--quick", "--quiet", *asked, "--out", str(out)])
    said = capsys.readouterr()
    assert code == OK and "Does it turn into the wind?" in said.out and not said.err
    assert sixdof.open_result(out).attrs["design_wind"] == 7.0


def test_weathercock__too_far_is_a_code_of_its_own(demo_path, capsys):
    asked = ["--criterion", "lean at burnout < 0.1 deg in 75 % of flights", "--winds", "0 m/s", "7 m/s"]
    assert main(["weathercock", str(demo_path), "--flights", "2", "--quick", "--quiet", *asked]) == NONE_PASSES
    assert "YES: only" in capsys.readouterr().out


def test_stability__page(demo_path, capsys):
    assert main(["stability", str(demo_path), "--flights", "3"]) == OK
    assert "Static margin as flown" in capsys.readouterr().out
