// The phone on the board: sensors, zero, lift, tap; sends what was recorded until it is acknowledged.
"use strict";

const byId = (id) => document.getElementById(id);
const REST_S = 1.6;
const AFTER_TAP_S = 0.5;
const LONGEST_S = 180;
const ZERO_S = 3;
const ZERO_KEEPS_MS = 6 * 3600 * 1000;
const KEEP_EVERY_MS = 1000;
const RETRY_MS = 5000;
const BAND = 0.25;
const SVG = "http://www.w3.org/2000/svg";

let study = null;
let zero = null;       // {first, second}
let needle = null;
let recording = null;  // the lift under way
let wakeLock = null;

// -- small helpers --------------------------------------------------------------------------------

function put(element, text) { if (element.textContent !== text) element.textContent = text; }

function tell(text, isBad = false) {
  put(byId("told"), text);
  byId("told").classList.toggle("bad", isBad);
}

function trouble(text) {
  byId("trouble").hidden = !text;
  put(byId("trouble"), text);
}

function options(select, items, value) {
  const before = value ?? select.value;
  if (select.dataset.items !== JSON.stringify(items)) {
    select.dataset.items = JSON.stringify(items);
    select.replaceChildren(...items.map((one) => new Option(one, one)));
  }
  if (items.includes(before)) select.value = before;
}

const newKey = () => [...crypto.getRandomValues(new Uint8Array(12))].map((one) => one.toString(16).padStart(2, "0")).join("");

async function post(path, body, patience = 15000) {
  const answer = await fetch(path, {
    method: "POST",
    headers: {"Content-Type": "application/json"},
    body: JSON.stringify(body),
    signal: AbortSignal.timeout(patience),
  });
  return {ok: answer.ok, status: answer.status, ...(await answer.json())};
}

// -- the study ------------------------------------------------------------------------------------

async function load() {
  try {
    const answer = await fetch("study", {signal: AbortSignal.timeout(8000)});
    if (!answer.ok) return;
    study = await answer.json();
    byId("pair-box").hidden = study.writes;
    show();
  } catch { /* without the study a lift is still kept */ }
}

function show() {
  const isFirst = !byId("bag").value;
  options(byId("bag"), study.bags.map((bag) => bag.name));
  showFaces();
  // In mid-lift nothing changes; the answer to that lift brings it up.
  const next = isFirst ? evening.next(study) : recording ? null : evening.see(study, byId("bag").value, byId("face").value);
  if (next) choose(next.bag, next.face);
  options(byId("board"), study.boards, isFirst ? study.board : undefined);
  byId("reader").value ||= localStorage.getItem("reader") ?? study.reader;
  for (const [place, name] of ["air-t", "air-h"].entries()) byId(name).value ||= study.sensor[place] || study.air[place];
  showPlace();
  if (evening.done && !recording) byId("begin").scrollIntoView({block: "nearest"});
}

function showFaces(face) {
  const bag = study?.bags.find((one) => one.name === byId("bag").value);
  options(byId("face"), bag?.faces ?? [], face);
}

function choose(bag, face) {
  byId("bag").value = bag;
  showFaces(face);
  evening.see(study, bag, byId("face").value);
}

// What is to be put on, and what has just been enough of.
function showPlace() {
  const bag = byId("bag").value, face = byId("face").value, done = evening.done;
  const row = study && evening.of(study, bag, face);
  const todo = row?.left && study.by_hand ? ` ${row.left === 1 ? "One slide" : `${row.left} slides`} to go.` : "";
  put(byId("place"), row ? row.how + todo : bag ? `Put ${bag} on, ${face} face down.` : "");
  put(byId("begin"), bag ? `Begin: ${bag}, ${face}` : "Begin");
  byId("enough").hidden = !done;
  if (!done) return;
  const isAll = !evening.next(study);
  const rest = !isAll ? "" : study.treat ? " All is measured: the treatment is next, on the study’s page." : " All of this evening is measured.";
  put(byId("enough-words"), `Enough of ${done.bag}, ${done.face}.${rest}`);
  put(byId("one-more"), `One more of ${done.bag}, ${done.face}`);
}

