"""Fuzzed mission files: altered as text, altered as tables, and legal ones with every number scaled."""

from __future__ import annotations

import copy
import math
import random
import shutil
import tomllib
from functools import cache
from pathlib import Path
from typing import Any

import tomli_w
from fuzz_judge import attempt, check_flown

import sixdof

CONFIGS = Path(__file__).parents[2] / "configs"
STRANGERS = Path(__file__).parents[1] / "vehicles"
HOMES = {**dict.fromkeys(("sampler", "two-stage", "waypoints"), CONFIGS), **dict.fromkeys(("slender", "canard", "three-stage"), STRANGERS)}
NAMES = tuple(HOMES)


def path_of(name: str) -> Path:
    """Return the mission file of a demo, or of a vehicle that nothing was tuned on."""
    return HOMES[name] / f"{name}.toml"


def with_motors(folder: Path) -> Path:
    """Return a folder that the mission files' thrust curves were copied to."""
    for home in (CONFIGS, STRANGERS):
        shutil.copytree(home / "motors", folder / "motors", dirs_exist_ok=True)
    return folder


# ---------------------------------------------------------------- what to put in the place of something

NUMBERS = (
    0,
    1,
    -1,
    2,
    3,
    64,
    4096,
    10**6,
    10**30,
    -(10**30),
    0.0,
    -0.0,
    1e-3,
    1e-9,
    1e-30,
    5e-324,
    1e9,
    1e30,
    1e308,
    -1e308,
    math.inf,
    -math.inf,
    math.nan,
    math.pi,
    0.999999999,
    1.000000001,
)
WORDS = (
    "",
    " ",
    "0",
    "-1",
    "inf",
    "nan",
    "1e999 m",
    "0 m",
    "1 mm",
    "1 km",
    "1e300 m",
    "-3 deg",
    "360 deg",
    "90 deg",
    "5 %",
    "200 %",
    "3 furlong",
    "1,5 m",
    "5 m m",
    "1 m^99",
    "1 m^-2",
    "7 kg",
    "1 kHz",
    "0 s",
    "1 ms",
    "1 h",
    "300 K",
    "-300 degC",
    "1 N",
    "1e-320 s",
    "m",
    "deg",
    "5deg",
    "5 °",
    "5 µm",
    "ß ∞ 漢字",
    "\u202e1 m",
    "1\n2",
    "a\tb",
    "x" * 5000,
    "'",
    '"',
    "{}",
    "%s %d {0}",
    "../../etc/passwd",
    "/dev/null",
    ".",
    "motors",
    "None",
    "true",
    "tail",
    "main",
    "drogue",
    "playa-h",
    "whinchat",
    "drayhorse",
    "thistledown",
    "apogee",
    "separate",
    "light",
    "wgs84",
    "__class__",
    "1 m * 1e999",
    "1**9**9 m",
    "(1 m)",
    "9" * 400 + " m",
    "1 Δm",
    "1 degC/m",
    "1 count",
    "1 dB",
    "1 kg*m/s^2",
)
OTHERS = (True, False, [], {}, [[]], [{}], [1, 2], ["1 m", "2 m"], {"a": 1}, [[0, 1], [1]], {"kind": "mass"}, {"sd": 1}, [1e308, 1e308], [None])
OTHERS = OTHERS[:-1] + ([math.nan], [3, 2, 1], [0.0] * 300)


def odd_value(rng: random.Random) -> Any:
    """Return a value that most keys will not like."""
    pick = rng.random()
    if pick < 0.35:
        return rng.choice(NUMBERS)
    if pick < 0.5:
        return rng.choice((1, -1)) * 10 ** rng.uniform(-12, 12)
    return rng.choice(WORDS) if pick < 0.85 else copy.deepcopy(rng.choice(OTHERS))


# ---------------------------------------------------------------- as text


def _text(rng: random.Random) -> bytes:
    return path_of(rng.choice(NAMES)).read_bytes()


def _of_lines(change):
    def altered(rng: random.Random, raw: bytes) -> bytes:
        lines = raw.split(b"\n")
        change(rng, lines, rng.randrange(len(lines)))
        return b"\n".join(lines)

    return altered


@_of_lines
def _drop(rng, lines, at):
    del lines[at : at + rng.choice((1, 1, 1, 2, 5, 30))]


