"""The mission: every table of the file together, checked, and what one does with it: change it, add to it, write it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

from pydantic import ValidationError, ValidationInfo, field_validator

from sixdof.mission import edit, single
from sixdof.mission.checks import across, flight, within  # noqa: F401  they register the checks of the tables
from sixdof.mission.disperse import to_si, with_flat_names
from sixdof.mission.errors import MissionError, warn
from sixdof.mission.place import key_of
from sixdof.mission.reading import with_numbers
from sixdof.mission.tables.mission import MissionTables
from sixdof.mission.tables.spread import Spread
from sixdof.mission.translate import problems_from
from sixdof.mission.units import shown
from sixdof.surface.lazy import page_of

# what cannot be judged without the numbers of a file: the winds that turbulence follows from, and how many members there are
_JUDGED_BY = {"air.sounding": "air.turbulence", "air.wind.member": "disperse.wind.member"}


class _Told(type(MissionTables)):
    """Makes `Mission(...)` tell its faults as `load_mission` does. Validation itself does not come through here."""

    def __call__(cls, *args: Any, **tables: Any) -> Any:
        if args:
            raise TypeError(f"Mission takes its tables by name, such as rail=Rail(length=3.0), not {shown(args[0])}; a file is read by load_mission(path)")
        try:
            return super().__call__(**tables)
        except ValidationError as error:
            faults = [problem.at(tables) for problem in problems_from(error, tables)]
        raise MissionError(faults)


class Mission(MissionTables, metaclass=_Told):
    """The whole mission. Load one with `sixdof.load_mission(path)` or build it from the classes of `sixdof.parts`.

    Raises
    ------
    MissionError
        Holding a sentence for each fault. (The classes of single tables raise pydantic.ValidationError.)
    """

    @field_validator("disperse", mode="before")
    @classmethod
    def _join_names(cls, value: Any) -> Any:
        return with_flat_names(value)

    @field_validator("disperse", mode="after")
    @classmethod
    def _spreads_to_si(cls, value: dict[str, Spread], info: ValidationInfo) -> dict[str, Spread]:
        return to_si(value, info.data)

    def __repr__(self) -> str:
        stages = ", ".join(stage.name for stage in self.stage)
        events = f"{len(self.rule)} rules, {len(self.recovery)} recoveries"
        return f"<Mission {self.title!r}: {stages}; motors {', '.join(self.motor)}; {events}; sixdof.report(mission) tells more>"

    __str__ = __repr__

    def _repr_html_(self) -> str:
        return page_of("mission", self)

    def change(self, changes: dict[str, Any], *, shift: bool | None = None) -> Mission:
        """Return a new, checked mission with some values changed.

        changes : dotted path -> value, such as `{"rail.length": "3 m", "stage.0.part.tail.semispan": "70 mm"}`. Stages and
        parts go by number or name (a part without a name by its kind), rules by name, recoveries and harnesses by canopy,
        failures by what they are ("no_ignition: booster"). Of a mission of one stage "part.tail.semispan" is enough. A table as value
        replaces the one there; None omits a key or table again, as if it had not been written: `{"air.wind": None}`.

        shift : what becomes of the stations behind a nose, tube or transition whose length changes. True: what is in the fore half
        of that body keeps its distance to the body's fore end, what is in its aft half or behind it keeps its distance to the aft
        end (fins, guides, mounts, masses, canopies, and harnesses by separation_station). False: all stations stay. None: they stay, with a
        warning that names what was left.

        Raises
        ------
        MissionError
            If a path leads nowhere or the changed mission has faults.
        """
        return checked_mission(edit.changed(self, changes, shift), Path("."), "")

    def add(self, where: str, table: Any, *, after: str | int | None = None, before: str | int | None = None, shift: bool | None = None) -> Mission:
        """Return a new, checked mission with one more part, recovery, rule, stage, harness, failure, waypoint ...

        `mission.add("part", {"kind": "tube", "length": "20 cm", ...}, after="sampler bay", shift=True)`

        where : the list it goes into, a path as for `change`: "part" (of the only stage), "stage.booster.part", "recovery", "rule",
        "stage", "guidance.waypoint". table : as in a mission file, or a class of `sixdof.parts`. after, before : number or
        name of the entry it stands beside; at the end if both are omitted. A nose, tube or transition stands where its place in
        the list says; all other parts stand where their station says.

        shift : True moves what stands behind a new piece of body aft by its length, False leaves it, None leaves it with a warning.

        Raises
        ------
        MissionError
            If the path or the neighbour does not exist, or the new mission has faults.
        """
        return checked_mission(edit.added(self, where, table, after, before, shift), Path("."), "")

    def replace(self, path: str, table: Any, *, shift: bool | None = None) -> Mission:
        """Return a new, checked mission with another part, stage, rule, recovery ... in the place of one.

        `mission.replace("part.airframe", {"kind": "tube", "length": "80 cm", ...}, shift=True)`

        path : of the entry that goes, as for `change`. table : as in a mission file, or a class of `sixdof.parts`. It keeps the
        name (of a recovery or harness the canopy) of what it replaces, unless it has its own: what refers to that name still finds it.

        shift : as for `change`, where a piece of body is replaced by one of another length.

        Raises
        ------
        MissionError
            If the path does not lead to an entry of a list, or the new mission has faults.
        """
        return checked_mission(edit.replaced(self, path, table, shift), Path("."), "")

    def only(self, stage: str) -> Mission:
        """Return the mission of one stage of a stack alone, ignited at the start; a warning lists what belonged to other stages and was omitted.

        `mission.only("whinchat")`. What goes: the other stages, the joint, rules, recoveries, harnesses and failures of theirs, curves that were
        measured on the stack, and what `[disperse]` no longer finds. Stages on which others rest lack what these had: add the missing parts
        (a second rail guide, say) before.

        Raises
        ------
        MissionError
            If there is no such stage, or it cannot fly alone: every reason.
        """
        data, left_out = single.alone(self, stage)
        while True:
            try:
                mission = checked_mission(data, Path("."), "")
            except MissionError as error:
                if not single.drop(data, error.faults, left_out):
                    raise
                continue
            if left_out:
                warn(f"only: {shown(stage)} flies alone, ignited at the start; omitted: {', '.join(left_out)}")
            return mission

    def remove(self, *paths: str, shift: bool | None = None) -> Mission:
        """Return a new, checked mission without the parts, recoveries, rules, stages or tables at some paths.

        `mission.remove("part.main", "recovery.main")`: what belongs together goes in one call, because the mission is checked after it.

        shift : True moves what stood behind a removed piece of body fore by its length, False leaves it, None leaves it with a
        warning. What sat in that piece must go too, or be moved before.

        Raises
        ------
        MissionError
            If a path leads nowhere, a piece of body still holds parts, or the new mission has faults.
        """
        return checked_mission(edit.removed(self, paths, shift), Path("."), "")

    def to_toml(self) -> str:
        """Return the mission as the text of a self-contained mission file; loading it gives an equal mission."""
        return edit.toml_of(self)


def checked_mission(data: dict[str, Any], folder: Path | None, file: str) -> Mission:
    """Return the mission of a dictionary of tables, its CSV and netCDF files read. folder : where their paths count from; None: there must be none.

    Raises
    ------
    MissionError
        With `file` in the faults of the mission itself, and the CSV's path in those of a CSV.
    """
    tables, faults = with_numbers(data, folder, file)
    broken = {fault.key for fault in faults}
    broken |= {_JUDGED_BY[key] for key in broken & set(_JUDGED_BY)}
    try:
        mission = Mission.model_validate(tables)
    except ValidationError as error:
        for problem in problems_from(error, tables):
            if not any(key_of(problem.loc).startswith(key) for key in broken):
                faults.append(replace(problem.at(tables), file=file))
    if faults:
        raise MissionError(faults)
    return mission
