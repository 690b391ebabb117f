"use strict";
(() => {
  const root = document.documentElement;
  const data = JSON.parse(document.getElementById("data").textContent);
  const css = (name) => getComputedStyle(root).getPropertyValue(name).trim();
  const clock = (seconds) => {
    const millis = Math.round(seconds * 1000), rest = millis % 60000;
    return `${Math.floor(millis / 60000)}:${String(Math.floor(rest / 1000)).padStart(2, "0")}.${String(rest % 1000).padStart(3, "0")}`;
  };
  const made = (tag, className, text) => {
    const node = document.createElement(tag);
    if (className) node.className = className;
    if (text !== undefined) node.textContent = text;
    return node;
  };
  const clamp = (value, low, high) => Math.min(Math.max(value, low), high);
  const sideOf = (figure) => data.sides.find((side) => side.id === figure.dataset.side);
  const faces = new Map(), lines = new Map(), redrawn = [];
  const motion = matchMedia("(prefers-reduced-motion: reduce)").matches ? "auto" : "smooth";

  // -- light ---------------------------------------------------------------------------------------------------

  const light = document.getElementById("light");
  const dark = () => root.dataset.light ? root.dataset.light === "dark" : matchMedia("(prefers-color-scheme: dark)").matches;
  const relit = () => {
    light.textContent = dark() ? "Light page" : "Dark page";
    redrawn.forEach((redraw) => redraw());
  };
  light.hidden = false;
  light.addEventListener("click", () => { root.dataset.light = dark() ? "light" : "dark"; relit(); });
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", relit);

  // -- what unfolds ----------------------------------------------------------------------------------------------

  const unfold = () => {
    const target = location.hash && document.getElementById(decodeURIComponent(location.hash.slice(1)));
    const folded = target && target.closest("details");
    if (folded && !folded.open) { folded.open = true; target.scrollIntoView(); }
  };
  addEventListener("hashchange", unfold);
  let folded = [];
  addEventListener("beforeprint", () => {
    folded = [...document.querySelectorAll("details:not([open])")];
    folded.forEach((one) => { one.open = true; });
  });
  addEventListener("afterprint", () => folded.forEach((one) => { one.open = false; }));

  // -- the face of the disc --------------------------------------------------------------------------------------

  const face = (figure) => {
    const side = sideOf(figure);
    if (!side) return;
    const { centre, scale, radius, pitch, outer, turn_s: turn, start_s: start, end_s: end } = side.face;
    const svg = figure.querySelector("svg"), reader = figure.querySelector(".turner");
    const ring = svg.querySelector(".here"), stylus = svg.querySelector(".stylus");
    let here = 0;
    const inner = (index) => radius[clamp(index, 0, radius.length - 1)];
    const before = (index) => index ? radius[index - 1] : outer;
    const at = (second) => {
      const turns = clamp((second - start) / turn, 0, (end - start) / turn), index = Math.min(Math.floor(turns), radius.length - 1);
      const part = turns - index, r = before(index) + (inner(index) - before(index)) * Math.min(part, 1), angle = 2 * Math.PI * part;
      here = index;
      ring.setAttribute("r", r * scale);
      stylus.setAttribute("r", 4.5);
      stylus.setAttribute("cx", centre - r * scale * Math.sin(angle));
      stylus.setAttribute("cy", centre - r * scale * Math.cos(angle));
      const track = side.tracks.findLast((one) => one.start_s <= second);
      const says = `${clock(second)}${track ? `, track ${track.number}` : ""}, radius ${r.toFixed(1)} mm, pitch ${pitch[index].toFixed(0)} um, turn ${index + 1} of ${radius.length}`;
      reader.textContent = says;
      reader.setAttribute("aria-valuenow", index + 1);
      reader.setAttribute("aria-valuetext", says);
    };
    const shown = (second) => { at(second); const plot = lines.get(side.id); if (plot) plot.point(second, false); };
    const pointed = (event) => {
      const matrix = svg.getScreenCTM().inverse(), spot = new DOMPoint(event.clientX, event.clientY).matrixTransform(matrix);
      const dx = spot.x - centre, dy = spot.y - centre, r = Math.hypot(dx, dy) / scale;
      if (r > outer || r < inner(radius.length)) return;
      const part = ((Math.atan2(-dx, -dy) / (2 * Math.PI)) + 1) % 1;
      let low = 0, high = radius.length - 1;
      while (low < high) { const middle = (low + high) >> 1; if (radius[middle] <= r) high = middle; else low = middle + 1; }
      shown(clamp(start + (low + part) * turn, start, end));
    };
    svg.addEventListener("pointermove", pointed);
    svg.addEventListener("pointerdown", pointed);
    reader.setAttribute("aria-valuemax", radius.length);
    reader.addEventListener("keydown", (event) => {
      const step = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1, PageUp: 10, PageDown: -10, Home: -1e6, End: 1e6 }[event.key];
      if (!step) return;
      event.preventDefault();
      shown(start + clamp(here + step, 0, radius.length - 1) * turn);
    });
    figure.querySelector(".reading").hidden = false;
    faces.set(side.id, at);
  };

  // -- timelines -------------------------------------------------------------------------------------------------

  const unpacked = (series) => {
    const raw = atob(series.values), count = raw.length / 2, xs = new Array(count), ys = new Array(count);
    for (let i = 0; i < count; i++) {
      const step = raw.charCodeAt(2 * i) + 256 * raw.charCodeAt(2 * i + 1);
      xs[i] = series.start + i * series.step;
      ys[i] = step === 65535 ? null : series.low + (series.high - series.low) * step / 65534;
    }
    return [xs, ys];
  };
  const figures = (value) => value === null || value === undefined ? "" : Math.abs(value) >= 100 ? value.toFixed(0) : Math.abs(value) >= 10 ? value.toFixed(1) : value.toFixed(2);
  const CURVES = ["--one", "--two"], SIGNS = { mend: "\u25A0", weigh: "\u25B3", waived: "\u25CB" };
  const font = '12px "Source Sans 3", "Noto Sans", "DejaVu Sans", "Liberation Sans", Arial, sans-serif';
  const LEFT = 58, RIGHT = 14;

  const timelines = (figure) => {
    const side = sideOf(figure);
    if (!side || typeof uPlot === "undefined") return;
    const holder = figure.querySelector(".plots");
    const whole = { min: side.start_s, max: side.end_s };
    const range = { ...whole };
    let plots = [], cursor = side.start_s;
    const curves = side.panels.map((panel) => {
      const decoded = panel.series.map(unpacked);
      return { xs: decoded[0][0], all: decoded.map((pair) => pair[1]) };
    });

    const bar = made("div", "controls"), where = made("output", "where-now", "");
    const strip = made("div", "strip"), plane = made("div", "panels");
    plane.tabIndex = 0;
    plane.setAttribute("role", "application");
    plane.setAttribute("aria-label", `Side ${side.id} along time. Arrow keys move the cursor, plus and minus zoom, Page Up and Page Down pan, 0 shows all.`);
    holder.append(bar, strip, plane);

    const trackAt = (second) => side.tracks.findLast((one) => one.start_s <= second);
    const across = (second) => 100 * (second - range.min) / (range.max - range.min);
    const signs = () => {
      strip.replaceChildren();
      for (const track of side.tracks) {
        const from = clamp(across(track.start_s), 0, 100), to = clamp(across(track.end_s), 0, 100);
        if (to <= from) continue;
        const name = made("span", "track", `${track.number} ${track.title}`);
        name.style.left = `${from}%`;
        name.style.width = `${to - from}%`;
        strip.append(name);
      }
      for (const one of side.findings.toReversed()) {
        const x = across(one.second);
        if (x < 0 || x > 100) continue;
        const link = made("a", `sign ${one.word}`, SIGNS[one.word]);
        link.href = `#${one.anchor}`;
        link.title = `${one.word} ${clock(one.second)}: ${one.says}`;
        link.setAttribute("aria-label", link.title);
        link.tabIndex = -1;
        link.style.left = `${x}%`;
        strip.append(link);
      }
    };
    const values = () => {
      for (const plot of plots) plot.told.forEach((node, index) => {
        const xs = plot.curve.xs, ys = plot.curve.all[index];
        const at = Math.round((cursor - xs[0]) / (xs[1] - xs[0] || 1));
        node.textContent = at < 0 || at >= ys.length || ys[at] === null ? "\u2013" : `${figures(ys[at])} ${plot.unit}`;
      });
      const track = trackAt(cursor);
      where.textContent = `${clock(cursor)}${track ? `, track ${track.number}` : ""}`;
    };
    const zoom = (min, max) => {
      const least = 0.5, most = whole.max - whole.min, wide = clamp(max - min, Math.min(least, most), most);
      const middle = (min + max) / 2, from = clamp(middle - wide / 2, whole.min, whole.max - wide);
      Object.assign(range, { min: from, max: from + wide });
      Object.assign(plane.dataset, { from: range.min, to: range.max });
      plots.forEach(({ u, panel, curve }) => u.setData(thinned(panel, curve)));
      signs();
      point(cursor, false);
    };
    const point = (second, follow = true) => {
      cursor = clamp(second, whole.min, whole.max);
      if (follow && (cursor < range.min || cursor > range.max)) {
        const half = (range.max - range.min) / 2;
        return zoom(cursor - half, cursor + half);
      }
      const part = (cursor - range.min) / (range.max - range.min);
      plots.forEach(({ u }) => u.setCursor({ left: part < 0 || part > 1 ? -10 : part * u.over.clientWidth, top: 10 }, false));
      values();
    };
    const moved = (second) => { point(second); const at = faces.get(side.id); if (at) at(cursor); };

    // What is seen is thinned out to the width: of each stretch its worst value, so that no peak is lost.
    const thinned = (panel, { xs, all }) => {
      const step = xs[1] - xs[0] || 1, first = clamp(Math.floor((range.min - xs[0]) / step) - 1, 0, xs.length - 1);
      const last = clamp(Math.ceil((range.max - xs[0]) / step) + 2, first + 1, xs.length);
      const each = Math.max(1, Math.ceil((last - first) / Math.max(200, 0.8 * plane.clientWidth)));
      const seen = [[], ...all.map(() => [])];
      for (let i = Math.floor(first / each) * each; i < last; i += each) {
        const end = Math.min(i + each, xs.length);
        seen[0].push((xs[i] + xs[end - 1]) / 2);
        all.forEach((ys, index) => {
          let worst = null;
          for (let j = i; j < end; j++) {
            if (ys[j] !== null && (worst === null || (panel.series[index].least ? ys[j] < worst : ys[j] > worst))) worst = ys[j];
          }
          seen[index + 1].push(worst);
        });
      }
      return seen;
    };

    const underlay = (u) => {
      const { left, top, width, height } = u.bbox, context = u.ctx, right = left + width;
      context.save();
      context.fillStyle = css("--area");
      side.tracks.forEach((track, index) => {
        if (index % 2) return;
        const from = clamp(u.valToPos(track.start_s, "x", true), left, right), to = clamp(u.valToPos(track.end_s, "x", true), left, right);
        context.fillRect(from, top, to - from, height);
      });
      context.restore();
    };
    const overlay = (bounds) => (u) => {
      const { left, top, width, height } = u.bbox, context = u.ctx, ratio = devicePixelRatio || 1;
      context.save();
      context.lineWidth = 1.4 * ratio;
      for (const bound of bounds) {
        const y = u.valToPos(bound.value, "y", true);
        if (y < top || y > top + height) continue;
        context.strokeStyle = css(bound.word === "mend" ? "--fail" : "--warn");
        context.setLineDash(bound.word === "mend" ? [] : [2 * ratio, 3 * ratio]);
        context.beginPath();
        context.moveTo(left, y);
        context.lineTo(left + width, y);
        context.stroke();
      }
      context.restore();
    };
    const build = () => {
      plots.forEach(({ u }) => u.destroy());
      plane.replaceChildren();
      const width = plane.clientWidth;
      plots = side.panels.map((panel, index) => {
        const last = index === side.panels.length - 1, head = made("p", "panel-head");
        head.append(made("b", "", panel.unit ? `${panel.title}, ${panel.unit}` : panel.title));
        const told = panel.series.map((series, at) => {
          const name = made("span", `key key-${at + 1}`, series.label), value = made("span", "value", "");
          head.append(name, value);
          return value;
        });
        panel.bounds.forEach((bound) => head.append(made("span", `key bound-${bound.word}`, bound.says)));
        const box = made("div", "panel");
        plane.append(head, box);
        const curve = curves[index];
        const u = new uPlot({
          width, height: last ? 122 : 96, padding: [4, RIGHT, 0, 0], legend: { show: false },
          scales: { x: { time: false, range: () => [range.min, range.max] }, y: { range: [panel.low, panel.high] } },
          axes: [
            { show: true, size: last ? 26 : 0, font, incrs: [0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600], stroke: () => css("--dim"), grid: { show: false },
              ticks: { show: last, stroke: () => css("--dim"), size: 5 },
              values: (_, splits) => last ? splits.map((one) => clock(one).replace(/\.000$/, "")) : splits.map(() => "") },
            { size: LEFT, font, stroke: () => css("--dim"), grid: { stroke: () => css("--line"), width: 1 }, ticks: { show: false }, space: 28 },
          ],
          series: [{}, ...panel.series.map((_, at) => ({ stroke: () => css(CURVES[at]), width: 1.3, points: { show: false }, spanGaps: false }))],
          cursor: { y: false, points: { show: false }, drag: { x: true, y: false, setScale: false }, focus: { prox: -1 } },
          hooks: {
            drawAxes: [underlay],
            draw: [overlay(panel.bounds)],
            setSelect: [(plot) => {
              const { left, width: wide } = plot.select;
              if (wide > 4) zoom(plot.posToVal(left, "x"), plot.posToVal(left + wide, "x"));
              if (wide) plot.setSelect({ left: 0, width: 0, top: 0, height: 0 }, false);
            }],
          },
        }, thinned(panel, curve), box);
        u.over.addEventListener("pointermove", (event) => moved(u.posToVal(event.offsetX, "x")));
        u.over.addEventListener("pointerdown", (event) => moved(u.posToVal(event.offsetX, "x")));
        return { u, told, unit: panel.unit, panel, curve };
      });
      signs();
      point(cursor, false);
    };

    const scaled = (by) => { const half = by * (range.max - range.min) / 2; zoom(cursor - half, cursor + half); };
    const panned = (part) => { const by = part * (range.max - range.min); zoom(range.min + by, range.max + by); };
    const all = () => zoom(whole.min, whole.max);
    for (const [word, act] of [["All", all], ["In", () => scaled(0.5)], ["Out", () => scaled(2)], ["Earlier", () => panned(-0.5)], ["Later", () => panned(0.5)]]) {
      const button = made("button", "", word);
      button.type = "button";
      button.addEventListener("click", act);
      bar.append(button);
    }
    bar.append(where, made("span", "note", "drag to zoom; arrow keys, + and -, Page Up and Page Down, 0"));
    plane.addEventListener("keydown", (event) => {
      const pixel = (range.max - range.min) / Math.max(1, plane.clientWidth - LEFT - RIGHT), far = event.shiftKey ? 25 : 1;
      const act = {
        ArrowRight: () => moved(cursor + far * pixel), ArrowLeft: () => moved(cursor - far * pixel),
        Home: () => moved(whole.min), End: () => moved(whole.max), "+": () => scaled(0.5), "=": () => scaled(0.5), "-": () => scaled(2),
        PageUp: () => panned(-0.5), PageDown: () => panned(0.5), 0: all, Escape: all,
      }[event.key];
      if (!act || event.ctrlKey || event.metaKey || event.altKey) return;
      event.preventDefault();
      act();
    });
    plane.addEventListener("wheel", (event) => {
      if (!event.ctrlKey) return;
      event.preventDefault();
      scaled(event.deltaY > 0 ? 1.25 : 0.8);
    }, { passive: false });

    holder.hidden = false;
    figure.querySelector(".still").classList.add("paper");
    build();
    redrawn.push(() => plots.forEach(({ u }) => u.redraw(false, true)));
    let wide = plane.clientWidth;
    new ResizeObserver(() => { if (plane.clientWidth !== wide && plane.clientWidth) { wide = plane.clientWidth; build(); } }).observe(plane);
    lines.set(side.id, { point, moved, zoom, range, get cursor() { return cursor; }, figure });
  };

  document.querySelectorAll(".face-of").forEach(face);
  document.querySelectorAll(".time-of").forEach(timelines);
  document.querySelectorAll("button.jump").forEach((button) => {
    const plot = lines.get(button.dataset.side);
    if (!plot) return;
    button.hidden = false;
    button.addEventListener("click", () => {
      const second = Number(button.dataset.second);
      plot.zoom(second - 5, second + 5);
      plot.moved(second);
      plot.figure.scrollIntoView({ behavior: motion });
      plot.figure.querySelector(".panels").focus({ preventScroll: true });
    });
  });
  relit();
  unfold();
})();
