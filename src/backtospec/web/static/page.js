"use strict";
// Nothing typed is lost, two browsers see each other's readings, files go up with progress.
const $ = (selector, within = document) => within.querySelector(selector);
const $$ = (selector, within = document) => [...within.querySelectorAll(selector)];
const formToken = () => document.body.dataset.formToken;
function tell(words) { const link = $("#link"); if (link && link.textContent !== words) link.textContent = words; }
const kept = {
  get: key => { try { return JSON.parse(localStorage.getItem(key) || "null"); } catch { return null; } },
  set: (key, value) => { try { localStorage.setItem(key, JSON.stringify(value)); } catch { tell("this browser keeps no drafts"); } },
  drop: key => { try { localStorage.removeItem(key); } catch { /* nothing was kept */ } },
};

// Drafts: what was typed stays in the browser until the server has kept it. The form's token stays
// with it, so that a form whose answer was lost is sent again and kept once.
const draftKey = form => `draft:${form.dataset.draft}`;
function valuesOf(form) {
  const values = {};
  for (const [name, value] of new FormData(form)) if (typeof value === "string" && name !== "form_token") values[name] = value;
  return values;
}
function saveDraft(form) {
  kept.set(draftKey(form), { values: valuesOf(form), sent: false });
  draftWord(form, "typed, not kept yet");
}
function draftWord(form, words) { const word = $("[data-draft-word]", form); if (word) word.textContent = words; }
function restoreDraft(form) {
  const draft = kept.get(draftKey(form));
  if (!draft || !draft.values) return;
  if (draft.sent && new URLSearchParams(location.search).has("sitting")) { kept.drop(draftKey(form)); return; }
  if ($(".faults", form)) return;
  for (const [name, value] of Object.entries(draft.values)) {
    const cell = name.match(/^cell:([^:]+):(\d+):/);
    if (cell) while (!form.elements[name] && addRow(form, cell[1]));
    const field = form.elements[name];
    if (!field) { if (name.startsWith("told:")) hidden(form, name, value); continue; }
    if (field instanceof RadioNodeList) field.value = value;
    else if (field.type === "checkbox") field.checked = true;
    else field.value = value;
    const folded = field.closest && field.closest("details");
    if (folded && value.trim() && !field.matches("[type=hidden]")) folded.open = true;
    if (value && field.matches && field.matches("[hx-get]")) setTimeout(() => htmx.trigger(field, "echo"), 0);
  }
  for (const box of $$("[data-file]", form)) showFile(box);
  draftWord(form, "typed earlier, not kept yet");
}
function hidden(form, name, value) {
  let field = form.elements[name];
  if (!field) { field = document.createElement("input"); field.type = "hidden"; field.name = name; form.append(field); }
  field.value = value;
  return field;
}
document.addEventListener("input", event => { const form = event.target.closest("form[data-draft]"); if (form) saveDraft(form); });
// Before what came back is put on the page: a new form there must not take up the old draft.
document.addEventListener("htmx:beforeOnLoad", event => {
  const { elt, xhr, requestConfig } = event.detail;
  const form = elt.closest("form");
  if (!form || requestConfig.verb !== "post") return;
  if (xhr.status === 403) { tell("this page has become too old: load it anew; what you typed is kept"); return; }
  if (xhr.getResponseHeader("x-not-kept")) { tell(""); return; }
  if (xhr.status >= 400) { tell("not kept – what you typed is still in the form; press again"); return; }
  tell("kept");
  if (form.dataset.draft) {
    if (xhr.responseURL.includes("/works/")) kept.set(draftKey(form), { values: valuesOf(form), sent: true });
    else kept.drop(draftKey(form));
  }
  const dialog = form.closest("dialog");
  if (dialog) dialog.close();
});
for (const name of ["htmx:sendError", "htmx:timeout"]) document.addEventListener(name, () => tell("no connection – what you typed is still here"));
document.addEventListener("htmx:afterSettle", event => {
  if (event.detail.requestConfig?.verb !== "post") return;
  const target = $("[data-focus]") || $("form[data-pedal] [name=reading]") || $("#result");
  if (target) { target.focus({ preventScroll: true }); target.scrollIntoView({ block: "center" }); }
});

