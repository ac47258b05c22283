// The study's part: shows what the server says of it, and sends what was done. Times, checks and
// wording are the server's.
"use strict";

const LOOK_MS = 4000;
const RETRY_AFTER_MS = [1000, 3000];
const isAlone = document.body.classList.contains("alone");
let study = null;
let seen = "";
let left = new Set(JSON.parse(localStorage.getItem("left-out") ?? "[]"));
let chosen = null;  // bag and face picked by hand, until noted
let angles = [];
let sure = null;    // the treatment that was asked about
let here = null;    // the air that was asked for

// -- small helpers --------------------------------------------------------------------------------

function make(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [key, value] of Object.entries(attributes)) {
    if (key in element && key !== "list") element[key] = value;
    else element.setAttribute(key, value);
  }
  element.append(...children);
  return element;
}

const shownAs = new WeakMap();

// Draws again only what changed; whoever had the focus inside has it again afterwards.
function draw(element, value, build) {
  const text = JSON.stringify(value);
  if (shownAs.get(element) === text) return;
  shownAs.set(element, text);
  const had = element.contains(document.activeElement) ? document.activeElement : null;
  const name = had?.dataset.name ?? had?.value;
  element.replaceChildren(...build(value));
  if (!had || had === element) return;
  const again = [...element.querySelectorAll("button, input, select")]
    .find((one) => (one.dataset.name ?? one.value) === name);
  (again ?? element.closest("section").querySelector("[tabindex]"))?.focus({preventScroll: true});
}

