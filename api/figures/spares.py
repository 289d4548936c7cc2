"""Spares ahead: demand and stock of one brake type at one base."""

from collections.abc import Sequence

import plotly.graph_objects as go

from api.figures.look import ERROR, ESTIMATE, ESTIMATE_NEAR, INK, figure
from lifecycle.spares import SparesMonth

# A month's figures stand in its middle, between its tick and the next.
MIDDLE = {"xperiod": "M1", "xperiodalignment": "middle"}


def demand_and_stock(months: Sequence[SparesMonth]) -> go.Figure:
    """Each month's P10 to P90 as a bar with its P50, the stock projected at its end, and months that fall short."""
    made = figure(
        x={"type": "date", "tickformat": "%b\n%Y", "dtick": "M3"},
        y={"title": {"text": "brakes"}, "rangemode": "tozero", "tickformat": ",d"},
    )
    days = [each.month for each in months]
    made.add_bar(
        x=days,
        **MIDDLE,
        base=[each.p10 for each in months],
        y=[max(each.p90 - each.p10, 0.06) for each in months],
        customdata=[[each.p10, each.p50, each.p90] for each in months],
        name="demand, P10 to P90",
        marker={"color": ESTIMATE_NEAR},
        hovertemplate="%{x|%b %Y}: ≈ %{customdata[1]:.0f}, %{customdata[0]:.0f} to %{customdata[2]:.0f}<extra></extra>",
    )
    made.add_scatter(
        x=days,
        **MIDDLE,
        y=[each.p50 for each in months],
        mode="markers",
        name="P50",
        marker={"symbol": "line-ew", "size": 12, "line": {"color": ESTIMATE, "width": 2}},
        hoverinfo="skip",
    )
    if any(each.stock is not None for each in months):
        made.add_scatter(
            x=days,
            **MIDDLE,
            y=[each.stock for each in months],
            mode="lines",
            name="stock for the month",
            line={"color": INK, "width": 2, "dash": "dash", "shape": "hvh"},
            hovertemplate="%{x|%b %Y}: stock ≈ %{y:.1f}<extra></extra>",
        )
    short = [each for each in months if each.short and each.short >= 0.5]
    if short:
        made.add_scatter(
            x=[each.month for each in short],
            **MIDDLE,
            y=[each.p90 for each in short],
            mode="markers",
            name="short",
            marker={"symbol": "x-thin", "size": 9, "line": {"color": ERROR, "width": 2}},
            hovertemplate="%{x|%b %Y}: short<extra></extra>",
        )
    made.update_layout(bargap=0.35)
    return made