// Answers to a question, rows of a table, files.
function answer(button) {
  const form = button.closest("form");
  const name = button.dataset.for;
  const field = form.elements[name] || hidden(form, name, "");
  field.value = button.dataset.answer;
  const box = field.closest(".field");
  if (field.matches("[hx-get]")) htmx.trigger(field, "echo");
  if (box) { for (const old of $$(".question, .fault", box)) old.remove(); box.classList.remove("wrong"); }
  const question = button.closest(".question");
  if (question) question.replaceWith(Object.assign(document.createElement("p"), { className: "echo", textContent: `= ${button.textContent}` }));
  saveDraft(form);
}
function addRow(form, key) {
  const first = $$(`[name^="cell:${key}:"]`, form).at(-1);
  const row = first && first.closest("tr");
  if (!row || row.dataset.row > 500) return false;
  const copy = row.cloneNode(true), n = Number(row.dataset.row) + 1;
  copy.dataset.row = n;
  for (const field of $$("input, select", copy)) {
    field.name = field.name.replace(/:\d+:/, `:${n}:`);
    field.setAttribute("aria-label", field.getAttribute("aria-label").replace(/\d+$/, n + 1));
    field.value = "";
  }
  row.after(copy);
  return true;
}
function showFile(box) {
  const name = $("[name^='name:']", box).value;
  $(".given", box).textContent = name;
  $("[data-forget]", box).hidden = !name;
}
function upload(box, file) {
  const form = box.closest("form"), bar = $("progress", box), given = $(".given", box);
  const request = new XMLHttpRequest();
  form.dataset.uploading = Number(form.dataset.uploading || 0) + 1;
  const ended = words => { form.dataset.uploading -= 1; bar.hidden = true; given.textContent = words; };
  bar.hidden = false; bar.value = 0;
  request.upload.onprogress = e => { bar.value = e.loaded / e.total; given.textContent = `${file.name}: ${Math.round(100 * e.loaded / e.total)} %`; };
  request.onload = () => {
    if (request.status !== 200) { ended(`✕ ${request.responseText || request.status}`); return; }
    const found = JSON.parse(request.responseText);
    $("[name^='file:']", box).value = found.sha256;
    $("[name^='name:']", box).value = found.name;
    for (const told of $$("[name^='told:']", box)) told.remove();
    ended(`${found.name}, ${(found.size / 1e6).toFixed(2)} MB`);
    $("[data-forget]", box).hidden = false;
    saveDraft(form);
  };
  request.onerror = () => ended("✕ no connection: choose the file again");
  request.open("PUT", `/uploads?name=${encodeURIComponent(file.name)}`);
  request.setRequestHeader("x-form-token", formToken());
  request.setRequestHeader("content-type", "application/octet-stream");
  request.send(file);
}
async function takeText(box, file) {
  const form = box.closest("form");
  form.elements[box.dataset.textFile].value = await file.text();
  form.elements.sheet_name.value = file.name;
  saveDraft(form);
}
function takeFile(box, file) { if (box.dataset.file) upload(box, file); else takeText(box, file); }
document.addEventListener("change", event => {
  const box = event.target.type === "file" && event.target.closest(".file");
  if (box && event.target.files[0]) { takeFile(box, event.target.files[0]); event.target.value = ""; }
});
for (const name of ["dragover", "dragleave", "drop"]) document.addEventListener(name, event => {
  const drop = event.target.closest && event.target.closest(".drop");
  if (!drop) return;
  event.preventDefault();
  drop.classList.toggle("over", name === "dragover");
  if (name === "drop" && event.dataTransfer.files[0]) takeFile(drop.closest(".file"), event.dataTransfer.files[0]);
});
document.addEventListener("htmx:confirm", event => {
  if (Number(event.target.dataset.uploading || 0) > 0) { event.preventDefault(); tell("a file is still on its way: wait for it, then keep"); }
});
document.addEventListener("click", event => {
  const hit = selector => event.target.closest(selector);
  let found;
  if ((found = hit("[data-answer]"))) answer(found);
  else if ((found = hit("[data-more-rows]"))) { const table = found.closest(".field"); addRow(found.closest("form"), $("[name^='cell:']", table).name.split(":")[1]); }
  else if ((found = hit("[data-forget]"))) { const box = found.closest(".file"); for (const f of $$("input[type=hidden]", box)) f.value = ""; for (const t of $$("[name^='told:']", box)) t.remove(); showFile(box); saveDraft(found.closest("form")); }
  else if (hit("[data-theme-switch]")) { window.switchTheme(); themeWord(); }
  else if ((found = hit("[data-close]"))) { const dialog = found.closest("dialog"); if (dialog) dialog.close(); else history.back(); }
  else if ((found = hit("[data-quick]"))) { event.preventDefault(); openQuick(found.href); }
});
function themeWord() { const button = $("[data-theme-switch]"); if (button) button.textContent = document.documentElement.dataset.theme === "paper" ? "Workshop" : "Paper"; }

