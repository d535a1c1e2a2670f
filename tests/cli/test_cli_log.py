"""The verb `log`."""

from __future__ import annotations

import log_signals as ls
import pandas as pd
import pytest
import tomli_w

import sixdof
from sixdof.cli import main
from sixdof.cli.codes import BAD_INPUT, OK


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    where = tmp_path_factory.mktemp("log")
    rows = pd.DataFrame(ls.table(rate=50.0, end=20.0))
    rows.rename(columns={"t": "time (s)", "alt": "baro (m)"}).to_csv(where / "log.csv", index=False)
    (where / "map.toml").write_text(tomli_w.dumps(ls.columns(clock={"column": "time (s)"}, height={"column": "baro (m)"})))
    return where


def test_log__prints_its_page_and_writes_a_file(folder, capsys):
    code = main(["log", str(folder / "log.csv"), "--columns", str(folder / "map.toml"), "--remove-bias", "--out", str(folder / "log.nc")])
    said = capsys.readouterr().out
    assert code == OK and "ANSWER: liftoff at" in said and "is taken off" in said
    assert sixdof.open_result(folder / "log.nc").attrs["kind"] == "flight log"


@pytest.mark.slow
def test_log__draws_its_figure(folder):
    assert main(["log", str(folder / "log.csv"), "--columns", str(folder / "map.toml"), "--figures", str(folder)]) == OK
    assert (folder / "log.png").exists()


def test_log__proposes_a_map_that_reads_it(folder, capsys):
    assert main(["log", str(folder / "log.csv"), "--propose", "--out", str(folder / "proposed.toml")]) == OK
    assert "What was taken for what" in capsys.readouterr().out
    assert main(["log", str(folder / "log.csv"), "--columns", str(folder / "proposed.toml")]) == OK
    assert "ANSWER: liftoff at" in capsys.readouterr().out


def test_log__that_is_none_is_one_sentence(folder, capsys):
    assert main(["log", str(folder / "none.csv")]) == BAD_INPUT
    assert "there is no such file" in capsys.readouterr().err
