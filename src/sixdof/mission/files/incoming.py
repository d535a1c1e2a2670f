"""Files that somebody sent: looked at before a library reads them, and known again before one is replaced.

A mission, a curve, a sounding, an ensemble: none of them may stop the program, fill its memory, or run code of its own. So a file is read only if it is
an ordinary one of sane size; netCDF-4, whose library hangs or crashes on some damaged files, is read in a process of its own first; and
a zarr store only with its third version and with codecs that decode numbers, for in the second one a filter may be a pickle.
"""

from __future__ import annotations

import json
import os
import re
import stat
import subprocess
import sys
from pathlib import Path

MOST_BYTES = 200e6  # of a file of numbers or text that a mission reads
MOST_UNPACKED = 64e6  # bytes that a profile or a column of samples may unpack to
MOST_METADATA, MOST_ARRAYS = 16e6, 10_000  # bytes of one zarr.json, and arrays in a store
START, PACE = 20.0, 20e6  # s that the process of its own may take to start and read little, and bytes a second that it reads at least
HDF5 = b"\x89HDF\r\n\x1a\n"  # first bytes of netCDF-4
CODECS = {"bytes", "vlen-utf8", "vlen-bytes", "zstd", "blosc", "gzip", "crc32c", "transpose"}  # they decode, and do nothing else
OLDER = {".zarray", ".zgroup", ".zattrs", ".zmetadata"}  # of version 2, which a reader might take first
OWN = "sixdof "  # how the attribute `source` of every result begins
_OWN = re.compile(rb"sixdof (\d+\.|unpackaged)")


class FileFault(ValueError):
    """A file that is not read. message : what is wrong with it, without its name; hint : what would be right."""

    def __init__(self, message: str, hint: str):
        super().__init__(f"{message}; {hint}")
        self.message, self.hint = message, hint


def check_ordinary(path: str | Path, most: float = MOST_BYTES) -> None:
    """Raise FileFault for a device, a pipe or a socket, which may never end, and for a file of more than `most` bytes.

    What is not there, or a folder, passes: whoever opens it says so.
    """
    try:
        found = os.stat(path)
    except (OSError, ValueError):
        return
    if not (stat.S_ISREG(found.st_mode) or stat.S_ISDIR(found.st_mode)):
        raise FileFault("is not an ordinary file", "give the path of a file, not of a device or a pipe")
    if stat.S_ISREG(found.st_mode) and found.st_size > most:
        raise FileFault(f"holds {found.st_size / 1e6:.0f} MB, more than the {most / 1e6:.0f} MB that such a file may have", "check which file it is")


# ---------------------------------------------------------------- netCDF

_TOO_LARGE = 4
_READ = """
import sys
sys.path.append(sys.argv[1])
import netCDF4
with netCDF4.Dataset(sys.argv[2]) as file:
    size = sum(v.size * getattr(v.dtype, "itemsize", 16) for v in file.variables.values())
    if size > float(sys.argv[3]):
        sys.exit(4)
    for v in file.variables.values():
        v[...]
"""


def read_apart(path: str | Path, most: float | None = None) -> None:
    """Read all of a netCDF-4 file in a process of its own: on some damaged ones the file's library hangs or crashes (1 of some 800).

    most : bytes that its variables may unpack to, the machine's memory by default. The process sees neither the working folder nor the user's
    own packages, so that no file beside the one that is read can stand in for a library.

    Raises
    ------
    FileFault
        If it does not come through, or unpacks to more.
    """
    import netCDF4

    library = str(Path(netCDF4.__file__).parent.parent)  # where this process found it: the other must not look elsewhere
    most = _memory() if most is None else most
    allowed = START + os.path.getsize(path) / PACE
    command = [sys.executable, "-I", "-c", _READ, library, str(Path(path).resolve()), str(most)]
    try:
        code = subprocess.run(command, timeout=allowed, stdin=subprocess.DEVNULL, capture_output=True, check=False).returncode
    except (subprocess.SubprocessError, OSError):
        code = -1
    if code == _TOO_LARGE:
        raise FileFault(f"unpacks to more than {most / 1e6:.0f} MB", "select what is needed of it first")
    if code != 0:
        raise FileFault("is not a netCDF file, or is damaged", "write it again")


def _memory() -> float:
    """Return the bytes of memory that the machine has, infinite where the system does not say."""
    try:
        return float(os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE"))
    except (AttributeError, ValueError, OSError):
        return float("inf")


def is_own_netcdf(path: Path) -> bool:
    """Tell whether a file is a netCDF file that this library wrote, damaged or not: by its first bytes and its attribute `source`."""
    if not stat.S_ISREG(os.lstat(path).st_mode):
        return False
    with open(path, "rb") as file:
        tail = file.read(len(HDF5))
        if tail != HDF5:
            return False
        while block := file.read(1 << 20):
            if _OWN.search(tail + block):
                return True
            tail = block[-64:]
    return False


# ---------------------------------------------------------------- zarr


def is_own(attributes: dict) -> bool:
    """Tell whether a result of this library has these attributes."""
    return str(attributes.get("source", "")).startswith(OWN)


def check_zarr(path: Path) -> dict[str, dict]:
    """Return what the metadata of a zarr store says: name -> of its array, "" -> of itself. Nothing of its numbers is read.

    Raises
    ------
    FileFault
        For what is not a store, one of version 2, one whose codecs do more than decode, or one with something else in it than files.
    """
    entries = _entries(path)
    found = {"": _metadata(path, "group")}
    for entry in entries:
        if entry.is_dir(follow_symlinks=False) and os.path.lexists(os.path.join(entry.path, "zarr.json")):
            found[entry.name] = _metadata(Path(entry.path), "array")
        if len(found) > MOST_ARRAYS:
            raise FileFault(f"holds more than {MOST_ARRAYS} arrays", "give a store that this library wrote")
    for name, each in found.items():
        bad = [codec for codec in _codecs(each) if codec not in CODECS] if name else []
        if bad:
            raise FileFault(f"holds the array {name} in the codec {bad[0]}, which is not read", f"write it with {', '.join(sorted(CODECS))}")
    return found


def _entries(path: Path) -> list[os.DirEntry]:
    """Return what stands in the folder of a store, after looking at everything below it."""
    folders = [str(path)]
    while folders:
        with os.scandir(folders.pop()) as entries:
            for entry in entries:
                if entry.is_dir(follow_symlinks=False):
                    folders.append(entry.path)
                elif not entry.is_file(follow_symlinks=False):
                    raise FileFault(f"holds {entry.name}, which is not an ordinary file", "give a store that nobody has put anything into")
                elif entry.name in OLDER:
                    raise FileFault("is a zarr store of version 2, which is not read", "write it again with zarr_format=3")
    with os.scandir(path) as entries:
        return list(entries)


def _metadata(folder: Path, kind: str) -> dict:
    file = folder / "zarr.json"
    check_ordinary(file, MOST_METADATA)
    try:
        found = json.loads(file.read_bytes())
    except (OSError, ValueError, RecursionError):
        raise FileFault("is damaged, or no zarr store of version 3", "give a store that this library wrote") from None
    if not isinstance(found, dict) or found.get("zarr_format") != 3 or found.get("node_type") != kind:
        raise FileFault(f"is not a zarr {kind} of version 3", "write it again with zarr_format=3")
    return found


def _codecs(metadata: dict) -> list[str]:
    codecs = metadata.get("codecs", [])
    named = codecs if isinstance(codecs, list) else [codecs]
    return [str(each.get("name") if isinstance(each, dict) else each) for each in named] + [
        "storage transformer" for _ in metadata.get("storage_transformers") or ()
    ]
