"""A plain Python law in a script: one thread needs no processes, several need a main guard, and that is said in one sentence."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import sixdof

CONFIGS = Path(__file__).parents[2] / "configs"
TOP = f"""
import sixdof

def law(t, sensed, memory, gains, command):
    command[1] = 0.0

mission = sixdof.load_mission(r"{CONFIGS / "sampler.toml"}").change({{"solver.time_limit": "1 s"}})
"""
CALL = "print(sixdof.disperse(mission, 2, threads={threads}, control=law, progress=False).sizes['flight'])"


def run(tmp_path, text):
    script = tmp_path / "my_study.py"
    script.write_text(text)
    return subprocess.run([sys.executable, str(script)], capture_output=True, text=True, timeout=300, cwd=tmp_path)


def test_unguarded__one_thread_needs_no_processes(tmp_path):
    done = run(tmp_path, TOP + CALL.format(threads=1))
    assert (done.returncode, done.stdout) == (0, "2\n"), done.stderr


def test_unguarded__several_are_refused_in_one_sentence(tmp_path):
    text = TOP + "def study():\n    " + CALL.format(threads=2) + "\n\nstudy()\n"
    done = run(tmp_path, text)
    line = text.splitlines().index("study()") + 1
    assert done.returncode == 1 and not done.stdout
    last = done.stderr.strip().splitlines()[-1]
    assert last.startswith(f"RuntimeError: my_study.py, line {line}: a law in plain Python")
    assert last.endswith('put its calls under `if __name__ == "__main__":`, or fly with threads=1')
    assert "multiprocessing" not in done.stderr


@pytest.mark.slow
def test_guarded__processes_fly(tmp_path):
    done = run(tmp_path, TOP + 'if __name__ == "__main__":\n    ' + CALL.format(threads=2))
    assert (done.returncode, done.stdout) == (0, "2\n"), done.stderr


def test_command_line__is_no_script_that_starts_itself_again():
    """`python -m sixdof disperse` of a mission with a dispersed path flies in processes, which import `__main__.py`: its call stands under a guard."""
    last = ast.parse(Path(sixdof.__file__).with_name("__main__.py").read_text()).body[-1]
    assert isinstance(last, ast.If) and ast.unparse(last.test) == "__name__ == '__main__'"
