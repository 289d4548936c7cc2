"""Brake record: wear of the present run with its fit, fan and limit, and 20 equally likely outcomes."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import plotly.graph_objects as go

from api.figures.look import ERROR, ESTIMATE, ESTIMATE_NEAR, ESTIMATE_WIDE, INK, PAPER, SYMBOLS, figure
from lifecycle.story import BrakeStory

BINS = 14
DOT = 14  # pixels across
ROOM = 110  # pixels that the plot of the dots has for the tallest stack
CLOSE_DAYS = 120
LAST_THIRD = 2 / 3
LEFT_SHARE = 0.3  # of the plot: there the words beside the line of today stand to its right


def wear_plot(story: BrakeStory) -> go.Figure:
    """Length of the governing pin over the braked landings of the present run."""
    made = figure(
        x={"title": {"text": "braked landings of this run"}, "rangemode": "tozero", "tickformat": ",d"},
        # No pin is shorter than nothing, however far a fan spreads.
        y={"title": {"text": "pin left, mm"}, "rangemode": "nonnegative", "tickformat": ".0f"},
        legend=True,
    )
    _fan(made, story)
    _fit(made, story)
    _readings(made, story)
    if story.limit_mm is not None:
        made.add_hline(
            y=story.limit_mm,
            line={"color": ERROR, "width": 2},
            annotation={
                "text": f"wear limit {story.limit_mm:.1f} mm",
                "font": {"color": ERROR},
                "yanchor": "top",
                "xanchor": "left",
                "x": 0.01,
                "bgcolor": PAPER,
            },
        )
    if story.fan_by_landings:
        made.add_vline(
            x=landings_now(story),
            line={"color": INK, "width": 1},
            annotation={
                "text": f"{story.on:%Y-%m-%d}: {landings_now(story):,.0f} landings".replace(",", " "),
                "font": {"color": INK},
                "bgcolor": PAPER,
                "yanchor": "top",
                "xanchor": "left" if landings_now(story) < LEFT_SHARE * _end(story) else "right",
            },
        )
    return made


def wear_ahead(story: BrakeStory) -> go.Figure:
    """The same plot from the last third of the run on, so that the fan is wide enough to be read."""
    made = wear_plot(story)
    now, fan = landings_now(story), story.fan_by_landings
    first = now * LAST_THIRD
    seen = [each.left_high for each in story.fit if each.landings >= first]
    seen += [each.left_mm for each in story.readings if each.left_mm is not None and each.landings >= first
             and each.run == story.runs[0].run]  # fmt: skip
    high = max([*seen, *(each.left_p90 for each in fan)])
    low = min([*(each.left_p10 for each in fan), high if story.limit_mm is None else story.limit_mm])
    room = 0.08 * (high - max(low, 0.0))
    made.update_xaxes(range=[first, _end(story)], rangemode="normal")
    made.update_yaxes(range=[max(low - room, 0.0), high + room], rangemode="normal")
    return made


@dataclass(frozen=True)
class Band:
    """What lies between two lines, told in the legend where it has a name."""

    low: Sequence[float]
    high: Sequence[float]
    fill: str
    name: str = ""


def _band(made: go.Figure, x: Sequence[float], band: Band) -> None:
    made.add_scatter(
        x=[*x, *reversed(x)],
        y=[*band.high, *reversed(band.low)],
        mode="lines",
        line={"width": 0},
        fill="toself",
        fillcolor=band.fill,
        name=band.name,
        showlegend=bool(band.name),
        hoverinfo="skip",
    )


def _fan(made: go.Figure, story: BrakeStory) -> None:
    """Length left from the last reading on; the fan counts landings from now, the plot from the start of the run."""
    fan = story.fan_by_landings
    if not fan:
        return
    now = landings_now(story)
    ahead = [now + each.landings for each in fan]
    _band(made, ahead, Band([p.left_p10 for p in fan], [p.left_p90 for p in fan], ESTIMATE_WIDE, "8 in 10"))
    _band(made, ahead, Band([p.left_p25 for p in fan], [p.left_p75 for p in fan], ESTIMATE_NEAR, "1 in 2"))
    made.add_scatter(
        x=ahead,
        y=[each.left_p50 for each in fan],
        mode="lines",
        line={"color": ESTIMATE, "width": 1.5, "dash": "dash"},
        name="middle ahead",
        hovertemplate="%{x:,.0f} landings: ≈ %{y:.1f} mm<extra></extra>",
    )


def _end(story: BrakeStory) -> float:
    """Landings of the run at the end of the fan."""
    return landings_now(story) + max(each.landings for each in story.fan_by_landings)


def landings_now(story: BrakeStory) -> float:
    """Braked landings of the run by now."""
    return story.landings_in_run or 0.0


def _fit(made: go.Figure, story: BrakeStory) -> None:
    fit = story.fit
    if not fit:
        return
    flown = [each.landings for each in fit]
    _band(made, flown, Band([p.left_low for p in fit], [p.left_high for p in fit], ESTIMATE_WIDE))
    made.add_scatter(
        x=flown,
        y=[each.left_mm for each in fit],
        mode="lines",
        line={"color": ESTIMATE, "width": 1.5},
        name="fit",
        hoverinfo="skip",
    )


def _readings(made: go.Figure, story: BrakeStory) -> None:
    present = [each for each in story.readings if each.run == story.runs[0].run and each.left_mm is not None]
    symbol = SYMBOLS.get(story.material, "diamond")
    for used, name, mark in ((True, "read", symbol), (False, "read, not used", "x-thin")):
        shown = [each for each in present if each.used is used]
        if shown:
            made.add_scatter(
                x=[each.landings for each in shown],
                y=[each.left_mm for each in shown],
                customdata=[[each.day.isoformat(), each.why_not] for each in shown],
                mode="markers",
                marker={"symbol": mark, "size": 7, "color": INK, "line": {"color": INK, "width": 1.5}},
                name=name,
                hovertemplate="%{customdata[0]}: %{y:.1f} mm %{customdata[1]}<extra></extra>",
            )


def outcome_dots(story: BrakeStory) -> go.Figure:
    """Twenty equally likely days on which the limit is reached, stacked where they lie close."""
    days = [each for each in story.outcome_dates if each is not None]
    close = bool(days) and (max(days) - min(days)).days < CLOSE_DAYS
    made = figure(
        x={"type": "date", "tickformat": "%-d %b\n%Y" if close else "%b\n%Y", "nticks": 8},
        y={"visible": False},
    )
    spots = stacked(days)
    tallest = max((height for _, height in spots), default=1)
    made.add_scatter(
        x=[day for day, _ in spots],
        y=[height for _, height in spots],
        mode="markers",
        marker={
            "symbol": "circle",
            "size": min(DOT, ROOM / tallest),
            "color": ESTIMATE_NEAR,
            "line": {"color": ESTIMATE, "width": 1.5},
        },
        hovertemplate="1 in 20: %{x|%Y-%m-%d}<extra></extra>",
    )
    made.update_yaxes(range=[0.4, tallest + 0.8])
    return made


def stacked(days: Sequence[dt.date]) -> list[tuple[dt.date, int]]:
    """Each day where it is, and the lowest height at which no dot stands so close that it would hide this one."""
    if not days:
        return []
    apart = max((max(days) - min(days)).days / BINS, 1.0)
    last_at: list[dt.date] = []
    spots = []
    for day in sorted(days):
        clear = (at for at, last in enumerate(last_at) if (day - last).days >= apart)
        height = next(clear, len(last_at))
        last_at[height : height + 1] = [day]
        spots.append((day, height + 1))
    return spots
