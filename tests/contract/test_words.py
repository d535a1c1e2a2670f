"""One word for one thing: what was renamed does not come back, in names, messages, docstrings, configs, notebooks' code and the two pages."""

import json
import re
from pathlib import Path

import pytest

from sixdof.results.retired import RETIRED

ROOT = Path(__file__).parents[2]
ANSWERING = {"src/sixdof/results/retired.py"}  # the module that answers old names of results
# old -> new, as a regular expression; whole words, whatever their case
WORDS = {
    **{re.escape(old): new for old, new in RETIRED.items() if old != "apogee"},  # "apogee" is still an event and a trigger
    "speaks? up": "no cautions raised",
    "share of the flights below": "quantile",
    "how well the quantiles are known": "confidence intervals of the quantiles",
    "hold one more flight": "prediction ellipse",
    "when it was done": "already open",
    "write such as": "write, for example,",
    "a threshold of our own": "project threshold",
    "for people": "user-facing",
    "what people read": "user-facing",
    "(for|is) what is none": "anything else",
    "a mission that is none": "what is not a mission",
    "of one's own": "custom",
    "nothing to let go of": "say what the method does",
    "attitude loops can bear": "stability margins",
    "adds flights until a verdict": "fix the number first",
    "what drives them": "main drivers",
    "(one|once|twice)( [a-z]+)? a (core|flight|tick|variant|row)": "per",
    "way of all fins": "total fin travel",
    "never lit": "never ignited",
    "is lit while": "is ignited",
    "parting": "separation",
    "bridge between": "interpolated",
    "goal minus truth": "commanded minus true",
    "not enough flights": "undecided",
    "if left out": "by default",
}


def _texts():
    """Yield (place, text) of everything that people read: of a notebook the sources of its cells, not what they printed."""
    for folder, pattern in (("src/sixdof", "*.py"), ("configs", "*.toml")):
        for path in sorted((ROOT / folder).rglob(pattern)):
            if "core" not in path.relative_to(ROOT).parts:  # the kernel's own variables and comments, which nobody reads in a result
                yield path.relative_to(ROOT).as_posix(), path.read_text()
    for name in ("README.md", "DEVELOPERS.md"):
        yield name, (ROOT / name).read_text()
    for path in sorted((ROOT / "notebooks").glob("*.ipynb")):
        cells = json.loads(path.read_text())["cells"]
        yield path.relative_to(ROOT).as_posix(), "\n".join("".join(cell["source"]) for cell in cells)


TEXTS = [(place, text) for place, text in _texts() if place not in ANSWERING]


@pytest.mark.parametrize("old", WORDS)
def test_words__a_retired_one_stands_nowhere(old):
    pattern = re.compile(rf"\b({old})\b", re.IGNORECASE)
    found = {place: match[0] for place, text in TEXTS if (match := pattern.search(text))}
    assert not found, f'write "{WORDS[old]}": {found}'


def test_words__the_pattern_finds_what_it_is_for():
    assert re.search(rf"\b({'write such as'})\b", 'write such as "300 m"') and not re.search(r"\b(max_speed)\b", "airspeed_max")
