"""Removals: rates by cause with their intervals."""

from collections.abc import Sequence

import plotly.graph_objects as go

from api.figures.look import ESTIMATE, INK, figure
from lifecycle.reliability import ALL, WORN, RemovalRate


def rates_by_cause(rates: Sequence[RemovalRate]) -> go.Figure:
    """A dot a cause at what was seen, a line over the 80 % interval."""
    shown = [each for each in rates if each.cause not in (ALL, WORN) and each.removals]
    shown = sorted(shown, key=lambda each: each.removals)
    top = max((each.per_1000_high for each in shown), default=1.0)
    made = figure(
        # A little room on the left: a dot near zero stands whole.
        x={
            "title": {"text": "per 1 000 brake landings"},
            "range": [-0.03 * top, 1.05 * top],
            "nticks": 5,
            "tickangle": 0,
        },
        y={"type": "category", "showgrid": False},
    )
    names = [each.cause for each in shown]
    for each in shown:
        made.add_scatter(
            x=[each.per_1000_low, each.per_1000_high],
            y=[each.cause, each.cause],
            mode="lines",
            line={"color": ESTIMATE, "width": 3},
            hoverinfo="skip",
        )
    made.add_scatter(
        x=[each.per_1000 for each in shown],
        y=names,
        customdata=[[each.removals, each.per_1000_low, each.per_1000_high] for each in shown],
        mode="markers",
        marker={
            "color": INK,
            "size": 9,
            "line": {"color": INK, "width": 1.5},
        },
        hovertemplate=(
            "%{y}: %{customdata[0]:,d} removals, %{x:.3f} (%{customdata[1]:.3f} to %{customdata[2]:.3f})<extra></extra>"
        ),
    )
    return made
