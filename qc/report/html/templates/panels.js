"use strict";
// One panel of the timelines: its curves, limits and axes as SVG, and the values under the cursor.
const panels = (() => {
  const { clock, made, clamp } = page;
  const KINDS = ["one", "two"], LEFT = 58, RIGHT = 14, TOP = 7, HEIGHT = 92, FOOT = 22;

  const svg = (tag, attributes = {}, text) => {
    const node = document.createElementNS("http://www.w3.org/2000/svg", tag);
    for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
    if (text !== undefined) node.textContent = text;
    return node;
  };
  const line = (points) => points.map(([x, y], i) => `${i ? "L" : "M"}${x.toFixed(1)} ${y.toFixed(1)}`).join("");
  const figures = (value) => value.toFixed(Math.abs(value) >= 100 ? 0 : Math.abs(value) >= 10 ? 1 : 2);
  const brief = (seconds) => clock(seconds).replace(/\.?0+$/, (end) => end.startsWith(".") ? "" : end);

  class Panel {
    constructor(side, panel, plane, last) {
      Object.assign(this, { side, panel, last });
      this.curves = panel.series.map(curves.unpacked);
      this.svg = svg("svg", { class: "figure panel", "aria-hidden": "true" });
      plane.append(this.head(), this.svg);
    }

    head() {
      const { title, unit, series, limits } = this.panel, head = made("p", "panel-head");
      head.append(made("b", "", unit ? `${title}, ${unit}` : title));
      this.values = series.map(({ label }, index) => {
        const key = made("span", `key key-${index + 1}`, label), value = made("span", "value", "");
        key.append(" ", value);
        head.append(key);
        return value;
      });
      limits.forEach((limit) => head.append(made("span", `key bound-${limit.word}`, limit.words)));
      return head;
    }

    up(value) {
      const { low, high } = this.panel;
      return TOP + HEIGHT * (1 - (value - low) / (high - low));
    }

    draw(width, range) {
      const height = TOP + HEIGHT + (this.last ? FOOT : 4), right = width - RIGHT;
      this.width = Math.max(1, right - LEFT);
      this.range = range;
      const across = (second) => LEFT + this.width * (second - range.min) / (range.max - range.min);
      const clip = `clip-${this.side.id}-${this.panel.title}`.replace(/[^A-Za-z0-9]+/g, "-");
      const parts = [svg("rect", { class: "plot", x: LEFT, y: TOP, width: this.width, height: HEIGHT })];
      const clipped = svg("clipPath", { id: clip });
      clipped.append(svg("rect", { x: LEFT, y: TOP, width: this.width, height: HEIGHT }));
      parts.push(clipped, ...this.tracks(across), ...this.axes(across, right));
      for (const { value, word } of this.panel.limits) {
        const y = this.up(value);
        if (y >= TOP && y <= TOP + HEIGHT) parts.push(svg("path", { class: `bound-${word}`, d: line([[LEFT, y], [right, y]]) }));
      }
      this.curves.forEach((curve, index) => {
        const runs = curves.seen(curve, range, Math.max(200, 0.8 * this.width));
        const d = runs.map((run) => line(run.map(([second, value]) => [across(second), this.up(value)]))).join("");
        parts.push(svg("path", { class: KINDS[index], d, "clip-path": `url(#${clip})` }));
      });
      this.chosen = svg("rect", { class: "chosen", y: TOP, height: HEIGHT, width: 0 });
      this.cursor = svg("path", { class: "cursor" });
      this.dots = this.curves.map((_, index) => svg("circle", { class: `dot-${KINDS[index]}`, r: 0 }));
      for (const [name, value] of Object.entries({ width, height, viewBox: `0 0 ${width} ${height}` })) {
        this.svg.setAttribute(name, value);
      }
      this.svg.replaceChildren(...parts, this.chosen, this.cursor, ...this.dots);
      this.across = across;
    }

    tracks(across) {
      return this.side.tracks.filter((_, index) => index % 2 === 0).flatMap((track) => {
        const [from, to] = [track.start_s, track.end_s].map((second) => clamp(across(second), LEFT, LEFT + this.width));
        return to > from ? [svg("rect", { class: "area", x: from, y: TOP, width: to - from, height: HEIGHT })] : [];
      });
    }

    axes(across, right) {
      const { low, high } = this.panel, { min, max } = this.range;
      const parts = curves.ticks(low, high, 3).flatMap((value) => [
        svg("path", { class: "rule", d: line([[LEFT, this.up(value)], [right, this.up(value)]]) }),
        svg("text", { class: "dim end", x: LEFT - 6, y: this.up(value) + 4 }, String(value)),
      ]);
      for (const second of curves.timeTicks(min, max, this.width / 72)) {
        const x = across(second), below = TOP + HEIGHT;
        parts.push(svg("path", { class: "rule", d: line([[x, TOP], [x, below]]) }));
        if (!this.last) continue;
        parts.push(svg("path", { class: "axis", d: line([[x, below], [x, below + 5]]) }));
        if (x < right - 14) parts.push(svg("text", { class: "dim middle", x, y: below + 18 }, brief(second)));
      }
      return parts;
    }

    // Put the cursor at a second, and write what the curves have there.
    point(second) {
      const x = this.across(second), there = x >= LEFT - 0.5 && x <= LEFT + this.width + 0.5;
      this.cursor.setAttribute("d", there ? line([[x, TOP], [x, TOP + HEIGHT]]) : "");
      this.curves.forEach((curve, index) => {
        const value = curves.valueAt(curve, second), dot = this.dots[index];
        this.values[index].textContent = value === null ? "\u2013" : `${figures(value)} ${this.panel.unit}`;
        const y = value === null ? -1 : this.up(value), seen = there && y >= TOP && y <= TOP + HEIGHT;
        for (const [name, part] of Object.entries({ cx: x, cy: y, r: seen ? 3.2 : 0 })) dot.setAttribute(name, part);
      });
    }

    choose(from, to) {
      this.chosen.setAttribute("x", this.across(from));
      this.chosen.setAttribute("width", Math.max(0, this.across(to) - this.across(from)));
    }
  }

  return { Panel, LEFT };
})();
