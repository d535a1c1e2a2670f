"""Fuzzed CSV files: every reader on altered and on made-up columns; what is read is finite, passes its own check, and flies."""

from __future__ import annotations

import math
import random
from functools import cache
from pathlib import Path

from fuzz_judge import Unclear, attempt, check_flown
from fuzz_missions import CONFIGS

import sixdof
from sixdof import MissionError
from sixdof.mission.files import curves
from sixdof.mission.files.table_csv import read_columns
from sixdof.rehearsal.script import read_script

THRUST = "# invented\ntime (ms), thrust (lbf)\n0, 0\n60, 80\n300, 95\n900, 70\n1500, 20\n1700, 0\n"
DRAG = "mach; coefficient\n0; 0.45\n0.6; 0.42\n0.9; 0.55\n1.1; 0.72\n2; 0.5\n"
AXIAL = "mach\tincidence (deg)\tcoefficient\n0\t0\t0.4\n0\t20\t0.38\n0\t90\t0.0\n1\t0\t0.6\n1\t20\t0.55\n1\t90\t0.0\n"
BODY = "Mach, CN_alpha (1/deg), x_cp (mm)\n0, 0.035, 140\n0.8, 0.04, 150\n1.5, 0.05, 170\n"
PANEL = "m slope centre\n0 2.5 0.02\n0.8 3.1 0.021\n1.5 2.2 0.035\n"
WIND = "height (ft), speed (knot), blows_from (deg)\n0, 3, 250\n500, 8, 260\n3000, 15, 290\n10000, 40, 300\n"
SCRIPT = (
    "time (ms), baro_height (ft), specific_force_x, velocity_up, booster\n0, 0, 9.8, 0, 0\n500, 30, 90, 40, 0\n2500, 500, -5, 90, 0\n12000, 1500, 0, -1, 0\n"
)
READERS = {
    "thrust": (THRUST, curves.THRUST),
    "drag": (DRAG, curves.DRAG),
    "axial": (AXIAL, curves.AXIAL),
    "body": (BODY, curves.BODY),
    "panel": (PANEL, curves.PANEL),
    "wind": (WIND, curves.WIND),
}
CELLS = (
    "",
    " ",
    "0",
    "-0",
    "-1",
    "1",
    "1e-300",
    "5e-324",
    "1e308",
    "-1e308",
    "1e999",
    "inf",
    "-inf",
    "nan",
    "NaN",
    "1,5",
    "1.5.2",
    "0x1F",
    "1_000",
    "１２",
    "٣",
    "x",
    '"1"',
    '"',
    "1e",
    "+",
    "--1",
    "1 m",
    "#",
    "é",
    "\u202e",
    "9" * 400,
    "1" + "0" * 400,
    "=1+1",
    "1d3",
    "TRUE",
    "\ufeff1",
    "a" * 3000,
    "%s",
)
HEADS = (
    "",
    "()",
    "(m)",
    "t",
    "time",
    "time (furlong)",
    "time (",
    "thrust [",
    "mach (1)",
    "mach (%)",
    "a b c",
    "time (s) (ms)",
    "force",
    "F [N]",
    "(((",
    "]",
    "coefficient (N)",
    "speed (m/s)",
    "speed (m s^-1)",
    "from (°)",
    "height (km)",
    "height (1e3 m)",
    "x" * 2000,
    "slope (1/°)",
    "t (1/0)",
    "t (s**9)",
    "Δ (µm)",
)
BREAKS = (",", ";", "\t", " ", ",,", "|", "\r", "\n", "\x0b", "\x85", "\u2028", "\0", ", ;")


