// Shows what the server says and sends what is pressed; it decides nothing.
"use strict";

const SILENCE_MS = 2500;
const CONFIRM_MS = 700;
const AGAIN_MS = 1000;
const STOP_MS = 1000;
const STOP_TRIES = 8;
const PATIENCE_MS = 5000;
const SHOWN_MS = 8000;
const known = {};
const byId = (id) => document.getElementById(id);
const on = (id, event, act) => byId(id).addEventListener(event, act);

// -- showing --------------------------------------------------------------------------------------

function look(path) {
  return path.split(".").reduce((value, key) => value?.[key], known);
}

function bind(attribute, apply) {
  for (const element of document.querySelectorAll(`[data-${attribute}]`)) {
    const path = element.getAttribute(`data-${attribute}`);
    bindings.push({section: path.split(".")[0], show: () => apply(element, look(path))});
  }
}

const bindings = [];
bind("text", (element, value) => {
  if (element.textContent !== (value ?? "")) element.textContent = value ?? "";
});
bind("show", (element, value) => {
  const had = !value && !element.hidden && element.contains(document.activeElement);
  element.hidden = !value;
  if (had) byId("state-line").focus({preventScroll: true});
});
bind("enable", (element, value) => { element.disabled = !value; });
bind("value", (element, value) => { element.value = value ?? 0; });
bind("hint", (element, value) => { element.placeholder = value ?? ""; });
bind("tone-from", (element, value) => { element.dataset.tone = value ?? ""; });
bind("kind-from", (element, value) => { element.dataset.kind = value ?? ""; });
bindings.push({section: "angle", show: () => tilt(known.angle.tilt)});
bindings.push({section: "pace", show: () => drawPace(byId("pace"), known.pace)});
// A bag that has slid lies downhill of the beam until it is put back.
let slid = false;
function drawBag() {
  const where = known.state?.word;
  if (known.beam?.broken && (where === "Raising" || where === "Sliding")) slid = true;
  else if (where === "Dwelling" || (where === "Placing" && !known.beam?.broken)) slid = false;
  byId("gauge").classList.toggle("broken", Boolean(known.beam?.broken));
  byId("gauge").classList.toggle("slid", slid);
}
bindings.push({section: "beam", show: drawBag}, {section: "state", show: drawBag});
bindings.push({section: "live", show: showLive});
bindings.push({section: "stop", show: followStop});
bindings.push({
  section: "slides",
  show: () => drawSlides(byId("slides"), byId("slides-list"), known.slides),
});

function take(message) {
  Object.assign(known, message);
  for (const {section, show} of bindings) if (section in message) show();
}

// -- the connection -------------------------------------------------------------------------------

let source = null;
let opened = () => {};  // the browser is known to the rig by now, and may be paired
let heard = 0;
let begun = 0;
let again = 0;

function say(text, isLost) {
  document.body.classList.toggle("lost", isLost);
  byId("begin-all").disabled = isLost;
  if (byId("link").textContent !== text) byId("link").textContent = text;
}

// Live is what the machine shows signs of life for, not what a connection happens to carry.
function showLive() {
  const silent = known.live?.silent_s ?? 0;
  say(silent ? history(silent) : "Live", silent > 0);
}

function history(seconds) {
  return `Last known, ${seconds} s ago; the board may still move`;
}

function connect() {
  clearTimeout(again);
  source?.close();
  begun = Date.now();
  source = new EventSource(`events?units=${units()}`);
  source.onmessage = (event) => {
    heard = Date.now();
    take(JSON.parse(event.data));
    showLive();
  };
  source.onopen = () => opened();
  source.onerror = () => {
    if (source?.readyState === EventSource.CLOSED) again = setTimeout(connect, AGAIN_MS);
  };
}

setInterval(() => {
  if (source && Date.now() - heard > SILENCE_MS) {
    const silent = Math.round((Date.now() - heard) / 1000) + (known.live?.silent_s ?? 0);
    say(`No connection. ${history(silent)}.`, true);
    // A stream that the network swallowed says nothing, nor does an attempt that hangs, or one that
    // the browser has given up: begin another one. While the browser tries again, let it.
    const patience = source.readyState === EventSource.CONNECTING ? PATIENCE_MS : AGAIN_MS;
    if (Date.now() - begun > patience) connect();
  }
}, 500);

// A hidden page lets go of its connection: a browser has only six for one rig.
document.addEventListener("visibilitychange", () => {
  if (document.hidden) { source?.close(); source = null; } else { heard = Date.now(); connect(); }
});

// -- asking ---------------------------------------------------------------------------------------

let fading = 0;