function put(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

function options(select, items, value) {
  const before = select.value;
  draw(select, items, () => items.map(([key, text]) => make("option", {value: key}, text)));
  select.value = items.some(([key]) => key === before) && value === undefined ? before : value ?? items[0]?.[0] ?? "";
}

const pairKey = (bag, face) => JSON.stringify([bag, face]);
const faces = () => study.bags.flatMap((bag) => bag.faces.map((face) => [pairKey(bag.name, face), `${bag.name}, ${face}`]));
const names = (items) => items.map((item) => [item, item]);
const known1 = (bag, face) => study.answer?.bags?.find((one) => one.bag === bag && one.face === face);

// -- asking and telling ---------------------------------------------------------------------------

function newKey() {
  return [...crypto.getRandomValues(new Uint8Array(12))].map((one) => one.toString(16).padStart(2, "0")).join("");
}

let fadingNote = 0;

function tell(text, isBad = false) {
  clearTimeout(fadingNote);
  if (text && !isBad) fadingNote = setTimeout(() => tell(""), 2 * SHOWN_MS);
  put(byId("told"), text);
  byId("told").classList.toggle("bad", isBad);
}

// A retry after silence has the same key, so that what was written already is not written twice.
async function send(path, body, patience = 15000) {
  for (const wait of [...RETRY_AFTER_MS, null]) {
    try {
      const answer = await fetch(`study/${path}`, {
        method: "POST",
        headers: {"Content-Type": "application/json"},
        body: JSON.stringify(body),
        signal: AbortSignal.timeout(patience),
      });
      const found = await answer.json();
      if (found.text) tell(found.text, !answer.ok);
      return answer.ok ? found : null;
    } catch {
      if (wait === null) break;
      await new Promise((done) => setTimeout(done, wait));
    }
  }
  tell("No answer. Nothing is lost: press again when the connection is back.", true);
  return null;
}

let isSending = false;

async function write(path, body, patience) {
  if (isSending) return null;
  isSending = true;
  try {
    const found = await send(path, {key: newKey(), ...body}, patience);
    if (found) load();
    return found;
  } finally { isSending = false; }
}

let isLoading = false, isMore = false;

// What changes while it is being asked for is asked for again, so that nothing shown is old.
async function load() {
  isMore = isLoading;
  if (isLoading || document.hidden) return;
  isLoading = true;
  try {
    const answer = await fetch(`study?seen=${encodeURIComponent(seen)}`, {signal: AbortSignal.timeout(8000)});
    if (answer.status === 200) {
      study = await answer.json();
      seen = study.version;
      show();
    } else if (answer.status !== 204) tell((await answer.json()).text, true);
  } catch { /* the line at the top says it */ } finally {
    isLoading = false;
    if (isMore) load();
  }
}

// -- now ------------------------------------------------------------------------------------------

const wanted = () => study.rows.filter((row) => !left.has(row.bag));
const open = () => wanted().filter((row) => row.left > 0);

// Up to the next wipe that the plan has, or the bag that was picked by hand.
function asked() {
  if (chosen) return [chosen];
  const rows = open(), wipe = rows.findIndex((row, place) => place && row.wipe);
  return wipe < 0 ? rows : rows.slice(0, wipe);
}

// Which bag the rig has now; it comes with the machine's state, so that neither lags behind.
const running = () => known.state?.run ?? null;

const toWipe = () => (running() || chosen ? "" : open()[0]?.wipe);

function current() {
  if (running()) return running();
  return chosen ?? open()[0] ?? (study.bags[0] && {bag: study.bags[0].name, face: study.bags[0].faces[0]});
}

function showNow() {
  const now = current(), todo = open(), is = now && known1(now.bag, now.face);
  const row = study.rows.find((one) => one.bag === now?.bag && one.face === now?.face);
  const how = row?.how ?? (now?.bag ? `Put ${now.bag} on, ${now.face} face down.` : "Put the bag on.");
  const cut = !chosen && Boolean(known.actions?.resume?.shown);
  let title = "Add the first bag and a board below.";
  document.querySelector(".tonight").hidden = !running() && known.state?.tone === "halt";
  byId("go-on").hidden = !cut;
  byId("go-on").disabled = !known.actions?.resume?.enabled;
  byId("hand-box").hidden = Boolean(running());
  if (running()) title = runningWords(now, how);
  else if (study.bags.length && study.boards.length) {
    const done = study.by_hand || chosen ? how : toWipe() ? `Wipe ${toWipe()} and let it dry.`
      : `Next: ${todo.length} series${study.minutes ? `, about ${study.minutes} min` : ""}.`;
    title = cut ? `Unfinished: ${known.actions.resume.text}` : todo.length || chosen ? done : study.treat ? "All is measured: now the treatment." : "All of this evening is measured.";
  }
  put(byId("next"), title);
  const lines = [];
  const isNext = running() || chosen || todo.length > 0;
  if (is && isNext && !cut) {
    const first = running() || study.by_hand ? "Expected" : `First ${now.bag}, ${now.face}: expected`;
    lines.push(`${first} ${is.now}${is.target ? `, target ${is.target}` : ""}`);
  }
  if (study.last && !study.by_hand) lines.push(`Last: ${study.last.text}`);
  const progress = `${wanted().length - todo.length} of ${wanted().length} series done`;
  if (running()) {
    const after = todo.find((one) => one.bag !== now.bag || one.face !== now.face);
    lines.push(`${after ? `Then: ${after.bag}, ${after.face}; ` : ""}${progress}`);
  }
  put(byId("meaning"), lines.join("\n"));
  const begin = byId("measure");
  begin.hidden = study.by_hand || Boolean(running()) || !asked().length;
  begin.disabled = !toWipe() && (!known.actions?.series?.enabled || !known.actions?.series?.shown);
  const [first, ...others] = asked();
  put(begin, toWipe() ? "It is wiped" : others.length ? `Begin: ${others.length + 1} series` : first ? `Begin with ${first.bag}, ${first.face}` : "");

  byId("to-treat").hidden = !study.treat || todo.length > 0;
  put(byId("to-treat"), study.treat ? `Treat: ${study.treat[0]}` : "");
  put(byId("tonight-words"), `Bags of the evening: ${progress}`);
  byId("tonight").parentElement.hidden = Boolean(running());
  showQuestion();
  marks(isNext ? is : null);
}

// A hand is needed only while the bag is placed; everything else moves, or is about to.
function runningWords(now, how) {
  const name = now.bag && ` ${now.bag}, ${now.face} face down.`;
  if (known.state.word !== "Placing") return `Keep clear.${name}`;
  return now.again ? `Put ${now.bag || "the bag"} back the same way.` : how;
}

function showQuestion() {
  const last = study.last, settled = sessionStorage.getItem("settled");
  const asks = Boolean(last?.question) && settled !== `${last.id} ${last.bag} ${last.face}`;
  if (byId("asks").hidden === asks) byId("asks").hidden = !asks;
  if (!asks) return;
  put(byId("question"), last.question);
  options(byId("was"), [["", "It was …"], ...faces()], "");
}

on("is-right", "click", () => {
  sessionStorage.setItem("settled", `${study.last.id} ${study.last.bag} ${study.last.face}`);
  showQuestion();
  byId("next").focus();
});

on("was", "change", async (event) => {
  const [bag, face] = JSON.parse(event.target.value);
  const last = study.last;
  if (last.line) await write("correct", {line: last.line, bag, face});
  else for (const run of last.runs) await write("correct", {run, bag, face});
});

on("measure", "click", async () => {
  if (toWipe()) { write("wipe", {board: toWipe()}); return; }
  const rows = asked();
  const found = await write("measure", {rows: rows.map((row) => [row.bag, row.face]), board: rows[0].board ?? byId("board").value});
  if (found) { chosen = null; byId("next").focus({preventScroll: true}); }
});

on("go-on", "click", () => byId("resume").click());

on("to-treat", "click", () => {
  byId("treat-box").open = true;
  byId("treat-box").scrollIntoView({block: "center"});
  byId("treat-box").querySelector("button").focus({preventScroll: true});
});

// The expected angle and the target on the board's scale.
function marks(is) {
  const svg = byId("gauge");
  for (const old of svg.querySelectorAll(".expected, .target")) old.remove();
  if (isAlone || !is) return;
  const [ax, ay] = rim(is.lower_deg, LONG + 16), [bx, by] = rim(is.upper_deg, LONG + 16);
  shape(svg, "path", {class: "expected", d: `M${ax} ${ay}A${LONG + 16} ${LONG + 16} 0 0 0 ${bx} ${by}`});
  if (is.target_deg === null) return;
  const [x1, y1] = rim(is.target_deg, LONG + 4), [x2, y2] = rim(is.target_deg, LONG + 28);
  shape(svg, "line", {class: "target", x1, y1, x2, y2});
}

// -- slide angles by hand -------------------------------------------------------------------------

function showHand() {
  const now = current();
  byId("hand").hidden = !now || !study.boards.length;
  byId("pick-bag").hidden = byId("hand").hidden || Boolean(running());
  if (!now) return;
  options(byId("bag"), names(study.bags.map((bag) => bag.name)), now.bag);
  const bag = study.bags.find((one) => one.name === now.bag);
  draw(byId("face-picks"), [bag?.faces, now.face], () => [make("legend", {}, "Face down"), ...(bag?.faces ?? []).map((face) =>
    make("label", {}, make("input", {type: "radio", name: "face", value: face, checked: face === now.face}), make("span", {}, face)))]);
  options(byId("board"), names(study.boards), localStorage.getItem("board") ?? study.board);
  if (!byId("board").value) byId("board").value = study.board;
  byId("reader").value ||= localStorage.getItem("reader") ?? study.reader;
  for (const [place, name] of ["air-t", "air-h"].entries()) byId(name).value ||= study.sensor[place] || study.air[place];
  whereWords();
  const row = study.rows.find((one) => one.bag === now.bag && one.face === now.face);
  draw(byId("angles"), angles, () => angles.map((angle, place) => make("li", {}, make("button", {
    type: "button", ariaLabel: `Take out ${angle}°`, onclick: () => { angles.splice(place, 1); showHand(); },
  }, `${angle}°`))));
  byId("note").disabled = !angles.length && !byId("angle-in").value;
  const count = angles.length + (byId("angle-in").value ? 1 : 0);
  put(byId("note"), count ? `Note ${count} ${count === 1 ? "slide" : "slides"} of ${now.bag}, ${now.face}`
    : `Slide it ${row?.left || 3} times`);
}

function whereWords() {
  const air = byId("air-h").value ? `${byId("air-t").value || "–"} °C, ${byId("air-h").value} %` : "air not given";
  put(byId("where-words"), `On ${byId("board").value}, by ${byId("reader").value || "…"}, ${air}`);
}

on("where", "input", () => {
  localStorage.setItem("board", byId("board").value);
  localStorage.setItem("reader", byId("reader").value);
  whereWords();
});
on("bag", "change", (event) => {
  const bag = study.bags.find((one) => one.name === event.target.value);
  const row = open().find((one) => one.bag === bag.name);
  chosen = {bag: bag.name, face: row?.face ?? bag.faces[0]};
  show();
});
on("face-picks", "change", (event) => { chosen = {bag: byId("bag").value, face: event.target.value}; show(); });

function take1() {
  const field = byId("angle-in");
  for (const one of field.value.split(/[\s;]+/)) if (one) angles.push(one.replace(/[.,]$/, ""));
  field.value = "";
}

// Three digits are a whole reading, 24.4 by 2, 4, 4: a slide takes three taps.
function key(what) {
  const field = byId("angle-in");
  if (what === "⌫") {
    if (field.value) field.value = field.value.slice(0, -1);
    else if (angles.length) field.value = angles.pop();
  } else {
    if (what !== "." && /^\d\d$/.test(field.value)) field.value += ".";
    if (what !== "." || !field.value.includes(".")) field.value += what;
    if (/[.]\d$/.test(field.value)) take1();
  }
  showHand();
}

for (const what of ["7", "8", "9", "4", "5", "6", "1", "2", "3", ".", "0", "⌫"]) {
  const ariaLabel = {".": "point", "⌫": "take back a digit"}[what] ?? what;
  byId("pad").append(make("button", {type: "button", ariaLabel, onclick: () => key(what)}, what));
}
on("angle-in", "input", () => {
  if (/[\s;]$/.test(byId("angle-in").value)) take1();
  showHand();
});

on("hand", "submit", async (event) => {
  event.preventDefault();
  if (event.submitter === null || document.activeElement === byId("angle-in")) { take1(); showHand(); }
  else take1();
  if (document.activeElement === byId("angle-in") || !angles.length) return;
  if (!byId("reader").value.trim()) {
    byId("where").open = true;
    byId("reader").focus();
    tell("Who reads the angles? Type a name once.", true);
    return;
  }
  const now = current();
  const found = await write("reading", {
    bag: now.bag, face: now.face, board: byId("board").value, reader: byId("reader").value.trim(),
    angles, temperature: byId("air-t").value, humidity: byId("air-h").value,
  });
  if (found) { angles = []; chosen = null; byId("next").focus({preventScroll: true}); }
});

// -- what we know ---------------------------------------------------------------------------------

function strip(one, low, high) {
  const svg = document.createElementNS(SVG, "svg");
  svg.setAttribute("viewBox", "0 0 300 16");
  svg.setAttribute("preserveAspectRatio", "none");
  svg.setAttribute("aria-hidden", "true");
  const x = (angle) => 300 * (angle - low) / (high - low);
  if (one.target_deg !== null) {
    const [a, b] = [x(one.target_deg - one.tolerance_deg), x(one.target_deg + one.tolerance_deg)];
    shape(svg, "rect", {class: "aim", x: a, y: 0, width: b - a, height: 16});
  }
  shape(svg, "line", {class: "reach", x1: x(one.lower_deg), x2: x(one.upper_deg), y1: 8, y2: 8});
  shape(svg, "rect", {class: "mid", x: x(one.angle_deg) - 2, y: 2, width: 4, height: 12});
  return svg;
}

function showKnown() {
  const answer = study.answer;
  const words = !answer ? "The first answer is being worked out." : answer.error || answer.first;
  put(byId("first"), words);
  const age = study.age_s < 90 ? "just now" : study.age_s < 5400 ? `${Math.round(study.age_s / 60)} min ago`
    : `${Math.round(study.age_s / 3600)} h ago`;
  put(byId("age"), answer && !answer.error
    ? `For ${answer.air}. Worked out ${age}${study.working ? "; a newer one is under way" : ""}.`
    : study.working ? "Working it out …" : "");
  const bags = answer?.bags ?? [], now = running() || chosen || open().length ? current() : null;
  draw(byId("bags"), [bags, now], () => {
    const ends = bags.flatMap((one) => [one.lower_deg, one.upper_deg, one.target_deg ?? one.angle_deg]);
    const low = Math.min(...ends) - 0.5, high = Math.max(...ends) + 0.5;
    return bags.map((one) => make("li", {className: one.bag === now?.bag && one.face === now?.face ? "this" : ""},
      make("span", {}, `${one.bag}, ${one.face}`), make("b", {}, one.now), strip(one, low, high),
      make("span", {className: "who"}, one.target ? `${one.advice} · ${one.within} within ${one.target}` : one.advice)));
  });
  const more = answer && !answer.error ? [...answer.others, ...answer.unknown] : [];
  byId("more-known").hidden = !more.length;
  draw(byId("others"), more, () => more.map((text) => make("li", {}, text)));
}

// -- what was done --------------------------------------------------------------------------------

function day(at) {
  const time = new Date(at), clock = time.toTimeString().slice(0, 5);
  return time.toDateString() === new Date().toDateString() ? clock
    : `${time.toLocaleDateString(undefined, {day: "numeric", month: "short"})} ${clock}`;
}

function showDone() {
  draw(byId("done"), study.done, () => !study.done.length ? [make("li", {}, "Nothing yet.")] : study.done.map((one) => {
    const item = make("li", {}, make("span", {}, make("time", {dateTime: one.at}, day(one.at)), one.text));
    const about = one.is === "run" ? {run: one.run} : {line: one.line};
    const small = (text, onclick) => make("button", {className: "small", type: "button", onclick}, text);
    const undo = () => one.run ? write("correct", {...about, void: true}) : write("undo", about);
    if (one.is === "run" && !one.run) return item;
    const was = make("select", {ariaLabel: `${one.text}: it was another bag or face`, onchange() {
      const [bag, face] = JSON.parse(was.value);
      write("correct", {...about, bag, face});
    }}, ...[["", "It was …"], ...faces()].map(([value, text]) => make("option", {value}, text)));
    const ways = make("div", {className: "ways", hidden: true}, small("Did not count", undo), was);
    const button = one.is === "line" ? small("Undo", undo)
      : small("Change", () => { ways.hidden = !ways.hidden; ways.querySelector("button").focus(); });
    button.dataset.name = one.run || `line ${one.line}`;
    button.ariaLabel = `${button.textContent}: ${one.text}`;
    item.append(button, ways);
    return item;
  }));
}

// -- other acts -----------------------------------------------------------------------------------

function ticks(box, bags, isOn, name) {
  draw(box, bags.map((bag) => [bag.name, bag.set]), () => bags.map((bag) => {
    const input = make("input", {type: "checkbox", value: bag.name, checked: isOn(bag), name});
    return make("label", {}, input, make("span", {}, bag.name));
  }));
}

const acts = Object.fromEntries([...document.querySelectorAll("form[data-act]")].map((form) => [form.dataset.act, form]));
const ticked = (form) => [...form.querySelectorAll(".ticks :checked")].map((one) => one.value);

function showActs() {
  const set = study.bags.find((bag) => bag.name === current()?.bag)?.set;
  const meant = study.treat?.[1] ?? [];
  ticks(byId("tonight"), study.bags, (bag) => !left.has(bag.name), "tonight");
  ticks(acts.play.querySelector(".ticks"), study.bags, (bag) => bag.set === set, "bag");
  const box = acts.treat.querySelector(".ticks"), mine = study.bags.filter((bag) => bag.role === "treated");
  if (box.dataset.meant !== meant.join()) { shownAs.delete(box); box.dataset.meant = meant.join(); }
  ticks(box, mine, (bag) => meant.includes(bag.name), "bag");
  const recipe = acts.treat.recipe;
  draw(recipe, [study.recipes, study.treat?.[0]], () => study.recipes.map((one) => make("option", {value: one, selected: one === study.treat?.[0]}, one)));
  if (!study.recipes.length) acts.treat.querySelector("button").disabled = true;
  options(acts.mass.bag, names(study.bags.map((bag) => bag.name)));
  options(acts.droop.face, faces());
  options(acts.wipe.board, names(study.boards));
  options(acts.pick.board, [["", "each bag’s usual one"], ...names(study.boards)]);
  for (const [place, name] of ["temperature", "humidity"].entries()) {
    acts.pick[name].value ||= study.sensor[place] || study.air[place];
  }
  const sets = [...new Set(study.bags.map((bag) => bag.set).filter(Boolean))];
  draw(byId("sets"), sets, () => sets.map((one) => make("option", {value: one})));
}

on("tonight", "change", (event) => {
  if (event.target.checked) left.delete(event.target.value); else left.add(event.target.value);
  localStorage.setItem("left-out", JSON.stringify([...left]));
  chosen = null;
  show();
});

const doing = {
  async treat(form) {
    const body = {recipe: form.recipe.value, bags: ticked(form)};
    if (!body.bags.length) return tell("Tick the bags that were treated.", true);
    const same = JSON.stringify(body);
    if (sure?.same !== same) {
      const asked = await send("treat", {key: newKey(), ...body});
      if (asked?.ask) ask(form, asked.ask, same);
      else if (!asked) ask(form, [byId("told").textContent, "Note it all the same?"], same, true);
      return;
    }
    const found = await send("treat", {key: sure.key, ...body, sure: true, anyway: sure.anyway});
    if (found) { ask(form, [], ""); form.closest("details").open = false; load(); }
  },
  async play(form) {
    const throws = form.other.value || form.throws.value;
    if (!throws || !ticked(form).length) return tell("Tick the bags, and say about how many throws.", true);
    finish(form, await write("play", {bags: ticked(form), throws}));
  },
  async mass(form) {
    finish(form, await write("mass", {bag: form.bag.value, grams: form.grams.value}));
  },
  async droop(form) {
    const [bag, face] = JSON.parse(form.face.value);
    finish(form, await write("droop", {
      bag, face, overhang: form.overhang.value, reader: byId("reader").value || "by hand",
      angles: form.angles.value.split(/\s+/).filter(Boolean),
    }));
  },
  async wipe(form) { finish(form, await write("wipe", {board: form.board.value})); },
  async bag(form) { finish(form, await write("bag", {name: form.name.value.trim(), set: form.set.value.trim()}), true); },
  async board(form) { finish(form, await write("board", {name: form.name.value.trim()}), true); },
  async pick(form) {
    const of = (name) => form[name].value;
    here = {temperature: of("temperature"), humidity: of("humidity"), board: of("board")};
    tell("Working it out …");
    const found = await send("pick", here, 120000);
    const box = form.querySelector(".picked");
    box.hidden = !found;
    if (!found) return;
    tell("");
    put(box.children[0], found.answer.error || found.answer.first);
    put(box.children[1], found.answer.shift ?? "");
    here.pick = found.answer.pick;
    byId("check-here").hidden = !here.pick;
  },
};

function ask(form, sentences, same, anyway = false) {
  sure = sentences.length ? {same, anyway, key: newKey()} : null;
  const costs = form.querySelector(".costs");
  costs.hidden = !sure;
  costs.replaceChildren(...sentences.map((one) => make("li", {}, one)));
  put(form.querySelector("button"), sure ? "Yes, it was done" : "Treat …");
}

function finish(form, found, isOpen = false) {
  if (!found) return;
  form.reset();
  if (!isOpen) form.closest("details").open = false;
}

acts.treat.addEventListener("change", () => { if (sure) ask(acts.treat, [], ""); });
for (const [name, form] of Object.entries(acts)) {
  form.addEventListener("submit", (event) => { event.preventDefault(); doing[name](form); });
}

on("check-here", "click", () => {
  const [bag, face] = here.pick;
  chosen = {bag, face};
  angles = [];
  byId("air-t").value = here.temperature;
  byId("air-h").value = here.humidity;
  if (here.board) { byId("board").value = here.board; localStorage.setItem("board", here.board); }
  byId("hand-box").open = true;
  show();
  byId("next").scrollIntoView({block: "start"});
  byId("next").focus({preventScroll: true});
});

// -- all of it ------------------------------------------------------------------------------------

let told = "";

function show() {
  if (!study) return;
  if (isAlone) {
    take({actions: study.actions});
    document.querySelector(".more").hidden = !study.actions.text;
  }
  document.querySelector("h1").firstChild.textContent = `${study.name} `;
  showNow();
  showHand();
  showKnown();
  showDone();
  showActs();
  const problems = study.problems.join(" ");
  if (problems !== told) { told = problems; tell(problems, true); }
}

if (isAlone) {
  byId("hand-box").open = true;
  history = (seconds) => `Last known, ${seconds} s ago`;
}
const form = byId("series"), beside = make("details", {}, make("summary", {}, "Something that is not in the study"));
form.before(beside);
beside.append(form);
for (const section of ["slides", "course", "state", "actions"]) {
  bindings.push({section, show: () => { beside.hidden = form.hidden; if (section === "slides" || section === "course") load(); if (study) { showNow(); if (!byId("hand").contains(document.activeElement)) showHand(); } }});
}
document.addEventListener("visibilitychange", load);
setInterval(load, LOOK_MS);
opened = load;
load();
