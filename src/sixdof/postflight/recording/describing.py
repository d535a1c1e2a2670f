"""What a recording says of itself at the begin of each session: where the rail stands, how packets are to be read, of which flight they are."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from pydantic import ValidationError

from sixdof.mission.errors import suggestion
from sixdof.mission.mission import Mission
from sixdof.mission.tables import Site
from sixdof.mission.units import shown
from sixdof.postflight.logs.columns.mapping import tables_of

_EXAMPLE = '{"latitude": "41 deg", "longitude": "-112 deg", "altitude": "1300 m"}'


def described(site: Any, columns: Any, names: Iterable[str] | None, title: str) -> dict[str, Any]:
    """Return what the arguments say, as JSON can hold it; nothing for what was not given. Raises ValueError and MissionError in one sentence."""
    found: dict[str, Any] = {}
    if site is not None:
        found["site"] = site_of(site).model_dump(mode="json")
    if columns is not None:
        found["columns"] = map_of(columns)
    if names is not None:
        found["names"] = [str(name) for name in ([names] if isinstance(names, str) else names)]
    if not isinstance(title, str) or len(title) > 200:
        raise ValueError(f"Recorder: title = {shown(title)} must be a text of 200 characters at most")
    title = title or (site.title if isinstance(site, Mission) else "")
    return found | ({"title": title} if title else {})


def site_of(site: Any) -> Site:
    """Return a site: of a Mission, as it is, or of its keys. Raises ValueError in one sentence for anything else."""
    if isinstance(site, Mission):
        return site.site
    if isinstance(site, Site):
        return site
    if not isinstance(site, Mapping):
        raise ValueError(f"site = {shown(site)} must be a mission, or its keys, {_EXAMPLE}")
    try:
        return Site(**site)
    except ValidationError as error:
        raise ValueError(_sentence(error.errors(include_url=False)[0])) from None


def _sentence(item: Any) -> str:
    name, context = ".".join(map(str, item["loc"])), item.get("ctx", {})
    if item["type"] == "extra_forbidden":
        return f"site: {name}: unknown key; {suggestion(name, tuple(Site.model_fields), 'keys')}"
    if item["type"] == "quantity":
        return f"site: {name}: {context['message']}; {context['hint']}"
    return f"site: {name}: {'missing' if item['type'] == 'missing' else 'cannot be'}; write, for example, {_EXAMPLE}"


def map_of(columns: Any) -> dict[str, Any]:
    """Return the tables of a column map, checked, as plain data."""
    return tables_of(columns, "Recorder").model_dump(mode="json", exclude_unset=True)