// The quick reading, over whatever is open.
async function openQuick(address) {
  const dialog = $("#quick");
  let text;
  try { text = await (await fetch(address)).text(); } catch { tell("no connection"); return; }
  const form = $("#quick-form", new DOMParser().parseFromString(text, "text/html"));
  if (!form) { location.href = address; return; }
  for (const [name, value] of [["hx-target", "#quick"], ["hx-select", "#quick-form"], ["hx-swap", "innerHTML"], ["hx-push-url", "false"]]) form.setAttribute(name, value);
  dialog.replaceChildren(form);
  htmx.process(form);
  dialog.showModal();
  start(form);
  $("[name=reading]", form).focus();
}

// Clocks run from what the server said.
const since = new WeakMap();
function runClocks() {
  for (const clock of $$("[data-clock], [data-countdown]")) {
    if (!since.has(clock)) since.set(clock, performance.now());
    const run = (performance.now() - since.get(clock)) / 1000;
    const seconds = Math.round(clock.dataset.clock ? clock.dataset.clock * 60 + run : Math.max(0, clock.dataset.countdown - run));
    const two = n => String(n).padStart(2, "0");
    clock.textContent = `${Math.floor(seconds / 3600)}:${two(Math.floor(seconds / 60) % 60)}:${two(seconds % 60)}`;
  }
}
setInterval(runClocks, 1000);

// Live: one stream for the job; given back while the tab is hidden, for a browser has only six.
let stream = null, heard = 0, listened = "";
function listen() {
  const address = $("[data-live]")?.dataset.live || "";
  if (address !== listened) hush();
  if (stream || !address || document.hidden) return;
  listened = address;
  stream = new EventSource(address);
  heard = performance.now();
  stream.onopen = () => { heard = performance.now(); if ($("#link")?.textContent.startsWith("no connection")) tell(""); };
  stream.onerror = () => { tell("no connection – trying again"); if (stream && stream.readyState === 2) { hush(); setTimeout(listen, 1500); } };
  stream.addEventListener("alive", () => { heard = performance.now(); });
  stream.addEventListener("added", () => { heard = performance.now(); htmx.trigger(document.body, "added"); });
}
function hush() { if (stream) stream.close(); stream = null; }
document.addEventListener("visibilitychange", () => { if (document.hidden) hush(); else { listen(); htmx.trigger(document.body, "added"); } });
addEventListener("pagehide", hush);
setInterval(() => { if (stream && performance.now() - heard > 40000) { hush(); listen(); } }, 5000);

