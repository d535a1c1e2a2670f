"""The verb that holds the kernel against published cases: verify."""

from __future__ import annotations

from sixdof.cli.codes import MISSED, OK
from sixdof.cli.options import verb, with_out
from sixdof.cli.output import say


def add(commands) -> None:
    """Add the verb to the command line."""
    verify = verb(commands, "verify", _verify, "fly published check cases and closed forms, print how far the kernel is from each")
    with_out(verify, "CSV")


def _verify(chosen) -> int:
    from sixdof import report, verify
    from sixdof.stats import check_path

    if chosen.out:
        check_path(chosen.out, overwrite=chosen.overwrite)
    ds = verify()
    say(report(ds))
    if chosen.out:
        words = ds.passed.to_series().map({True: "yes", False: "no"})
        ds.to_dataframe().assign(passed=words).to_csv(chosen.out, index=False)
        say(f"written: {chosen.out}")
    return OK if ds.passed.all() else MISSED