def altered(rng: random.Random, raw: str) -> bytes:
    """Return a table of numbers as text, altered in its cells, its lines, its separators or its bytes."""
    if rng.random() < 0.04:
        return rng.choice(
            (
                b"",
                b"\n\n",
                b"#\n",
                b"\0",
                b"\xff\xfe\0",
                b"\x89PNG\r\n",
                b"CDF\x01",
                b"\x89HDF",
                raw.encode("utf-16"),
                raw.encode() * 2000,
                b",\n" * 50,
                b";;;;\n1;2;3\n",
                b"1\n2\n3\n",
                b"," * 100_000,
                raw.splitlines()[0].encode(),
                b"\xef\xbb\xbf" + raw.encode(),
            )
        )
    lines = raw.split("\n")
    for _ in range(rng.choice((1, 1, 2, 4))):
        at = rng.randrange(len(lines))
        pick = rng.random()
        mark = next((mark for mark in ";\t," if mark in lines[at]), " ")
        cells = lines[at].split(mark)
        if pick < 0.45:
            cells[rng.randrange(len(cells))] = rng.choice(HEADS if at < 2 and rng.random() < 0.5 else CELLS)
            lines[at] = mark.join(cells)
        elif pick < 0.55:
            number = rng.choice((1, -1)) * 10 ** rng.uniform(-20, 20)
            cells[rng.randrange(len(cells))] = repr(number)
            lines[at] = mark.join(cells)
        elif pick < 0.65:
            del lines[at]
        elif pick < 0.72:
            lines.insert(at, rng.choice(lines) if lines else "")
        elif pick < 0.78:
            rng.shuffle(cells)
            lines[at] = mark.join(cells)
        elif pick < 0.84:
            lines[at] = lines[at].replace(mark, rng.choice(BREAKS))
        elif pick < 0.9:
            lines[at] += mark + rng.choice(CELLS)
        else:
            raw_line = bytearray(lines[at].encode())
            if raw_line:
                raw_line[rng.randrange(len(raw_line))] = rng.randrange(128)
            lines[at] = raw_line.decode(errors="replace")
        lines = lines or [""]
    return "\n".join(lines).encode("utf-8", "surrogatepass")


def columns(rng: random.Random, folder: Path) -> str:
    """Read an altered file of one kind of curve; what is read is finite and has no flaw."""
    text, curve = READERS[rng.choice(tuple(READERS))]
    path = folder / "curve.csv"
    path.write_bytes(altered(rng, text))
    how, found = attempt(lambda: read_columns(path, curve.columns, curve.flaws))
    if how == "refused":
        return how
    if not all(math.isfinite(number) for column in found for number in column) or list(curve.flaws(found)):
        raise Unclear(f"read although it is no curve: {str(found)[:200]}")
    return "read"


@cache
def _demo() -> sixdof.Mission:
    return sixdof.load_mission(CONFIGS / "sampler.toml")


def _put(kind: str, path: Path) -> dict:
    """Return the change that puts a curve into the demo."""
    if kind == "thrust":
        mount = next(part for part in _demo().stage[0].part if part.kind == "mount")
        return {f"motor.{mount.motor}.thrust_curve": str(path)}
    if kind == "wind":
        return {"air.wind": {"profile": "table", "table": str(path)}, "disperse": {}}
    if kind == "panel":
        fins = next(i for i, part in enumerate(_demo().stage[0].part) if part.kind == "fins")
        return {f"stage.0.part.{fins}.panel_curve": str(path)}
    return {"stage.0.measured": {f"{kind}_curve": str(path)}}


def flown(rng: random.Random, folder: Path) -> str:
    """Fly the demo with an altered curve in it."""
    kind = rng.choice(tuple(READERS))
    path = folder / "curve.csv"
    path.write_bytes(altered(rng, READERS[kind][0]))
    how, mission = attempt(lambda: _demo().change(_put(kind, path)))
    return check_flown(mission) if how == "done" else how


def script(rng: random.Random, folder: Path) -> str:
    """Read, and where that goes rehearse, an altered script of sensed values."""
    path = folder / "script.csv"
    path.write_bytes(altered(rng, SCRIPT))
    how, found = attempt(lambda: read_script(path), (MissionError, ValueError))
    if how == "refused":
        return how
    how, found = attempt(lambda: sixdof.rehearse(_demo(), path), (MissionError, ValueError))
    return "rehearsed" if how == "done" else how


FUZZERS = {"columns": columns, "flown": flown, "script": script}
