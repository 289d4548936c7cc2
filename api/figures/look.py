"""How a chart looks: ink for observed, blue for estimated, ochre for assumed, always with a mark of its own."""

from collections.abc import Mapping
from typing import Any, Final

import plotly.graph_objects as go

PAPER: Final = "#FBFAF6"
NONE: Final = "rgba(0,0,0,0)"
INK: Final = "#1D2326"
MUTED: Final = "#545C60"
EDGE: Final = "#7A8284"
ESTIMATE: Final = "#1B5E9E"
ESTIMATE_WIDE: Final = "#D3E2F0"
ESTIMATE_NEAR: Final = "#9FC0DE"
ASSUMED: Final = "#8A5A00"
ASSUMED_FILL: Final = "#F6EBD3"
ERROR: Final = "#B00020"
FONT: Final = "system-ui, -apple-system, 'Segoe UI', Roboto, 'Liberation Sans', Arial, sans-serif"
SYMBOLS: Final = {"steel": "square", "carbon": "circle"}
DAY_FORMAT: Final = "%Y-%m-%d"

_AXIS: Final = {
    "showline": True,
    "linecolor": INK,
    "ticks": "outside",
    "tickcolor": EDGE,
    "ticklen": 4,
    "gridcolor": EDGE,
    "griddash": "1px,4px",
    "gridwidth": 1,
    "zeroline": False,
    "automargin": True,
    "fixedrange": True,
    "title": {"standoff": 8},
    "separatethousands": True,
}


def figure(*, x: Mapping[str, Any], y: Mapping[str, Any], legend: bool = False) -> go.Figure:
    """An empty figure in the look of the pages; `x` and `y` are what their axes add to it."""
    made = go.Figure(layout={"template": go.layout.Template()})
    made.update_layout(
        font={"family": FONT, "size": 14, "color": INK},
        paper_bgcolor=NONE,
        plot_bgcolor=NONE,
        margin={"l": 8, "r": 16, "t": 16, "b": 8},
        showlegend=legend,
        legend={"orientation": "h", "x": 0, "y": 1.02, "yanchor": "bottom", "xanchor": "left", "itemclick": False,
                "itemdoubleclick": False},
        dragmode=False,
        hovermode="closest",
        hoverlabel={"bgcolor": PAPER, "bordercolor": INK, "font": {"color": INK, "family": FONT, "size": 14}},
        separators=". ",
        xaxis={**_AXIS, "showgrid": False, **x},
        yaxis={**_AXIS, "showline": False, "ticks": "", **y},
    )  # fmt: skip
    return made


def plain(text: str) -> str:
    """Text for a chart without markup: the content policy refuses the inline styles that tags would need."""
    return text.replace("&", "and").replace("<", "(").replace(">", ")")
