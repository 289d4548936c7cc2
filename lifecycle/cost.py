"""Cost per braked landing of each brake type, accrued by the wear consumed, element by element."""

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class TypeCost:
    """Cost per brake and braked landing of one type; the interval is 80 %; elements sum to the cost."""

    brake_type: str
    landings: float
    cost_per_landing: float
    low: float
    high: float
    elements: Mapping[str, float]
    like_for_like_ratio: float | None
    ratio_low: float | None
    ratio_high: float | None
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class CostPerLanding:
    """All types in one currency; like-for-like ratios are wear per landing against the reference type."""

    currency: str
    reference_type: str
    types: tuple[TypeCost, ...]
