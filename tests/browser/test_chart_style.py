"""Charts are styled by our own file alone: the chart library, told so by a class, writes no rules of its own."""

from pathlib import Path

import api

WRITTEN = (Path(api.__file__).parent / "static" / "chart.css").read_text()


def test_the_chart_library_adds_no_rule_to_the_style_sheet(page):
    page.goto("/spares")
    page.wait_for_selector("[data-figure][data-drawn]", state="attached")
    rules = "document.getElementById('plotly.js-style-global').sheet.cssRules.length"
    assert page.evaluate(rules) == WRITTEN.count("{")
