"use strict";
// Shared by all scripts of the page: its data, small helpers, and the pictures of the sides once they are set up.
const page = (() => {
  const root = document.documentElement;
  const data = JSON.parse(document.getElementById("data").textContent);
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
  const trackAt = (side, second) => side.tracks.findLast((track) => track.start_s <= second);
  const faces = new Map(), plots = new Map();

  // -- light ---------------------------------------------------------------------------------------------------

  const light = document.getElementById("light");
  const dark = () => root.dataset.light ? root.dataset.light === "dark" : matchMedia("(prefers-color-scheme: dark)").matches;
  const relit = () => { light.textContent = dark() ? "Light page" : "Dark page"; };
  light.hidden = false;
  light.addEventListener("click", () => { root.dataset.light = dark() ? "light" : "dark"; relit(); });
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", relit);

  // -- what unfolds ----------------------------------------------------------------------------------------------

  const named = () => {  // the part of the page that its address names; an address may hold anything
    try { return document.getElementById(decodeURIComponent(location.hash.slice(1))); } catch { return null; }
  };
  const unfold = () => {
    const target = named();
    const folded = target && target.closest("details");
    if (folded && !folded.open) { folded.open = true; target.scrollIntoView(); }
  };
  addEventListener("hashchange", unfold);
  let folded = [];
  addEventListener("beforeprint", () => {
    folded = [...document.querySelectorAll("details:not([open])")];
    folded.forEach((details) => { details.open = true; });
  });
  addEventListener("afterprint", () => folded.forEach((details) => { details.open = false; }));

  relit();
  unfold();
  return { clock, made, clamp, sideOf, trackAt, faces, plots };
})();
