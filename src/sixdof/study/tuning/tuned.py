"""What `tune` found: gains, margins before and after, what limits them; in words, and as a fragment of a mission file."""

from __future__ import annotations

from functools import cached_property
from pathlib import Path

import xarray as xr

from sixdof.study.tuning.design import TunedGains
from sixdof.study.tuning.limits import limits_of
from sixdof.study.tuning.text import fragment_of, report_of
from sixdof.surface.page import block


class Tuned(TunedGains):
    """Gains and what they are good for; printed, it explains itself."""

    @cached_property
    def limits(self) -> xr.Dataset:
        """Return what would be gained if one thing at a time were better, the gains kept (see `study.tuning.limits`)."""
        return limits_of(self)

    def fragment(self) -> str:
        """Return the new gains as lines of a mission file: what to put in the place of the same keys of [autopilot]."""
        return fragment_of(self)

    def save(self, path: str | Path) -> Path:
        """Write the fragment to a file and return its path. Raises FileExistsError rather than write over one."""
        path = Path(path)
        with path.open("x", encoding="utf-8") as file:
            file.write(self.fragment())
        return path

    def __str__(self) -> str:
        return report_of(self, self.limits)

    def _repr_html_(self) -> str:
        return block(str(self))

    def __repr__(self) -> str:
        words = "meets" if self.met else "does not meet"
        return (
            f"<Tuned {self.mission.title!r}: {words} {self.spec.gain_margin_db:g} dB and {self.spec.phase_margin_deg:g} deg; sixdof.report(tuned) tells more>"
        )
