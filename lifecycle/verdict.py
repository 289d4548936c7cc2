"""The recommendation of a retrofit brief and its condition, in words."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from lifecycle.drivers import Driver, Input, turning_point

RETROFIT, KEEP, NOT_ENOUGH = "retrofit", "do not retrofit", "not enough data"

# Fewer heat sink runs say too little of a type's wear to spend money on; between the two chances the answer hangs
# on the inputs, and if measured wear alone can turn it, more readings come first.
FEWEST_RUNS: Final = 5
SURE: Final = (0.2, 0.8)


@dataclass(frozen=True)
class Evidence:
    """
    What a recommendation rests on.

    ``npv`` and ``yearly`` (the same as a level amount over ``years``) at the values as entered, ``chance`` of having
    paid back; ``ratio`` the swing of the wear of the proposed over the legacy type; ``runs`` behind each type's wear;
    ``compared`` whether the two flew side by side.
    """

    npv: float
    chance: float
    yearly: float
    years: int
    converts: bool
    inputs: tuple[Input, ...]
    drivers: tuple[Driver, ...]
    ratio: Driver
    runs: tuple[int, int]
    types: tuple[str, str]
    compared: bool


@dataclass(frozen=True)
class Verdict:
    """One of "retrofit", "do not retrofit", "not enough data", and on what condition."""

    recommendation: str
    condition: str


def verdict(evidence: Evidence, *, currency: str) -> Verdict:
    """
    Recommend, and say what would change the answer.

    Parameters
    ----------
    evidence : Evidence
        Figures of the brief.
    currency : str
        Of the money.

    Returns
    -------
    Verdict
        "not enough data" where a type has fewer than 5 runs behind its wear, where the types share no flying, or where
        the chance of paying back lies between 0.2 and 0.8 and the measured wear ratio alone turns the result within
        its 80 % interval; else "retrofit" where the net present value is above zero and paying back is more likely
        than not.
    """
    thin = [
        f"{name} has {count} heat sink runs with readings, at least {FEWEST_RUNS} are wanted"
        for name, count in zip(evidence.types, evidence.runs, strict=True)
        if count < FEWEST_RUNS
    ]
    if thin:
        return Verdict(NOT_ENOUGH, f"{'; '.join(thin)}. Figures below stand on them.")
    if not evidence.compared:
        old, new = evidence.types
        return Verdict(
            NOT_ENOUGH,
            f"{new} has not flown beside {old}: no aircraft type, base, weight variant and position group in common. "
            "Their mean rates may differ by where they fly.",
        )
    ratio_value = next(one.value for one in evidence.inputs if one.name == evidence.ratio.name)
    turn = turning_point(evidence.ratio, ratio_value, evidence.npv)
    if turn is not None and SURE[0] < evidence.chance < SURE[1]:
        return Verdict(NOT_ENOUGH, _measure_first(evidence, turn))
    if not evidence.converts:
        return Verdict(
            KEEP, "No aircraft can be converted before it retires within the slots and the budget."
        )
    money = f"{abs(evidence.yearly):,.0f} {currency} a year over {evidence.years} years"
    if evidence.npv > 0 and evidence.chance >= 0.5:
        return Verdict(RETROFIT, f"Worth {money}. {_turns(evidence, 'Holds')}")
    return Verdict(KEEP, f"Short by {money}. {_turns(evidence, 'Stands')}")


def _measure_first(evidence: Evidence, turn: float) -> str:
    ratio = evidence.ratio
    return (
        f"The {ratio.name} is {ratio.low:.2f} to {ratio.high:.2f} (8 in 10); the answer turns at "
        f"{_figure(turn)}. More readings of both types settle it."
    )


def _turns(evidence: Evidence, stands: str) -> str:
    values = {one.name: one.value for one in evidence.inputs}
    for driver in evidence.drivers:
        turn = turning_point(driver, values[driver.name], evidence.npv)
        if turn is not None:
            way = "below" if turn > values[driver.name] else "above"
            return f"{stands} as long as {driver.name} stays {way} {_figure(turn)}."
    return f"{stands} over the range of every single input."


def _figure(value: float) -> str:
    """Three digits, without an exponent."""
    digits = max(2 - int(np.floor(np.log10(abs(value)))), 0) if value else 0
    return f"{value:,.{digits}f}"
