// Fetches the figures of a page, all in one answer, and draws each; on paper they are drawn again at the sheet's width.
"use strict";

const PAPER_PX = { portrait: 690, landscape: 955 };
const plots = [...document.querySelectorAll("[data-figure]")];

async function fetchFigures(address) {
  const answer = await fetch(address, { headers: { Accept: "application/json" } });
  if (!answer.ok) throw new Error(`status ${answer.status}`);
  return answer.json();
}

async function draw(plot, figures) {
  try {
    const figure = (await figures)[plot.dataset.part];
    await Plotly.newPlot(plot, figure.data, figure.layout, { displayModeBar: false, responsive: true });
    plot.dataset.drawn = "yes";
  } catch (fault) {
    plot.dataset.drawn = "no";
    plot.textContent = "The chart did not load. The table on this page holds the same figures.";
    console.warn(`chart ${plot.dataset.part} of ${plot.dataset.figure}: ${fault.message}`);
  }
}

for (const address of new Set(plots.map((plot) => plot.dataset.figure))) {
  const figures = fetchFigures(address);
  plots.filter((plot) => plot.dataset.figure === address).forEach((plot) => draw(plot, figures));
}

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
