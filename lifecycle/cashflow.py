"""Yearly cash of keeping one brake type or changing to another, for one set of inputs or many draws at once."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
import numpy.typing as npt

from lifecycle.assumptions import Assumption, AssumptionSet
from lifecycle.elements import Number, Use
from lifecycle.fleetplan import YearTables
from lifecycle.payback import npv
from lifecycle.pricing import price
from lifecycle.terms import Terms

FloatArray = npt.NDArray[np.float64]

# Elements that renewing heat sinks consists of: the first life of a new brake comes with it.
RENEWAL: Final = ("overhaul", "procurement")


@dataclass(frozen=True)
class Case:
    """
    A retrofit as a question.

    ``legacy`` and ``proposed`` are the uses of both types on the aircraft concerned, ``life`` the landings of a heat
    sink of the proposed type at the rate best known.
    """

    legacy: Sequence[Use]
    proposed: Sequence[Use]
    life: float
    assumptions: AssumptionSet
    terms: Terms


@dataclass(frozen=True)
class Sample:
    """
    Values of the uncertain inputs in ``size`` draws.

    ``settings`` stand in for assumptions; the other three multiply the wear of both types, the wear of the proposed
    over the legacy type, and landings.
    """

    size: int = 1
    settings: Mapping[Assumption, Number] = field(default_factory=dict)
    wear: Number = 1.0
    wear_ratio: Number = 1.0
    landings: Number = 1.0

    def of(self, found: Mapping[str, Assumption], name: str, otherwise: float = 0.0) -> FloatArray:
        """One assumption as a column of draws, or what holds where nobody entered it."""
        item = found.get(name)
        return self.column(otherwise if item is None else self.settings.get(item, item.value))

    def column(self, value: Number) -> FloatArray:
        """A number or array of draws as an array of shape (size, 1)."""
        return np.broadcast_to(np.asarray(value, dtype=np.float64), (self.size,))[:, None]


@dataclass(frozen=True)
class Flows:
    """Money of year 0 (now) to H: arrays of shape (n, H + 1); the discount rate of each draw: shape (n,)."""

    current: FloatArray
    operating: FloatArray
    one_off: FloatArray
    rate: FloatArray

    @property
    def net(self) -> FloatArray:
        """Current less proposed (operating and one-off)."""
        return np.asarray(self.current - self.operating - self.one_off)

    @property
    def worth(self) -> FloatArray:
        """Net present value of each draw, shape (n,)."""
        return npv(self.rate, self.net)


def flows(case: Case, tables: YearTables, sample: Sample) -> Flows:
    """
    Yearly cash of both sides under one plan.

    Parameters
    ----------
    case : Case
        Uses, assumptions.
    tables : YearTables
        The plan added up by year.
    sample : Sample
        One value or many draws of each uncertain input.

    Returns
    -------
    Flows
        ``current`` is the legacy type kept; ``operating`` and ``one_off`` are the plan.

    Notes
    -----
    Operating money falls at the end of the year flown, one-off money at the start of the year of conversion, what is
    paid once now. Landings cost what `lifecycle.elements` says, by wear, with two exceptions: the first heat sink
    life of a new brake came with the kit, so that its renewal is charged only beyond it; and life left on legacy
    brakes that no legacy aircraft uses up any more is scrapped, at its renewal cost. Brakes removed with wear left
    serve the aircraft not yet converted. Fuel grows by fuel_escalation from the first year on, flying by
    landings_growth from the second.

    References
    ----------
    10 CFR 436.14 to 436.19 (end-of-year flows, real escalation of fuel).
    """
    years = np.arange(1, len(tables.keep) + 1)
    once = case.terms.once
    growth = (1.0 + sample.of(once, "landings_growth")) / (1.0 + _base(once, "landings_growth"))
    flying = sample.column(sample.landings) * growth ** (years - 1)
    fuel = (1.0 + sample.of(once, "fuel_escalation")) ** years
    legacy = _per_landing(case.legacy, case, sample, sample.wear)
    proposed = _per_landing(case.proposed, case, sample, sample.wear * sample.wear_ratio)
    old = legacy.rest + legacy.renewal + legacy.fuel * fuel
    new = proposed.rest + proposed.fuel * fuel
    beyond = _beyond(tables, flying, case.life / sample.column(sample.wear * sample.wear_ratio))
    operating = tables.old * flying * old + tables.new * flying * new + beyond * proposed.renewal
    return Flows(
        current=_from_year_one(tables.keep * flying * old),
        operating=_from_year_one(operating),
        one_off=_one_off(case, tables, sample, legacy.renewal, flying),
        rate=sample.of(once, "discount_rate")[:, 0],
    )


@dataclass(frozen=True)
class _PerLanding:
    """Cost of one brake and landing: renewing heat sinks, fuel, the rest; columns of draws."""

    renewal: FloatArray
    fuel: FloatArray
    rest: FloatArray


def _per_landing(uses: Sequence[Use], case: Case, sample: Sample, wear: Number) -> _PerLanding:
    priced = price(uses, case.assumptions, sample.settings, runs_factor=wear)
    renewal = sum((priced.elements.get(name, 0.0) for name in RENEWAL), 0.0)
    fuel = priced.elements.get("fuel", 0.0)
    return _PerLanding(*(sample.column(part) for part in (renewal, fuel, priced.total - renewal - fuel)))


def _base(found: Mapping[str, Assumption], name: str) -> float:
    return found[name].value if name in found else 0.0


def _from_year_one(money: FloatArray) -> FloatArray:
    return np.pad(money, ((0, 0), (1, 0)))


def _beyond(tables: YearTables, flying: FloatArray, life: FloatArray) -> FloatArray:
    """Landings times brakes past the first heat sink life in each year; the table is read at each draw's life."""
    flown = np.cumsum(np.broadcast_to(tables.new, flying.shape) * flying, axis=1)
    planned = np.cumsum(tables.new)
    factor = np.where(planned > 0, flown / np.where(planned > 0, planned, 1.0), 1.0)
    summed = [
        factor[:, year] * np.interp(life[:, 0] / factor[:, year], tables.lives, tables.beyond[:, year])
        for year in range(len(planned))
    ]
    return np.diff(np.stack(summed, axis=1), axis=1, prepend=0.0)