byId("one-more").addEventListener("click", () => {
  const {bag, face} = evening.done;
  evening.done = null;
  choose(bag, face);
  showPlace();
  byId("begin").focus();
});

byId("bag").addEventListener("change", () => { showFaces(); showPlace(); });
byId("face").addEventListener("change", showPlace);

byId("pair").addEventListener("submit", async (event) => {
  event.preventDefault();
  try {
    const answer = await post("pair", {code: byId("code").value});
    tell(answer.text, !answer.ok);
    if (answer.ok) { await load(); sendAll(); }
  } catch { tell("No answer; try again.", true); }
});

// -- sensors and zero -----------------------------------------------------------------------------

byId("ask").addEventListener("click", async () => {
  byId("ask").disabled = true;
  const words = await motion.start();
  byId("ask").disabled = false;
  trouble(words);
  if (words) return;
  put(byId("sensor-words"), motion.hasRotation
    ? "Readings come, of tilt and of rotation."
    : "Readings come, of tilt alone: this phone tells no rotation, so slides will be less certain.");
  byId("ask").hidden = true;
  byId("sensor-box").hidden = motion.hasRotation;
  byId("zero-box").hidden = false;
  const old = JSON.parse(localStorage.getItem("zero") ?? "null");
  if (old && Date.now() - old.ms < ZERO_KEEPS_MS) take(old.zero, "Zeroed earlier today. Zero again if the phone was moved to another board.");
  motion.listeners.add(watch);
});

let firstLaying = null;

async function lie(button, words) {
  button.disabled = true;
  put(byId("zero-words"), words);
  await new Promise((done) => setTimeout(done, 1000));  // the finger's push dies away
  const found = await motion.rest(ZERO_S);
  if (!found) put(byId("zero-words"), "No readings came; try again.");
  button.disabled = false;
  return found;
}

byId("zero-first").addEventListener("click", async () => {
  firstLaying = await lie(byId("zero-first"), "Hands off: the phone is being read …");
  if (!firstLaying) return;
  byId("zero-second").disabled = false;
  put(byId("zero-words"), "Now turn the phone end for end, flat on the same spot.");
});

byId("zero-second").addEventListener("click", async () => {
  const second = await lie(byId("zero-second"), "Hands off: the phone is being read …");
  if (!second) return;
  const found = {first: firstLaying, second};
  let words = "Zeroed.";
  try {
    const answer = await post("study/zero", {zero: found});
    if (!answer.ok) { put(byId("zero-words"), answer.text); return; }
    words = answer.text;
  } catch { /* the server says it with the first lift */ }
  localStorage.setItem("zero", JSON.stringify({ms: Date.now(), zero: found}));
  byId("zero-second").disabled = true;
  take(found, `${words} Leave the phone where it is.`);
});

function take(found, words) {
  zero = found;
  needle = new Needle(zero);
  put(byId("zero-words"), words);
  byId("lift-box").hidden = false;
  drawDial();
}

// -- a lift ---------------------------------------------------------------------------------------

const pace = () => Number(byId("pace").value);
// Times count from the first reading after “begin”.
const seconds = () => (motion.last.ms - (recording.startMs ?? motion.last.ms)) / 1000;

async function stayAwake() {
  try { wakeLock = await navigator.wakeLock?.request("screen"); } catch { /* it may dim */ }
}

byId("begin").addEventListener("click", async () => {
  for (const [name, words] of [["reader", "Say who measures."], ["bag", "Add a bag on the study’s page first."], ["board", "Add a board on the study’s page first."]]) {
    if (!byId(name).value.trim()) { tell(words, true); return; }
  }
  localStorage.setItem("reader", byId("reader").value.trim());
  evening.done = null;
  evening.see(study, byId("bag").value, byId("face").value);
  tell("");
  stayAwake();
  recording = {
    key: newKey(), startMs: null, savedMs: 0, endMs: null, madeMs: Date.now(),
    lift: {
      bag: byId("bag").value, face: byId("face").value, board: byId("board").value,
      reader: byId("reader").value.trim(), pace: byId("pace").value,
      temperature: byId("air-t").value, humidity: byId("air-h").value, zero,
      samples: {t_s: [], acceleration_m_s2: [], rotation_deg_s: [], taps_s: []},
    },
  };
  document.body.classList.add("lifting");
  byId("begin").hidden = true;
  byId("tap").hidden = byId("give-up").hidden = false;
  byId("tap").disabled = true;
  put(byId("tap"), "Leave the board at rest …");
});

