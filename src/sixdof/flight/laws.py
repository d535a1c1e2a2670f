"""Custom guidance and control laws: plain Python, numba, or C, in the same loop and with the same bits.

    law(t, sensed, memory, gains, command)

`sensed` is what the flight computer knows (layout.SENSED), `memory` and `command` are written in place, `gains` are the law's own
numbers; all float64. It is called exactly once per tick. A guidance law writes layout.COMMANDED into `command`, a control law
layout.DEMAND: finite numbers, a quaternion of length 1, nothing beyond its arrays, or the flight ends there (Status.LAW_NONSENSE). It
returns nothing, or 0. `memory` is zero when a flight starts. `layout_table()` lists all of them.
"""

from __future__ import annotations

import ctypes
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from os import PathLike
from pathlib import Path

import numpy as np

from sixdof._jit import LAW_PROTOTYPE, NoStatus, is_jitted, law_pointer
from sixdof.core.computer.columns import Slot, Switch
from sixdof.core.layout import COMMANDED, COMMANDED_SIZE, DEMAND, DEMAND_SIZE, MEMORY_SIZE, SENSED, Commanded, Demand, Ending, Sensed
from sixdof.core.leg.work import FENCE, UNTOUCHED, LawSize, Work, make_work
from sixdof.mission.units import shown

GUIDANCE, CONTROL = Slot
_SLOTS = ("guidance", "control")
_SIGNATURE = "law(t, sensed, memory, gains, command)"
_NOTHING = "a law writes into command and returns nothing, or 0"
MOST_MEMORY = 1_000_000  # numbers; a law that asks for more means bytes, or something else
# what a law may write to or read from, and whose: fields of Work, in the order of Work.fence_at
_FENCED = {
    "sensed": (None, "sensed"),
    "commanded": (GUIDANCE, "command"),
    "command": (CONTROL, "command"),
    "memory": (CONTROL, "memory"),
    "guidance_memory": (GUIDANCE, "memory"),
    "gains": (CONTROL, "gains"),
    "guidance_gains": (GUIDANCE, "gains"),
}


class LawError(RuntimeError):
    """A law that cannot be used, that reported an error in flight, or that wrote what no flight can use."""


def _check_sizes(who: str, law) -> None:
    """Raise ValueError for what cannot be a law's `memory` or `gains`."""
    memory = law.memory
    if isinstance(memory, bool) or not isinstance(memory, (int, np.integer)) or not 0 <= memory <= MOST_MEMORY:
        raise ValueError(f"{who}: memory = {shown(memory)} must be a whole number from 0 to {MOST_MEMORY}, of numbers kept from tick to tick")
    try:
        gains = np.asarray(law.gains, dtype=float)
    except (TypeError, ValueError):
        gains = None
    if gains is None or gains.ndim != 1 or not np.isfinite(gains).all():
        raise ValueError(f"{who}: gains = {shown(law.gains)} must be a list of finite numbers, such as [0.3, 0.05]")


@dataclass(frozen=True)
class Law:
    """A law with the memory it wants and its gains.

    function : a plain Python function, or one compiled by `numba.njit`, of `law(t, sensed, memory, gains, command)`.
    memory : numbers kept from tick to tick. gains : handed to the law at every call.
    """

    function: Callable
    memory: int = MEMORY_SIZE
    gains: Sequence[float] = ()

    def __post_init__(self):
        if not callable(self.function):
            raise TypeError(f"Law: function must be a function {_SIGNATURE}, not {shown(self.function)}")
        _check_sizes("Law", self)

    @property
    def name(self) -> str:
        """Return the function's name, or the class's of an object that is called."""
        return getattr(self.function, "__name__", type(self.function).__name__)

    @property
    def plain(self) -> bool:
        """Return whether this is a plain Python law: it holds the interpreter's lock, so an ensemble flies it in processes."""
        return not is_jitted(self.function)

    def bind(self, slot: int) -> Bound:
        """Return the law as a C function for one slot. Raises LawError if numba cannot compile it, or it returns what is not a status."""
        sizes = (len(SENSED), self.memory, len(self.gains), COMMANDED_SIZE if slot == GUIDANCE else DEMAND_SIZE)
        if self.plain:
            return _bind_plain(self, slot, sizes)
        try:
            kept, address = law_pointer(self.function, sizes)
        except NoStatus as error:
            raise LawError(f"the {_SLOTS[slot]} law {self.name}: {error}, but {_NOTHING}") from None
        except Exception as error:  # numba raises many kinds; the user needs its text below one sentence
            raise LawError(
                f"numba cannot compile the {_SLOTS[slot]} law {self.name}: it must be {_SIGNATURE} on float64 arrays; try it without @njit first to see it run"
            ) from error
        return Bound(self, slot, kept, address)


