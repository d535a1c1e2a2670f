"""The fences around fuzzed calls hold: Python's own in this process, the kernel's in another, root or not."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from fuzz_jail import check_jail, inside, jailed

HERE = Path(__file__).parent


@pytest.fixture
def places(tmp_path):
    own, other = tmp_path / "own", tmp_path / "other"
    own.mkdir()
    other.mkdir()
    (other / "kept.txt").write_text("kept")
    return own, other


@pytest.mark.parametrize(
    "attack",
    [
        lambda other: (other / "kept.txt").write_text("gone"),
        lambda other: open(other / "new.txt", "a"),
        lambda other: os.remove(other / "kept.txt"),
        lambda other: os.rename(other / "kept.txt", "mine.txt"),
        lambda other: shutil.rmtree(other),
        lambda other: (other / "folder").mkdir(),
        lambda other: Path("../other/kept.txt").write_text("gone"),
    ],
)
def test_jailed__nothing_elsewhere_is_written(places, attack):
    own, other = places
    with jailed(own):
        with pytest.raises(PermissionError, match="fuzzing writes in its own folder only"):
            attack(other)
        Path("mine.txt").write_text("mine")
        assert (other / "kept.txt").read_text() == "kept"  # reading is nobody's harm
    assert sorted(os.listdir(other)) == ["kept.txt"] and (own / "mine.txt").exists()
    with pytest.raises(AssertionError, match="wrote outside its folder"):
        check_jail()
    check_jail()
    (other / "free.txt").write_text("free again")


def test_inside__paths_are_led_into_the_folder(tmp_path):
    assert inside(tmp_path, "/etc/passwd") == str(tmp_path / "etc" / "passwd")
    assert inside(tmp_path, Path("/nowhere/at")) == tmp_path / "nowhere" / "at"
    assert inside(tmp_path, "\0") == "\0" and inside(tmp_path, 3) == 3


@pytest.mark.skipif(sys.platform != "linux", reason="Landlock is Linux's")
def test_lock__holds_for_children_and_what_is_no_python(places):
    own, other = places
    code = (
        f"import os, sys; sys.path.insert(0, {str(HERE)!r})\n"
        "from pathlib import Path\nfrom fuzz_jail import lock\n"
        f"print(lock(Path({str(own)!r})), flush=True)\n"
        f"os.system('echo gone > {other}/kept.txt; rm -f {other}/kept.txt; echo new > {other}/new.txt; echo mine > {own}/mine.txt; cat {other}/kept.txt')\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    if done.stdout.startswith("False"):
        pytest.skip("this kernel has no Landlock")
    assert done.stdout == "True\nkept" and (own / "mine.txt").exists()
    assert sorted(os.listdir(other)) == ["kept.txt"] and (other / "kept.txt").read_text() == "kept"
