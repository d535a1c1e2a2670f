"""The scatter of motors: impulse and burn time drawn together, in a mission that does not disperse them itself."""

from __future__ import annotations

from collections.abc import Sequence

from sixdof.mission.mission import Mission
from sixdof.mission.tables.spread import Spread
from sixdof.study.motor_choice.facts import IMPULSE_SCATTER, amount

IMPULSE, BURN_TIME = "motor.impulse", "motor.burn_time"
# standard deviations of impulse and burn time, and their correlation, of this project: what one lot of commercial motors may show. A grain that burns
# faster burns at a higher pressure, and gives a little more impulse
SCATTER = 0.01, 0.05, -0.3


def with_scatter(mission: Mission, scatter: Sequence) -> tuple[Mission, list[str]]:
    """Return a mission with the scatter of its motors, and in words what is drawn.

    scatter : standard deviations of impulse and burn time (shares, or text such as "1 %"), and the correlation of the two. What the mission
    disperses itself stays as it is. The correlation is added where the mission has none of either.

    Raises ValueError for a scatter that is not three such numbers.
    """
    impulse, burn, together = checked_scatter(scatter)
    own = [name for name in (IMPULSE, BURN_TIME) if name in mission.disperse]
    added = {f"disperse.{name}": {"sd": sd} for name, sd in ((IMPULSE, impulse), (BURN_TIME, burn)) if name not in own and sd > 0.0}
    changed = mission.change(added) if added else mission
    tied = any(name in entry.of for entry in mission.correlation for name in (IMPULSE, BURN_TIME))
    both = IMPULSE in changed.disperse and BURN_TIME in changed.disperse
    if added and both and not tied and together:
        changed = changed.add("correlation", {"of": [IMPULSE, BURN_TIME], "coefficient": together})
    return changed, _said(changed, own, both)


def checked_scatter(scatter: Sequence) -> tuple[float, float, float]:
    if not isinstance(scatter, Sequence) or isinstance(scatter, str) or len(scatter) != 3:
        raise ValueError('choose_motor: scatter must be two standard deviations and a correlation, such as ("1 %", "5 %", -0.3)')
    impulse, burn = (amount(value, "1", f"scatter: {what}") for value, what in zip(scatter, ("impulse", "burn time")))
    together = scatter[2]
    if max(impulse, burn) >= 0.5:
        raise ValueError(
            f'choose_motor: scatter: {max(impulse, burn):g} is a standard deviation of {100.0 * max(impulse, burn):g} %; write, for example, "1 %"'
        )
    if isinstance(together, bool) or not isinstance(together, int | float) or not -1.0 < together < 1.0:
        raise ValueError("choose_motor: scatter: the correlation must be a number between -1 and 1, such as -0.3")
    return impulse, burn, float(together)


def _said(mission: Mission, own: Sequence[str], both: bool) -> list[str]:
    """Return sentences on what is drawn of motors, and how it stands to what NFPA 1125 allows."""
    parts = []
    for name, text in ((IMPULSE, "impulse"), (BURN_TIME, "burn time")):
        spread = mission.disperse.get(name)
        whose = "as the mission says" if name in own else "added here"
        parts.append(f"{text} {_spread(spread)} ({whose})" if spread else f"{text} not")
    tie = next((entry.coefficient for entry in mission.correlation if {IMPULSE, BURN_TIME} == set(entry.of)), None)
    together = f", correlation {tie:g}" if both and tie is not None else ", independent of each other" if both else ""
    said = [f"Motors are drawn: {', '.join(parts)}{together}"]
    spread = mission.disperse.get(IMPULSE)
    if spread is not None and spread.kind == "normal" and spread.sd is not None:
        over = spread.sd > IMPULSE_SCATTER
        said.append(
            f"NFPA 1125 (from memory) certifies a motor whose total impulse has a standard deviation of at most {100.0 * IMPULSE_SCATTER:.1f} % of its mean: "
            f"{'what is drawn is MORE than that' if over else 'what is drawn is within it'}"
        )
    return said


def _spread(spread: Spread) -> str:
    return f"with a standard deviation of {100.0 * spread.sd:g} %" if spread.kind == "normal" and spread.sd is not None else f"{spread.kind}"
