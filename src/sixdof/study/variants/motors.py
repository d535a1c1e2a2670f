"""Variants of a mission with other motors, from a folder of thrust curves."""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path

from sixdof.mission.errors import Fault, MissionError, suggestion
from sixdof.mission.files.curves import THRUST
from sixdof.mission.files.table_csv import read_columns, read_text
from sixdof.mission.load import check_mission
from sixdof.mission.mission import Mission
from sixdof.mission.tables import Motor, Mount, Stage
from sixdof.mission.units import shown
from sixdof.study.variants.vary import fault_of_variant

_NEEDED = [name for name, field in Motor.model_fields.items() if field.is_required() and name != "thrust_curve"]
_KEYS = [name for name in Motor.model_fields if name != "thrust_curve"]
_COMMENT = re.compile(r"\s*#\s*([a-z_]+)\s*=\s*(.+?)\s*")


def motor_variants(mission: Mission, folder: str | Path | Iterable[str | Path], *, stage: str | int | None = None, nominal: bool = True) -> dict[str, Mission]:
    """Return the mission with each motor of a folder in the mount of one stage: name of the CSV file, without ending -> mission.

    A CSV holds the thrust curve, as `thrust_curve` of a mission file. Masses and dimensions come from the mission's own table
    `[motor.<name>]` if it has one of the file's name; comments in the CSV come before it and add what is missing, in the words of that table:

        # propellant_mass = 356 g
        # case_mass = 335 g
        # length = 236 mm
        # diameter = 54 mm

    Parameters
    ----------
    folder : a folder, whose every *.csv is taken; or the paths of files, such as `Path("motors").glob("mesa-*.csv")`
    stage : name or number of the stage; None the last one, the booster
    nominal : bool
        Put the mission's own motor first, as it is, if no file has its name.

    Raises
    ------
    ValueError
        For a folder without CSV files, what is not a stage or has not just one mount.
    MissionError
        Every fault of every file: what is not a curve, masses or dimensions missing, a motor that does not fit its mount.

    Examples
    --------
    >>> sorted(sixdof.parts.motor_variants(stack, ["configs/motors/mesa-i.csv", "configs/motors/mesa-j.csv"]))
    ['mesa-i', 'mesa-j']
    """
    check_mission(mission, "motor_variants")
    files = _files(folder)
    which = _stage(mission, stage)
    place = _mount(mission.stage[which])
    own = mission.stage[which].part[place].motor
    found = {own: mission} if nominal and own not in [file.stem for file in files] else {}
    faults: list[Fault] = []
    for file in files:
        try:
            motor = motor_of(mission, file)
            found[file.stem] = mission.change({f"motor.{file.stem}": motor, f"stage.{which}.part.{place}.motor": file.stem})
        except MissionError as error:
            faults += [fault if fault.file else fault_of_variant(fault, file.stem) for fault in error.faults]
    if faults:
        raise MissionError(faults)
    return found


def motor_of(mission: Mission, file: Path) -> dict:
    """Return the table of the motor of a CSV file: its curve, its comments, and what the mission says of a motor of that name."""
    time, thrust = read_columns(file, THRUST.columns, THRUST.flaws)
    own = mission.motor[file.stem].model_dump() if file.stem in mission.motor else {}
    table = {**own, **_comments(file), "thrust_curve": {"time": time, "thrust": thrust}}
    lacking = [name for name in _NEEDED if name not in table]
    if lacking:
        hint = f'write comments such as "# {lacking[0]} = ..." into the file, or a table [motor.{file.stem}] into the mission'
        raise MissionError([Fault(str(file), "", None, f"says nothing of {', '.join(lacking)}", hint)])
    return table


def _comments(file: Path) -> dict[str, str]:
    """Return the keys of a motor's table that the comments of a CSV give. Other comments are just that."""
    found = {}
    for line in read_text(file).splitlines():
        match = _COMMENT.fullmatch(line)
        if match and match[1] not in _KEYS:
            said = f'comment "{match[0].strip()}": a motor has no {match[1]}'
            raise MissionError([Fault(str(file), "", None, said, suggestion(match[1], _KEYS, "it has"))])
        if match:
            found[match[1]] = match[2].strip('"')
    return found


def _files(folder: str | Path | Iterable[str | Path]) -> list[Path]:
    if not isinstance(folder, str | Path):
        listed = list(folder) if isinstance(folder, Iterable) else [None]
        if not all(isinstance(one, str | Path) for one in listed):
            raise TypeError(f"motor_variants: folder must be the path of a folder, or a list of paths of CSV files, not {shown(folder)}")
        files = sorted(Path(one) for one in listed)
        if not files:
            raise ValueError("motor_variants: there are no files of motors in the list")
        twice = [file.stem for file in files if [other.stem for other in files].count(file.stem) > 1]
        if twice:
            raise ValueError(f"motor_variants: two files are called {twice[0]}.csv; call one otherwise")
        return files
    folder = Path(folder)
    if not folder.is_dir():
        raise ValueError(f"motor_variants: there is no folder {shown(str(folder))}; give the folder that holds the motors' CSV files")
    files = sorted(folder.glob("*.csv"))
    if not files:
        raise ValueError(f"motor_variants: the folder {folder} holds no CSV file")
    return files


def _stage(mission: Mission, stage: str | int | None) -> int:
    names = [one.name for one in mission.stage]
    if stage is None:
        return len(names) - 1
    if isinstance(stage, int) and not isinstance(stage, bool) and 0 <= stage < len(names):
        return stage
    if stage in names:
        return names.index(stage)
    raise ValueError(f"motor_variants: there is no stage {shown(stage)}; {suggestion(stage, names, 'stages')}")


def _mount(stage: Stage) -> int:
    found = [j for j, part in enumerate(stage.part) if isinstance(part, Mount)]
    if len(found) != 1:
        raise ValueError(f'motor_variants: stage "{stage.name}" has {len(found)} mounts, and a motor goes into the only one')
    return found[0]
