"""Variants of a mission with other motors, from a folder of thrust curves."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace
from difflib import get_close_matches
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
_FORM = 'a thrust curve begins with a header such as "time (s), thrust (N)"'
_LOOKS_LIKE = 0.7  # of difflib: a comment's word as near to a key as this is that key misspelt


def motor_variants(mission: Mission, folder: str | Path | Iterable[str | Path], *, stage: str | int | None = None, nominal: bool = True) -> dict[str, Mission]:
    """Return the mission with each motor of a folder in the mount of one stage: name of the CSV file, without ending -> mission.

    A CSV holds the thrust curve, as `thrust_curve` of a mission file: a header that names the two columns and their units (bare names are in s
    and N; without a header the columns are time and thrust in s and N), then a row for each point; commas, semicolons, tabs or blanks part the
    columns. Masses and dimensions come from the mission's own table `[motor.<name>]` if it has one of the file's name; comments in the CSV come
    before it and add what is missing, in the words of that table (`python -m sixdof keys motor`). Other words in such comments are free columns:

        # propellant_mass = 356 g
        # case_mass = 335 g
        # length = 236 mm
        # diameter = 54 mm
        # price = 61
        time (s), thrust (N)
        0.00, 0
        0.05, 650
        1.10, 480
        1.35, 0

    By hand a motor is replaced in two steps of one call, its table and the mount that names it:
    `mission.change({"motor.mesa-j": {"thrust_curve": "mesa-j.csv", "propellant_mass": "356 g", "case_mass": "335 g", "length": "236 mm", "diameter": "54 mm"},
    "stage.drayhorse.part.mount.motor": "mesa-j"})`; of a motor that the mission holds already the second is enough.

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
    files = files_of(folder)
    which = stage_number(mission, stage)
    place = mount_number(mission.stage[which])
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
    try:
        time, thrust = read_columns(file, THRUST.columns, THRUST.flaws)
    except MissionError as error:
        raise MissionError([replace(fault, hint=f"{fault.hint}; {_FORM}" if "column" in fault.message else fault.hint) for fault in error.faults]) from None
    own = mission.motor[file.stem].model_dump() if file.stem in mission.motor else {}
    table = {**own, **comments_of(file)[0], "thrust_curve": {"time": time, "thrust": thrust}}
    lacking = [name for name in _NEEDED if name not in table]
    if lacking:
        hint = f'write comments such as "# {lacking[0]} = ..." into the file, or a table [motor.{file.stem}] into the mission'
        raise MissionError([Fault(str(file), "", None, f"says nothing of {', '.join(lacking)}", hint)])
    return table


def comments_of(file: Path) -> tuple[dict[str, str], dict[str, str]]:
    """Return what the comments `# word = ...` of a CSV give: keys of a motor's table, and free columns. Other comments are just that.

    Raises MissionError for a word that looks like a key misspelt.
    """
    keys, free = {}, {}
    for line in read_text(file).splitlines():
        match = _COMMENT.fullmatch(line)
        if match is None:
            continue
        if match[1] not in _KEYS and get_close_matches(match[1], _KEYS, 1, _LOOKS_LIKE):
            said = f'comment "{match[0].strip()}": a motor has no {match[1]}'
            raise MissionError([Fault(str(file), "", None, said, suggestion(match[1], _KEYS, "it has"))])
        (keys if match[1] in _KEYS else free)[match[1]] = match[2].strip('"')
    return keys, free


def files_of(folder: str | Path | Iterable[str | Path], who: str = "motor_variants") -> list[Path]:
    """Return the CSV files of a folder, or those listed. Raises TypeError, ValueError for none and for two of one name; `who` asks."""
    if not isinstance(folder, str | Path):
        listed = list(folder) if isinstance(folder, Iterable) else [None]
        if not all(isinstance(one, str | Path) for one in listed):
            raise TypeError(f"{who}: folder must be the path of a folder, or a list of paths of CSV files, not {shown(folder)}")
        files = sorted(Path(one) for one in listed)
        if not files:
            raise ValueError(f"{who}: there are no files of motors in the list")
        twice = [file.stem for file in files if [other.stem for other in files].count(file.stem) > 1]
        if twice:
            raise ValueError(f"{who}: two files are called {twice[0]}.csv; call one otherwise")
        return files
    folder = Path(folder)
    if not folder.is_dir():
        raise ValueError(f"{who}: there is no folder {shown(str(folder))}; give the folder that holds the motors' CSV files")
    files = sorted(folder.glob("*.csv"))
    if not files:
        raise ValueError(f"{who}: the folder {folder} holds no CSV file")
    return files


def stage_number(mission: Mission, stage: str | int | None, who: str = "motor_variants") -> int:
    """Return the number of the stage whose motor varies. Raises ValueError for anything else."""
    names = [one.name for one in mission.stage]
    if stage is None:
        return len(names) - 1
    if isinstance(stage, int) and not isinstance(stage, bool) and 0 <= stage < len(names):
        return stage
    if stage in names:
        return names.index(stage)
    raise ValueError(f"{who}: there is no stage {shown(stage)}; {suggestion(stage, names, 'stages')}")


def mount_number(stage: Stage, who: str = "motor_variants") -> int:
    """Return the place of a stage's only mount among its parts. Raises ValueError where there is another number of them."""
    found = [j for j, part in enumerate(stage.part) if isinstance(part, Mount)]
    if len(found) != 1:
        raise ValueError(f'{who}: stage "{stage.name}" has {len(found)} mounts, and a motor goes into the only one')
    return found[0]