@_of_lines
def _repeat(rng, lines, at):
    lines[at:at] = lines[at : at + rng.choice((1, 1, 3, 12))]


@_of_lines
def _swap(rng, lines, at):
    other = rng.randrange(len(lines))
    lines[at], lines[other] = lines[other], lines[at]


@_of_lines
def _split(rng, lines, at):
    cut = rng.randrange(len(lines[at]) + 1)
    lines[at : at + 1] = [lines[at][:cut], lines[at][cut:]]


def _keyed(lines: list[bytes], at: int) -> int:
    """Return the first line from `at` on (round the end) that gives a value."""
    return next((i % len(lines) for i in range(at, at + len(lines)) if b" = " in lines[i % len(lines)]), at)


@_of_lines
def _new_value(rng, lines, at):
    at = _keyed(lines, at)
    key = lines[at].split(b" = ")[0]
    value = tomli_w.dumps({"k": odd_value(rng)}) if rng.random() < 0.8 else f"k = {rng.choice(WORDS)}"
    lines[at] = key + value.encode("utf-8", "surrogatepass")[1:].rstrip(b"\n")


@_of_lines
def _new_key(rng, lines, at):
    at = _keyed(lines, at)
    key, _, value = lines[at].partition(b" = ")
    word = rng.choice((b"", b'"a b"', b'"\\n"', b'"x\\u0000y"', b"a.b.c", b"unknown", key[1:], key * 40, key.upper(), b'"\\u202e"', b"0", b"'[0]'"))
    lines[at] = word + b" = " + value


def _bytes(rng: random.Random, raw: bytes) -> bytes:
    data = bytearray(raw)
    for _ in range(rng.choice((1, 2, 5, 20, 200))):
        at = rng.randrange(len(data))
        pick = rng.random()
        if pick < 0.6:
            data[at] = rng.choice((rng.randrange(256), data[at] ^ 1, 48 + rng.randrange(10), 45, 46, 91, 34))
        elif pick < 0.8:
            del data[at : at + rng.randrange(1, 40)]
        else:
            data[at:at] = data[at : at + rng.randrange(1, 40)]
        data = data or bytearray(b" ")
    return bytes(data)


def _whole(rng: random.Random, raw: bytes) -> bytes:
    """Something that is hardly a mission file at all."""
    return rng.choice(
        (
            b"",
            b" ",
            b"\0",
            b"\xff\xfe",
            b"\xef\xbb\xbf" + raw,
            raw.replace(b"\n", b"\r\n"),
            raw.replace(b"\n", b"\r"),
            raw[: rng.randrange(len(raw))],
            raw + raw,
            b"a = " + b"[" * 5000 + b"]" * 5000,
            b"a = " + b"{ b = " * 500 + b"1" + b" }" * 500,
            b"a." * 3000 + b"b = 1",
            b"x = [" + b"1, " * 200_000 + b"]",
            raw + b"\n[air.wind]\n" * 2,
            raw.decode().encode("utf-16"),
            raw + b"\nz = '''",
            b"[[stage]]\n" * 300 + raw,
            raw + b"\n[[rule]]\n" * 300,
            b"[rail]\nlength = " + b"9" * 5000,
            b"[rail]\nlength = 1e" + b"9" * 5000,
            b"[rail]\nlength = 0x" + b"f" * 5000,
            b"title = 1979-05-27T07:32:00Z\n" + raw,
            raw.replace(b"title = ", b"title = 07:32:00 #"),
            raw.replace(b"[[stage.part]]", b"[stage.part]"),
            raw.replace(b"[[stage]]", b"[stage]"),
            raw.replace(b'"', b"'"),
            raw.replace(b'"', b""),
        )
    )


ALTERATIONS = (_drop, _drop, _repeat, _swap, _split, _new_value, _new_value, _new_value, _new_key, _bytes)


def altered_text(rng: random.Random) -> bytes:
    """Return a demo mission file, altered."""
    raw = _text(rng)
    if rng.random() < 0.05:
        return _whole(rng, raw)
    for _ in range(rng.choice((1, 1, 1, 2, 4, 10))):
        raw = rng.choice(ALTERATIONS)(rng, raw)
    return raw


# ---------------------------------------------------------------- as tables


@cache
def _tables(name: str) -> dict:
    return tomllib.loads(path_of(name).read_text())


