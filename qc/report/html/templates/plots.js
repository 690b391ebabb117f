"use strict";
// The timelines: panels on one time axis, with a cursor through all of them, zoom, pan, and jumps to findings.
(() => {
  if (typeof uPlot === "undefined") return;
  const { css, clock, made, clamp } = page;
  const CURVES = ["--one", "--two"], SIGNS = { mend: "\u25A0", weigh: "\u25B3", waived: "\u25CB" };
  const FONT = '12px "Source Sans 3", "Noto Sans", "DejaVu Sans", "Liberation Sans", Arial, sans-serif';
  const LEFT = 58, RIGHT = 14, LEAST_S = 0.5, NOTHING = 65535;

  // -- the curves ------------------------------------------------------------------------------------------------

  const unpacked = (series) => {
    const raw = atob(series.values), xs = [], ys = [];
    for (let i = 0; i < raw.length / 2; i++) {
      const step = raw.charCodeAt(2 * i) + 256 * raw.charCodeAt(2 * i + 1);
      xs.push(series.start + i * series.step);
      ys.push(step === NOTHING ? null : series.low + (series.high - series.low) * step / (NOTHING - 1));
    }
    return [xs, ys];
  };

  const worst = (ys, from, to, least) => {
    let found = null;
    for (let i = from; i < to; i++) {
      if (ys[i] !== null && (found === null || (least ? ys[i] < found : ys[i] > found))) found = ys[i];
    }
    return found;
  };

  // What is seen is thinned out to the width: of each stretch its worst value, so that no peak is lost.
  const thinned = (panel, { xs, all }, range, points) => {
    const step = xs[1] - xs[0] || 1, first = clamp(Math.floor((range.min - xs[0]) / step) - 1, 0, xs.length - 1);
    const last = clamp(Math.ceil((range.max - xs[0]) / step) + 2, first + 1, xs.length);
    const each = Math.max(1, Math.ceil((last - first) / points)), seen = [[], ...all.map(() => [])];
    for (let i = Math.floor(first / each) * each; i < last; i += each) {
      const end = Math.min(i + each, xs.length);
      seen[0].push((xs[i] + xs[end - 1]) / 2);
      all.forEach((ys, index) => seen[index + 1].push(worst(ys, i, end, panel.series[index].least)));
    }
    return seen;
  };

  const figures = (value) => value.toFixed(Math.abs(value) >= 100 ? 0 : Math.abs(value) >= 10 ? 1 : 2);

  const valueAt = ({ xs, all }, index, second) => {
    const at = Math.floor((second - xs[0]) / (xs[1] - xs[0] || 1) + 0.5 + 1e-6);
    const value = all[index][at];
    return value === undefined || value === null ? null : value;
  };

  // -- what is drawn on the canvas beside the curves ---------------------------------------------------------------

  const tracksUnder = (side) => (u) => {
    const { left, top, width, height } = u.bbox;
    u.ctx.save();
    u.ctx.fillStyle = css("--area");
    side.tracks.filter((_, index) => index % 2 === 0).forEach((track) => {
      const [from, to] = [track.start_s, track.end_s].map((one) => clamp(u.valToPos(one, "x", true), left, left + width));
      u.ctx.fillRect(from, top, to - from, height);
    });
    u.ctx.restore();
  };

  const boundsOver = (panel) => (u) => {
    const { left, top, width, height } = u.bbox, ratio = devicePixelRatio || 1;
    u.ctx.save();
    u.ctx.lineWidth = 1.4 * ratio;
    for (const bound of panel.bounds) {
      const y = u.valToPos(bound.value, "y", true), mend = bound.word === "mend";
      if (y < top || y > top + height) continue;
      u.ctx.strokeStyle = css(mend ? "--fail" : "--warn");
      u.ctx.setLineDash(mend ? [] : [2 * ratio, 3 * ratio]);
      u.ctx.beginPath();
      u.ctx.moveTo(left, y);
      u.ctx.lineTo(left + width, y);
      u.ctx.stroke();
    }
    u.ctx.restore();
  };

  const axes = (last) => [
    {
      size: last ? 26 : 0, space: 72, font: FONT, stroke: () => css("--dim"), grid: { show: false },
      incrs: [0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600],
      ticks: { show: last, stroke: () => css("--dim"), size: 5 },
      values: (_, splits) => splits.map((one) => (last ? clock(one).replace(/\.000$/, "") : "")),
    },
    {
      size: LEFT, space: 28, font: FONT, stroke: () => css("--dim"), ticks: { show: false },
      grid: { stroke: () => css("--line"), width: 1 },
    },
  ];

  // -- one side ----------------------------------------------------------------------------------------------------

  class Timelines {
    constructor(figure, side) {
      this.figure = figure;
      this.side = side;
      this.whole = { min: side.start_s, max: side.end_s };
      this.range = { ...this.whole };
      this.cursor = side.start_s;
      this.curves = side.panels.map((panel) => {
        const decoded = panel.series.map(unpacked);
        return { xs: decoded[0][0], all: decoded.map((pair) => pair[1]) };
      });
      this.plots = [];
      this.where = made("output", "where-now", "");
      this.strip = made("div", "strip");
      this.plane = made("div", "panels");
      this.plane.tabIndex = 0;
      this.plane.setAttribute("role", "application");
      this.plane.setAttribute("aria-label", `Side ${side.id} along time. Arrow keys move the cursor, plus and minus zoom, `
        + "Page Up and Page Down pan, 0 shows all.");
      const holder = figure.querySelector(".plots");
      holder.append(this.controls(), this.strip, this.plane);
      holder.hidden = false;
      figure.querySelector(".still").classList.add("paper");
      this.listen();
      this.build();
    }

    controls() {
      const bar = made("div", "controls");
      const acts = {
        All: () => this.all(), In: () => this.scale(0.5), Out: () => this.scale(2),
        Earlier: () => this.pan(-0.5), Later: () => this.pan(0.5),
      };
      for (const [word, act] of Object.entries(acts)) {
        const button = made("button", "", word);
        button.type = "button";
        button.addEventListener("click", act);
        bar.append(button);
      }
      bar.append(this.where, made("span", "note", "drag to zoom; arrow keys, + and -, Page Up and Page Down, 0"));
      return bar;
    }

    listen() {
      this.plane.addEventListener("keydown", (event) => this.pressed(event));
      this.plane.addEventListener("wheel", (event) => {
        if (!event.ctrlKey) return;
        event.preventDefault();
        this.scale(event.deltaY > 0 ? 1.25 : 0.8);
      }, { passive: false });
      let wide = 0;
      new ResizeObserver(() => {
        const now = this.plane.clientWidth;
        if (wide && now && now !== wide) this.build();
        wide = now || wide;
      }).observe(this.plane);
    }

    pressed(event) {
      const pixel = (this.range.max - this.range.min) / Math.max(1, this.plane.clientWidth - LEFT - RIGHT);
      const step = pixel * (event.shiftKey ? 25 : 1);
      const act = {
        ArrowRight: () => this.move(this.cursor + step), ArrowLeft: () => this.move(this.cursor - step),
        Home: () => this.move(this.whole.min), End: () => this.move(this.whole.max),
        "+": () => this.scale(0.5), "=": () => this.scale(0.5), "-": () => this.scale(2),
        PageUp: () => this.pan(-0.5), PageDown: () => this.pan(0.5), 0: () => this.all(), Escape: () => this.all(),
      }[event.key];
      if (!act || event.ctrlKey || event.metaKey || event.altKey) return;
      event.preventDefault();
      act();
    }

    build() {
      this.plots.forEach(({ u }) => u.destroy());
      this.plane.replaceChildren();
      this.plots = this.side.panels.map((panel, index) => this.plot(panel, this.curves[index], index));
      this.show();
    }

    plot(panel, curve, index) {
      const last = index === this.side.panels.length - 1, [head, told] = this.head(panel), box = made("div", "panel");
      this.plane.append(head, box);
      const u = new uPlot({
        width: this.plane.clientWidth, height: last ? 122 : 96, padding: [4, RIGHT, 0, 0], legend: { show: false },
        scales: {
          x: { time: false, range: () => [this.range.min, this.range.max] }, y: { range: [panel.low, panel.high] },
        },
        axes: axes(last),
        series: [{}, ...panel.series.map((_, at) => ({
          stroke: () => css(CURVES[at]), width: 1.3, points: { show: false }, spanGaps: false,
        }))],
        cursor: { y: false, points: { show: false }, drag: { x: true, y: false, setScale: false } },
        hooks: {
          drawAxes: [tracksUnder(this.side)], draw: [boundsOver(panel)], setSelect: [(plot) => this.selected(plot)],
        },
      }, this.seen(panel, curve), box);
      for (const name of ["pointermove", "pointerdown"]) {
        u.over.addEventListener(name, (event) => this.move(u.posToVal(event.offsetX, "x")));
      }
      return { u, told, panel, curve };
    }

    head(panel) {
      const head = made("p", "panel-head");
      head.append(made("b", "", panel.unit ? `${panel.title}, ${panel.unit}` : panel.title));
      const told = panel.series.map((series, at) => {
        const value = made("span", "value", "");
        head.append(made("span", `key key-${at + 1}`, series.label), value);
        return value;
      });
      panel.bounds.forEach((bound) => head.append(made("span", `key bound-${bound.word}`, bound.says)));
      return [head, told];
    }

    seen(panel, curve) { return thinned(panel, curve, this.range, Math.max(200, 0.8 * this.plane.clientWidth)); }

    selected(plot) {
      const { left, width } = plot.select;
      if (width > 4) this.zoom(plot.posToVal(left, "x"), plot.posToVal(left + width, "x"));
      if (width) plot.setSelect({ left: 0, width: 0, top: 0, height: 0 }, false);
    }

    // Show the range from `min` to `max`, or as near to it as the side allows.
    zoom(min, max) {
      const most = this.whole.max - this.whole.min, wide = clamp(max - min, Math.min(LEAST_S, most), most);
      const from = clamp((min + max) / 2 - wide / 2, this.whole.min, this.whole.max - wide);
      this.range = { min: from, max: from + wide };
      this.plots.forEach(({ u, panel, curve }) => u.setData(this.seen(panel, curve)));
      this.show();
    }
    scale(by) { const half = by * (this.range.max - this.range.min) / 2; this.zoom(this.cursor - half, this.cursor + half); }
    pan(part) { const by = part * (this.range.max - this.range.min); this.zoom(this.range.min + by, this.range.max + by); }
    all() { this.zoom(this.whole.min, this.whole.max); }

    show() {
      Object.assign(this.plane.dataset, { from: this.range.min, to: this.range.max });
      this.signs();
      this.point(this.cursor);
    }

    // Put the cursor somewhere; it may lie outside of what is seen.
    point(second) {
      this.cursor = clamp(second, this.whole.min, this.whole.max);
      const part = (this.cursor - this.range.min) / (this.range.max - this.range.min);
      const off = part < 0 || part > 1;
      for (const { u, told, panel, curve } of this.plots) {
        u.setCursor({ left: off ? -10 : part * u.over.clientWidth, top: 10 }, false);
        told.forEach((node, index) => {
          const value = valueAt(curve, index, this.cursor);
          node.textContent = value === null ? "\u2013" : `${figures(value)} ${panel.unit}`;
        });
      }
      const track = page.trackAt(this.side, this.cursor);
      this.where.textContent = `${clock(this.cursor)}${track ? `, track ${track.number}` : ""}`;
    }

    // Move the cursor, follow it with what is seen, and with the stylus on the disc's face.
    move(second) {
      this.point(second);
      if (this.cursor < this.range.min || this.cursor > this.range.max) {
        const half = (this.range.max - this.range.min) / 2;
        this.zoom(this.cursor - half, this.cursor + half);
      }
      const face = page.faces.get(this.side.id);
      if (face) face(this.cursor);
    }

    signs() {
      const across = (second) => 100 * (second - this.range.min) / (this.range.max - this.range.min);
      this.strip.replaceChildren();
      for (const track of this.side.tracks) {
        const [from, to] = [track.start_s, track.end_s].map((one) => clamp(across(one), 0, 100));
        if (to <= from) continue;
        const name = made("span", "track", `${track.number} ${track.title}`);
        Object.assign(name.style, { left: `${from}%`, width: `${to - from}%` });
        this.strip.append(name);
      }
      for (const one of this.side.findings.toReversed()) {
        const x = across(one.second);
        if (x < 0 || x > 100) continue;
        const link = made("a", `sign ${one.word}`, SIGNS[one.word]);
        link.href = `#${one.anchor}`;
        link.title = `${one.word} ${clock(one.second)}: ${one.says}`;
        link.setAttribute("aria-label", link.title);
        link.tabIndex = -1;
        link.style.left = `${x}%`;
        this.strip.append(link);
      }
    }
  }

  // -- the page ----------------------------------------------------------------------------------------------------

  document.querySelectorAll(".time-of").forEach((figure) => {
    const side = page.sideOf(figure);
    if (!side) return;
    const timelines = new Timelines(figure, side);
    page.plots.set(side.id, timelines);
    page.redrawn.push(() => timelines.plots.forEach(({ u }) => u.redraw(false, true)));
  });

  document.querySelectorAll("button.jump").forEach((button) => {
    const timelines = page.plots.get(button.dataset.side);
    if (!timelines) return;
    button.hidden = false;
    button.addEventListener("click", () => {
      const second = Number(button.dataset.second);
      timelines.zoom(second - 5, second + 5);
      timelines.move(second);
      timelines.figure.scrollIntoView();
      timelines.plane.focus({ preventScroll: true });
    });
  });
})();
