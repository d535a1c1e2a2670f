"""Exit codes of the command line."""

from __future__ import annotations

OK, NOT_LANDED, BAD_INPUT, INTERRUPTED = 0, 1, 2, 130
MISFIRED = MISSED = NONE_PASSES = NOT_MET = NOT_LANDED
