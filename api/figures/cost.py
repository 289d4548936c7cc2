"""Cost per landing: the sum and each element of each brake type, from zero."""

from collections.abc import Mapping

import plotly.graph_objects as go

from api.figures.look import ESTIMATE, INK, SYMBOLS, figure, plain
from api.words import capital, name_in_words
from lifecycle.cost import CostPerLanding


def cost_elements(cost: CostPerLanding, materials: Mapping[str, str]) -> go.Figure:
    """The sum with its range, then each element: a line from zero, ended by the material's mark and the type's name."""
    names = list(dict.fromkeys(name for each in cost.types for name in each.elements))
    rows = ["all together", *names]
    symbols = _symbols([each.brake_type for each in cost.types], materials)
    made = figure(
        x={
            "title": {"text": f"{cost.currency} per brake and braked landing"},
            # Room for the names at the ends.
            "range": [0.0, 1.18 * max((each.high for each in cost.types), default=1.0)],
            "showgrid": True,
        },
        y={
            "tickvals": list(range(len(rows))),
            "ticktext": [plain(capital(name_in_words(name))) for name in rows],
            "range": [len(rows) - 0.4, -0.6],
            "showgrid": False,
        },
    )
    for at, each in enumerate(cost.types):
        offset = (at - (len(cost.types) - 1) / 2) * min(0.3, 0.84 / len(cost.types))
        values = [each.cost_per_landing, *(each.elements.get(name) for name in names)]
        heights = [row + offset for row in range(len(rows))]
        made.add_bar(
            x=values,
            y=heights,
            orientation="h",
            width=0.04,
            marker={"color": ESTIMATE},
            showlegend=False,
            hoverinfo="skip",
        )
        made.add_scatter(
            x=values,
            y=heights,
            mode="markers",
            name=plain(each.brake_type),
            marker={
                "symbol": symbols[each.brake_type],
                "size": 10,
                "color": ESTIMATE,
                "line": {"width": 1.5},
            },
            cliponaxis=False,
            error_x=_range(each.cost_per_landing, each.low, each.high, len(names)),
            hovertemplate=f"{plain(each.brake_type)}: {cost.currency} %{{x:.2f}}<extra></extra>",
        )
        made.add_scatter(
            # The name of the sum stands past its range.
            x=[each.high, *values[1:]],
            y=heights,
            mode="text",
            text=[f"  {plain(each.brake_type)}"] * len(rows),
            textposition="middle right",
            textfont={"size": 12, "color": INK},
            cliponaxis=False,
            hoverinfo="skip",
        )
    made.update_layout(barmode="overlay")
    return made


def _symbols(types: list[str], materials: Mapping[str, str]) -> dict[str, str]:
    """Square for steel, circle for carbon; solid for the first type of a material, open for the next."""
    shapes = {each: SYMBOLS.get(materials.get(each, ""), "diamond") for each in types}
    first = {shape: each for each, shape in reversed(shapes.items())}
    return {each: shape if first[shape] == each else f"{shape}-open" for each, shape in shapes.items()}


def _range(value: float, low: float, high: float, elements: int) -> dict[str, object]:
    """An error bar on the sum alone: the elements have no range of their own."""
    return {
        "type": "data",
        "symmetric": False,
        "array": [high - value] + [None] * elements,
        "arrayminus": [value - low] + [None] * elements,
        "color": ESTIMATE,
        "thickness": 1.5,
        "width": 6,
    }
