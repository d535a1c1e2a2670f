"""What a store is on disk: its folder, its lock, what killed runs left beside it, and the digests that find damage."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np

from sixdof.mission.files.incoming import FileFault, check_zarr, is_own

DIGEST = "chunk_digest"  # 0: not flown yet
NOT_FLOWN = -1  # `status` of a flight that is not there
FORMAT = 3  # of zarr
BOOKS = ("chunk", "identity", "names", "variables")  # attributes of a store that are about itself, not about its flights
MAKING, GOING = ".making-", ".removing-"  # what the names of folders go on with that are not stores yet, or no longer


class StoreError(RuntimeError):
    """An ensemble or a file on disk that cannot be gone on with, read, or written."""


@contextmanager
def writing(path: Path) -> Iterator[None]:
    """Turn what a disk may say into one sentence."""
    try:
        yield
    except OSError as error:
        why = error.strerror or str(error)
        raise StoreError(f"{path} cannot be written: {why}. What was finished before is kept; make room and call again to go on") from error


# ---------------------------------------------------------------- one writer at a time


class Lock:
    """A lock on a path that dies with its process: a file beside it, "<name>.lock", gone when it is let go of."""

    def __init__(self, path: Path):
        import filelock

        self.file = path.with_name(path.name + ".lock")
        self._lock = filelock.FileLock(self.file, thread_local=False)
        try:
            self._lock.acquire(blocking=False)
        except (filelock.Timeout, OSError) as error:
            if not self.file.exists():
                why = getattr(error, "strerror", None) or "its folder takes no new file"
                raise StoreError(f"{path} cannot be written: {why}") from None
            raise StoreError(f"{path} is being written by another process; wait for it, or give another name") from None

    def close(self) -> None:
        """Let go of it; a second time does nothing."""
        if not self._lock.is_locked:
            return
        if os.name == "posix":  # elsewhere a file that is open cannot be removed, and the library does it
            self.file.unlink(missing_ok=True)
        self._lock.release()

    def __enter__(self) -> Lock:
        return self

    def __exit__(self, *_) -> None:
        self.close()


def locked(path: Path) -> Lock:
    """Return the lock on what `path` leads to, there or not. Raises StoreError if another process, or another part of this one, holds it."""
    return Lock(path.resolve())


# ---------------------------------------------------------------- folders


def unfinished(path: Path) -> Path:
    """Return the store in which the flights of an ensemble gather before they become one netCDF file at `path`."""
    return path.with_name(path.name + ".unfinished")


def draft(path: Path) -> Path:
    """Return a name beside `path`, nobody else's, for a store that is being made: half a store is none."""
    return path.with_name(f"{path.name}{MAKING}{uuid.uuid4().hex[:8]}")


def remove(path: Path) -> None:
    """Delete a store, at once for all who look; its lock must be held. Raises StoreError for a folder that is not a store of this library's alone."""
    if path.is_symlink():
        raise StoreError(f"{path} is a link to {path.resolve()}, which is not overwritten through it; give that name itself")
    foreign = _foreign(path)
    if foreign:
        raise StoreError(f"{path} {foreign}, so it is not overwritten; give another name, or remove it yourself")
    with writing(path):
        going = path.with_name(f"{path.name}{GOING}{uuid.uuid4().hex[:8]}")
        if any(path.iterdir()):
            path.rename(going)
            shutil.rmtree(going)
        else:
            path.rmdir()


def _foreign(path: Path) -> str:
    """Return why a folder is none of this library's, "" where it is."""
    if not any(path.iterdir()):
        return ""
    try:
        found = check_zarr(path)
    except FileFault as fault:
        return f"is not an ensemble of this library ({fault.message})"
    attributes = found[""].get("attributes", {})
    if not is_own(attributes):
        return "is not an ensemble of this library: another program wrote it"
    others = sorted(entry.name for entry in path.iterdir() if entry.name not in found and entry.name != "zarr.json" and not _is_partial(entry.name))
    others = [name for name in others if name not in attributes.get("variables", ())]
    return f"holds {others[0]}, which is not a part of an ensemble of this library" if others else ""


def _is_partial(name: str) -> bool:
    return name.endswith(".partial")  # as zarr names a file until it is complete


def clear_leftovers(path: Path) -> None:
    """Remove what runs that were killed have left of `path`: folders beside it, half files in it. Its lock must be held."""
    with writing(path):
        for entry in list(os.scandir(path.parent)):
            if entry.name.startswith((path.name + MAKING, path.name + GOING)) and entry.is_dir(follow_symlinks=False):
                shutil.rmtree(entry.path)
        for folder, _, files in os.walk(path):
            for name in filter(_is_partial, files):
                os.unlink(os.path.join(folder, name))


# ---------------------------------------------------------------- digests


def text_type(values: np.ndarray) -> np.ndarray:
    """Return values as a store keeps them: texts of any length."""
    return values.astype(np.dtypes.StringDType()) if values.dtype.kind in "UO" else values


def digest(values: dict[str, np.ndarray]) -> np.uint64:
    """Return a digest of arrays by name, never 0: 64 bits of BLAKE2b over names and bytes."""
    sum_ = hashlib.blake2b(digest_size=8)
    for name in sorted(values):
        array = values[name]
        sum_.update(f"{name} {array.shape} ".encode())
        if array.dtype.kind in "UOT":
            sum_.update("\x00".join(map(str, array.ravel())).encode())
        else:
            sum_.update(np.ascontiguousarray(array).data)
    return np.uint64(int.from_bytes(sum_.digest(), "little") or 1)


def digest_of_flown(values: dict[str, np.ndarray]) -> np.uint64:
    """Return the digest of those flights of a chunk that are there: room for more of them changes nothing."""
    flown = values["status"] != NOT_FLOWN
    return digest({name: array[flown] for name, array in values.items()})


def digest_of_names(group) -> str:
    """Return a digest of what a store holds besides its flights: attributes of all, dims, and the coordinates along other dims."""
    sum_ = hashlib.blake2b(digest_size=8)
    own = {name: value for name, value in dict(group.attrs).items() if name not in BOOKS}
    sum_.update(json.dumps(own, sort_keys=True).encode())
    for name, array in sorted(group.arrays()):
        dims = array.metadata.dimension_names
        sum_.update(json.dumps([name, list(dims or ()), dict(array.attrs)], sort_keys=True).encode())
        if dims and dims[0] not in ("flight", "chunk"):
            sum_.update(digest({name: array[...]}).tobytes())
    return sum_.hexdigest()
