"""The verb happened: a page, a file and a figure; keys; what it is asked wrongly."""

from __future__ import annotations

import pytest

import sixdof
from sixdof.cli import main
from sixdof.cli.codes import BAD_INPUT, OK

EVIDENCE = '[[evidence]]\nkind = "logged"\nquantity = "apogee_height"\nvalue = "590 m"\nerror = "30 m"\n'


@pytest.fixture
def evidence(tmp_path):
    path = tmp_path / "evidence.toml"
    path.write_text(EVIDENCE)
    return path


def test_happened__writes_page_file_and_figure(demo_path, evidence, tmp_path, capsys):
    (tmp_path / "h.toml").write_text('[plan]\nprior = "90 %"\n[strong]\nprior = 0.1\nchange = { "air.wind.speed" = "9 m/s" }\n')
    arguments = ["happened", str(evidence), str(demo_path), "--flights", "6", "--rounds", "1", "--hypotheses", str(tmp_path / "h.toml"), "--quiet"]
    arguments += ["--out", str(tmp_path / "a.nc"), "--figures", str(tmp_path / "figures")]
    assert main(arguments) == OK
    assert "MOST LIKELY OF TOO FEW FLIGHTS: plan" in capsys.readouterr().out
    assert [path.name for path in (tmp_path / "figures").iterdir()] == ["happened.png"]
    found = sixdof.open_result(tmp_path / "a.nc")
    assert list(found.candidate.values) == ["plan", "strong", "none of these"] and "MOST LIKELY OF TOO FEW FLIGHTS: plan" in sixdof.report(found)
    assert main(arguments) == BAD_INPUT and "exists" in capsys.readouterr().err


def test_happened__explains_its_keys(capsys):
    with pytest.raises(SystemExit):
        main(["happened", "--keys"])
    assert "horizontal_error" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("more", "words"),
    [(["--rounds", "0"], "rounds = 0"), (["--other", "3"], 'other = "3"'), (["--hypotheses", "nowhere.toml"], "nowhere.toml"), (["--seed", "-1"], "seed")],
)
def test_happened__says_what_is_wrong(demo_path, evidence, capsys, more, words):
    assert main(["happened", str(evidence), str(demo_path), "--quiet", *more]) == BAD_INPUT
    found = capsys.readouterr().err
    assert words in found and "Traceback" not in found
