"""Model fit: innovations by reading number, from reading to reading, and their quantiles."""

import plotly.graph_objects as go

from api.figures.look import EDGE, ESTIMATE, ESTIMATE_WIDE, INK, figure
from lifecycle.diagnostics import TypeDiagnosis


def by_number(told: TypeDiagnosis) -> go.Figure:
    """Mean innovation of the first, second, ... reading of a run with its 95 % interval; 0 is wanted."""
    made = figure(
        x={"title": {"text": "number of the reading in its run"}, "tickformat": ",d"},
        y={"title": {"text": "mean, in deviations"}},
    )
    numbers = [each.number for each in told.by_number]
    made.add_hline(y=0, line={"color": INK, "width": 1, "dash": "dash"})
    for each in told.by_number:
        made.add_scatter(
            x=[each.number, each.number],
            y=[each.mean_low, each.mean_high],
            mode="lines",
            line={"color": ESTIMATE, "width": 3},
            hoverinfo="skip",
        )
    made.add_scatter(
        x=numbers,
        y=[each.mean for each in told.by_number],
        customdata=[[each.readings, each.sd] for each in told.by_number],
        mode="markers",
        marker={"color": INK, "size": 7},
        hovertemplate="reading %{x}: %{y:.2f}, spread %{customdata[1]:.2f}, of %{customdata[0]:,d}<extra></extra>",
    )
    return made


def from_reading_to_reading(told: TypeDiagnosis) -> go.Figure:
    """Correlation of innovations some readings apart: dots on stems, and the band that holds it if there is none."""
    lags = [each.lag for each in told.lags]
    bands = [each.band for each in told.lags]
    reach = 1.3 * max([0.1, *bands, *(abs(each.correlation) for each in told.lags)])
    made = figure(
        x={"title": {"text": "readings apart"}, "tickvals": lags, "range": [0.4, len(lags) + 0.6]},
        y={"title": {"text": "correlation"}, "range": [-reach, reach]},
    )
    made.add_scatter(
        x=[*lags, *reversed(lags)],
        y=[*bands, *(-each for each in reversed(bands))],
        mode="lines",
        line={"width": 0},
        fill="toself",
        fillcolor=ESTIMATE_WIDE,
        hoverinfo="skip",
    )
    made.add_hline(y=0, line={"color": INK, "width": 1})
    found = [each.correlation for each in told.lags]
    made.add_bar(x=lags, y=found, width=0.03, marker={"color": INK}, hoverinfo="skip")
    made.add_scatter(
        x=lags,
        y=found,
        mode="markers",
        marker={"color": INK, "size": 9},
        hovertemplate="%{x} apart: %{y:.3f}<extra></extra>",
    )
    return made


def quantiles(told: TypeDiagnosis) -> go.Figure:
    """Innovations in order against what the normal law wants of them, with the band that holds each 19 times in 20."""
    made = figure(
        x={"title": {"text": "wanted, in deviations"}, "zeroline": False},
        y={"title": {"text": "found, in deviations"}},
    )
    wanted = [each.wanted for each in told.quantiles]
    low, high = [each.low for each in told.quantiles], [each.high for each in told.quantiles]
    made.add_scatter(
        x=[*wanted, *reversed(wanted)],
        y=[*high, *reversed(low)],
        mode="lines",
        line={"width": 0},
        fill="toself",
        fillcolor=ESTIMATE_WIDE,
        hoverinfo="skip",
    )
    ends = [wanted[0], wanted[-1]]
    made.add_scatter(
        x=ends, y=ends, mode="lines", line={"color": EDGE, "width": 1.5, "dash": "dash"}, hoverinfo="skip"
    )
    made.add_scatter(
        x=wanted,
        y=[each.found for each in told.quantiles],
        mode="markers",
        marker={"color": INK, "size": 6},
        hovertemplate="wanted %{x:.2f}, found %{y:.2f}<extra></extra>",
    )
    return made
