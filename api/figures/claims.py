"""Claim check: how likely each life, or ratio, is by the records, and where the claim lies in it."""

from collections.abc import Sequence

import plotly.graph_objects as go

from api.figures.look import ESTIMATE, ESTIMATE_WIDE, INK, PAPER, figure
from lifecycle.claims import Claim, CurvePoint


def chance_by_figure(claim: Claim, curve: Sequence[CurvePoint]) -> go.Figure:
    """The chance that the true figure is at least so much, by how much, with the range and the claim marked."""
    what = "mean landings per run" if claim.kind == "landings" else f"times {claim.against}"
    made = figure(
        x={"title": {"text": what}},
        y={"title": {"text": "chance of at least that"}, "range": [0, 1.02], "tickformat": ".0%"},
    )
    made.add_vrect(x0=claim.low, x1=claim.high, fillcolor=ESTIMATE_WIDE, line_width=0, layer="below")
    made.add_scatter(
        x=[point.figure for point in curve],
        y=[point.chance for point in curve],
        mode="lines",
        line={"color": ESTIMATE, "width": 1.5, "dash": "dash"},
        hovertemplate="%{x:,.4~g}: ≈ %{y:.0%}<extra></extra>",
    )
    made.add_vline(
        x=claim.claim,
        line={"color": INK, "width": 2},
        annotation={"text": "claimed", "bgcolor": PAPER, "font": {"color": INK}, "yanchor": "top"},
    )
    return made
