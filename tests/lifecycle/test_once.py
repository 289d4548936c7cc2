"""Results of a study are worked out once."""

from dataclasses import dataclass, field

import pytest

from lifecycle.once import MOST_KEPT, once


@dataclass(frozen=True)
class Asked:
    told: dict = field(default_factory=dict)
    worked: list = field(default_factory=list)


@once
def times(of, number, *, by=2):
    if number < 0:
        of.worked.append("refused")
        raise ValueError(number)
    of.worked.append((number, by))
    return [number * by]


def test_the_same_question_has_the_same_object_and_another_its_own():
    one, other = Asked(), Asked()
    assert times(one, 3) is times(one, 3)
    assert times(one, 3, by=4) == [12]
    assert times(other, 3) == [6]
    assert (one.worked, other.worked) == ([(3, 2), (3, 4)], [(3, 2)])


def test_a_refusal_is_asked_again():
    one = Asked()
    for _ in range(2):
        with pytest.raises(ValueError, match="-1"):
            times(one, -1)
    assert one.worked == ["refused", "refused"]


def test_very_many_questions_fill_no_memory():
    one = Asked()
    for number in range(3 * MOST_KEPT):
        assert times(one, number) == [2 * number]
    assert len(one.told) <= MOST_KEPT
