"use strict";
// Before the first paint: the theme that was chosen, else the system's.
(() => {
  let chosen = null;
  try { chosen = localStorage.getItem("theme"); } catch { /* storage is switched off */ }
  const dark = matchMedia("(prefers-color-scheme: dark)");
  const set = () => { document.documentElement.dataset.theme = chosen || (dark.matches ? "workshop" : "paper"); };
  dark.addEventListener("change", set);
  set();
  window.switchTheme = () => {
    chosen = document.documentElement.dataset.theme === "paper" ? "workshop" : "paper";
    try { localStorage.setItem("theme", chosen); } catch { /* not remembered then */ }
    set();
  };
})();
