"use strict";
// The curves of the timelines: unpacked, read at a second, thinned out to what is seen; and the steps of their axes.
const curves = (() => {
  const NOTHING = 65535, TIME_STEPS = [0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 1200];

  // A series of 16-bit steps between its least and its greatest value; NaN where it has none.
  const unpacked = ({ values, start, step, low, high, least }) => {
    const raw = atob(values), ys = new Float64Array(raw.length / 2);
    for (let i = 0; i < ys.length; i++) {
      const steps = raw.charCodeAt(2 * i) + 256 * raw.charCodeAt(2 * i + 1);
      ys[i] = steps === NOTHING ? NaN : low + (high - low) * steps / (NOTHING - 1);
    }
    return { start, step: step || 1, least, ys };
  };

  const valueAt = ({ start, step, ys }, second) => {
    const value = ys[Math.floor((second - start) / step + 0.5 + 1e-6)];
    return value === undefined || Number.isNaN(value) ? null : value;
  };

  const worst = (ys, from, to, least) => {
    let found = NaN;
    for (let i = from; i < to; i++) {
      if (Number.isNaN(found) || (least ? ys[i] < found : ys[i] > found)) found = ys[i];
    }
    return found;
  };

  // Runs of [second, value] of a range in at most so many points: of each stretch its worst value, so that no peak is
  // lost; a run ends where there is no value.
  const seen = ({ start, step, least, ys }, range, points) => {
    const first = Math.max(0, Math.floor((range.min - start) / step) - 1);
    const last = Math.min(ys.length, Math.ceil((range.max - start) / step) + 2);
    const each = Math.max(1, Math.ceil((last - first) / points)), runs = [[]];
    for (let i = Math.floor(first / each) * each; i < last; i += each) {
      const end = Math.min(i + each, ys.length), value = worst(ys, i, end, least);
      if (Number.isNaN(value)) runs.push([]);
      else runs.at(-1).push([start + step * (i + end - 1) / 2, value]);
    }
    return runs.filter((run) => run.length);
  };

  const multiples = (low, high, step) => {
    const found = [];
    for (let k = Math.ceil(low / step - 1e-9); k * step <= high + 1e-9 * step; k++) found.push(Number((k * step).toFixed(6)));
    return found;
  };

  // Round values between two, about so many.
  const ticks = (low, high, about) => {
    const rough = (high - low) / about, unit = 10 ** Math.floor(Math.log10(rough));
    return multiples(low, high, unit * [1, 2, 5, 10].find((k) => k * unit >= rough));
  };

  // Seconds to write on a time axis, at most so many.
  const timeTicks = (low, high, most) => {
    const step = TIME_STEPS.find((seconds) => (high - low) / seconds <= most) || TIME_STEPS.at(-1);
    return multiples(low, high, step);
  };

  return { unpacked, valueAt, seen, ticks, timeTicks };
})();
