"use strict";
// The disc's face: time, radius and pitch under a pointer, or turn by turn from the keyboard.
(() => {
  const face = (figure) => {
    const side = page.sideOf(figure);
    if (!side) return;
    const { centre, scale, radius, pitch, outer, turn_s: turn, start_s: start, end_s: end } = side.face;
    const svg = figure.querySelector("svg"), reader = figure.querySelector(".turner");
    const ring = svg.querySelector(".here"), stylus = svg.querySelector(".stylus");
    let here = 0;
    const inner = (index) => radius[page.clamp(index, 0, radius.length - 1)];
    const before = (index) => index ? radius[index - 1] : outer;
    const at = (second) => {
      const turns = page.clamp((second - start) / turn, 0, (end - start) / turn);
      const index = Math.min(Math.floor(turns + 1e-6), radius.length - 1), part = page.clamp(turns - index, 0, 1);
      const r = before(index) + (inner(index) - before(index)) * part, angle = 2 * Math.PI * part;
      here = index;
      ring.setAttribute("r", r * scale);
      stylus.setAttribute("r", 4.5);
      stylus.setAttribute("cx", centre - r * scale * Math.sin(angle));
      stylus.setAttribute("cy", centre - r * scale * Math.cos(angle));
      const track = page.trackAt(side, second);
      const says = `${page.clock(second)}${track ? `, track ${track.number}` : ""}, radius ${r.toFixed(1)} mm, `
        + `pitch ${pitch[index].toFixed(0)} um, turn ${index + 1} of ${radius.length}`;
      reader.textContent = says;
      reader.setAttribute("aria-valuenow", index + 1);
      reader.setAttribute("aria-valuetext", says);
    };
    const shown = (second) => { at(second); const plot = page.plots.get(side.id); if (plot) plot.point(second); };
    const pointed = (event) => {
      const spot = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
      const dx = spot.x - centre, dy = spot.y - centre, r = Math.hypot(dx, dy) / scale;
      if (r > outer || r < inner(radius.length)) return;
      const part = ((Math.atan2(-dx, -dy) / (2 * Math.PI)) + 1) % 1;
      let low = 0, high = radius.length - 1;
      while (low < high) {
        const middle = (low + high) >> 1;
        if (radius[middle] <= r) high = middle; else low = middle + 1;
      }
      shown(page.clamp(start + (low + part) * turn, start, end));
    };
    svg.addEventListener("pointermove", pointed);
    svg.addEventListener("pointerdown", pointed);
    reader.setAttribute("aria-valuemax", radius.length);
    reader.addEventListener("keydown", (event) => {
      const step = {
        ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1, PageUp: 10, PageDown: -10, Home: -1e6, End: 1e6,
      }[event.key];
      if (!step) return;
      event.preventDefault();
      shown(start + page.clamp(here + step, 0, radius.length - 1) * turn);
    });
    figure.querySelector(".reading").hidden = false;
    page.faces.set(side.id, at);
  };

  document.querySelectorAll(".face-of").forEach(face);
})();
