"""
How long a brake lasts: first passage of its wear path at the limit.

Wear left at the last reading D0 ~ N(D, sw^2), rate m ~ N(mu, V) with Cov(D0, m) = -c, path noise s per root landing.
Wear consumed after n landings against what was left has the variance Q(n) = V n^2 + 2 c n + s^2 n + sw^2, and

    z1 = (D - mu n) / sqrt(Q),  D+ = E[D0 | D0 > 0],  z2 = 2 D+ sqrt(Q) / (s^2 n) - z1
    F(n) = Phi(-z1) + exp(-z1^2 / 2) erfcx(z2 / sqrt 2) / 2

Phi(-z1) is the chance to be past the limit at n; the rest is the chance to have been past it and to be back.
"""

from dataclasses import dataclass, fields
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.special import erfcx, log_ndtr, ndtr, ndtri

Floats = npt.NDArray[np.float64]

NEVER_LANDINGS: Final = 1e7
SOONEST_LANDINGS: Final = 1e-3
SPENT_SCORE: Final = 6.0  # a chance of one in a thousand million to be still fitted: taken as due
STEPS_MAX: Final = 80
TOLERANCE: Final = 1e-7  # of the last step, in log landings


def first_passage_cdf(  # noqa: PLR0913 - one argument a symbol of the law
    landings: npt.ArrayLike,
    *,
    remaining_mm: npt.ArrayLike,
    rate: npt.ArrayLike,
    rate_var: npt.ArrayLike,
    path_sd: npt.ArrayLike,
    start_var: npt.ArrayLike = 0.0,
    start_cov: npt.ArrayLike = 0.0,
) -> Floats:
    """
    Chance that the wear limit is reached within a number of braked landings.

    Parameters
    ----------
    landings : array, any shape that broadcasts with the others
        Braked landings since the state was known, 0 or more.
    remaining_mm : array
        Mean wear left to the limit, mm (D); below 0 where the estimate is past the limit.
    rate, rate_var : array
        Mean and variance of the wear rate, mm a landing and its square (mu, V).
    path_sd : array
        Path noise, mm per root landing (s); 0 where wear is a straight line.
    start_var, start_cov : array
        Variance of the wear state, mm squared (sw^2), and its covariance with the rate, mm^2 a landing (c).

    Returns
    -------
    array
        Probability, between 0 and 1.

    Notes
    -----
    Exact for a known state (sw = 0). With an uncertain state the return term is taken at D+; against quadrature the
    error is at most 0.03, where what is left is less than its own standard deviation, and 2e-6 at ordinary values.
    erfcx keeps the textbook exp(2 mu D / s^2) Phi(...) from overflowing. Without path noise the return term is 0.

    References
    ----------
    Chhikara and Folks 1989, The Inverse Gaussian Distribution (V = 0, sw = 0); Peng and Tseng 2009, IEEE Trans.
    Reliability 58(3) (random rate); both recalled.
    """
    values = (landings, remaining_mm, rate, rate_var, path_sd, start_var, start_cov)
    past, _, back = _past_ahead_back(*(np.asarray(value, dtype=float) for value in values))
    return np.asarray(np.minimum(past + back, 1.0))


def _past_ahead_back(  # noqa: PLR0913, PLR0917 - one argument a symbol of the law
    n: Floats, left: Floats, mu: Floats, rate_var: Floats, s: Floats, start_var: Floats, start_cov: Floats
) -> tuple[Floats, Floats, Floats]:
    """Chances to be past the limit at n, ahead of it, and ahead after having been past it."""
    sd = np.sqrt(rate_var * n**2 + (2 * start_cov + s**2) * n + start_var)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        z1 = (left - mu * n) / sd
        z2 = 2 * _left_if_above(left, start_var) * sd / (s**2 * n) - z1
        back = np.exp(-(z1**2) / 2) * erfcx(np.maximum(z2, 0.0) / np.sqrt(2)) / 2
        if np.any(z2 < 0):  # a rate far below 0: the same product, arranged so that it cannot overflow
            back = np.where(z2 < 0, np.exp((z2**2 - z1**2) / 2) * ndtr(-z2), back)
    # With nothing uncertain wear is a straight line; a known state past the limit stays past it.
    z1 = np.where(sd > 0, z1, np.where(mu * n >= left, -np.inf, np.inf))
    z1 = np.where((left <= 0) & (start_var <= 0), -np.inf, z1)
    return ndtr(-z1), ndtr(z1), np.where((s > 0) & (n > 0) & np.isfinite(z1), back, 0.0)


