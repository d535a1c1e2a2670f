"""A page of text: a string that prints as it is, and that a notebook shows as it is, in a fixed pitch."""

from __future__ import annotations

from html import escape

STYLE = "line-height:1.25;font-family:monospace;overflow-x:auto;white-space:pre"


def block(text: str) -> str:
    """Return text as HTML in a fixed pitch, its lines unbroken."""
    return f'<pre style="{STYLE}">{escape(text)}</pre>'


class Page(str):
    """Text in lines. It is a string in every way, but echoed it shows its lines rather than quotes and backslashes."""

    __slots__ = ()

    def __repr__(self) -> str:
        return str(self)

    def _repr_html_(self) -> str:
        return block(self)
