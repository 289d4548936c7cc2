"""Retrofit brief: cash by year and cumulated, and what moves the net present value most."""

import plotly.graph_objects as go

from api.figures.look import ASSUMED, ASSUMED_FILL, ESTIMATE, ESTIMATE_NEAR, INK, figure, plain
from api.words import exact, money_scale, name_in_words
from lifecycle.drivers import Driver
from lifecycle.retrofit import Briefing

MOST_DRIVERS = 7


def cash_by_year(briefing: Briefing) -> go.Figure:
    """Net cash of each year as bars from zero, the running sum as a line."""
    years = [flow.year for flow in briefing.by_year]
    scale, unit = money_scale([flow.net for flow in briefing.by_year] + [flow.cumulative for flow in briefing.by_year],
                              briefing.currency)  # fmt: skip
    made = figure(
        x={"title": {"text": "year from the decision"}, "tickformat": "d"},
        y={"title": {"text": unit}, "zeroline": True, "zerolinecolor": INK},
        legend=True,
    )
    made.add_bar(
        x=years,
        y=[flow.net / scale for flow in briefing.by_year],
        name="net cash of the year",
        marker={"color": ESTIMATE_NEAR, "line": {"color": ESTIMATE, "width": 1}},
        hovertemplate=f"year %{{x}}: %{{y:,.3~f}} {unit}<extra></extra>",
    )
    made.add_scatter(
        x=years,
        y=[flow.cumulative / scale for flow in briefing.by_year],
        mode="lines+markers",
        name="all years so far",
        line={"color": ESTIMATE, "width": 2, "dash": "dash"},
        marker={"symbol": "circle-open", "size": 7, "color": ESTIMATE},
        hovertemplate=f"by year %{{x}}: %{{y:,.3~f}} {unit}<extra></extra>",
    )
    made.update_layout(bargap=0.4)
    return made


def swing(briefing: Briefing) -> go.Figure:
    """Net present value as each input runs over its own sourced P10 to P90, widest first, seven at most."""
    drivers = sorted(briefing.drivers, key=lambda each: -abs(each.npv_high - each.npv_low))[:MOST_DRIVERS]
    scale, unit = money_scale([briefing.npv, *(each.npv_high for each in drivers)], briefing.currency)
    names = [plain(name_in_words(each.name)) for each in drivers]
    made = figure(
        x={"title": {"text": f"net present value, {unit}"}, "showgrid": True},
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
            text=[exact(getattr(each, end), 4) for each in drivers],
            textposition=[_outward(each, end) for each in drivers],
            textfont={"size": 14, "color": INK},
            cliponaxis=False,
            hoverinfo="skip",
        )
    made.add_vline(x=briefing.npv / scale, line={"color": ESTIMATE, "width": 2, "dash": "dash"})
    if any(min(each.npv_low, each.npv_high) <= 0 for each in drivers):
        made.add_vline(x=0, line={"color": INK, "width": 1})
    return made


def _outward(driver: Driver, end: str) -> str:
    leftmost = (driver.npv_low <= driver.npv_high) == (end == "low")
    return "middle left" if leftmost else "middle right"
