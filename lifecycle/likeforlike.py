"""Wear of two brake types on the same landings: a quasi-Poisson model of wear, standardised over all landings."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import stdtrit

from lifecycle.errors import NotEnoughDataError
from lifecycle.wear_fit import independent

FloatArray = npt.NDArray[np.float64]

# One fit for each aircraft left out; a larger fleet is left out in this many groups of aircraft instead.
MOST_GROUPS: Final = 200
ROUNDS: Final = 100


@dataclass(frozen=True)
class LikeForLike:
    """Wear per landing of one type over another's on the same landings; None where it cannot be said."""

    ratio: float | None
    low: float | None
    high: float | None
    aircraft: int
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class _Cells:
    """Landings and wear of each combination of type and covariates, by group of aircraft (rows) and in all."""

    design: FloatArray
    as_old: FloatArray
    as_new: FloatArray
    landings: FloatArray
    wear_mm: FloatArray


@dataclass(frozen=True)
class _Fitted:
    """One fit: log ratio of new over old, coefficients, cells with landings, columns that others do not explain."""

    log_ratio: float
    coefficients: FloatArray
    flown: npt.NDArray[np.bool_]
    kept: npt.NDArray[np.bool_]


def like_for_like(  # noqa: PLR0913 (each names one column or one choice)
    segments: pd.DataFrame,
    *,
    reference: str,
    other: str,
    factors: Sequence[str],
    interactions: bool = True,
    level: float = 0.8,
) -> LikeForLike:
    """
    Ratio of wear per landing, other over reference, were every landing flown on each.

    Parameters
    ----------
    segments : DataFrame
        One row a stretch of flying: ``aircraft`` (int), ``brake_type``, ``landings``, ``wear_mm``, and a column
        for each factor; text is taken as levels, numbers as they are.
    reference, other : str
        The two brake types; rows of other types are left out.
    factors : sequence of str
        Columns that wear may depend on: base, weight variant, position group...
    interactions : bool
        Let each factor act differently on each type.
    level : float
        Confidence of the interval.

    Returns
    -------
    LikeForLike
        The ratio with its interval. A level flown by one type only is left out with a warning, since a figure
        for it would be extrapolation; where nothing is left the ratio is None. The interval is None below four
        aircraft.

    Notes
    -----
    Wear is quasi-Poisson with log link and log landings as offset: log(mm) = log(landings) + type + factors
    (+ type x factors). The model predicts every landing kept under both types; the ratio is that of the two sums.
    Columns that others explain are dropped. The interval is a delete-one-aircraft jackknife of the log ratio with
    t of A - 3 degrees of freedom; above 200 aircraft, 200 groups of aircraft are left out in turn.

    Heat sinks that wear fast serve fewer landings, so that over a type's whole life they weigh less. In a young type
    they still weigh as much as the others: its ratio then reads high by about the squared coefficient of variation
    between heat sinks (1 % at a scatter of 10 %).

    References
    ----------
    McCullagh and Nelder 1989, Generalized Linear Models, sections 6.2 and 9.2 (quasi-likelihood, offset).
    Lane and Nelder 1982, Biometrics 38 (standardisation by prediction). Efron and Stein 1981, Ann. Stat. 9.
    """
    pair = segments[segments["brake_type"].isin([reference, other]) & (segments["landings"] > 0)]
    kept, warnings = _overlap(pair, factors, reference, other)
    if kept["brake_type"].nunique() < 2 or not _both_wear(kept):
        reason = f"no like-for-like comparison of {other} with {reference}: no landings in common"
        return LikeForLike(None, None, None, 0, (*warnings, reason))
    cells, aircraft = _arrange(kept, factors, other, interactions=interactions)
    try:
        fitted = _fitted(cells, cells.landings.sum(axis=0), cells.wear_mm.sum(axis=0))
        half = _half_width(cells, fitted, level)
    except NotEnoughDataError as error:
        return LikeForLike(None, None, None, aircraft, (*warnings, str(error)))
    whole = fitted.log_ratio
    if half is None:
        warnings = (*warnings, f"{aircraft} aircraft compared; an interval takes at least 4")
        return LikeForLike(float(np.exp(whole)), None, None, aircraft, warnings)
    low, high = float(np.exp(whole - half)), float(np.exp(whole + half))
    return LikeForLike(float(np.exp(whole)), low, high, aircraft, warnings)


