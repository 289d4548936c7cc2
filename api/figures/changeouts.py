"""Change-outs ahead: how many brakes are to be acted on in each month."""

import datetime as dt
from collections import Counter
from collections.abc import Sequence

import plotly.graph_objects as go

from api.figures.look import ASSUMED, ASSUMED_FILL, ESTIMATE, ESTIMATE_NEAR, INK, figure
from lifecycle.forecast import ChangeOut

KINDS = {
    "observed": {"color": INK},
    "estimated": {"color": ESTIMATE_NEAR, "line": {"color": ESTIMATE, "width": 1}},
    "assumed": {
        "color": ASSUMED_FILL,
        "line": {"color": ASSUMED, "width": 1},
        "pattern": {"shape": "/", "fgcolor": ASSUMED, "bgcolor": ASSUMED_FILL, "size": 6, "solidity": 0.3},
    },
}


def acts_by_month(acts: Sequence[tuple[ChangeOut, dt.date]], months: Sequence[dt.date]) -> go.Figure:
    """Brakes by the month to act before, in whole counts, told apart by kind; `months` are first days."""
    counts = Counter((change.kind, act.replace(day=1)) for change, act in acts)
    made = figure(
        x={"type": "date", "tickformat": "%b\n%Y", "dtick": "M1" if len(months) <= 12 else "M3"},
        y={"title": {"text": "brakes"}, "rangemode": "tozero", "tickformat": ",d"},
        legend=True,
    )
    for kind, marker in KINDS.items():
        heights = [counts[kind, month] for month in months]
        if any(heights):
            made.add_bar(
                x=list(months),
                xperiod="M1",
                xperiodalignment="middle",
                y=heights,
                name=kind,
                marker=marker,
                hovertemplate=f"%{{x|%b %Y}}: %{{y}} {kind}<extra></extra>",
            )
    made.update_layout(barmode="stack", bargap=0.25)
    return made
