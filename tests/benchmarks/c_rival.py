"""The C of `c/flight.c`, made ready for a mission: a header written from the kernel's own tables, the library, and one flight's input.

Structures are the kernel's NamedTuples field by field, columns the members of its `Column` classes (`PanelColumn.SIN` is PanelColumn_SIN
in C): what the kernel's tables hold is said once. Both -O2 and -O3 are compiled; `kernel_speed.py` takes whichever is faster.
"""

from __future__ import annotations

import ctypes
import inspect
import subprocess
from enum import IntEnum
from pathlib import Path

import numpy as np

from sixdof.core import actuator, columns, layout, types
from sixdof.core.columns import CanopyColumn, Column, width
from sixdof.core.computer import columns as computer_columns
from sixdof.core.computer import rules, sensors
from sixdof.core.constants import G0, INSTANT
from sixdof.core.flight.step import FALL_STRIDE
from sixdof.core.leg.work import TRACE_ROWS, make_work
from sixdof.core.whole.tables import StagingColumn
from sixdof.draws.flight_draw import OF_JOINT
from sixdof.draws.packed import nominal_draw

HERE = Path(__file__).resolve().parent
LEVELS = ("-O2", "-O3")
FLAGS = ["-std=gnu11", "-march=native", "-ffp-contract=fast", "-fno-math-errno", "-shared", "-fPIC"]
LITTLE = 1.0  # of a quantity's own unit: what is smaller is compared as it stands (the error of ideal sensors is rounding itself)
# room in the C's arrays
MOST = {"FINS": 8, "PANELS": 32, "RULES": 32, "STAGES": 3, "CANOPIES": 8, "WAYPOINTS": 16, "EVENTS": 32, "GAINS": 512}


class Table(ctypes.Structure):
    """An array: where it begins, and its shape."""

    _fields_ = [("at", ctypes.c_void_p), ("n", ctypes.c_long * 4)]


class Mirror:
    """C structures of NamedTuples, and what fills them."""

    def __init__(self):
        self.kinds: dict[type, type[ctypes.Structure]] = {}
        self.declared: list[str] = []
        self.kept: list[np.ndarray] = []  # arrays that C points to

    def kind(self, value: tuple) -> type[ctypes.Structure]:
        """Return the C structure of a NamedTuple's class, declared when it is first met."""
        cls = type(value)
        if cls not in self.kinds:
            fields, lines = [], []
            for name, each in zip(cls._fields, value):
                c_type, declared = self._field(cls.__annotations__[name], name, each)
                fields.append((name, c_type))
                lines.append(f"    {declared};")
            self.declared.append("typedef struct {\n" + "\n".join(lines) + f"\n}} {cls.__name__};")
            self.kinds[cls] = type(cls.__name__, (ctypes.Structure,), {"_fields_": fields})
        return self.kinds[cls]

    def _field(self, annotation: str, name: str, value):
        if isinstance(value, np.ndarray):
            return Table, f"Table {name}"
        if hasattr(value, "_fields"):
            return self.kind(value), f"{type(value).__name__} {name}"
        if isinstance(value, tuple):
            return ctypes.c_double * len(value), f"double {name}[{len(value)}]"
        whole = getattr(annotation, "__forward_arg__", annotation) in ("int", int)
        return (ctypes.c_long, f"long {name}") if whole else (ctypes.c_double, f"double {name}")

    def table(self, array) -> Table:
        array = np.ascontiguousarray(array, dtype=float)
        self.kept.append(array)
        return Table(array.ctypes.data, (ctypes.c_long * 4)(*(array.shape + (1,) * 4)[:4]))

    def filled(self, value):
        """Return a value as C takes it."""
        if isinstance(value, np.ndarray):
            return self.table(value)
        if hasattr(value, "_fields"):
            kind = self.kind(value)
            return kind(**{name: self.filled(each) for name, each in zip(value._fields, value)})
        return tuple(map(float, value)) if isinstance(value, tuple) else value