def _one_off(
    case: Case, tables: YearTables, sample: Sample, renewal: FloatArray, flying: FloatArray
) -> FloatArray:
    money = np.zeros((sample.size, len(tables.keep) + 1))
    if tables.last < 0:
        return money
    money[:, :1] += _once(case.terms.once, sample)
    for number, place in enumerate(tables.places):
        found = case.terms.per_place[place]
        money[:, :-1] += tables.converted[:, number] * conversion_cost(found, sample)
        money[:, :-1] += tables.brakes[:, number] * sample.of(found, "disposal_cost")
    used_up = np.sum(tables.old * flying, axis=1, keepdims=True)
    scrapped = np.maximum(tables.life_left / sample.column(sample.wear) - used_up, 0.0)
    money[:, tables.last : tables.last + 1] += scrapped * renewal
    return money


def _once(once: Mapping[str, Assumption], sample: Sample) -> FloatArray:
    paid = sum(sample.of(once, name) for name in ("engineering_cost", "tooling_cost", "training_cost"))
    return np.asarray(paid + sample.of(once, "initial_spares") * sample.of(once, "new_brake_cost"))


def conversion_cost(found: Mapping[str, Assumption], sample: Sample) -> FloatArray:
    """
    What converting one aircraft costs in each draw: kit, labour, downtime.

    Parameters
    ----------
    found : mapping of str to Assumption
        Those of its place.
    sample : Sample
        The draws.

    Returns
    -------
    array of shape (size, 1)
        Money.
    """
    labour = sample.of(found, "kit_hours") * sample.of(found, "labour_rate")
    return np.asarray(sample.of(found, "kit_cost") + labour + sample.of(found, "downtime_cost"))