@dataclass(frozen=True)
class CLaw:
    """A law in a shared library: `int name(double t, const double *sensed, double *memory, const double *gains, double *command)`.

    It returns 0, or anything else to report an error. path : of the library. memory, gains : as for `Law`.
    """

    path: str | Path
    name: str
    memory: int = MEMORY_SIZE
    gains: Sequence[float] = ()
    plain = False

    def __post_init__(self):
        if not isinstance(self.path, (str, PathLike)):
            raise TypeError(f"CLaw: path must be the path of a shared library, not {shown(self.path)}")
        if not isinstance(self.name, str):
            raise TypeError(f"CLaw: name must be the name of a function in it, not {shown(self.name)}")
        _check_sizes("CLaw", self)

    def bind(self, slot: int) -> Bound:
        """Return the C function. Raises LawError if the library or the name is not there."""
        try:
            library = ctypes.CDLL(str(Path(self.path).resolve()))
        except OSError as error:
            raise LawError(f"{self.path} cannot be loaded as a shared library: {error}") from None
        try:
            function = getattr(library, self.name)
        except AttributeError:
            raise LawError(f'{self.path} has no function "{self.name}"; declare it extern "C" if it is C++') from None
        return Bound(self, slot, library, ctypes.cast(function, ctypes.c_void_p).value)


@dataclass
class Bound:
    """A law ready to be called by the kernels; what it is made of must live as long as it is used."""

    law: Law | CLaw
    slot: int
    kept: object
    address: int
    raised: list = field(default_factory=list)  # what a plain law raised last, to be shown as it is

    @property
    def called(self) -> str:
        """Return what the law is, in sentences."""
        return f"the {_SLOTS[self.slot]} law {self.law.name}"

    def report(self, t: float, status: int, sensed, memory, gains, command) -> None:
        """Raise what the law reported: the user's own exception where there is one."""
        if self.raised:
            error = self.raised.pop()
            error.add_note(f"in the law {self.law.name} at t = {t:g} s")
            raise error
        if isinstance(self.law, Law):
            # the compiled law cannot tell what it raised: the plain function, given the same numbers, can
            _nothing_returned(self, self.law.function.py_func(t, sensed, memory, gains, command))
        raise LawError(f"the law {self.law.name} returned the status {status} at t = {t:g} s; 0 is no error")

    def report_nonsense(self, t: float, index: int, command, canopies: int) -> None:
        """Raise LawError for what the law wrote: `index` of the number, or one past the last for the quaternion of a commanded attitude."""
        names = DEMAND if self.slot == CONTROL else COMMANDED
        if index == len(names):
            length = float(np.linalg.norm(command[Commanded.Q_W : Commanded.Q_Z + 1]))
            raise LawError(
                f"{self.called} wrote a quaternion of length {length:g} (command[0] to command[3]) at t = {t:g} s; "
                "an attitude is one of length 1: divide by the length"
            )
        value = float(command[index])
        wrote = f"{self.called} wrote {value:g} for {names[index]} (command[{index}]) at t = {t:g} s"
        if self.slot == CONTROL and index == Demand.DEPLOY and canopies < value < np.inf:
            raise LawError(f"{wrote}; the canopies of this vehicle are counted from 1 to {canopies}, and 0 releases none")
        raise LawError(f"{wrote}; it must be a finite number")


def _nothing_returned(bound: Bound, result) -> None:
    """Raise LawError for what a law returned, if that is something."""
    if result is not None and not (isinstance(result, (int, np.integer, np.bool_)) and result == 0):
        raise LawError(f"{bound.called} returned {shown(result)}; {_NOTHING}")


def _bind_plain(law: Law, slot: int, sizes) -> Bound:
    bound = Bound(law, slot, None, 0)
    views: dict = {}

    def called(t, *pointers):
        try:
            keys = tuple(ctypes.addressof(p.contents) if p else 0 for p in pointers)
            if keys not in views:
                views[keys] = [_view(p, size) for p, size in zip(pointers, sizes)]
            _nothing_returned(bound, law.function(t, *views[keys]))
        except BaseException as error:  # Ctrl-C too: it must not vanish inside a C call
            bound.raised[:] = [error]
            return 1
        return 0

    bound.kept = LAW_PROTOTYPE(called)
    bound.address = ctypes.cast(bound.kept, ctypes.c_void_p).value
    return bound


