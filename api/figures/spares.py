"""Spares ahead: demand and stock of one brake type at one base."""

from collections.abc import Sequence

import plotly.graph_objects as go

from api.figures.look import ERROR, ESTIMATE, ESTIMATE_NEAR, INK, PAPER, figure
from api.words import whole
from lifecycle.spares import SparesMonth

FEW = 4
# A month's figures stand in its middle, between its tick and the next.
MIDDLE = {"xperiod": "M1", "xperiodalignment": "middle"}


def demand_and_stock(months: Sequence[SparesMonth]) -> go.Figure:
    """Each month's P10 to P90 as a bar with its P50, the stock to draw on, and months that fall short."""
    made = figure(
        x={"type": "date", "tickformat": "%b\n%Y", "dtick": "M3"},
        y={
            "title": {"text": "brakes"},
            "rangemode": "tozero",
            "tickformat": ",d",
            # Few brakes: no tick between whole ones.
            **({"dtick": 1} if max((each.p90 for each in months), default=0.0) <= FEW else {}),
            "zeroline": True,
            "zerolinecolor": INK,
        },
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
        _stock(made, months)
    short = [each for each in months if whole(each.short or 0.0)]
    if short:
        made.add_scatter(
            x=[each.month for each in short],
            **MIDDLE,
            y=[each.p90 for each in short],
            mode="markers",
            name="short",
            marker={"symbol": "x-thin", "size": 9, "line": {"color": ERROR, "width": 2}},
            customdata=[whole(each.short or 0.0) for each in short],
            hovertemplate="%{x|%b %Y}: short %{customdata}<extra></extra>",
        )
    made.update_layout(bargap=0.35)
    return made


def _stock(made: go.Figure, months: Sequence[SparesMonth]) -> None:
    """The stock to draw on in whole brakes, as the table has it; what lies below zero is short."""
    stock = [None if each.stock is None else whole(each.stock) for each in months]
    days = [each.month for each in months]
    made.add_scatter(
        x=days,
        **MIDDLE,
        y=stock,
        mode="lines",
        name="stock for the month",
        line={"color": INK, "width": 2, "dash": "dash", "shape": "hvh"},
        hovertemplate="%{x|%b %Y}: stock ≈ %{y:,d}<extra></extra>",
    )
    below = [each if each is not None and each < 0 else None for each in stock]
    if any(below):
        made.add_bar(
            x=days,
            **MIDDLE,
            y=below,
            name="stock below zero: short",
            marker={
                "color": PAPER,
                "line": {"color": ERROR, "width": 1},
                "pattern": {"shape": "/", "fgcolor": ERROR, "bgcolor": PAPER, "size": 6, "solidity": 0.2},
            },
            hovertemplate="%{x|%b %Y}: stock %{y:,d}, short<extra></extra>",
        )
        made.update_layout(barmode="overlay")