def header(mirror: Mirror) -> str:
    """Return `model.h`: sizes, constants, columns, structures."""
    numbers = {f"MOST_{name}": size for name, size in MOST.items()}
    numbers |= {
        "ISSUED": actuator.ISSUED,
        "LOOKS": actuator.LOOKS,
        "TERMS": actuator.TERMS,
        "HISTORY": sensors.HISTORY,
        "TRACE_ROWS": TRACE_ROWS,
        "MOST_BURNS": computer_columns.MOST_BURNS,
    }
    numbers |= {"FALL_STRIDE": int(FALL_STRIDE), "DEAD": int(actuator.DEAD), "INSTANT": INSTANT, "SOON": rules.SOON, "G0": G0}
    numbers |= {name: getattr(layout, name) for name in ("NOT_IGNITED", "BY_COMMAND", "BY_DRAG", "BY_UPPER_MOTOR")}
    numbers |= {name: getattr(types, name) for name in ("LOST", "FAILED")}
    lines = [f"#define {name} {value!r}" for name, value in numbers.items()]
    for module in (columns, computer_columns, layout):
        for name, cls in inspect.getmembers(module, inspect.isclass):
            if cls.__module__ == module.__name__ and issubclass(cls, IntEnum) and cls is not Column:
                members = [f"{name}_{member.name} = {int(member)}" for member in cls]
                lines.append(f"enum {{ {', '.join(members + ([f'{name}_WIDTH = {width(cls)}'] if issubclass(cls, Column) else []))} }};")
    return "\n".join([*lines, "typedef struct {\n    const double *at;\n    long n[4];\n} Table;", *mirror.declared]) + "\n"


def difference(ours: np.ndarray, theirs: np.ndarray) -> float:
    """Return the largest relative difference of two arrays of outcomes, inf where one is NaN and the other is not."""
    if not np.array_equal(np.isnan(ours), np.isnan(theirs)):
        return np.inf
    known = np.isfinite(ours) & np.isfinite(theirs)
    return float(np.max(np.abs(ours - theirs)[known] / np.maximum(np.abs(ours[known]), LITTLE), initial=0.0))


