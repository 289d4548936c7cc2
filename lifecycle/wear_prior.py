"""Weak beliefs about wear that steady the fit of a small fleet and fade as runs are added."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from lifecycle.pathfilter import Floats


@dataclass(frozen=True)
class Penalty:
    """-2 log density of the variances, its slope in the spread (2 x 2) and in log sigma^2."""

    value: float
    slope: Floats
    by_log_sigma2: float


@dataclass(frozen=True)
class WearPrior:
    """
    What is believed before the readings, worth a few runs.

    Attributes
    ----------
    weight : float
        Further squared deviations that each variance counts as having been seen; 0 is no prior.
    rate_sd, path_sd, measurement_sd, start_sd : float
        Where they average: mm/landing, mm/sqrt(landing), mm, mm.
    rate, rate_scale : tuple of float
        Normal mean and standard deviation of each coefficient of the rate, mm/landing; an infinite standard
        deviation is no belief. Empty: no belief about any.
    reference_sd : float
        Measurement standard deviation at which the coefficients' beliefs are weighed, mm.

    Notes
    -----
    A variance v with mean square m adds weight (log v + m/v) to -2 log REML. The coefficients' beliefs are weighed at
    a fixed `reference_sd`, not at the sigma being estimated, so that the algebra stays linear.
    """

    weight: float = 0.0
    rate_sd: float = 0.0
    path_sd: float = 0.0
    measurement_sd: float = 0.0
    start_sd: float = 0.0
    rate: tuple[float, ...] = ()
    rate_scale: tuple[float, ...] = ()
    reference_sd: float = 0.0

    def precision(self, columns: int, has_start: bool) -> Floats:  # noqa: FBT001 (a column or none)
        """Prior precision of the coefficients over the measurement's: array of shape (has_start + columns,)."""
        precision = np.zeros(int(has_start) + columns, dtype=np.float64)
        if self.rate_scale:
            precision[int(has_start) :] = np.square(self.reference_sd / np.array(self.rate_scale))
        return precision

    def pull(self, columns: int, has_start: bool) -> Floats:  # noqa: FBT001 (a column or none)
        """Precision times mean, same shape."""
        mean = np.array(self.rate) if self.rate else np.zeros(columns)
        weight = self.precision(columns, has_start)
        weight[int(has_start) :] *= mean
        return weight

    def shifted(self, rate: Floats) -> "WearPrior":
        """The same beliefs about what is left after these coefficients (n_columns,) are taken off the readings."""
        return replace(self, rate=tuple((np.array(self.rate) - rate).tolist())) if self.rate else self

    def and_free(self, columns: int) -> "WearPrior":
        """The same with so many more columns, of which nothing is believed."""
        if not self.rate:
            return self
        free = (float("inf"),) * columns
        return replace(self, rate=(*self.rate, *(0.0,) * columns), rate_scale=(*self.rate_scale, *free))

    @property
    def rss(self) -> float:
        """What the prior adds to the residual sum of squares, mm^2."""
        around = 0.0
        if self.rate:
            scaled = np.array(self.rate) / np.array(self.rate_scale)
            around = float(np.sum(np.square(scaled))) * self.reference_sd**2
        return around + self.weight * self.measurement_sd**2

    @property
    def degrees(self) -> float:
        """What the prior adds to the degrees of freedom."""
        return self.weight + float(np.count_nonzero(np.isfinite(self.rate_scale)))

    def penalty(self, start: float, both: float, rate: float, path: float, sigma2: float) -> Penalty:
        """
        -2 log density of the spread and the path noise at given variances.

        Parameters
        ----------
        start, both, rate, path : float
            Variance ratios to the measurement's.
        sigma2 : float
            Measurement variance, mm^2.

        Returns
        -------
        Penalty
            Up to a constant.
        """
        value, by_sigma2 = 0.0, 0.0
        slope = np.zeros((2, 2))
        if not self.weight:
            return Penalty(value, slope, by_sigma2)
        for ratio, sd in ((rate, self.rate_sd), (path, self.path_sd), (start, self.start_sd)):
            if sd > 0 and ratio > 0:
                share = sd**2 / (ratio * sigma2)
                value += self.weight * (np.log(ratio * sigma2) + share)
                by_sigma2 += self.weight * (1.0 - share)
        slope[1, 1] = self._slope(rate, self.rate_sd, sigma2)
        if start > 0 and self.start_sd > 0:
            det = max(start * rate - both**2, 1e-12 * start * rate)
            value -= self.weight * np.log(det / (start * rate))
            inverse = np.array([[rate, -both], [-both, start]]) / det
            slope[0, 0] = self._slope(start, self.start_sd, sigma2)
            slope += self.weight * (np.diag([1.0 / start, 1.0 / rate]) - inverse)
        return Penalty(value, slope, by_sigma2)

    def _slope(self, ratio: float, sd: float, sigma2: float) -> float:
        return self.weight * (1.0 / ratio - sd**2 / (sigma2 * ratio**2)) if ratio > 0 and sd > 0 else 0.0


NO_PRIOR: Final = WearPrior()