// Pointer down, not click: a click waits for the finger to leave.
byId("tap").addEventListener("pointerdown", (event) => {
  if (!recording || byId("tap").disabled || recording.endMs !== null) return;
  const ms = event.timeStamp || performance.now();
  recording.lift.samples.taps_s.push(round((ms - recording.startMs) / 1000, 4));
  recording.endMs = ms + AFTER_TAP_S * 1000;
  byId("tap").disabled = true;
  put(byId("tap"), "Got it. Lower the board.");
  const lifted = recording;  // also where no reading comes any more
  setTimeout(() => { if (recording === lifted) finish(); }, 1000 * (AFTER_TAP_S + 1));
});
byId("tap").addEventListener("keydown", (event) => {
  if ((event.key === "Enter" || event.key === " ") && !event.repeat) byId("tap").dispatchEvent(new PointerEvent("pointerdown"));
});

byId("give-up").addEventListener("click", () => { if (recording) finish(); });

const round = (value, digits) => Math.round(value * 10 ** digits) / 10 ** digits;

function watch(one) {
  if (recording) recording.startMs ??= one.ms;
  const isRest = !recording || (one.ms - recording.startMs) / 1000 < REST_S;
  needle?.take(one, isRest);
  if (!recording) return;
  const samples = recording.lift.samples, t = round((one.ms - recording.startMs) / 1000, 4);
  if (samples.t_s.length && t < samples.t_s.at(-1)) return;
  samples.t_s.push(t);
  samples.acceleration_m_s2.push(one.pull.map((value) => round(value, 4)));
  if (one.turn && samples.rotation_deg_s.length === samples.t_s.length - 1) {
    samples.rotation_deg_s.push(one.turn.map((value) => round(value, 3)));
  } else samples.rotation_deg_s = [];
  if (!isRest && byId("tap").disabled && recording.endMs === null) {
    byId("tap").disabled = false;
    put(byId("tap"), "Lift now. Tap when the bag slides");
  }
  if ((recording.endMs !== null && one.ms >= recording.endMs) || t >= LONGEST_S) finish();
  else if (one.ms - recording.savedMs > KEEP_EVERY_MS) {
    recording.savedMs = one.ms;
    keep(recording);
  }
}

const keep = (of) => kept.put({key: of.key, madeMs: of.madeMs, lift: structuredClone(of.lift)});

async function finish() {
  const done = recording;
  recording = null;
  document.body.classList.remove("lifting");
  byId("begin").hidden = false;
  byId("tap").hidden = byId("give-up").hidden = true;
  byId("lift-box").scrollIntoView({block: "end"});
  wakeLock?.release?.().catch(() => {});
  if (!done.lift.samples.taps_s.length) tell("Stopped without a slide.");
  try { await keep(done); } catch {
    // No database (a private window): then it is sent from memory, for as long as the page lives.
    inMemory.set(done.key, {key: done.key, madeMs: done.madeMs, lift: done.lift});
  }
  sendAll();
}

// What a locked screen or a closed page would cut short is kept as it stands.
for (const [target, name] of [[document, "visibilitychange"], [window, "pagehide"]]) {
  target.addEventListener(name, () => {
    if (document.hidden && recording) {
      keep(recording);
      if (recording.lift.samples.taps_s.length) finish();
    } else if (!document.hidden) {
      if (recording) stayAwake();
      sendAll();
    }
  });
}

// -- sending --------------------------------------------------------------------------------------

const inMemory = new Map();
let isSending = false;

async function waiting() {
  let stored = [];
  try { stored = await kept.all(); } catch { /* no database here */ }
  return [...stored, ...inMemory.values()].filter((one) => one.key !== recording?.key);
}

