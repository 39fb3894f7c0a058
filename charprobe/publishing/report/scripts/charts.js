"use strict";
// Look closer: every overlay becomes charts that can be read, zoomed and thinned out. Without scripts the figures stay.
(() => {
  const source = document.getElementById("chart-data");
  if (!source) return;
  const data = JSON.parse(source.textContent);
  const drawn = new Set();
  const hue = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
  const shown = (value) => (value == null ? "–" : Number(value.toPrecision(4)).toString().replace("-", "−"));
  const axis = (label) => ({
    label, stroke: () => hue("--ink"), labelFont: "600 13px Charprobe Sans", font: "12px Charprobe Sans",
    grid: { stroke: () => hue("--grid"), width: 1 }, ticks: { stroke: () => hue("--grid"), width: 1 },
  });
  const make = (panel, place) => {
    const series = panel.curves.map((curve) => ({
      label: curve.name, stroke: () => hue(`--series-${curve.series % 8}`), width: 2, spanGaps: true,
      points: { show: false }, value: (_, value) => shown(value),
    }));
    const plot = new uPlot({
      title: panel.title, width: place.clientWidth, height: 420,
      scales: { x: { time: false, distr: panel.log ? 3 : 1 } },
      axes: [axis(panel.across), axis(panel.up)],
      series: [{ label: panel.across, value: (_, value) => shown(value) }, ...series],
      cursor: { drag: { x: true, y: true, uni: 30 } },
    }, uPlot.join(panel.curves.map((curve) => [curve.x, curve.y])), place);
    place.plot = plot;
    place.querySelectorAll(".u-legend .u-series:not(:first-child) th").forEach((name) => {
      name.tabIndex = 0;
      name.setAttribute("role", "button");
      name.addEventListener("keydown", (event) => {
        if (event.key === "Enter" || event.key === " ") { event.preventDefault(); name.click(); }
      });
    });
    drawn.add(plot);
    new ResizeObserver(() => { if (place.clientWidth) plot.setSize({ width: place.clientWidth, height: 420 }); }).observe(place);
  };
  document.querySelectorAll("[data-charts]").forEach((figure) => {
    const panels = (data[figure.dataset.charts] || []).filter((panel) => panel.curves.length);
    if (!panels.length) return;
    const button = document.createElement("button");
    button.type = "button";
    button.className = "closer";
    button.setAttribute("aria-pressed", "false");
    button.textContent = "Look closer";
    const room = document.createElement("div");
    room.className = "charts";
    room.hidden = true;
    const help = document.createElement("p");
    help.className = "soft";
    help.textContent = "Point or tap to read values. Drag over a stretch to zoom, double-click for all. Click a name to hide or show it.";
    room.append(help);
    button.addEventListener("click", () => {
      const open = room.hidden;
      room.hidden = !open;
      figure.querySelector(".scroll").hidden = open;
      button.setAttribute("aria-pressed", String(open));
      button.textContent = open ? "Back to the figure" : "Look closer";
      if (open && !room.dataset.made) {
        room.dataset.made = "1";
        panels.forEach((panel) => { const place = document.createElement("div"); room.append(place); make(panel, place); });
      }
    });
    figure.append(button, room);
  });
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => drawn.forEach((plot) => plot.redraw()));
})();
