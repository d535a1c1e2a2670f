"""`verify`: the real kernel against published check cases and closed forms, on the user's own machine."""

from __future__ import annotations

import platform
from itertools import groupby

import numpy as np
import xarray as xr

from sixdof.mission.page import indented, table
from sixdof.results.dataset import library_version
from sixdof.study.verification.checks import Check
from sixdof.study.verification.closed_forms import closed_form_checks
from sixdof.study.verification.nasa_cases import nasa_checks

COLUMNS = {  # name: meaning
    "case": "what was flown",
    "quantity": "what is compared",
    "reference": "what it should be",
    "ours": "what the kernel gives",
    "difference": "ours less the reference",
    "limit": "largest difference that passes",
    "unit": "of reference, ours, difference and limit",
    "source": "of the reference",
    "passed": "whether the difference is within the limit",
}
MISS = "MISS"


def verify() -> xr.Dataset:
    """Fly every check case with the kernel that flies missions, and compare with what is known from outside this library.

    The ten atmospheric cases of NASA/TM-2015-218675 (end values published for seven of them, computed independently for three)
    and cases with a closed form or a printed table: paths, spinning bodies, drag, the turning Earth, air, gravity, canopies,
    staging.

    Returns
    -------
    Dataset
        Along `check`: case, quantity, unit, source (text), reference, ours, difference, limit (in that unit), passed (bool). A NaN does not
        pass. `ds.where(~ds.passed, drop=True)` leaves the misses; `verification_text` makes a page of it.

    Examples
    --------
    >>> checks = sixdof.verify()
    >>> bool(checks.passed.all())
    True
    """
    return table_of_checks([*nasa_checks(), *closed_form_checks()])


def table_of_checks(checks: list[Check]) -> xr.Dataset:
    """Return the Dataset of some checks; see `verify`."""
    values = {
        "case": [c.name for c in checks],
        "quantity": [c.quantity for c in checks],
        "reference": [c.reference for c in checks],
        "ours": [c.ours for c in checks],
        "difference": [c.difference for c in checks],
        "limit": [c.limit for c in checks],
        "unit": [c.unit for c in checks],
        "source": [c.source for c in checks],
        "passed": [c.passed for c in checks],
    }
    return xr.Dataset(
        {name: ("check", np.array(values[name]), {"long_name": text}) for name, text in COLUMNS.items()},
        attrs={"sixdof_version": library_version(), "python": platform.python_version(), "machine": platform.machine()},
    )


def verification_text(ds: xr.Dataset) -> str:
    """Return the page that `python -m sixdof verify` prints: a block a case, one line per quantity, misses marked, and the count."""
    lines = []
    for case, rows in groupby(_rows(ds), key=lambda row: row["case"]):
        rows = list(rows)
        head, *numbers = table([["", "unit", "reference", "ours", "difference", "limit"], *(_cells(row) for row in rows)], words=2)
        lines += [case, head]
        for source, of_source in groupby(zip(rows, numbers), key=lambda pair: pair[0]["source"]):
            lines += [line + ("" if row["passed"] else f"  {MISS}") for row, line in of_source]
            lines += indented([f"from {source}"])
        lines.append("")
    misses = int((~ds.passed).sum())
    count = ds.sizes["check"]
    lines.append(f"{count - misses} of {count} quantities are within their limits." + (f" {misses} MISSED:" if misses else ""))
    lines += [f"  {row['case']}: {row['quantity']}" for row in _rows(ds) if not row["passed"]]
    return "\n".join(lines)


def _rows(ds: xr.Dataset) -> list[dict]:
    columns = {name: ds[name].values.tolist() for name in COLUMNS}
    return [dict(zip(columns, row)) for row in zip(*columns.values())]


def _cells(row: dict) -> list[str]:
    return [row["quantity"], row["unit"], f"{row['reference']:.11g}", f"{row['ours']:.11g}", f"{row['difference']:.1e}", f"{row['limit']:.1e}"]