async function post(path, body, patience = 4000) {
  const said = byId("said");
  clearTimeout(fading);
  try {
    const answer = await fetch(path, {
      method: "POST",
      headers: {"Content-Type": "application/json"},
      body: JSON.stringify(body),
      signal: AbortSignal.timeout(patience),
    });
    const told = await answer.json();
    said.textContent = told.text;
    said.classList.toggle("bad", !answer.ok);
    fading = setTimeout(() => { said.textContent = ""; }, SHOWN_MS);
    return answer.ok && told;
  } catch {
    said.textContent = "The rig did not answer. Use the buttons on the rig itself.";
    said.classList.add("bad");
    return null;
  }
}

// -- stop -----------------------------------------------------------------------------------------

// A stop counts once the machine has met it, which it shows by counting; what was sent is nothing.
let stopping = null;
let stopFading = 0;

async function stop() {
  const mine = {before: null, isMet: false, late: setTimeout(() => notConfirmed(mine), CONFIRM_MS)};
  clearTimeout(stopping?.late);
  clearTimeout(stopFading);
  stopping = mine;
  tellStop("Stop: sending …", false);
  // A server that died on it answers nothing; the next one takes it. A stop too many does no harm.
  for (let tries = 0; tries < STOP_TRIES && stopping === mine; tries++) {
    const told = await post("stop", {}, STOP_MS);
    if (stopping !== mine) return;
    if (told) { mine.before = told.before; followStop(); return; }
    notConfirmed(mine);
    await new Promise((done) => { setTimeout(done, STOP_MS / 4); });
  }
}

function followStop() {
  const mine = stopping;
  if (!mine || mine.before === null || !known.stop) return;
  mine.isMet ||= known.stop.count > mine.before;
  if (!mine.isMet) return;
  clearTimeout(mine.late);
  if (known.stop.moving) { tellStop("Stop received: braking.", false); return; }
  tellStop("Stop received: at rest.", false);
  stopping = null;
  stopFading = setTimeout(() => tellStop("", false), SHOWN_MS);
}

function notConfirmed(mine) {
  if (stopping === mine && !mine.isMet) tellStop("Stop not confirmed: use the button on the rig.", true);
}

function tellStop(text, isBad) {
  byId("stopped").textContent = text;
  byId("stopped").classList.toggle("bad", isBad);
}

for (const button of document.querySelectorAll("button[data-post]")) {
  button.addEventListener("click", async () => {
    await post(button.dataset.post, {});
    if (button.dataset.post === "take") connect();
  });
}

// Stop acts when it is touched: a wet thumb slides, and would make no click.
let touched = 0;
on("stop", "pointerdown", () => { touched = Date.now(); stop(); });
on("stop", "click", () => { if (Date.now() - touched > 1000) stop(); });
document.addEventListener("keydown", (event) => {
  const isOurs = event.key === "Escape" && !event.repeat;
  if (isOurs && !document.body.classList.contains("alone")) stop();
});

on("series", "submit", (event) => {
  event.preventDefault();
  const form = new FormData(event.target);
  const body = Object.fromEntries(form);
  body.ready = form.has("ready");
  body.units = units();
  post("series", body);
});

on("pair", "submit", async (event) => {
  event.preventDefault();
  const field = event.target.code;
  if (await post("pair", {code: field.value})) { field.value = ""; connect(); }
});

// -- units ----------------------------------------------------------------------------------------

function units() {
  return document.querySelector("input[name=units]:checked").value;
}

const kept = localStorage.getItem("units") === "us" ? "us" : "metric";
for (const input of document.querySelectorAll("input[name=units]")) {
  input.checked = input.value === kept;
  input.addEventListener("change", () => { localStorage.setItem("units", input.value); connect(); });
}

// -- tones ----------------------------------------------------------------------------------------

let audio = null;  // off until it is asked for, and again on the next visit

function tone(hertz, after = 0) {
  if (!audio) return;
  const pipe = audio.createOscillator(), volume = audio.createGain(), at = audio.currentTime + after;
  pipe.frequency.value = hertz;
  volume.gain.setValueAtTime(.3, at);
  volume.gain.exponentialRampToValueAtTime(.001, at + .2);
  pipe.connect(volume).connect(audio.destination);
  pipe.start(at);
  pipe.stop(at + .2);
}

on("tones", "change", (event) => {
  audio?.close();
  audio = event.target.checked ? new AudioContext() : null;
  tone(660);
});

// Each rings when what it looks at becomes another; the first value is what was there before.
function rings(section, value, ring) {
  let before;
  bindings.push({section, show: () => {
    const now = value();
    if (before !== undefined && now !== before) ring(now);
    before = now;
  }});
}

rings("actions", () => Boolean(known.actions.start.shown), (asks) => { if (asks) tone(660); });
rings("actions", () => Boolean(known.actions.series.shown), (idle) => { if (idle) { tone(660); tone(880, .25); } });
rings("slides", () => known.slides.dots.at(-1)?.text ?? "", () => tone(330));

drawGauge(byId("gauge"));
heard = Date.now();
connect();
