"""Criteria of a choice of motors: those of every comparison, and thrust over weight by its names in the choice."""

from __future__ import annotations

import operator
import re
from collections.abc import Iterable

import xarray as xr

from sixdof.mission.errors import printable, suggestion
from sixdof.study.motor_choice.thrust_to_weight import RATIOS
from sixdof.study.variants.criteria import Criterion, criteria_of, own_criterion

_RATIO = re.compile(r"(?P<name>thrust_to_weight\w*)\s*(?P<relation><=|>=|<|>)\s*(?P<limit>\S+?)(?:\s+in\s+(?P<share>\S+\s*%?)(?:\s+of\s+(?:all\s+)?flights)?)?")
_COMPARE = {"<": operator.lt, "<=": operator.le, ">": operator.gt, ">=": operator.ge}


def choice_criteria(criteria: str | Criterion | Iterable[str | Criterion]) -> list[Criterion]:
    """Return criteria, parsed. Raises ValueError and TypeError as `criteria_of`, and for a ratio that there is not or a limit that is no number."""
    several = criteria if isinstance(criteria, Iterable) and not isinstance(criteria, str) else [criteria]
    return criteria_of([_ratio(one) if isinstance(one, str) and one.split()[:1] and one.lstrip().startswith("thrust_to_weight") else one for one in several])


def _ratio(text: str) -> Criterion:
    found = _RATIO.fullmatch(" ".join(text.replace("\u2264", "<=").replace("\u2265", ">=").split()))
    try:
        limit = float(found["limit"]) if found else None
    except ValueError:
        limit = None
    if limit is None:
        raise ValueError(printable(f'criterion "{text}": write, for example, "thrust_to_weight_rail > 5 in 95 % of flights"'))
    name, relation = found["name"], found["relation"]
    if name not in RATIOS:
        raise ValueError(printable(f'criterion "{text}": there is no ratio "{name}"; {suggestion(name, tuple(RATIOS), "ratios")}'))

    def holds(ds: xr.Dataset):
        return _COMPARE[relation](ds[name], limit)  # comparisons with NaN are False

    what = f"{name} {relation} {found['limit']}"
    return own_criterion(what, holds, found["share"]) if found["share"] else own_criterion(what, holds)
