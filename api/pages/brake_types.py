"""What a page must know of the brake types in a study: their material, and what their wear limits rest on."""

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from api import words
from lifecycle.study import Study


@dataclass(frozen=True)
class Types:
    """Material and limit sources by brake type."""

    materials: Mapping[str, str]
    limit_sources: Mapping[str, tuple[str, ...]]

    def material(self, brake_type: str) -> str:
        """The heat sink's material, or nothing where it is not on record."""
        return self.materials.get(brake_type, "")

    def limit_words(self, brake_type: str) -> str:
        """What stands in the row of a brake at or below its limit; nobody can make it go away."""
        sources = words.listed(self.limit_sources.get(brake_type, ()), "or") or "no source on record"
        return (
            f"At or below the wear limit ({sources}). Report now under your procedure. "
            "Saving does not release the aircraft."
        )


def types_of(study: Study) -> Types:
    """The brake types of a study, with the sources of their limits effective on its day."""
    types, limits = study.records.brake_types, study.records.wear_limits
    effective = limits[limits["effective_on"] <= pd.Timestamp(study.on)]
    sources = effective.groupby("brake_type")["source"].unique()
    return Types(
        materials=dict(zip(types["brake_type"], types["material"], strict=True)),
        limit_sources={str(name): tuple(filter(None, found)) for name, found in sources.items()},
    )