def _view(pointer, size: int) -> np.ndarray:
    return np.ctypeslib.as_array(pointer, (size,)) if size else np.empty(0)


def as_law(law, slot: int) -> Law | CLaw | None:
    """Return what the user gave as a law. Raises TypeError for anything else."""
    if law is None or isinstance(law, (Law, CLaw)):
        return law
    if callable(law):
        return Law(law)
    raise TypeError(f"{_SLOTS[slot]} must be a function {_SIGNATURE}, a sixdof.laws.Law or a sixdof.laws.CLaw, not {type(law).__name__}")


@dataclass
class Laws:
    """The laws of a flight, bound; None where the built-in one flies."""

    guidance: Bound | None
    control: Bound | None

    def make_work(self, model) -> Work:
        """Return scratch arrays for flights of `model` under these laws."""
        sizes = [None if b is None else LawSize(b.law.memory, np.array(b.law.gains, dtype=float)) for b in (self.guidance, self.control)]
        work = make_work(model, sizes[0] or LawSize(), sizes[1])
        for slot, bound in enumerate((self.guidance, self.control)):
            work.laws[slot] = 0 if bound is None else bound.address
        if not work.laws.any():
            return work
        return _fenced(work)

    def report(self, work: Work, status: int) -> None:
        """Raise what went wrong in the flight just flown with `work`, which ended with `status`, LAW_FAILED or LAW_NONSENSE."""
        t, what, which = float(work.sensed[Sensed.TIME]), int(work.switches[Switch.STATUS]), int(work.switches[Switch.FAILED])
        if which < 0:
            self._report_overrun(t, list(_FENCED)[-1 - which], what, work)
        guides = which == GUIDANCE + 1
        bound, command = (self.guidance, work.commanded) if guides else (self.control, work.command)
        if status == Ending.LAW_NONSENSE:
            bound.report_nonsense(t, what, command, work.deployed.shape[0])
        own = (work.guidance_memory, work.guidance_gains) if guides else (work.memory, work.gains)
        bound.report(t, what, work.sensed, *own, command)

    def _report_overrun(self, t: float, name: str, index: int, work: Work) -> None:
        slot, array = _FENCED[name]
        bound = self.control if slot == CONTROL or (slot is None and self.guidance is None) else self.guidance
        size = getattr(work, name).size
        raise LawError(f"{bound.called} wrote {array}[{index}], outside its {size} numbers, before t = {t:g} s; ask for more memory or mend the index")


def _fenced(work: Work) -> Work:
    """Return scratch arrays of which those that a law may write lie between numbers nobody may write."""
    sizes = [getattr(work, name).size for name in _FENCED]
    starts = FENCE + np.cumsum([0, *(size + 2 * FENCE for size in sizes)])
    whole = np.full(starts[-1], UNTOUCHED)
    inside = {name: whole[start : start + size] for name, start, size in zip(_FENCED, starts, sizes)}
    for name, array in inside.items():
        array[:] = getattr(work, name)
    return work._replace(**inside, fenced=whole, fence_at=np.array(list(zip(starts, sizes)), dtype=np.int64))


def bind(guidance, control) -> Laws:
    """Return the user's laws ready for flights."""
    return Laws(*(None if law is None else law.bind(slot) for slot, law in enumerate((as_law(guidance, 0), as_law(control, 1)))))


# ---------------------------------------------------------------- the layouts, in user-facing words


def layout_table() -> str:
    """Return the layouts of the arrays a law is given, as text: index, name, unit, meaning.

    Examples
    --------
    >>> print(sixdof.laws.layout_table().splitlines()[0])
    law(t, sensed, memory, gains, command)
    """
    tables = (("sensed: what a law may read", Sensed), ("command of a guidance law", Commanded), ("command of a control law", Demand))
    lines = [_SIGNATURE, "every array is float64; memory and command are written in place", ""]
    for title, table in tables:
        lines += [title, *(f"  {int(column):>2}  {column.label:<20}{column.unit:<7}{column.meaning}" for column in table), ""]
    lines.append(f"memory: {MEMORY_SIZE} numbers unless the law asks for more, zero when a flight starts; gains: the law's own")
    return "\n".join(lines)
