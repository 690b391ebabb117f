"use strict";
// The timelines: panels of SVG on one time axis, with a cursor through all of them, zoom, pan, and places to go to.
(() => {
  const { clock, made, clamp } = page, { Panel, LEFT } = panels;
  const SIGNS = { fail: "\u25A0", warn: "\u25B3", waived: "\u25CB" }, LEAST_S = 0.5, AROUND_S = 5, SIDEWAYS = 4;

  class Timelines {
    constructor(figure, side) {
      Object.assign(this, { figure, side, whole: { min: side.start_s, max: side.end_s }, cursor: side.start_s });
      this.range = { ...this.whole };
      this.where = made("output", "where-now", "");
      this.strip = made("div", "strip");
      this.plane = made("div", "panels");
      this.plane.tabIndex = 0;
      this.plane.setAttribute("role", "application");
      this.plane.setAttribute("aria-label", `Side ${side.id} along time. Arrow keys move the cursor, plus and minus zoom, `
        + "Page Up and Page Down pan, 0 shows all, n and p go to the next and the previous finding.");
      const holder = figure.querySelector(".plots");
      holder.append(this.controls(), this.strip, this.plane);
      holder.hidden = false;
      figure.querySelector(".still").classList.add("paper");
      const last = side.panels.length - 1;
      this.panels = side.panels.map((panel, index) => new Panel(side, panel, this.plane, index === last));
      this.plane.addEventListener("keydown", (event) => this.pressed(event));
      this.plane.addEventListener("wheel", (event) => this.wheeled(event), { passive: false });
      this.pointers();
      new ResizeObserver(() => this.show()).observe(this.plane);
      this.show();
    }

    controls() {
      const bar = made("div", "controls");
      bar.append(this.where);
      const acts = {
        "Whole side": () => this.all(), "Zoom in": () => this.scale(0.5), "Zoom out": () => this.scale(2),
        Earlier: () => this.pan(-0.5), Later: () => this.pan(0.5),
      };
      if (this.side.findings.length) {
        Object.assign(acts, { "Previous finding": () => this.step(-1), "Next finding": () => this.step(1) });
      }
      for (const [word, act] of Object.entries(acts)) {
        const button = made("button", "", word);
        button.type = "button";
        button.addEventListener("click", act);
        bar.append(button);
      }
      bar.append(this.places(), made("span", "note", "Drag to zoom, or use two fingers on a touch screen. Keys: arrows, +, -, Page Up, Page Down, n, p, 0."));
      return bar;
    }

    // The list of places to go to: tracks and findings.
    places() {
      const select = made("select"), label = made("label", "places", "Go to ");
      const offer = (into, words, act) => { into.append(new Option(words, String(acts.push(act) - 1))); };
      const acts = [];
      offer(select, "the whole side", () => this.all());
      const group = (name) => { const made_group = made("optgroup"); made_group.label = name; return made_group; };
      const tracks = group("Tracks"), findings = group("Findings");
      this.side.tracks.forEach((track) => offer(tracks, `${track.number} ${track.title}`, () => {
        this.zoom(track.start_s, track.end_s);
        this.move(clamp(track.start_s, this.whole.min, this.whole.max));
      }));
      this.inOrder().forEach((finding) => {
        const message = finding.message.length > 70 ? `${finding.message.slice(0, 69)}\u2026` : finding.message;
        offer(findings, `${clock(finding.second)} ${finding.word}: ${message}`, () => this.visit(finding.second));
      });
      select.append(...[tracks, findings].filter((options) => options.children.length));
      select.addEventListener("change", () => { acts[Number(select.value)](); this.plane.focus({ preventScroll: true }); });
      label.append(select);
      return label;
    }

    inOrder() { return this.side.findings.toSorted((a, b) => a.second - b.second); }

    pressed(event) {
      const pixel = (this.range.max - this.range.min) / Math.max(1, this.panels[0].width);
      const step = pixel * (event.shiftKey ? 25 : 1);
      const act = {
        ArrowRight: () => this.move(this.cursor + step), ArrowLeft: () => this.move(this.cursor - step),
        Home: () => this.move(this.whole.min), End: () => this.move(this.whole.max),
        "+": () => this.scale(0.5), "=": () => this.scale(0.5), "-": () => this.scale(2),
        PageUp: () => this.pan(-0.5), PageDown: () => this.pan(0.5), 0: () => this.all(), Escape: () => this.all(),
        n: () => this.step(1), p: () => this.step(-1),
      }[event.key];
      if (!act || event.ctrlKey || event.metaKey || event.altKey) return;
      event.preventDefault();
      act();
    }

    wheeled(event) {
      if (!event.ctrlKey && Math.abs(event.deltaX) <= Math.abs(event.deltaY)) return;
      event.preventDefault();
      if (event.ctrlKey) this.scale(event.deltaY > 0 ? 1.25 : 0.8);
      else this.pan(event.deltaX / this.panels[0].width);
    }

    // A mouse moves the cursor and drags a range to zoom into; one finger moves the cursor, two stretch what is seen.
    pointers() {
      const down = new Map();
      const secondAt = (event) => {
        const x = event.clientX - this.plane.getBoundingClientRect().left - LEFT;
        return this.range.min + (this.range.max - this.range.min) * clamp(x / this.panels[0].width, 0, 1);
      };
      const ended = (event) => {
        const begun = down.get(event.pointerId);
        down.delete(event.pointerId);
        this.panels.forEach((panel) => panel.choose(0, 0));
        if (event.type === "pointerup" && begun && begun.drags) this.zoom(...[begun.second, secondAt(event)].sort((a, b) => a - b));
      };
      this.plane.addEventListener("pointerdown", (event) => {
        if (!event.target.closest("svg") || event.button) return;
        if (event.pointerType === "mouse") this.plane.setPointerCapture(event.pointerId);
        down.set(event.pointerId, { x: event.clientX, second: secondAt(event), drags: false });
        this.move(secondAt(event));
      });
      this.plane.addEventListener("pointermove", (event) => {
        const begun = down.get(event.pointerId), second = secondAt(event);
        if (!begun && !event.target.closest("svg")) return;
        if (begun) begun.now = event.clientX;
        if (begun && event.pointerType === "mouse") {
          begun.drags = Math.abs(event.clientX - begun.x) > SIDEWAYS;
          const [from, to] = [begun.second, second].sort((a, b) => a - b);
          this.panels.forEach((panel) => panel.choose(from, begun.drags ? to : from));
        }
        if (down.size === 2) this.stretch([...down.values()]);
        else this.point(second, true);
      });
      for (const name of ["pointerup", "pointercancel"]) this.plane.addEventListener(name, ended);
      this.plane.addEventListener("dblclick", (event) => { if (!event.target.closest("p")) this.all(); });
    }

    // Keep under each of two fingers the second that it was put down on.
    stretch(fingers) {
      const left = this.plane.getBoundingClientRect().left + LEFT, { width } = this.panels[0];
      const [a, b] = fingers.map((finger) => ({ second: finger.second, part: ((finger.now ?? finger.x) - left) / width }));
      if (Math.abs(a.part - b.part) < 0.02 || a.second === b.second) return;
      const wide = (b.second - a.second) / (b.part - a.part), from = a.second - wide * a.part;
      if (wide > 0) this.zoom(from, from + wide);
    }

    // Show the range from `min` to `max`, or as near to it as the side allows.
    zoom(min, max) {
      const most = this.whole.max - this.whole.min, wide = clamp(max - min, Math.min(LEAST_S, most), most);
      const from = clamp((min + max) / 2 - wide / 2, this.whole.min, this.whole.max - wide);
      this.range = { min: from, max: from + wide };
      this.show();
    }
    scale(by) { const half = by * (this.range.max - this.range.min) / 2; this.zoom(this.cursor - half, this.cursor + half); }
    pan(part) { const by = part * (this.range.max - this.range.min); this.zoom(this.range.min + by, this.range.max + by); }
    all() { this.range = { ...this.whole }; this.show(); }

    // Go to the next finding, or with -1 to the one before.
    step(way) {
      const seconds = this.inOrder().map((finding) => finding.second).filter((second) => way * (second - this.cursor) > 1e-3);
      if (seconds.length) this.visit(way > 0 ? seconds[0] : seconds.at(-1));
    }

    visit(second) {
      this.zoom(second - AROUND_S, second + AROUND_S);
      this.move(second);
    }

    show() {
      const width = this.plane.clientWidth;
      Object.assign(this.plane.dataset, { from: this.range.min, to: this.range.max });
      this.panels.forEach((panel) => panel.draw(width, this.range));
      this.signs();
      this.point(this.cursor);
    }

    // Put the cursor somewhere, the stylus on the disc's face too; it may lie outside of what is seen.
    point(second, onFace = false) {
      this.cursor = clamp(second, this.whole.min, this.whole.max);
      this.panels.forEach((panel) => panel.point(this.cursor));
      const track = page.trackAt(this.side, this.cursor), face = page.faces.get(this.side.id);
      this.where.textContent = `${clock(this.cursor)}${track ? `, track ${track.number}` : ""}`;
      if (onFace && face) face(this.cursor);
    }

    // Move the cursor, and follow it with what is seen.
    move(second) {
      this.point(second, true);
      if (this.cursor >= this.range.min && this.cursor <= this.range.max) return;
      const half = (this.range.max - this.range.min) / 2;
      this.zoom(this.cursor - half, this.cursor + half);
    }

    signs() {
      const across = (second) => 100 * (second - this.range.min) / (this.range.max - this.range.min);
      this.strip.replaceChildren();
      for (const track of this.side.tracks) {
        const [from, to] = [track.start_s, track.end_s].map((second) => clamp(across(second), 0, 100));
        if (to <= from) continue;
        const name = made("span", "track", `${track.number} ${track.title}`);
        Object.assign(name.style, { left: `${from}%`, width: `${to - from}%` });
        this.strip.append(name);
      }
      for (const finding of this.side.findings.toReversed()) {
        const x = across(finding.second);
        if (x < 0 || x > 100) continue;
        const link = made("a", `sign ${finding.word}`, SIGNS[finding.word]);
        link.href = `#${finding.anchor}`;
        link.title = `${finding.word} ${clock(finding.second)}: ${finding.message}`;
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
    if (side) page.plots.set(side.id, new Timelines(figure, side));
  });

  document.querySelectorAll("button.jump").forEach((button) => {
    const timelines = page.plots.get(button.dataset.side);
    if (!timelines) return;
    button.hidden = false;
    button.addEventListener("click", () => {
      timelines.visit(Number(button.dataset.second));
      timelines.figure.scrollIntoView();
      timelines.plane.focus({ preventScroll: true });
    });
  });
})();