def places(node: Any, loc: tuple = ()) -> list[tuple]:
    """Return the path of every table, list and value below `node`."""
    steps = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    return [found for step, child in steps for found in ((*loc, step), *places(child, (*loc, step)))]


def at(node: Any, loc: tuple) -> Any:
    """Return what is at a path."""
    for step in loc:
        node = node[step]
    return node


def altered_tables(rng: random.Random) -> dict:
    """Return the tables of a demo mission with some values, keys or whole tables replaced, left out, doubled or moved."""
    data = copy.deepcopy(_tables(rng.choice(NAMES)))
    for _ in range(rng.choice((1, 1, 1, 2, 3, 8))):
        loc = rng.choice(places(data))
        owner, key = at(data, loc[:-1]), loc[-1]
        pick = rng.random()
        if pick < 0.5:
            owner[key] = odd_value(rng)
        elif pick < 0.65:
            del owner[key]
        elif pick < 0.75:
            owner[key] = copy.deepcopy(at(data, rng.choice(places(data))))
        elif pick < 0.85 and isinstance(owner, list):
            owner.insert(key, copy.deepcopy(owner[key]))
        elif isinstance(owner, dict):
            owner[rng.choice(("name", "kind", "unknown", "a b", "a\nb", "", "é", "sd", "mass", "length", "0", "x" * 3000))] = owner.pop(key)
        if not places(data):
            break
    return data


# ---------------------------------------------------------------- legal ones, scaled


@cache
def _plain(name: str) -> dict:
    """Return a demo mission as tables of SI numbers, its curves inside."""
    return tomllib.loads(sixdof.load_mission(path_of(name)).to_toml())


def scaled_tables(rng: random.Random, most: float = 1e3) -> dict:
    """Return the tables of a demo mission, in SI, with some numbers multiplied by log-uniform factors from 1/most to most."""
    data = copy.deepcopy(_plain(rng.choice(NAMES)))
    numbers = [loc for loc in places(data) if isinstance(at(data, loc), float) and loc[0] != "disperse"]
    for loc in rng.sample(numbers, rng.choice((1, 1, 2, 3, 6))):
        at(data, loc[:-1])[loc[-1]] *= most ** rng.uniform(-1.0, 1.0)
    if rng.random() < 0.2:
        data["site"]["earth"] = "wgs84"
    if rng.random() < 0.2:
        data["solver"]["tolerance"] = 10 ** rng.uniform(-9, -2)
    if rng.random() < 0.2:
        data["air"]["turbulence"] = {"wind_at_20_ft": 10 ** rng.uniform(-1, 1.5)}
    return data


# ---------------------------------------------------------------- the fuzzers


def text(rng: random.Random, folder: Path) -> str:
    """Load an altered mission file, beside the demo's motors; write and load again what loads."""
    path = with_motors(folder) / "mission.toml"
    path.write_bytes(altered_text(rng))
    return _loaded(lambda: sixdof.load_mission(path))


def tables(rng: random.Random, folder: Path) -> str:
    """Load altered tables, as a file or as they are."""
    data, home = altered_tables(rng), with_motors(folder)
    if rng.random() < 0.5:
        return _loaded(lambda: sixdof.parts.build_mission(folder=home, **{str(key): value for key, value in data.items()}))
    return _loaded(lambda: sixdof.parts.loads_mission(tomli_w.dumps(data), home))


def _loaded(load) -> str:
    how, mission = attempt(load)
    if how == "done":
        again = sixdof.parts.loads_mission(mission.to_toml())
        assert again == mission, "the mission written and loaded again is another one"
    return "loaded" if how == "done" else how


def scaled(rng: random.Random, folder: Path) -> str:
    """Fly a mission of the demo's with some numbers scaled."""
    data = scaled_tables(rng)
    how, mission = attempt(lambda: sixdof.parts.loads_mission(tomli_w.dumps(data)))
    return check_flown(mission) if how == "done" else how


def flown(rng: random.Random, folder: Path) -> str:
    """Fly an altered mission that still loads."""
    home = with_motors(folder)
    for _ in range(30):
        data = altered_tables(rng)
        how, mission = attempt(lambda: sixdof.parts.loads_mission(tomli_w.dumps(data), home))
        if how == "done":
            return check_flown(mission)
    return "refused"


FUZZERS = {"text": text, "tables": tables, "scaled": scaled, "flown": flown}
