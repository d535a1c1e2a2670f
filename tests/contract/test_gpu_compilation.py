"""The whole of a leg's flight compiles for a GPU, from the source that flies here; no GPU is needed for that.

Run it with the extra `gpu` installed: `pip install -e .[gpu]`, then `pytest -m slow tests/contract/test_gpu_compilation.py -rs`.
"""

from __future__ import annotations

import importlib.util
import os
import pickle
import subprocess
import sys
import textwrap

import pytest

from sixdof.core.leg.work import make_work
from sixdof.draws.packed import kernel_draw
from sixdof.flight.model import build_model

COMPILING = """
    import pickle, re, sys
    from numba import cuda
    from numba.cuda import types

    class Device:  # what the compiler asks of a device is how capable it is
        compute_capability = (9, 0)

    for name in ("dispatcher", "compiler"):
        module = __import__(f"numba.cuda.{name}", fromlist=[name])
        if hasattr(module, "get_current_device"):
            module.get_current_device = Device

    from sixdof._jit.address import reference_to
    from sixdof.core.flight.fly import fly

    def flight(model, draw, work, log, events, summary, out):
        status, t, rows = fly(model, draw, work, log, events, summary)
        out[0], out[1] = status, t

    with open(sys.argv[1], "rb") as file:
        lent = [reference_to(value) for value in pickle.load(file)]
    table, row = types.Array(types.float64, 2, "C"), types.Array(types.float64, 1, "C")
    ptx, _ = cuda.compile_ptx(flight, types.void(*lent, table, table, row, row), cc=(9, 0))
    print(len(re.findall(r"^\\.visible \\.entry", ptx, re.M)), len(ptx))
"""


@pytest.mark.slow
def test_fly__compiles_for_a_gpu(stack_mission, tmp_path):
    if importlib.util.find_spec("cuda") is None:
        pytest.skip("the extra `gpu` is not installed: whether kernels compile for a GPU was not looked at")
    model = build_model(stack_mission)
    with open(tmp_path / "leg.pickle", "wb") as file:
        pickle.dump((model, kernel_draw(stack_mission), make_work(model)), file)
    command = [sys.executable, "-c", textwrap.dedent(COMPILING), str(tmp_path / "leg.pickle")]
    done = subprocess.run(command, env={**os.environ, "SIXDOF_TARGET": "cuda"}, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr[-3000:]
    entries, size = map(int, done.stdout.split())
    assert entries == 1 and size > 100_000  # one kernel, and the whole flight in it
