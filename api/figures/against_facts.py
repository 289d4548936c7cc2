"""Forecasts against facts: where in their forecasts the outcomes fell."""

from collections.abc import Sequence

import plotly.graph_objects as go

from api.figures.look import EDGE, INK, figure


def tenths(shares: Sequence[float]) -> go.Figure:
    """Share of outcomes in each tenth of their forecasts: dots on stems, and the line on which they should lie."""
    places = list(range(1, len(shares) + 1))
    made = figure(
        x={
            "title": {"text": "tenth of the forecast, soonest first"},
            "tickvals": places,
            "range": [0.4, 10.6],
        },
        y={"title": {"text": "share of outcomes"}, "rangemode": "tozero", "tickformat": ".0%"},
    )
    made.add_bar(x=places, y=list(shares), width=0.04, marker={"color": INK}, hoverinfo="skip")
    made.add_scatter(
        x=places,
        y=list(shares),
        mode="markers",
        marker={"color": INK, "size": 9},
        hovertemplate="tenth %{x}: %{y:.1%}<extra></extra>",
    )
    made.add_hline(y=1 / max(len(shares), 1), line={"color": EDGE, "width": 1.5, "dash": "dash"})
    return made
