"""The keys of the mission file as a page: text for a terminal, a table for a notebook."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from html import escape

from sixdof.mission.errors import suggestion
from sixdof.mission.explain.walk import NEEDED, PLACED, Key, KeyTable, all_tables, readable
from sixdof.mission.former import CHOICES, KEYS
from sixdof.mission.page import wrapped
from sixdof.mission.tables.dispersible import DISPERSIBLE, Dispersible
from sixdof.mission.tables.materials import properties_text
from sixdof.mission.units import shown

_UNITS = 'A number with a unit is text ("75 mm", "12 oz", "5 deg"); any unit of the same dimension will do. A bare number is in the unit named here.'
_FURTHER = "keys TABLE explains the keys of one; keys KEY finds a key; keys materials lists what materials stand for."
_MATERIALS = """\
What a part's material stands for: typical values at room temperature, common practice all, none a maker's. Density and heat scatter by some 10 %
from batch to batch, stiffness and strength by 30 % and more, with lay-up, grain, fill and age. Where it matters, measure: mass (beside material),
shear_modulus of fins. Laminates have their fibres along and across (0/90); "service" is the temperature up to which most of the stiffness is kept."""
_HEADS = ("key", "meaning", "unit", "default", "range or choices", "example")


@dataclass(frozen=True)
class KeyPage:
    """Tables of the mission file, explained: `print` it, or leave it as the last line of a notebook's cell.

    tables : what it holds. listed : whether it is the list of tables, a line each, and not their keys. text : a page that stands for itself.
    """

    tables: tuple[KeyTable, ...]
    listed: bool = False
    text: str = ""

    def __str__(self) -> str:
        if self.text:
            return self.text
        if self.listed:
            width = max(len(table.name) for table in self.tables)
            return "\n".join([*(_line(table, width) for table in self.tables), "", _FURTHER])
        return "\n\n".join("\n".join(_text(table)) for table in self.tables) + f"\n\n{_fill(_UNITS)}"

    __repr__ = __str__

    def _repr_html_(self) -> str:
        if self.text:
            return f"<pre>{escape(self.text)}</pre>"
        if self.listed:
            rows = [(table.name, table.heading, table.meaning) for table in self.tables]
            return _html_table(("table", "in the file", "meaning"), rows)
        return "".join(_html(table) for table in self.tables) + f"<p>{escape(_UNITS)}</p>"


def keys(table: str | None = None) -> KeyPage:
    """Return the keys of a table of the mission file, each with unit, default, range, choices, meaning and an example; the list of tables for None.

    table : "fins", "air.wind", "[[rule]]", a path such as "autopilot.yaw"; or a key: "semispan" returns it in every table that has it;
        "materials": the typical properties that a part's material stands for.

    Raises
    ------
    ValueError
        For a word that is neither a table nor a key, with the nearest that is, or what it is called now.

    Examples
    --------
    >>> print(str(sixdof.parts.keys("solver.time_limit")).splitlines()[0])
    [solver]
    """
    if table is None:
        return KeyPage(all_tables(), listed=True)
    if not isinstance(table, str):
        raise TypeError(f'keys: table must be the name of a table of the mission file such as "fins", not {shown(table)}')
    word = table.strip().strip("[]").strip().replace(".NAME", "")
    if word == "materials":
        return KeyPage((), text=f"{_fill(_MATERIALS)}\n\n{properties_text()}")
    found = tuple(_found(word))
    if not found:
        raise ValueError(f"the mission file has no table or key {shown(table)}; {_near(word)}")
    return KeyPage(found)


def _near(word: str) -> str:
    """Return the hint for a word that is none: what it is called now, or the nearest that there is."""
    now = {old: new for words in (*KEYS.values(), CHOICES["part", "kind"]) for old, new in words.items()}
    if word in now:
        return f'it is called "{now[word]}" now'
    options = dict.fromkeys(["materials", *_named(), *(key.name for one in all_tables() for key in one.keys)])
    return suggestion(word, tuple(options), "tables")


def _found(word: str) -> Iterator[KeyTable]:
    """Yield the tables that go by a word, or, if there is none, those that have a key of that name, with this key alone."""
    if word in _named():
        yield from _named()[word]
        return
    place, _, name = word.rpartition(".")
    for one in _named().get(place, ()) if place else all_tables():
        only = tuple(key for key in one.keys if key.name == name)
        if only:
            yield replace(one, keys=only, about="")


@cache
def _named() -> dict[str, tuple[KeyTable, ...]]:
    """Return all words that tables go by: every path, and its last step where no whole path is called so."""
    whole = {place: (one,) for one in all_tables() for place in one.places}
    short: dict[str, tuple[KeyTable, ...]] = {}
    for place, (one,) in whole.items():
        known = short.get(place.rpartition(".")[2], ())
        if one not in known:
            short[place.rpartition(".")[2]] = (*known, one)
    return short | whole


# ---------------------------------------------------------------- text


def _fill(text: str, first: str = "", rest: str = "") -> str:
    """Return a paragraph in lines of the page, the first and the others set in."""
    return "\n".join(wrapped(text, first, rest))


def _line(table: KeyTable, width: int) -> str:
    return _fill(table.meaning, f"{table.name:<{width}}  ", " " * (width + 2))


def _text(table: KeyTable) -> Iterator[str]:
    """Yield the lines that explain a table."""
    yield table.heading
    if len(table.headings) > 1 and table.about:
        yield _fill(f"also {', '.join(table.headings[1:])}")
    for paragraph in table.about.split("\n\n") if table.about else ():
        yield ""
        yield _fill(paragraph)
    for key in table.keys:
        yield ""
        yield f"  {key.example or key.name}"
        yield _fill(key.meaning, "      ", "      ")
        yield _fill(facts(key), "      ", "      ")
    if table.name == "disperse" and table.about:
        yield "\nWhat can be dispersed, besides the dotted path of any number of the mission:"
        for item in DISPERSIBLE.values():
            yield _fill(_spread(item), f"  {item.name:<{24}}  ", " " * 28)


def facts(key: Key) -> str:
    """Return what there is to say of a key besides its meaning."""
    default = key.default if key.default in (NEEDED, "") else f"default {key.default}"
    values = f"one of {', '.join(key.choices)}" if key.choices else key.kind
    by_part = 'or by another part, { aft_of = "airframe", gap = "10 mm" } (aft_of, fore_of, flush_fore, flush_aft)' if key.name in PLACED else ""
    return "; ".join(
        part for part in (values if key.choices or not key.unit or "list" in key.kind else "", _unit(key), key.limits, by_part, default or "optional") if part
    )


def _unit(key: Key) -> str:
    return f"in {key.unit}" if key.unit and "list" in key.kind else key.unit


def _spread(item: Dispersible) -> str:
    """Return in words what a draw of a dispersible quantity does."""
    what = f"{item.role} {item.doc}" if item.doc.startswith("on ") else f"{item.role}: {item.doc}"
    notes = [readable(item.unit), f"each {item.each} its own" if item.each else ""]
    return what + (f" ({', '.join(note for note in notes if note)})" if any(notes) else "")


# ---------------------------------------------------------------- HTML


def _html(table: KeyTable) -> str:
    about = "".join(f"<p>{escape(paragraph)}</p>" for paragraph in table.about.split("\n\n") if paragraph)
    rows = [(key.name, key.meaning, key.unit or key.kind, key.default, ", ".join(key.choices) or key.limits, key.example) for key in table.keys]
    return f"<h4><code>{escape(table.heading)}</code></h4>{about}{_html_table(_HEADS, rows)}"


def _html_table(heads: tuple[str, ...], rows: list[tuple[str, ...]]) -> str:
    code = {"key", "example", "table", "in the file", "default"}
    head = "".join(f'<th style="text-align:left">{escape(text)}</th>' for text in heads)
    body = "".join(
        "<tr>" + "".join(f'<td style="text-align:left">{_cell(text, name in code)}</td>' for name, text in zip(heads, row, strict=True)) + "</tr>"
        for row in rows
    )
    return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"


def _cell(text: str, code: bool) -> str:
    return f"<code>{escape(text)}</code>" if code and text and text != NEEDED else escape(text)