def _left_if_above(left: Floats, start_var: Floats) -> Floats:
    """D+ = E[D0 | D0 > 0] for D0 ~ N(left, start_var): the mean of a truncated normal."""
    left, sd = np.broadcast_arrays(left, np.sqrt(start_var))
    above = np.array(np.maximum(left, 0.0))
    near = (sd > 0) & (left < 8 * sd)  # beyond, the two differ by less than 1e-14
    x = left[near] / sd[near]
    mills = np.exp(-(x**2) / 2 - log_ndtr(x)) / np.sqrt(2 * np.pi)
    above[near] = sd[near] * np.maximum(x + mills, 0.0)
    return above


@dataclass(frozen=True)
class Passage:
    """
    Law of the landings to the limit of many brakes, each given that it is still fitted.

    Attributes
    ----------
    remaining_mm, rate, rate_var, path_sd, start_var, start_cov : array of shape (n_brakes,)
        As in `first_passage_cdf`, at the last usable reading.
    flown : array of shape (n_brakes,)
        Braked landings since that reading, through which the brake stayed on; forecasts count from here.
    dof : array of shape (n_brakes,)
        Degrees of freedom behind the variances; infinite where they are known.

    Notes
    -----
    Given that the limit was not reached in the landings flown,
    F(n | flown) = (F(flown + n) - F(flown)) / (1 - F(flown)).
    With few degrees of freedom the normal score z of F is read on Student's t, F_t = T_dof(z), in Wallace's closed
    form: his error in the score is below 0.02 from 3 degrees of freedom on, at scores up to 4.

    References
    ----------
    Wallace 1959, Bounds on normal approximations to Student's and the chi-square distributions, Ann. Math. Stat. 30
    (recalled).
    """

    remaining_mm: Floats
    rate: Floats
    rate_var: Floats
    path_sd: Floats
    start_var: Floats
    start_cov: Floats
    flown: Floats
    dof: Floats

    def at(self, index: npt.NDArray[np.intp] | npt.NDArray[np.bool]) -> "Passage":
        """
        The law of some of the brakes.

        Parameters
        ----------
        index : array of int or bool
            Which brakes.

        Returns
        -------
        Passage
            Their law, in that order.
        """
        return Passage(**{f.name: getattr(self, f.name)[index] for f in fields(self)})

    def passed(self) -> Floats:
        """
        Chance that the limit was reached in the landings flown, before it is known that the brake is still fitted.

        Returns
        -------
        array of shape (n_brakes,)
            F(flown).
        """
        return np.asarray(ndtr(_narrowed(_score(self, self.flown), self.dof)))

    def chance(self, landings: npt.ArrayLike) -> Floats:
        """
        Chance that the limit is reached within these landings from now.

        Parameters
        ----------
        landings : array that broadcasts with (n_brakes,)
            Braked landings from now, 0 or more.

        Returns
        -------
        array
            Probability; 1 where the brake can hardly be fitted any more.
        """
        now = _score(self, self.flown)
        fitted = ndtr(-_narrowed(now, self.dof))
        still = ndtr(-_narrowed(_score(self, self.flown + np.asarray(landings)), self.dof))
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.where(now < SPENT_SCORE, np.clip(1 - still / fitted, 0.0, 1.0), 1.0)

    def landings(self, level: npt.ArrayLike) -> Floats:
        """
        Landings from now by which the chance of having reached the limit is `level`.

        Parameters
        ----------
        level : array that broadcasts with (n_brakes,)
            Probability, above 0 and below 1.

        Returns
        -------
        array
            Braked landings; 0 where the brake can hardly be fitted any more, infinite where the level is never reached.

        Raises
        ------
        ValueError
            If a level is not between 0 and 1.
        """
        level = np.asarray(level, dtype=float)
        if np.any((level <= 0) | (level >= 1)):
            raise ValueError(f"a level must lie between 0 and 1, exclusive; found {level}")
        now = _score(self, self.flown)
        fitted = ndtr(-_narrowed(now, self.dof))
        wanted = _widened(-ndtri((1 - level) * fitted), self.dof)
        going = np.broadcast_to(now < SPENT_SCORE, wanted.shape).ravel()
        everyone = Passage(
            *(np.broadcast_to(getattr(self, f.name), wanted.shape).ravel() for f in fields(self))
        )
        from_now = np.zeros(wanted.size)
        from_now[going] = _solve(everyone.at(going), wanted.ravel()[going]) - everyone.flown[going]
        return np.maximum(from_now, 0.0).reshape(wanted.shape)

    def left_mm(
        self, level: npt.ArrayLike, landings: npt.ArrayLike, *, landings_var: npt.ArrayLike = 0.0
    ) -> Floats:
        """
        Wear left to the limit after some landings from now, not given that the brake stays on until then.

        Parameters
        ----------
        level : array that broadcasts with (n_brakes,)
            Share of outcomes with less left, above 0 and below 1.
        landings : array that broadcasts with (n_brakes,)
            Braked landings from now, 0 or more.
        landings_var : array
            Variance of those landings, where they are a forecast themselves.

        Returns
        -------
        array
            Millimetres; below 0 past the limit.
        """
        total = self.flown + np.asarray(landings)
        variance = self.rate_var * total**2 + (2 * self.start_cov + self.path_sd**2) * total + self.start_var
        spread = np.sqrt(variance + self.rate**2 * np.asarray(landings_var))
        score = _widened(ndtri(np.asarray(level, dtype=float)), self.dof)
        return np.asarray(self.remaining_mm - self.rate * total + score * spread)


