// Fetches each figure and draws it; on paper it is drawn again at the width of the sheet.
"use strict";

const PAPER_PX = { portrait: 690, landscape: 980 };

async function draw(plot) {
  try {
    const answer = await fetch(plot.dataset.figure, { headers: { Accept: "application/json" } });
    if (!answer.ok) throw new Error(`status ${answer.status}`);
    const figure = await answer.json();
    await Plotly.newPlot(plot, figure.data, figure.layout, { displayModeBar: false, responsive: true });
    plot.dataset.drawn = "yes";
  } catch (fault) {
    plot.dataset.drawn = "no";
    plot.textContent = "The chart did not load. The table on this page holds the same figures.";
    console.warn(`chart ${plot.dataset.figure}: ${fault.message}`);
  }
}

const plots = [...document.querySelectorAll("[data-figure]")];
plots.forEach(draw);

function drawn() {
  return plots.filter((plot) => plot.dataset.drawn === "yes");
}

function paperWidth(plot) {
  const wide = document.body.classList.contains("wide");
  const sheet = PAPER_PX[wide ? "landscape" : "portrait"];
  const columns = plot.closest(".charts") ? (wide ? 3 : 2) : 1;
  return Math.floor((sheet - 24 * (columns - 1)) / columns);
}

window.addEventListener("beforeprint", () => {
  drawn().forEach((plot) => Plotly.relayout(plot, { autosize: false, width: paperWidth(plot), height: plot.clientHeight }));
});
window.addEventListener("afterprint", () => {
  drawn().forEach((plot) => Plotly.relayout(plot, { autosize: true, width: null, height: null }));
});
