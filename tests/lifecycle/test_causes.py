"""Lives by cause and type: recovered truth under competing risks, pooling, and the table of all causes."""

import numpy as np
import pytest

from lifecycle.causes import fit_causes, hazards_of
from lifecycle.stays_watched import Watched


def watched(rng, types, count, *, worn_at=1500.0):
    """
    Invented brakes: each cause of a type strikes by its own Weibull law, wear takes those that outlast all others.

    A third of them are watched from a random age on only.
    """
    columns = {"brake_type": [], "reason": [], "entered": [], "left": []}
    for name, causes in types.items():
        ends = np.column_stack([scale * rng.weibull(shape, count) for shape, scale in causes.values()])
        left = np.column_stack([ends, rng.normal(worn_at, 150, count)])
        first, at = left.min(axis=1), left.argmin(axis=1)
        entered = np.where(rng.random(count) < 1 / 3, rng.uniform(0, 700, count), 0.0)
        seen = first > entered
        columns["brake_type"].append(np.full(seen.sum(), name))
        columns["reason"].append(np.array([*causes, "worn"])[at[seen]])
        columns["entered"].append(entered[seen])
        columns["left"].append(first[seen])
    made = {name: np.concatenate(parts) for name, parts in columns.items()}
    return Watched(**made, landings=made["left"] - made["entered"])


TRUTH = {"A": {"leak": (0.8, 9000.0), "vibration": (2.5, 4000.0)}, "B": {"leak": (0.8, 18_000.0)}}


def test_each_cause_is_recovered_though_others_and_wear_come_first():
    causes = {
        (each.brake_type, each.cause): each.life
        for each in fit_causes(watched(np.random.default_rng(1), TRUTH, 20_000))
    }
    for (name, cause), (shape, scale) in {
        ("A", "leak"): TRUTH["A"]["leak"],
        ("A", "vibration"): TRUTH["A"]["vibration"],
        ("B", "leak"): TRUTH["B"]["leak"],
    }.items():
        life = causes[name, cause]
        assert life.shape == pytest.approx(shape, rel=0.06)
        assert float(life.cumulative(1000)) == pytest.approx((1000 / scale) ** shape, rel=0.06)
    assert float(causes["B", "vibration"].cumulative(1500)) < 1e-3


def test_a_thin_type_takes_the_shape_and_rate_of_the_others():
    rng = np.random.default_rng(2)
    many = watched(rng, {"A": {"vibration": (2.5, 4000.0)}}, 20_000)
    few = watched(rng, {"B": {"vibration": (2.5, 4000.0)}}, 6)
    both = Watched(*(np.concatenate([getattr(many, name), getattr(few, name)]) for name in vars(many)))
    thick, thin = (each.life for each in fit_causes(both))
    assert thin.ended <= 1
    assert thin.shape == pytest.approx(2.5, rel=0.1)
    assert float(thin.cumulative(1000)) == pytest.approx(float(thick.cumulative(1000)), rel=0.25)


def test_a_single_removal_gives_a_life_that_is_nearly_exponential():
    one = watched(np.random.default_rng(5), {"A": {"leak": (1.0, 1e9)}}, 40)
    reason = one.reason.copy()
    reason[0] = "leak"
    (found,) = fit_causes(Watched(one.brake_type, reason, one.entered, one.left, one.landings))
    assert 0.7 < found.life.shape < 1.5
    assert found.life.shape_low < 1 < found.life.shape_high


def test_causes_nobody_saw_add_nothing():
    assert fit_causes(watched(np.random.default_rng(5), {"A": {"leak": (1.0, 1e12)}}, 40)) == ()
    none = hazards_of((), ["A"], up_to=2000.0)
    assert none.at(0, [0.0, 500.0, 9000.0]).tolist() == [0.0, 0.0, 0.0]


def test_stays_of_unknown_age_count_in_no_shape():
    data = watched(np.random.default_rng(6), TRUTH, 500)
    odd = np.full(3, np.nan)
    more = Watched(
        np.append(data.brake_type, ["A"] * 3),
        np.append(data.reason, ["leak"] * 3),
        np.append(data.entered, odd),
        np.append(data.left, odd),
        np.append(data.landings, np.full(3, 100.0)),
    )
    assert fit_causes(more) == fit_causes(data)


def test_the_table_adds_up_the_causes_and_goes_on_beyond_its_end():
    causes = fit_causes(watched(np.random.default_rng(1), TRUTH, 3000))
    table = hazards_of(causes, ["A", "B", "C"], up_to=3000.0)
    ages = np.array([10.0, 333.0, 1500.0, 2999.0])
    wanted = sum(each.life.cumulative(ages) for each in causes if each.brake_type == "A")
    assert table.at(0, ages) == pytest.approx(wanted, rel=2e-3)
    assert table.at(2, ages).tolist() == [0.0] * 4
    assert table.at(np.array([0, 1]), 4000.0).shape == (2,)
    assert (np.diff(table.at(0, np.linspace(0, 6000, 50))) > 0).all()
