"""Missions to start from: commented files of invented vehicles that fly as they are written."""

from __future__ import annotations

from importlib import resources
from os import PathLike
from pathlib import Path

from sixdof.mission.errors import suggestion
from sixdof.mission.units import shown

# kind -> what it is, in a few words
TEMPLATES = {
    "single": "one stage with three fixed fins",
    "canards": "one stage held upright by four canards",
    "two-stages": "a sustainer on a booster, fixed fins on both",
}


def new_mission(kind: str = "single", out: str | Path | None = None) -> str:
    """Return the text of a mission to start from, and write it to a file if one is named. Everything in it is invented.

    Parameters
    ----------
    kind : "single", "canards" or "two-stages"
    out : path or None
        The file to write; one that exists is never replaced.

    Raises
    ------
    ValueError
        For a kind that there is not.
    FileExistsError, FileNotFoundError
        If the file exists, or its folder does not.

    Examples
    --------
    >>> print(sixdof.parts.new_mission("single").splitlines()[0])
    # A single-stage vehicle without control: three fins, one motor, two canopies. It flies as written.
    """
    if not isinstance(kind, str) or kind not in TEMPLATES:
        raise ValueError(f"new_mission: there is no template {shown(kind)}; {suggestion(kind, tuple(TEMPLATES), 'templates')}")
    text = (resources.files("sixdof.mission") / "templates" / f"{kind}.toml").read_text(encoding="utf-8")
    if out is None:
        return text
    if not isinstance(out, (str, PathLike)):
        raise TypeError(f"new_mission: out must be the path of the file to write, not {shown(out)}")
    path = Path(out)
    if not path.parent.is_dir():
        raise FileNotFoundError(f"the folder {path.parent} for {path.name} does not exist; make it first")
    text = text.replace(f" {kind}.toml", f" {path.name if ' ' not in path.name else repr(path.name)}")
    try:
        with path.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except FileExistsError:
        raise FileExistsError(f"{path} exists, and is not replaced: choose another name") from None
    return text