async function sendAll() {
  if (isSending) return;
  isSending = true;
  try {
    for (const one of await waiting()) {
      const age_s = Math.max((Date.now() - one.madeMs) / 1000, 0);
      const answer = await post("study/lift", {key: one.key, age_s, ...one.lift}, 30000);
      tell(answer.text, !answer.ok || !answer.slid);
      byId("take").hidden = answer.status !== 409;
      if (!answer.ok) break;
      inMemory.delete(one.key);
      await kept.remove(one.key).catch(() => {});
    }
    load();
  } catch {
    tell("No connection. The lift is kept in this phone and sent when the connection is back.", true);
  } finally {
    isSending = false;
    const left = (await waiting()).length;
    byId("wait-box").hidden = !left;
    put(byId("waiting"), left === 1 ? "One lift waits in this phone." : `${left} lifts wait in this phone.`);
  }
}

byId("send-now").addEventListener("click", sendAll);
byId("take").addEventListener("click", async () => {
  try { await post("take", {}); sendAll(); } catch { tell("No answer; try again.", true); }
});
window.addEventListener("online", sendAll);
setInterval(async () => { if (!recording && !byId("wait-box").hidden) sendAll(); }, RETRY_MS);

// -- the needle -----------------------------------------------------------------------------------

const CENTRE = [100, 100], RADIUS = 80;

function at(share, radius) {
  const turn = Math.PI * (1 - Math.min(Math.max(share, 0), 1));
  return [CENTRE[0] + radius * Math.cos(turn), CENTRE[1] - radius * Math.sin(turn)];
}

function draw(name, attributes, text) {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  if (text !== undefined) element.textContent = text;
  byId("needle").append(element);
  return element;
}

function arc(from, to) {
  const [x1, y1] = at(from, RADIUS), [x2, y2] = at(to, RADIUS);
  return `M${x1} ${y1}A${RADIUS} ${RADIUS} 0 0 1 ${x2} ${y2}`;
}

// The wanted pace stands in the middle; its band is dark.
function drawDial() {
  byId("needle").replaceChildren();
  draw("path", {class: "dial", d: arc(0, 1)});
  draw("path", {class: "wanted", d: arc(0.5 * (1 - BAND), 0.5 * (1 + BAND))});
  draw("text", {x: CENTRE[0], y: 44}, `${byId("pace").value} °/s`);
  draw("text", {x: 16, y: 111}, "0");
  draw("text", {x: 184, y: 111}, `${2 * pace()}`);
  draw("line", {class: "hand", x1: CENTRE[0], y1: CENTRE[1], x2: at(0, 66)[0], y2: at(0, 66)[1]});
  draw("circle", {class: "hub", cx: CENTRE[0], cy: CENTRE[1], r: 6});
}

byId("pace").addEventListener("change", drawDial);

function showNow() {
  requestAnimationFrame(showNow);
  if (!needle || byId("lift-box").hidden) return;
  const now = needle.now;
  put(byId("angle"), now.angle === null ? "–" : `${now.angle.toFixed(1)}°`);
  const hand = byId("needle").querySelector(".hand");
  const [x, y] = at((now.pace ?? 0) / (2 * pace()), 66);
  hand?.setAttribute("x2", x);
  hand?.setAttribute("y2", y);
  const share = (now.pace ?? 0) / pace();
  const isLifting = Boolean(recording) && motion.last && seconds() > REST_S && recording.endMs === null;
  const words = !isLifting ? "" : share > 1 + BAND ? "slower" : share < 1 - BAND ? "faster" : "good";
  put(byId("pace-words"), now.pace === null ? "–" : `${now.pace.toFixed(1)} °/s${words && ` · ${words}`}`);
  byId("pace-words").classList.toggle("off", words === "slower" || words === "faster");
}

// -- all of it ------------------------------------------------------------------------------------

// Whoever watches has a place among those who may note; without a code this gives it.
const presence = new EventSource("events");
presence.addEventListener("open", () => load(), {once: true});
load();
sendAll();
showNow();