class CFlight:
    """Flights of a mission in C, the nominal one unless another draw is given; each level of optimisation is a library of its own."""

    def __init__(self, plan, folder: str, levels=LEVELS):
        self.plan, self.mirror = plan, Mirror()
        self.give(nominal_draw(plan.mission))
        Path(folder, "model.h").write_text(header(self.mirror))
        self.libraries = {level: self._compiled(level, folder) for level in levels}
        first = self.libraries[levels[0]]
        self.work = first.make_works(ctypes.byref(self.pointer))
        self.out = np.zeros(1, dtype=_flown(MOST["STAGES"]))
        assert first.size_of_flown() == self.out.itemsize

    def give(self, draw) -> None:
        """Take a flight's draw."""
        plan = self.plan
        segments = [(i, j, *plan.segment(i, j, draw)) for i in range(plan.count) for j in range(i, plan.count)]
        self._check([segment[2] for segment in segments])
        for _, _, model, own in segments:
            self.mirror.kind(model)
            self.mirror.kind(own)
        self.pointer = self._plan(plan, draw, segments)

    def differences(self, level: str, flown) -> dict[str, float]:
        """Fly; return by how much outcomes, events and joints differ from those of a `Flown` of the same draw."""
        self.fly(level)
        found, stages, events = self.out[0], self.plan.count, flown.events.shape[1]
        return {
            "outcomes of the front body": difference(flown.summary, found["summary"][0]),
            "events of all bodies": difference(flown.events[:stages], found["events"][:stages, :events]),
            "separations": difference(flown.joint[:, [0, 1, 2, 4]], found["joint"][1:stages, [0, 1, 2, 3]]),
        }

    def _check(self, models) -> None:
        for model in models:
            turbulent = model.world.turbulence.on > 0 or len(model.world.gusts)
            if turbulent or model.world.globe.round or model.tolerance > 0.0:
                raise SystemExit("the C flies without turbulence, over a flat Earth, with steps of fixed length: this mission wants more")
            work, leg = make_work(model), model.leg
            sizes = {"FINS": len(work.targets), "PANELS": len(work.seen), "RULES": len(work.rules), "STAGES": leg.stages, "CANOPIES": len(work.canopy)}
            sizes |= {"WAYPOINTS": len(work.passed), "GAINS": len(work.gains)}
            if any(size > MOST[name] for name, size in sizes.items()):
                raise SystemExit(f"the C has no room for {sizes}")

    def _plan(self, plan, draw, segments):
        room, mirror = MOST["STAGES"], self.mirror
        harness = ctypes.c_double * 2 * MOST["CANOPIES"]
        fields = [("model", mirror.kinds[type(segments[0][2])]), ("draw", mirror.kinds[type(segments[0][3])]), ("harness", harness)]
        kind = type("Segment", (ctypes.Structure,), {"_fields_": fields})
        work = make_work(plan.model(0, plan.count - 1))
        work.stage[:] = -1.0
        plan.prepare(work, draw)
        impulses = [stage.joint.impulse * draw.joint[k, OF_JOINT.index("impulse")] for k, stage in enumerate(plan.mission.stage)]
        turns = draw.joint[:, [OF_JOINT.index("tilt_y"), OF_JOINT.index("tilt_z")]]
        radii = plan.staging.stage[:, StagingColumn.RADIUS]
        reach = [radii[k - 1] + radii[k] if k else 0.0 for k in range(plan.count)]
        tables = [work.canopy, work.stage, work.rule_delay, plan.canopy_stage, impulses, turns, reach]
        names = ("canopy", "stage", "rule_delay", "canopy_stage", "charge", "turn", "reach")
        fields = [("stages", ctypes.c_long), *((name, Table) for name in names), ("segment", ctypes.POINTER(kind) * room * room)]
        found = type("Plan", (ctypes.Structure,), {"_fields_": fields})(plan.count, *map(mirror.table, tables))
        for i, j, model, own in segments:
            plan.load_harnesses(work, i, j, draw)
            loads = harness(*((ctypes.c_double * 2)(*row) for row in work.canopy[:, [CanopyColumn.HARNESS_SHARE, CanopyColumn.SNATCH]]))
            found.segment[i][j] = ctypes.pointer(kind(mirror.filled(model), mirror.filled(own), loads))
        return found

    def _compiled(self, level: str, folder: str):
        target = Path(folder, f"flight{level}.so")
        command = ["gcc", level, *FLAGS, f"-I{folder}", f"-I{HERE / 'c'}", str(HERE / "c" / "flight.c"), "-o", str(target), "-lm"]
        subprocess.run(command, check=True)
        library = ctypes.CDLL(str(target))
        library.make_works.restype = library.size_of_flown.restype = ctypes.c_size_t
        library.fly_many.argtypes = [ctypes.c_void_p, ctypes.c_size_t, ctypes.c_void_p, ctypes.c_long]
        return library

    def fly(self, level: str, count: int = 1) -> None:
        """Fly so many times; `out` is filled."""
        status = self.libraries[level].fly_many(ctypes.addressof(self.pointer), self.work, self.out.ctypes.data, count)
        if status != 0:
            raise SystemExit(f"the C flight ended with {layout.Ending(status).name}")


def _flown(stages: int) -> list:
    """Return the dtype of `Flown` in flight.c."""
    return [
        ("events", float, (stages, MOST["EVENTS"], len(layout.EVENT_COLUMNS))),
        ("summary", float, (stages, len(layout.OUTCOMES))),
        ("joint", float, (stages, 5)),
        ("status", np.int64, (stages,)),
    ]
