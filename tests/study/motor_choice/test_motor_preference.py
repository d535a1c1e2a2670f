"""The grammar of preferences, and the order that they make."""

from __future__ import annotations

import numpy as np
import pytest

from sixdof.study.motor_choice.deciding import FAILS, MEETS, OPEN, best_of, standing_of
from sixdof.study.motor_choice.preference import ranked, wishes_of
from sixdof.study.variants.judging import VERDICTS

NUMBERS = ["price", "total_impulse"]


def test_preference__reads_outcomes_numbers_and_landings():
    high, cheap, near = wishes_of("most apogee_height then least price then least landing distance of drayhorse", NUMBERS)
    assert (high.sign, str(high.subject)) == (1, "apogee_height")
    assert (cheap.sign, cheap.what, cheap.subject) == (-1, "price", None)
    assert near.subject.place == (0.0, 0.0) and near.subject.thing == "drayhorse"
    assert wishes_of(None, NUMBERS) == []


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("cheap", "begins with neither most nor least"),
        ("least prise", 'prefer "least prise": there is no outcome.*did you mean "price"'),
        ("most apogee_height then", "begins with neither"),
        ("least status", "is a flag"),
        (3, "prefer must be text, not 3"),
    ],
)
def test_preference__one_sentence_on_what_is_wrong(text, said):
    with pytest.raises(ValueError, match=said) as caught:
        wishes_of(text, NUMBERS)
    assert len(str(caught.value).splitlines()) == 1


def test_preference__of_a_column_of_text_says_so():
    with pytest.raises(ValueError, match='"price" is text for some motor'):
        wishes_of("least price", ["total_impulse"], {"price"})


def test_ranked__a_later_wish_decides_where_an_earlier_is_equal():
    wishes = wishes_of("least price then most total_impulse", NUMBERS)
    values = np.array([[61.0, 690.0], [48.0, 520.0], [48.0, 640.0], [np.nan, 999.0]])
    assert ranked(values, wishes) == [2, 1, 0, 3]


def test_best__is_the_preferred_of_those_that_meet_all():
    wishes = wishes_of("most total_impulse", NUMBERS)
    values = np.array([[900.0], [500.0], [600.0], [800.0]])
    assert best_of([FAILS, MEETS, MEETS, OPEN], values, wishes) == 2
    assert best_of([FAILS, FAILS, OPEN, OPEN], values, wishes) == 3  # none meets all: the best of those that fail none
    assert best_of([FAILS, FAILS, FAILS, FAILS], values, wishes) is None
    assert best_of([FAILS, MEETS, MEETS, OPEN], values, []) is None
    assert best_of([FAILS, MEETS, OPEN, OPEN], values, []) == 1


@pytest.mark.parametrize(("words", "standing"), [(("pass", "pass"), MEETS), (("pass", "undecided"), OPEN), (("undecided", "fail", "pass"), FAILS), ((), MEETS)])
def test_standing__is_the_worst_verdict(words, standing):
    assert standing_of(np.array([VERDICTS.index(word) for word in words])) == standing
