"""Retrofit brief: cash by year, its present value so far, and what moves the net present value most."""

from collections.abc import Sequence

import plotly.graph_objects as go

from api.figures.brief_words import DatedFlow, Swing, swings
from api.figures.look import ASSUMED, ASSUMED_FILL, ESTIMATE, ESTIMATE_NEAR, INK, figure, plain
from api.words import money_scale
from lifecycle.retrofit import Briefing


def cash_by_year(flows: Sequence[DatedFlow], currency: str) -> go.Figure:
    """Net cash of each year as bars from zero, undiscounted; the present value of all years so far as a line."""
    years = [flow.calendar_year for flow in flows]
    net, worth = [flow.net for flow in flows], [flow.present_value_so_far for flow in flows]
    scale, unit = money_scale([*net, *worth], currency)
    made = figure(
        x={"title": {"text": "calendar year"}, "tickformat": "d"},
        y={"title": {"text": unit}, "zeroline": True, "zerolinecolor": INK},
        legend=True,
    )
    made.add_bar(
        x=years,
        y=[each / scale for each in net],
        name="cash of the year, not discounted",
        marker={"color": ESTIMATE_NEAR, "line": {"color": ESTIMATE, "width": 1}},
        hovertemplate=f"%{{x}}: %{{y:,.3~f}} {unit}<extra></extra>",
    )
    made.add_scatter(
        x=years,
        y=[each / scale for each in worth],
        mode="lines+markers",
        name="present value so far, discounted",
        line={"color": ESTIMATE, "width": 2, "dash": "dash"},
        marker={"symbol": "circle-open", "size": 7, "color": ESTIMATE},
        hovertemplate=f"by year %{{x}}: %{{y:,.3~f}} {unit}<extra></extra>",
    )
    made.update_layout(bargap=0.4)
    return made


def swing(briefing: Briefing) -> go.Figure:
    """Net present value as each input runs over its own sourced P10 to P90, widest first, seven at most."""
    drivers = swings(briefing)
    scale, unit = money_scale([briefing.npv, *(each.npv_high for each in drivers)], briefing.currency)
    names = [plain(each.name) for each in drivers]
    ends = [briefing.npv / scale, *(end / scale for each in drivers for end in (each.npv_low, each.npv_high))]
    room = 0.4 * (max(ends) - min(ends))  # for the figures outside the bars
    made = figure(
        x={
            "title": {"text": f"net present value, {unit}"},
            "showgrid": True,
            "range": [min(ends) - room, max(ends) + room],
        },
        y={"autorange": "reversed", "showgrid": False},
    )
    made.add_bar(
        y=names,
        base=[min(each.npv_low, each.npv_high) / scale for each in drivers],
        x=[abs(each.npv_high - each.npv_low) / scale for each in drivers],
        orientation="h",
        width=0.5,
        marker={
            "color": ASSUMED_FILL,
            "line": {"color": ASSUMED, "width": 1},
            "pattern": {
                "shape": "/",
                "fgcolor": ASSUMED,
                "bgcolor": ASSUMED_FILL,
                "size": 7,
                "solidity": 0.25,
            },
        },
        hoverinfo="skip",
    )
    for end in ("low", "high"):
        made.add_scatter(
            y=names,
            x=[getattr(each, f"npv_{end}") / scale for each in drivers],
            mode="text",
            text=[f" {plain(getattr(each, end))} " for each in drivers],
            textposition=[_outward(each, end) for each in drivers],
            textfont={"size": 14, "color": INK},
            cliponaxis=False,
            hoverinfo="skip",
        )
    made.add_vline(x=briefing.npv / scale, line={"color": ESTIMATE, "width": 2, "dash": "dash"})
    if any(min(each.npv_low, each.npv_high) <= 0 for each in drivers):
        made.add_vline(x=0, line={"color": INK, "width": 1})
    return made


def _outward(driver: Swing, end: str) -> str:
    leftmost = (driver.npv_low <= driver.npv_high) == (end == "low")
    return "middle left" if leftmost else "middle right"
