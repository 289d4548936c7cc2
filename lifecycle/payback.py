"""Public life-cycle-cost arithmetic: present value, discounted payback, savings-to-investment, adjusted return."""

import numpy as np
import numpy.typing as npt

from lifecycle.errors import BadAssumptionError

FloatArray = npt.NDArray[np.float64]


def present_value_factor(rate: npt.ArrayLike, years: npt.ArrayLike) -> FloatArray:
    """
    Single present value factor: what one unit of money in so many years is worth now.

    Parameters
    ----------
    rate : array_like
        Discount rate per year, a fraction above -1; negative real rates are legal.
    years : array_like
        Years from now; need not be whole. Broadcast against ``rate``.

    Returns
    -------
    array of float
        ``(1 + rate) ** -years``.

    Raises
    ------
    BadAssumptionError
        If a rate is not finite or not above -1.

    References
    ----------
    10 CFR 436.14 (discount factors); Fuller and Petersen 1996, NIST Handbook 135, section 3.
    """
    return np.asarray((1.0 + _checked(rate)) ** -np.asarray(years, dtype=np.float64))


def uniform_present_value_factor(rate: float, years: float) -> float:
    """
    Uniform present value factor: one unit of money at the end of each year, worth now.

    Parameters
    ----------
    rate : float
        Discount rate per year, a fraction above -1.
    years : float
        Number of years.

    Returns
    -------
    float
        ``(1 - (1 + rate) ** -years) / rate``, and ``years`` where the rate is zero.

    Raises
    ------
    BadAssumptionError
        If the rate is not finite or not above -1.

    References
    ----------
    10 CFR 436.14; NIST Handbook 135, section 3 (UPV).
    """
    growth = np.log1p(float(_checked(rate)))
    return float(years) if rate == 0.0 else float(-np.expm1(-years * growth) / rate)


def capital_recovery_factor(rate: float, years: float) -> float:
    """
    Level yearly amount that pays back one unit of money lent now.

    Parameters
    ----------
    rate : float
        Discount rate per year, a fraction above -1.
    years : float
        Number of years, above 0.

    Returns
    -------
    float
        The inverse of `uniform_present_value_factor`, A/P in engineering-economy tables.

    Raises
    ------
    BadAssumptionError
        If the rate is not finite or not above -1, or ``years`` is not above 0.
    """
    if years <= 0:
        raise BadAssumptionError(f"a level yearly amount over {years} years; wanted more than 0 years")
    return 1.0 / uniform_present_value_factor(rate, years)


def npv(rate: npt.ArrayLike, flows: npt.ArrayLike) -> FloatArray:
    """
    Net present value of yearly flows, the first now.

    Parameters
    ----------
    rate : array_like of shape (...)
        Discount rate per year, a fraction above -1; one, or one for each series.
    flows : array_like of shape (..., n_years + 1)
        Money of year 0 (now), 1, 2, ... (each at its year's end).

    Returns
    -------
    array of float, shape (...)
        ``sum over t of flows[..., t] / (1 + rate) ** t``.

    Raises
    ------
    BadAssumptionError
        If a rate is not finite or not above -1, or a flow is not finite.

    References
    ----------
    10 CFR 436.19 to 436.20; OMB Circular A-94, section 5.
    """
    return np.asarray(discounted(rate, flows).sum(axis=-1))


def discounted(rate: npt.ArrayLike, flows: npt.ArrayLike) -> FloatArray:
    """
    Each yearly flow at its worth now; parameters, shapes and errors as in `npv`.

    Returns
    -------
    array of float, shape (..., n_years + 1)
        ``flows[..., t] / (1 + rate) ** t``.
    """
    money = np.asarray(flows, dtype=np.float64)
    if not np.isfinite(money).all():
        raise BadAssumptionError("a yearly flow is not a finite number; wanted money for each year")
    return money * present_value_factor(np.asarray(rate)[..., np.newaxis], np.arange(money.shape[-1]))


def discounted_payback(rate: npt.ArrayLike, flows: npt.ArrayLike) -> FloatArray:
    """
    Years until the discounted flows have paid back, and stay paid back to the end.

    Parameters
    ----------
    rate : array_like of shape (...)
        Discount rate per year, a fraction above -1.
    flows : array_like of shape (..., n_years + 1)
        Net money of year 0 (now), 1, 2, ...

    Returns
    -------
    array of float, shape (...)
        Years; 0 where the running sum is never below zero, infinity where it ends below zero (it never pays
        back within the years given).

    Raises
    ------
    BadAssumptionError
        As in `npv`.

    Notes
    -----
    The last crossing counts, not the first: outlays may come in stages, and a payback that a later outlay
    undoes is none. Between two years the discounted flow is taken as even. With one outlay now and savings
    afterwards this is the discounted payback of NIST Handbook 135, section 6.5.
    """
    running = np.cumsum(discounted(rate, flows), axis=-1)
    years = running.shape[-1]
    owing = running < 0.0
    last = years - 1 - np.argmax(owing[..., ::-1], axis=-1)
    after = np.minimum(last + 1, years - 1)
    short = -np.take_along_axis(running, last[..., np.newaxis], axis=-1)[..., 0]
    beyond = np.take_along_axis(running, after[..., np.newaxis], axis=-1)[..., 0]
    with np.errstate(invalid="ignore", divide="ignore"):
        crossing = last + short / (short + beyond)
    paid = np.where(owing[..., -1], np.inf, crossing)
    return np.where(owing.any(axis=-1), paid, 0.0)


def savings_to_investment(savings: float, investment: float) -> float | None:
    """
    Savings-to-investment ratio.

    Parameters
    ----------
    savings : float
        Present value of the yearly savings.
    investment : float
        Present value of what is spent to get them, less salvage.

    Returns
    -------
    float or None
        Their ratio; None where nothing is spent (the ratio says nothing then).

    References
    ----------
    10 CFR 436.21.
    """
    return savings / investment if investment > 0 else None


def adjusted_rate_of_return(sir: float, rate: float, years: float) -> float | None:
    """
    Adjusted internal rate of return from the savings-to-investment ratio.

    Parameters
    ----------
    sir : float
        Savings-to-investment ratio.
    rate : float
        Discount rate per year, at which savings are taken to be reinvested; a fraction above -1.
    years : float
        Years of the study, above 0.

    Returns
    -------
    float or None
        ``(1 + rate) * sir ** (1 / years) - 1``; None where the ratio is not above zero.

    References
    ----------
    10 CFR 436.22; NIST Handbook 135, section 6.4.
    """
    if sir <= 0 or years <= 0:
        return None
    return float((1.0 + float(_checked(rate))) * sir ** (1.0 / years) - 1.0)


def _checked(rate: npt.ArrayLike) -> FloatArray:
    rates = np.asarray(rate, dtype=np.float64)
    if not (np.isfinite(rates) & (rates > -1.0)).all():
        raise BadAssumptionError(
            f"discount rate {rates.min()}; wanted a finite fraction above -1 (3 % is 0.03)"
        )
    return rates
