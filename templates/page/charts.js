// Draws the page's charts from the numbers in it: panels that share axis, zoom and pointer.
(() => {
  "use strict";
  const colour = (name) => () => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
  const LINES = ["--accent", "--second", "--third"];
  const DASHES = [[], [7, 4], [2, 3]];
  const DASH_NAMES = ["solid", "dashed", "dotted"];
  const AXIS_WIDTH = 62;
  // What a sheet of A4 or letter paper leaves between its margins.
  const SHEET_WIDTH = 680;
  // The plots in the page, by the place of their chart.
  const drawn = new Map();

  // Part of the range that a press of a key or a button zooms or moves by.
  const ZOOM = 2;
  const MOVE = 0.5;

  // More values than this in view are put together, by powers of two.
  const MOST_IN_VIEW = 400;
  const MERGED = {
    most: (values) => Math.max(...values),
    least: (values) => Math.min(...values),
    mean: (values) => values.reduce((sum, value) => sum + value, 0) / values.length,
  };

  // Each `together` values as one; at the middle of their stretch of the axis.
  const merged = (chart, panel, together) => {
    if (together === 1) return [chart.at, ...panel.series.map((one) => one.values)];
    const chunks = (values, act) => {
      const found = [];
      for (let from = 0; from < values.length; from += together) {
        const some = values.slice(from, from + together).filter((value) => value != null);
        found.push(some.length ? act(some) : null);
      }
      return found;
    };
    return [chunks(chart.at, MERGED.mean), ...panel.series.map((one) => chunks(one.values, MERGED[one.merged]))];
  };

  // Places of the axis at which any panel has a value: the pointer and the keys go from one to the next. Counts do not make one:
  // where nothing was seen they are 0.
  const seen = (chart, tables) => {
    const values = chart.panels.flatMap((panel, number) => tables[number].slice(1).filter((_, one) => panel.series[one].drawn !== "bars"));
    return [...tables[0][0].keys()].filter((place) => values.some((one) => one[place] != null));
  };

  // What lies between two points of the axis is not drawn where nothing was seen.
  const unseen = (chart) => (u) => {
    const { min, max } = u.scales.x;
    const inView = chart.gaps.filter(([from, until]) => until > min && from < max);
    return inView.map((gap) => gap.map((at) => Math.round(u.valToPos(at, "x", true))));
  };

  const series = (chart, one, place, panel) => {
    const given = {
      label: one.label,
      value: (_, value) => (value == null ? "–" : value.toFixed(panel.digits)),
      stroke: colour(LINES[place % LINES.length]),
      dash: DASHES[place % DASHES.length],
      width: 1.25,
      spanGaps: true,
      points: { show: false },
    };
    // The two edges of a band lie too close for dashes: their places tell them apart.
    if (panel.series[0].drawn === "band" && place < 2) given.dash = [];
    if (one.drawn === "step") given.paths = uPlot.paths.stepped({ align: 1 });
    // Values that are missing elsewhere were only not asked for: lines go on over them.
    if (chart.gaps.length && one.drawn !== "bars" && one.drawn !== "dots") {
      given.spanGaps = false;
      given.gaps = unseen(chart);
    }
    if (one.drawn === "bars") {
      given.paths = uPlot.paths.bars({ size: [1, 100], gap: 0 });
      given.fill = colour("--group-0");
      given.dash = [];
    }
    if (one.drawn === "dots") {
      given.paths = () => null;
      given.points = { show: true, size: 4, width: 1, fill: colour("--paper") };
    }
    return given;
  };

  const range = (panel) => (_, low, high) => {
    const values = panel.levels.map((level) => level.value);
    if (low != null) values.push(low, high);
    if (panel.from_zero) values.push(0);
    if (values.length === 0) return [0, 1];
    const least = Math.min(...values);
    const most = Math.max(...values);
    const room = (most - least || Math.abs(most) || 1) * 0.06;
    return [panel.from_zero && least === 0 ? 0 : least - room, most + room];
  };

  // Levels as dashed lines with their names, spans as stripes with a stroke at each end.
  const marks = (panel, spans) => (u) => {
    const { ctx } = u;
    const ratio = devicePixelRatio;
    const { left, top, width, height } = u.bbox;
    ctx.save();
    ctx.beginPath();
    ctx.rect(left, top, width, height);
    ctx.clip();
    ctx.textAlign = "left";
    ctx.textBaseline = "alphabetic";
    ctx.font = `${11 * ratio}px system-ui, "DejaVu Sans", sans-serif`;
    for (const span of spans) {
      const from = u.valToPos(span.from, "x", true);
      const until = Math.max(u.valToPos(span.until, "x", true), from + ratio);
      ctx.fillStyle = colour("--second")();
      ctx.globalAlpha = 0.14;
      ctx.fillRect(from, top, until - from, height);
      ctx.globalAlpha = 0.8;
      ctx.fillRect(from, top, ratio, height);
      ctx.fillRect(until - ratio, top, ratio, height);
      ctx.globalAlpha = 1;
    }
    panel.levels.forEach((level, place) => {
      const y = u.valToPos(level.value, "y", true);
      ctx.strokeStyle = colour("--faint")();
      ctx.lineWidth = ratio;
      ctx.setLineDash([(3 + 3 * place) * ratio, 3 * ratio]);
      ctx.beginPath();
      ctx.moveTo(left, y);
      ctx.lineTo(left + width, y);
      ctx.stroke();
      ctx.setLineDash([]);
      const text = `${level.label} ${level.value.toFixed(3)} V`;
      const from = left + 6 * ratio;
      ctx.fillStyle = colour("--paper")();
      ctx.globalAlpha = 0.75;
      ctx.fillRect(from - 2 * ratio, y - 14 * ratio, ctx.measureText(text).width + 4 * ratio, 13 * ratio);
      ctx.globalAlpha = 1;
      ctx.fillStyle = colour("--ink")();
      ctx.fillText(text, from, y - 4 * ratio);
    });
    ctx.restore();
  };

  const axes = (chart, panel, isLowest) => {
    const look = { stroke: colour("--ink"), grid: { stroke: colour("--rule"), width: 1 }, ticks: { stroke: colour("--rule"), width: 1 }, font: '12px system-ui, "DejaVu Sans", sans-serif', labelFont: '12px system-ui, "DejaVu Sans", sans-serif' };
    return [
      isLowest ? { ...look, label: chart.axis, labelSize: 18, size: 32 } : { ...look, values: () => [], size: 8 },
      { ...look, label: panel.axis, labelSize: 18, size: AXIS_WIDTH - 18 },
    ];
  };

  const draw = (place, chart) => {
    const panels = [];
    const first = chart.at[0];
    const last = chart.at[chart.at.length - 1];
    const show = (from, until) => {
      const width = Math.min(until - from, last - first);
      const start = Math.min(Math.max(from, first), last - width);
      panels.forEach((u) => u.setScale("x", { min: start, max: start + width }));
    };
    const change = (zoom, move) => {
      const { min, max } = panels[0].scales.x;
      const middle = (min + max) / 2 + (max - min) * move;
      const half = ((max - min) / 2) * zoom;
      show(middle - half, middle + half);
    };
    const keys = document.createElement("div");
    keys.className = "keys";
    for (const [text, act] of [
      ["closer", () => change(1 / ZOOM, 0)],
      ["wider", () => change(ZOOM, 0)],
      ["earlier", () => change(1, -MOVE)],
      ["later", () => change(1, MOVE)],
      ["all", () => show(first, last)],
    ]) {
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = text;
      button.addEventListener("click", act);
      keys.append(button);
    }
    keys.append("or drag across a plot; arrow keys read values off it");
    place.append(keys);
    let isFollowing = false;
    let together = 1;
    let tables = chart.panels.map((panel) => merged(chart, panel, together));
    let places = seen(chart, tables);
    // Which of the places with a value is nearest to a point of the axis.
    const nearest = (value) => {
      const at = (one) => tables[0][0][places[one]];
      let after = 0;
      let last = places.length - 1;
      while (after < last) {
        const middle = (after + last) >> 1;
        if (at(middle) < value) after = middle + 1;
        else last = middle;
      }
      return after > 0 && value - at(after - 1) <= at(after) - value ? after - 1 : after;
    };
    const merges = chart.panels.every((panel) => panel.series.every((one) => one.merged !== "never"));
    const regroup = (min, max) => {
      if (!merges) return;
      const inView = (chart.at.length * (max - min)) / (last - first);
      const wanted = 2 ** Math.max(0, Math.ceil(Math.log2(inView / MOST_IN_VIEW)));
      if (wanted === together) return;
      together = wanted;
      tables = chart.panels.map((panel) => merged(chart, panel, together));
      places = seen(chart, tables);
      panels.forEach((u, number) => u.setData(tables[number], false));
    };
    chart.panels.forEach((panel, number) => {
      const box = document.createElement("div");
      box.tabIndex = 0;
      box.setAttribute("role", "img");
      box.setAttribute("aria-label", `${panel.axis} over ${chart.axis}: ${panel.series.map((one) => one.label).join(", ")}`);
      place.append(box);
      const u = new uPlot(
        {
          width: Math.max(place.clientWidth, 200),
          height: panel.height,
          cursor: { sync: { key: chart.id }, drag: { x: true, y: false }, dataIdx: (_, __, place, value) => places[nearest(value)] ?? place },
          scales: { x: { time: false }, y: { range: range(panel) } },
          axes: axes(chart, panel, number === chart.panels.length - 1),
          series: [{ label: chart.axis, value: (_, value) => (value == null ? "–" : value.toFixed(3)) }, ...panel.series.map((one, at) => series(chart, one, at, panel))],
          bands: panel.series.flatMap((one, at) => (one.drawn === "band" ? [{ series: [at + 1, at + 2], fill: colour("--group-0") }] : [])),
          legend: { markers: { dash: (self, at) => (self.series[at].dash?.length ? DASH_NAMES[(at - 1) % DASH_NAMES.length] : "solid") } },
          hooks: {
            draw: [marks(panel, chart.spans)],
            setScale: [
              (self, key) => {
                if (key !== "x" || isFollowing) return;
                isFollowing = true;
                const { min, max } = self.scales.x;
                regroup(min, max);
                panels.filter((other) => other !== self || merges).forEach((other) => other.setScale("x", { min, max }));
                isFollowing = false;
              },
            ],
          },
        },
        tables[number],
        box,
      );
      box.addEventListener("keydown", (event) => {
        const step = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
        if (!step) return;
        event.preventDefault();
        if (!places.length) return;
        const { idx, left } = u.cursor;
        const { min, max } = u.scales.x;
        const from = nearest(idx == null ? (min + max) / 2 : u.posToVal(left, "x"));
        const to = u.data[0][places[Math.min(Math.max(from + step, 0), places.length - 1)]];
        // The view follows a value outside it.
        if (to < min || to > max) show(to - (max - min) / 2, to + (max - min) / 2);
        // After the view, which is not moved at once.
        queueMicrotask(() => u.setCursor({ left: u.valToPos(to, "x"), top: panel.height / 2 }));
      });
      panels.push(u);
    });
    show(first, last);
    const fit = (width = Math.max(place.clientWidth, 200)) => {
      panels.forEach((u, number) => u.setSize({ width, height: chart.panels[number].height }));
    };
    const sizes = new ResizeObserver(() => fit());
    sizes.observe(place);
    drawn.set(place, { panels, sizes, fit });
  };

  // Draws every chart that has a place; what stood in the place before is taken down, and so is what has left the page.
  const drawAll = (charts) => {
    for (const [place, { panels, sizes }] of drawn) {
      const stays = place.isConnected && !charts.some((chart) => chart.id === place.dataset.chart);
      if (stays) continue;
      sizes.disconnect();
      panels.forEach((u) => u.destroy());
      place.replaceChildren();
      drawn.delete(place);
    }
    for (const chart of charts) {
      const place = document.querySelector(`[data-chart="${chart.id}"]`);
      if (place) draw(place, chart);
    }
  };
  window.drawCharts = drawAll;

  const again = () => drawn.forEach(({ panels }) => panels.forEach((u) => u.redraw(true, true)));
  const given = document.getElementById("charts");
  if (given) drawAll(JSON.parse(given.textContent));
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", again);
  // On paper every page is light, and as wide as a sheet.
  const paper = (isPrinting) => () => {
    document.documentElement.classList.toggle("on-paper", isPrinting);
    drawn.forEach(({ fit }) => (isPrinting ? fit(SHEET_WIDTH) : fit()));
    again();
  };
  addEventListener("beforeprint", paper(true));
  addEventListener("afterprint", paper(false));
})();