def _overlap(
    pair: pd.DataFrame, factors: Sequence[str], reference: str, other: str
) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Segments at levels that both types flew, dropping levels until none is flown by one type only."""
    warnings: list[str] = []
    kept = pair
    texts = [name for name in factors if not pd.api.types.is_numeric_dtype(pair[name])]
    for name in texts:
        if set(pair.loc[pair["brake_type"] == reference, name]).isdisjoint(
            pair.loc[pair["brake_type"] == other, name]
        ):
            return pair[:0], (f"{other} and {reference} share no {name.replace('_', ' ')}",)
    while True:
        lonely = [
            (name, value)
            for name in texts
            for value, types in kept.groupby(name)["brake_type"].unique().items()
            if len(types) == 1
        ]
        if not lonely or kept.empty:
            return kept, tuple(warnings)
        for name, value in lonely:
            only = kept.loc[kept[name] == value, "brake_type"]
            if len(only):
                what = f"{name.replace('_', ' ')} {value or 'not given'}"
                rival = reference if only.iloc[0] == other else other
                warnings.append(
                    f"{what} is flown on {only.iloc[0]} only: left out of the like-for-like comparison, "
                    f"a figure for {rival} there would be extrapolation"
                )
            kept = kept[kept[name] != value]


def _both_wear(kept: pd.DataFrame) -> bool:
    return bool((kept.groupby("brake_type")["wear_mm"].sum() > 0).all())


def _arrange(
    kept: pd.DataFrame, factors: Sequence[str], other: str, *, interactions: bool
) -> tuple[_Cells, int]:
    keys = ["brake_type", *factors]
    cell = kept.groupby(keys, sort=True).ngroup().to_numpy()
    unique = kept[keys].drop_duplicates().sort_values(keys)
    columns = _columns(unique, factors)
    new = np.asarray(unique["brake_type"] == other, dtype=np.float64)
    codes, aircraft = pd.factorize(kept["aircraft"])
    group = codes % MOST_GROUPS
    shape = (int(group.max()) + 1, len(unique))
    landings, wear_mm = np.zeros(shape), np.zeros(shape)
    np.add.at(landings, (group, cell), kept["landings"].to_numpy(dtype=np.float64))
    np.add.at(wear_mm, (group, cell), kept["wear_mm"].to_numpy(dtype=np.float64))
    return _Cells(
        design=_design(columns, new, interactions=interactions),
        as_old=_design(columns, np.zeros(len(new)), interactions=interactions),
        as_new=_design(columns, np.ones(len(new)), interactions=interactions),
        landings=landings,
        wear_mm=wear_mm,
    ), len(aircraft)


def _columns(unique: pd.DataFrame, factors: Sequence[str]) -> FloatArray:
    """Covariates of each cell: numbers as they are, text as one column for each level after the first."""
    parts = [
        unique[[name]].to_numpy(dtype=np.float64)
        if pd.api.types.is_numeric_dtype(unique[name])
        else pd.get_dummies(unique[name], drop_first=True).to_numpy(dtype=np.float64)
        for name in factors
    ]
    return np.hstack([np.zeros((len(unique), 0)), *parts])


def _design(columns: FloatArray, new: FloatArray, *, interactions: bool) -> FloatArray:
    parts = [np.ones((len(new), 1)), new[:, None], columns]
    return np.hstack([*parts, columns * new[:, None]] if interactions else parts)


def _half_width(cells: _Cells, whole: _Fitted, level: float) -> float | None:
    groups = len(cells.landings)
    if groups < 4 or (_type_landings(cells) <= 0).any():
        return None
    landings, wear_mm = cells.landings.sum(axis=0), cells.wear_mm.sum(axis=0)
    left_out = [
        _fitted(cells, landings - cells.landings[group], wear_mm - cells.wear_mm[group], whole).log_ratio
        for group in range(groups)
    ]
    spread = (groups - 1) / groups * float(np.sum(np.square(np.array(left_out) - np.mean(left_out))))
    return float(stdtrit(groups - 3, 0.5 + level / 2)) * float(np.sqrt(spread))


def _type_landings(cells: _Cells) -> FloatArray:
    """Landings of the old and of the new type with each group left out: shape (n_groups, 2)."""
    new = cells.design[:, 1]
    by_type = np.stack([cells.landings @ (1.0 - new), cells.landings @ new], axis=1)
    return np.asarray(by_type.sum(axis=0) - by_type)


def _fitted(cells: _Cells, landings: FloatArray, wear_mm: FloatArray, like: _Fitted | None = None) -> _Fitted:
    """Fit to these landings, and the log of the sum predicted on the new type over that on the old."""
    flown = landings > 1e-9 * landings.sum()
    same = like is not None and np.array_equal(flown, like.flown)
    design = cells.design[flown]
    kept = like.kept if like is not None and same else independent(design.T @ design)
    start = like.coefficients if like is not None and same else None
    coefficients = fit_log_rate(
        design[:, kept], landings[flown], np.maximum(wear_mm[flown], 0.0), start=start
    )
    new = landings[flown] @ np.exp(cells.as_new[np.ix_(flown, kept)] @ coefficients)
    old = landings[flown] @ np.exp(cells.as_old[np.ix_(flown, kept)] @ coefficients)
    return _Fitted(float(np.log(new / old)), coefficients, flown, kept)


def fit_log_rate(
    x: FloatArray, exposure: FloatArray, amount: FloatArray, *, start: FloatArray | None = None
) -> FloatArray:
    """
    Coefficients of a quasi-Poisson rate model with log link, by iteratively reweighted least squares.

    Parameters
    ----------
    x : array of shape (n_cells, n_columns)
        Design of full column rank.
    exposure, amount : array of shape (n_cells,)
        Exposure, above zero, and amount, at least zero and not all zero.
    start : array of shape (n_columns,), optional
        Coefficients to start from, such as those of nearly the same data.

    Returns
    -------
    array of shape (n_columns,)
        Maximising the Poisson likelihood of ``amount`` with mean ``exposure * exp(x @ coefficients)``; the
        dispersion scales standard errors and leaves the coefficients alone.

    Raises
    ------
    NotEnoughDataError
        If a column's landings show no wear at all, so that its coefficient runs away.
    """
    unsettled = "the like-for-like model does not settle: landings without any wear in a group"
    eta = x @ start if start is not None else np.log((amount + 1e-3 * amount.mean()) / exposure)
    for _ in range(ROUNDS):
        mean = exposure * np.exp(eta)
        weighted = x * mean[:, None]
        try:
            coefficients = np.linalg.solve(x.T @ weighted, weighted.T @ eta + x.T @ (amount - mean))
        except np.linalg.LinAlgError:
            raise NotEnoughDataError(unsettled) from None
        before, eta = eta, x @ coefficients
        if np.max(np.abs(eta - before)) < 1e-10:
            return np.asarray(coefficients)
    raise NotEnoughDataError(unsettled)