// A part that is refreshed keeps open what was open.
let open = [];
document.addEventListener("htmx:beforeSwap", event => { open = $$("details[open] > summary", event.detail.target).map(s => s.textContent.split(":")[0]); });
document.addEventListener("htmx:afterSwap", event => {
  if (event.detail.requestConfig?.verb === "post") return;
  for (const summary of $$("details > summary", event.detail.target.isConnected ? event.detail.target : document)) if (open.includes(summary.textContent.split(":")[0])) summary.parentElement.open = true;
});

// Hands free: a pedal that types Page Down keeps the reading; the page speaks, and sounds a tone.
const wants = name => kept.get(`hands-free:${name}`) === true;
document.addEventListener("keydown", event => {
  const form = $("form[data-pedal]");
  if (event.key !== "PageDown" || !form || event.target.closest("dialog")) return;
  event.preventDefault();
  const field = form.elements.reading;
  if (field.value.trim()) form.requestSubmit(); else field.focus();
});
document.addEventListener("htmx:configRequest", event => { event.detail.headers["x-form-token"] = formToken(); });
document.addEventListener("htmx:configRequest", event => {
  const form = event.detail.elt.closest("form[data-timed]");
  if (!form || event.detail.verb !== "post") return;
  if (form.dataset.typed !== form.elements.reading.value) { form.dataset.typed = form.elements.reading.value; form.dataset.pressed = performance.now(); }
  event.detail.parameters.ago = ((performance.now() - form.dataset.pressed) / 1000).toFixed(1);
});
document.addEventListener("change", event => {
  const name = event.target.matches("[data-speak]") ? "speak" : event.target.matches("[data-tone]") ? "tone" : "";
  if (!name) return;
  kept.set(`hands-free:${name}`, event.target.checked);
  if (name === "speak") speak(event.target.checked ? "I will speak" : ""); else if (event.target.checked) sound();
});
function speak(words) {
  if (!("speechSynthesis" in window)) { tell("this browser cannot speak"); return; }
  speechSynthesis.cancel();
  const spoken = words.replace(/(\d)\s*mV\b/g, "$1 millivolts").replace(/(\d)\s*µV\b/g, "$1 microvolts").replace(/(\d)\s*V\b/g, "$1 volts").replace(/−/g, "minus ");
  if (spoken) speechSynthesis.speak(Object.assign(new SpeechSynthesisUtterance(spoken), { lang: "en" }));
}
let player = null;
function sound() {
  player ||= new AudioContext();
  const tone = player.createOscillator(), gain = player.createGain(), now = player.currentTime;
  tone.frequency.value = 880;
  gain.gain.setValueAtTime(0.0001, now); gain.gain.exponentialRampToValueAtTime(0.3, now + 0.03); gain.gain.exponentialRampToValueAtTime(0.0001, now + 0.6);
  tone.connect(gain).connect(player.destination);
  tone.start(now); tone.stop(now + 0.65);
}
let said = null, acted = null;
function handsFree() {
  for (const box of $$("[data-speak], [data-tone]")) box.checked = wants(box.matches("[data-speak]") ? "speak" : "tone");
  const live = $("#live-watch");
  if (!live) { said = acted = null; return; }
  if (said !== null && live.dataset.say !== said && wants("speak")) speak(live.dataset.say);
  if (acted !== null && live.dataset.act !== acted && live.dataset.act && wants("tone")) sound();
  said = live.dataset.say; acted = live.dataset.act;
}

function start(within) {
  for (const form of within.matches?.("form[data-draft]") ? [within] : $$("form[data-draft]", within)) restoreDraft(form);
  const here = $(".dial .here", within);
  if (here) { const dial = here.closest(".dial"); dial.scrollLeft = here.offsetLeft - dial.clientWidth / 2 + here.clientWidth / 2; }
  runClocks();
  themeWord();
  handsFree();
  listen();
}
htmx.onLoad(start);
