"""The card as a page of text, for `sixdof.report`."""

from __future__ import annotations

import xarray as xr

from sixdof.mission.page import indented, underlined
from sixdof.study.launch_card import words


def card_page(ds: xr.Dataset) -> str:
    """Return the page of a card: the decision first, then what is set, weighed, expected and kept clear."""
    lines = [ds.attrs["title"], *words.heading(ds), ""]
    word = words.chosen(ds)
    lines += [
        f"{words.WORDS[word]} in the wind measured now" if word is not None else "No wind measured yet",
        *indented([words.wind_line(ds), *words.decision_lines(ds)]),
    ]
    for title, section in _sections(ds).items():
        if section:
            lines += ["", title, *section]
    return "\n".join(lines)


def _sections(ds: xr.Dataset) -> dict[str, list[str]]:
    expected = words.lined_up([("", "5 %", "50 %", "95 %"), *words.expected_rows(ds)])
    weighed = words.lined_up([("", "mass, g", "balance point, mm"), *words.weighing_rows(ds)])
    winds = words.wind_rows(ds)
    limit = f"at {float(ds['reference_height']):g} m, m/s"
    found = {f"{group}": words.lined_up(rows, words=2) for group, rows in words.setting_groups(ds).items()}
    return found | {
        "Measure on the bench": [*underlined(weighed), *indented(words.weighing_notes(ds))],
        f"{words.margin_heading(ds)} (5 to 95 % of flights in brackets)": words.lined_up(words.margin_rows(ds), words=2),
        "Criteria": words.lined_up(words.criterion_rows(ds), words=3),
        "Changes": indented([*words.change_lines(ds), *words.change_note(ds)]),
        "Wind limits": underlined(words.lined_up([("from", limit, "binds"), *winds])) if winds else [],
        "Expected": [*underlined(expected), *indented([words.expected_note(ds)])],
        "Ceiling": underlined(words.lined_up([("apogee", "m", "ft", "m above sea", "ft above sea"), *words.ceiling_rows(ds)])),
        "Distances": words.lined_up(words.distance_rows(ds), words=2),
        "Cautions": indented([f"- {text}" for text in [*words.own_cautions(ds), *words.general_cautions()]]),
    }