def _score(law: Passage, total: Floats) -> Floats:
    """Normal score of the law at landings since the reading, from whichever tail is the smaller."""
    past, ahead, back = _past_ahead_back(
        np.asarray(total, dtype=float),
        law.remaining_mm,
        law.rate,
        law.rate_var,
        law.path_sd,
        law.start_var,
        law.start_cov,
    )
    reached = past + back
    return np.asarray(np.where(reached < 0.5, ndtri(reached), -ndtri(np.maximum(ahead - back, 0.0))))


def _narrowed(score: Floats, dof: Floats) -> Floats:
    """Normal score of the probability that Student's t with these degrees of freedom gives to a score (Wallace)."""
    nu = np.minimum(dof, 1e9)
    return np.asarray(np.sign(score) * (8 * nu + 1) / (8 * nu + 3) * np.sqrt(nu * np.log1p(score**2 / nu)))


def _widened(score: Floats, dof: Floats) -> Floats:
    """Inverse of `_narrowed`."""
    nu = np.minimum(dof, 1e9)
    with np.errstate(over="ignore"):
        stretched = nu * np.expm1((score * (8 * nu + 3) / (8 * nu + 1)) ** 2 / nu)
    return np.asarray(np.sign(score) * np.sqrt(stretched))


def _solve(law: Passage, wanted: Floats) -> Floats:
    """
    Landings since the reading at which the score is the wanted one: secant on log landings, halved when it strays.

    On that scale the score is nearly a straight line, so a handful of steps is enough.
    """
    answer = np.full(wanted.shape, np.inf)
    active = np.flatnonzero(_score(law, np.full_like(wanted, NEVER_LANDINGS)) >= wanted)
    law, wanted = law.at(active), wanted[active]
    low = np.log(np.maximum(law.flown, SOONEST_LANDINGS))
    high = np.full_like(low, np.log(NEVER_LANDINGS))
    now = np.clip(np.log(_first_guess(law, wanted)), low, high)
    before = now + 0.01
    miss_before = _score(law, np.exp(before)) - wanted
    for _ in range(STEPS_MAX):
        miss = _score(law, np.exp(now)) - wanted
        low, high = np.where(miss < 0, now, low), np.where(miss < 0, high, now)
        with np.errstate(divide="ignore", invalid="ignore"):
            step = now - miss * (now - before) / (miss - miss_before)
        after = np.where((step > low) & (step < high), step, (low + high) / 2)
        answer[active] = np.exp(after)
        going = np.flatnonzero(np.abs(after - now) > TOLERANCE)
        if not going.size:
            break
        active, wanted, law = active[going], wanted[going], law.at(going)
        low, high = low[going], high[going]
        before, miss_before, now = now[going], miss[going], after[going]
    return answer


def _first_guess(law: Passage, score: Floats) -> Floats:
    """Root of (D - mu n)^2 = score^2 Q(n) on the side of the score: the law without its return term."""
    a = law.rate**2 - score**2 * law.rate_var
    b = law.remaining_mm * law.rate + score**2 * (law.path_sd**2 / 2 + law.start_cov)
    c = law.remaining_mm**2 - score**2 * law.start_var
    with np.errstate(divide="ignore", invalid="ignore"):
        root = (b + np.sign(score) * np.sqrt(np.maximum(b**2 - a * c, 0.0))) / a
    return np.where(np.isfinite(root) & (root > 0), root, 1.0)
