"""Wear rate of every brake: a Wiener path with a random rate and measurement error, fitted by REML."""

import datetime as dt
from dataclasses import dataclass


@dataclass(frozen=True)
class TypeFit:
    """Estimated wear of one brake type; the interval is 80 % for the mean rate, sds in millimetres."""

    brake_type: str
    runs: int
    readings: int
    rate_mm_per_landing: float
    rate_low: float
    rate_high: float
    rate_sd: float
    path_sd: float
    measurement_sd: float
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class BrakeRate:
    """Posterior rate of one run; state is ``fitted``, ``off`` (between installations) or ``finished``."""

    serial: str
    run: int
    rate_mm_per_landing: float
    rate_sd: float
    readings: int
    state: str


@dataclass(frozen=True)
class Refit:
    """One fit of the whole fleet, as `pinledger refit` prints it."""

    study: str
    on: dt.date
    known_on: dt.date
    seed: int
    types: tuple[TypeFit, ...]
    brakes: tuple[BrakeRate, ...]
