"""The recommendation of a retrofit brief and its condition, in words."""

from dataclasses import dataclass
from typing import Final

from lifecycle.drivers import Driver, Input, turning_point

RETROFIT, KEEP, NOT_ENOUGH = "retrofit", "do not retrofit", "not enough data"

# Fewer heat sink runs say too little of a type's wear to spend money on; between the two chances the answer hangs
# on the inputs, and if measured wear alone can turn it, more readings come first.
FEWEST_RUNS: Final = 5
SURE: Final = (0.2, 0.8)
THIN: Final = "\N{NARROW NO-BREAK SPACE}"
FIRM: Final = "\N{NO-BREAK SPACE}"


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
    money = f"{amount(abs(evidence.yearly), currency)} a year over {evidence.years} years"
    if evidence.npv > 0 and evidence.chance >= 0.5:
        return Verdict(RETROFIT, f"Worth {money}. {_turns(evidence, 'Holds')}")
    return Verdict(KEEP, f"Short by {money}. {_turns(evidence, 'Stands')}")


def _measure_first(evidence: Evidence, turn: float) -> str:
    ratio = evidence.ratio
    return (
        f"The {ratio.name} is {figure(ratio.low)} to {figure(ratio.high)} (8 in 10); the answer turns at "
        f"{figure(turn)}. More readings of both types settle it."
    )


def _turns(evidence: Evidence, stands: str) -> str:
    """The condition of the widest driver that can turn the answer, which its own P10 or P90 then breaks."""
    inputs = {one.name: one for one in evidence.inputs}
    for driver in evidence.drivers:
        one = inputs[driver.name]
        turn = turning_point(driver, one.value, evidence.npv)
        if turn is not None:
            way, end, at_end = (
                ("below", "P90", driver.high) if turn > one.value else ("above", "P10", driver.low)
            )
            return (
                f"{stands} as long as the {_named(one)} stays {way} {_in_unit(turn, one)}; "
                f"its own {end}, {_in_unit(at_end, one)}, already breaks that."
            )
    return f"{stands} over the range of every single input."


def _named(one: Input) -> str:
    """An input in words: "overhaul cost of BT-2 on twin at Home"; of what was measured without its unit."""
    if one.item is None:
        return one.name.partition(", ")[0]
    item = one.item
    scope = (("of", item.brake_type), ("on", item.aircraft_type), ("at", item.base))
    return " ".join((item.name.replace("_", " "), *(f"{where} {which}" for where, which in scope if which)))


def _in_unit(value: float, one: Input) -> str:
    if one.item is None:
        unit = one.name.partition(", ")[2]
        return f"{figure(value)} {unit}".strip()
    money, unit = one.item.unit[:3], one.item.unit[3:]
    if money.isalpha() and money.isupper():
        return f"{amount(value, money)}{unit}"
    return figure(value) if one.item.unit == "1" else f"{figure(value)} {one.item.unit}"


def amount(value: float, currency: str) -> str:
    """
    Money in words.

    Parameters
    ----------
    value : float
        Of it.
    currency : str
        Put in front.

    Returns
    -------
    str
        To three significant digits, with a space that does not break.
    """
    near = float(f"{value:.3g}")
    told = f"{figure(near / 1e6)}{FIRM}million" if abs(near) >= 1e6 else figure(near)
    return f"{currency}{FIRM}{told}".strip()


def figure(value: float) -> str:
    """
    A number in words.

    Parameters
    ----------
    value : float
        Of any size.

    Returns
    -------
    str
        To three significant digits, without an exponent, thousands apart by a thin space.
    """
    # Through the rounded value: 9.996 has the digits of 10.0.
    near, power = float(f"{value:.3g}"), int(f"{value:.2e}".partition("e")[2])
    text = f"{abs(near):,.{max(2 - power, 0)}f}".replace(",", THIN)
    return f"\N{MINUS SIGN}{text}" if near < 0 else text
