"""The command line: a thin layer over the same calls as in Python, one module for each group of verbs.

Exit codes: 0 all went well; 1 a flight ended otherwise than by landing, a rehearsal misfired, margins or a
bandwidth are less than required, no variant passes its criteria, or a check case was missed; 2 the input is wrong; 130 interrupted.
"""

from __future__ import annotations

from sixdof.cli.codes import BAD_INPUT, INTERRUPTED, MISFIRED, MISSED, NONE_PASSES, NOT_LANDED, NOT_MET, OK
from sixdof.cli.line import main, parser

__all__ = ["BAD_INPUT", "INTERRUPTED", "MISFIRED", "MISSED", "NONE_PASSES", "NOT_LANDED", "NOT_MET", "OK", "main", "parser"]
