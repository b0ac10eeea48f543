// The cab page. It shows what the engine decided, as the server's events tell it, and sends presses
// back. It decides nothing: which pads there are, and what they stand for, comes with each view.

const $ = (id) => document.getElementById(id);
const root = document.documentElement;
const QUIET_MS = 5000; // two missed beats: the program does not answer
const RETRY_MS = 700;
const ASKING = ["ask", "stopped", "deaf"]; // what is shown has pads to answer with
const THEMES = ["night", "day", "dim"];
const CARD_MM = 85.6; // ISO/IEC 7810 ID-1, the size of a bank card

const token = keep("token", location.hash.slice(1));
if (location.hash) history.replaceState(null, "", location.pathname);

let words = {};
let dpi = null;
let view = null;
let status = {};
let lastId = "";
let linked = false;
let ended = null;
let trouble = "";
let page = 0; // which of several pages of answers
let digits = "";
let armed = null; // a pad that needs a second touch elsewhere
let panel = ""; // "", "more", "size"
let far = false;

function keep(name, value) {
  try {
    if (value) sessionStorage.setItem(name, value);
    return sessionStorage.getItem(name) ?? value;
  } catch {
    return value;
  }
}

function remember(name, value) {
  try {
    if (value !== undefined) localStorage.setItem(name, value);
    return localStorage.getItem(name);
  } catch {
    return value ?? null;
  }
}

function say(key, places = {}) {
  return (words[key] ?? key).replace(/\{(\w+)\}/g, (_, name) => places[name] ?? "");
}

// --- events ------------------------------------------------------------------------------------

async function follow() {
  for (;;) {
    try {
      await stream();
    } catch {
      // Cut off: shown below, and tried again.
    }
    linked = false;
    if (ended !== null) return draw();
    draw();
    await new Promise((done) => setTimeout(done, RETRY_MS));
  }
}

async function stream() {
  const stop = new AbortController();
  let quiet = setTimeout(() => stop.abort(), QUIET_MS);
  const headers = { Authorization: `Bearer ${token}` };
  if (lastId) headers["Last-Event-ID"] = lastId;
  const answer = await fetch("/events", { headers, signal: stop.signal, cache: "no-store" });
  if (!answer.ok) {
    trouble = (await answer.json().catch(() => ({}))).why ?? "";
    clearTimeout(quiet);
    throw new Error("refused");
  }
  const reader = answer.body.pipeThrough(new TextDecoderStream()).getReader();
  let text = "";
  try {
    for (;;) {
      const { value, done } = await reader.read();
      if (done) return;
      clearTimeout(quiet);
      quiet = setTimeout(() => stop.abort(), QUIET_MS);
      text += value;
      const whole = text.split("\n\n");
      text = whole.pop();
      whole.forEach(take);
      draw();
    }
  } finally {
    clearTimeout(quiet);
  }
}

function take(block) {
  const fields = Object.fromEntries(block.split("\n").map((line) => line.split(/: (.*)/s).slice(0, 2)));
  const data = JSON.parse(fields.data);
  if (fields.id) lastId = fields.id;
  linked = true;
  switch (fields.event) {
    case "hello":
      words = data.labels;
      dpi = data.dpi;
      root.lang = data.lang;
      measure();
      break;
    case "view":
      if (view && view.question !== data.question) page = 0;
      if (!view || view.question !== data.question) digits = "";
      view = data;
      armed = null;
      panel = "";
      trouble = "";
      if (view.phase === "stopped") far = false;
      break;
    case "said":
      if (data.failed) trouble = [say("not-spoken"), ...data.reasons].join(" ");
      break;
    case "notice":
      trouble = words[data.text] ?? data.text;
      break;
    case "status":
      status = data;
      drawStatus();
      break;
    case "end":
      ended = data.text;
      break;
  }
}

async function press(phrase, more = {}) {
  const body = JSON.stringify({ id: crypto.randomUUID(), question: view?.question ?? "", phrase, ...more });
  const headers = { Authorization: `Bearer ${token}`, "Content-Type": "application/json" };
  let fate = "unsent";
  try {
    const answer = await fetch("/press", { method: "POST", headers, body, cache: "no-store" });
    fate = (await answer.json()).fate;
  } catch {
    // The fate stays "unsent" and is told.
  }
  if (fate !== "taken") {
    trouble = say(fate);
    draw();
  }
}

// --- size --------------------------------------------------------------------------------------

function measure() {
  // CSS millimetres are a guess of the browser's; a tablet's density is told, calibrated or assumed.
  const own = Number(remember("px-per-mm"));
  const long = Math.max(screen.width, screen.height);
  const wide = Math.hypot(screen.width, screen.height);
  const assumed = wide / ((long <= 1024 ? 7 : 10.1) * 25.4); // a 7 inch or a 10.1 inch tablet
  const told = dpi ? dpi / 25.4 / devicePixelRatio : 0;
  setMm(own > 1 && own < 20 ? own : told || assumed);
}

function setMm(px) {
  root.style.setProperty("--mm", `${px}px`);
}

function mm() {
  return parseFloat(root.style.getPropertyValue("--mm"));
}

// Set the largest type at which nothing in any of the boxes is cut off, to within a twentieth; what was
// found once for the same texts in the same room is not sought again.
const found = new Map();

function fit(boxes, least, most) {
  const list = [...boxes];
  const set = (size) => list.forEach((box) => (box.style.fontSize = `${size}px`));
  const fits = () =>
    list.every((box) => box.scrollHeight <= box.clientHeight + 1 && box.scrollWidth <= box.clientWidth + 1);
  const key = JSON.stringify([least, most, list.map((box) => [box.textContent, box.clientWidth, box.clientHeight])]);
  if (found.has(key)) return set(found.get(key));
  // From a guess by the area outward, then one step between: each try lays the text out anew.
  let low = least;
  let high = Math.max(least, most);
  const guess = Math.min(...list.map((box) => Math.sqrt((box.clientWidth * box.clientHeight) / (0.7 * (box.textContent.length + 1)))));
  let size = Math.min(high, Math.max(least, guess));
  let step = 1.12;
  set(size);
  if (fits()) {
    for (low = size; low < high && (set(Math.min(low * step, high)), fits()); ) low = Math.min(low * step, high);
    high = Math.min(low * step, high);
  } else {
    for (high = size; high > least && (set(Math.max(high / step, least)), !fits()); ) high = Math.max(high / step, least);
    low = Math.max(high / step, least);
  }
  if (low < high) {
    set(Math.sqrt(low * high));
    if (fits()) low = Math.sqrt(low * high);
  }
  set(low);
  if (found.size > 400) found.clear();
  found.set(key, low);
}

// --- drawing -----------------------------------------------------------------------------------

function mode() {
  if (ended !== null) return "ended";
  if (!linked) return "lost";
  if (!view) return "wait";
  if (view.phase === "over") return "over";
  if (view.caution && keep("parked", "") !== String(view.record)) return "caution";
  if (panel) return "more";
  if (view.notice) return "notice";
  if (view.phase === "stopped" || view.phase === "deaf") return view.phase;
  if (far) return "far";
  if (view.confirm.length) return "confirm";
  if (view.keypad) return "keypad";
  return "ask";
}

let drawn = "";

function draw() {
  const now = mode();
  drawStatus();
  const key = JSON.stringify([now, view, words.step, trouble, page, digits, armed, panel, far, ended, remember("theme"), status.ears === "pads",
    innerWidth, innerHeight, mm()]);
  if (key === drawn) return;
  drawn = key;
  root.dataset.mode = now;
  root.dataset.theme = remember("theme") ?? "night";
  root.dataset.shape = innerWidth >= innerHeight ? "wide" : "tall";
  drawText(now);
  drawPads(now);
  $("live").setAttribute("aria-live", now === "more" ? "off" : "assertive");
  const band = $("band");
  band.style.fontSize = "";
  if (!band.hidden) fit([band, $("hazard")], 13, parseFloat(getComputedStyle(band).fontSize));
  const sentence = $("sentence");
  sentence.style.fontSize = "";
  if (sentence.clientHeight > 0) fit([sentence], 14, innerHeight / 2);
  root.dataset.record = view?.record ?? "";
}

function drawText(now) {
  const notice = now === "notice" ? view.notice : null;
  const signals = { caution: "caution", stopped: "danger", deaf: "warning" };
  let signal = notice?.signal ?? signals[now] ?? view?.signal ?? "";
  let hazard = notice ? say(notice.title) : now === "caution" ? say("parked-text") : signals[now] ? "" : view?.hazard ?? "";
  let lines = view?.sentence ?? [];
  let told = ["ask", "keypad", "confirm", "caution"].includes(now) ? view.told : [];
  if (notice) lines = [notice.text];
  if (now === "caution") lines = [view.caution];
  if (now === "far") lines = view.short;
  if (["lost", "ended", "wait", "more"].includes(now)) signal = hazard = "";
  if (now === "wait") lines = words.starting ? [say("starting")] : [];
  if (now === "lost") lines = [say("lost-text")];
  if (now === "lost" && !words["lost-text"]) lines = [trouble || "Hitchcall does not answer. Nothing counts."];
  if (now === "ended") lines = [...(view?.sentence ?? []), ended || say("ended")];
  // What came before the question was shown with the cautions, if they were.
  if (now !== "caution" && view?.caution) told = [];
  $("band").hidden = !signal;
  $("band").dataset.signal = signal;
  $("signal-word").textContent = signal ? say(signal) : "";
  $("hazard").textContent = hazard;
  $("hazard").hidden = !hazard;
  const lead = told.map((line) => element("span", line, "lead"));
  const main = lines.map((line) => element("span", line));
  put($("sentence"), now === "caution" ? [...main, ...lead] : [...lead, ...main]);
  $("number").hidden = now !== "keypad";
  $("number").textContent = digits || say("number");
  $("place").textContent = view?.number ? say("step", view) : view?.title ?? "";
  const heard = view?.heard;
  put($("heard"), heard ? [
    document.createTextNode(`${say(heard.by === "pad" ? "pressed" : "heard")}: `),
    element("b", heard.text ? `“${heard.text}”` : "—"),
    document.createTextNode(` ${{ counts: "✓", refused: "✕", "read-back": "…" }[heard.how] ?? "?"} ${say(heard.how)}`),
  ] : []);
  $("trouble").textContent = trouble;
  const title = `${view?.number ? `${say("step", view)} – ` : ""}Hitchcall`;
  setTimeout(() => (document.title = title)); // the browser's own frame takes milliseconds to follow
}

function drawStatus() {
  const signs = { listening: "●", hears: "◉", speaking: "▶", "speaking-headset": "▶", "speaking-firm": "▶",
    opening: "…", recordings: "≡", typed: "⌨", pads: "▣" };
  const state = !linked && ended === null ? "lost" : status.ears ?? "pads";
  $("ears").dataset.sign = state === "mic-lost" ? "deaf" : state;
  $("ears-sign").textContent = signs[state] ?? "✕";
  $("ears-text").textContent = ended !== null ? say("ended") : say(state);
  const level = status.level;
  $("level").hidden = level === null || level === undefined || !linked;
  if ($("level").hidden) return;
  $("level-name").textContent = say("level");
  $("level-fill").style.width = `${Math.round(Math.min(100, Math.max(0, ((level + 70) / 70) * 100)))}%`;
  $("noise").textContent = status.noise == null ? "" : `${say("noise")} ${Math.round(status.noise)} dB`;
}

function element(kind, text, name = "") {
  const made = document.createElement(kind);
  made.textContent = text;
  if (name) made.className = name;
  return made;
}

function put(parent, children) {
  const same = parent.childNodes.length === children.length &&
    children.every((child, at) => child.isEqualNode(parent.childNodes[at]));
  if (!same) parent.replaceChildren(...children);
}

function pad(label, act, name = "") {
  const made = element("button", label.charAt(0).toUpperCase() + label.slice(1), name);
  made.type = "button";
  made.addEventListener("click", act);
  return made;
}

function phrasePad(one, name = "") {
  const made = pad(one.label, () => press(one.phrase), name);
  made.dataset.phrase = one.phrase;
  return made;
}

function stopPad() {
  if (!view?.stop) return null;
  const made = pad(say("stop"), (event) => event.detail === 0 && press(view.stop.phrase), "stop");
  // At the first touch, not when the thumb leaves: a stop that came by mistake is undone, one that slipped off is not.
  made.addEventListener("pointerdown", () => press(view.stop.phrase));
  made.dataset.phrase = view.stop.phrase;
  return made;
}

function sessionPhrase(id) {
  const one = view.session.find((each) => each.phrase === id);
  return one ? phrasePad(one) : null;
}

function drawPads(now) {
  const tall = root.dataset.shape === "tall";
  const answers = $("answers");
  const focused = document.activeElement?.dataset?.phrase;
  let pads = [];
  if (now === "more") pads = morePads();
  if (ASKING.includes(now) && !armed) pads = answerPads();
  if (now === "keypad") pads = keyPads();
  place(answers, pads, now, tall);
  placeSession(now, tall);
  root.toggleAttribute("data-empty", !pads.length);
  fit(answers.querySelectorAll("button:not(.key)"), 12, 6.5 * mm());
  fit($("session").querySelectorAll("button:not(.key, .stop)"), 12, 5.5 * mm());
  fit($("session").querySelectorAll(".stop"), 12, 6.5 * mm());
  if (focused) document.querySelector(`button[data-phrase="${CSS.escape(focused)}"]`)?.focus();
}

function answerPads() {
  return view.answers.map((one) => {
    if (!one.twice) return phrasePad(one);
    const made = pad(one.label, () => ((armed = one), draw()));
    made.dataset.phrase = one.phrase;
    return made;
  });
}

function keyPads() {
  const keys = [..."1234567890"].map((digit) => pad(digit, () => ((digits = (digits + digit).slice(0, 7)), draw()), "key"));
  const point = pad(".", () => ((digits = digits && !digits.includes(".") ? `${digits}.` : digits), draw()), "key");
  point.setAttribute("aria-label", say("point"));
  const erase = pad("⌫", () => ((digits = digits.slice(0, -1)), draw()), "key");
  erase.setAttribute("aria-label", say("erase"));
  return [...keys, point, erase];
}

function unitPad(unit) {
  const made = pad(unit, () => {
    const value = digits.replace(/\.$/, "");
    if (!value) {
      trouble = say("needs-number");
      return draw();
    }
    return press("<number>", { value, unit });
  }, "key");
  made.textContent = unit;
  return made;
}

function morePads() {
  if (panel === "size") return sizePads();
  const theme = remember("theme") ?? "night";
  const next = THEMES[(THEMES.indexOf(theme) + 1) % THEMES.length];
  return [
    ...view.more.map((one) => phrasePad(one)),
    pad(say("theme", { theme: say(theme) }), () => (remember("theme", next), draw())),
    pad(say("far"), () => ((far = true), (panel = ""), draw())),
    pad(say("size"), () => ((panel = "size"), draw())),
  ];
}

function sizePads() {
  const change = (by) => () => {
    const size = Math.min(12, Math.max(2, mm() * by));
    remember("px-per-mm", String(size));
    setMm(size);
    draw();
  };
  const card = element("p", say("size-text"), "card");
  card.style.borderTop = "6px solid currentColor";
  card.style.width = `${CARD_MM * mm()}px`;
  card.style.maxWidth = "100%";
  return [card, pad(say("narrower"), change(1 / 1.03)), pad(say("wider"), change(1.03))];
}

// Lay the pads out so that none is smaller than a glove needs; what does not fit goes on a next page.
function place(box, pads, now, tall) {
  const unit = 26 * mm();
  const gap = 6 * mm();
  const most = Math.max(1, Math.floor((innerWidth - 8 + gap) / unit));
  let columns;
  let shown = pads;
  if (now === "keypad") {
    columns = tall ? (most >= 6 && innerHeight < 10 * unit ? 6 : 3) : Math.min(6, most);
  } else if (tall || now === "more") {
    // Beside two rows of session pads the text keeps at least a third of a tall screen.
    const room = now === "more" ? innerHeight - 40 - unit + gap : innerHeight * 0.62 - 24 - 2 * unit;
    const rows = Math.max(1, Math.floor(room / unit));
    columns = Math.min(most, Math.max(now === "more" ? 3 : Math.min(2, pads.length), Math.ceil(pads.length / rows)));
    shown = turn(pads, columns * rows);
  } else {
    const rows = Math.max(1, Math.floor((innerHeight - 36 - unit) / unit));
    const sideways = Math.max(1, Math.floor((innerWidth * 0.6) / unit));
    columns = Math.min(sideways, Math.max(1, Math.ceil(pads.length / Math.min(rows, 3))));
    shown = turn(pads, columns * rows);
  }
  const least = ASKING.includes(now) ? Math.max(20 * mm() * columns + gap * (columns - 1), innerWidth * (columns > 2 ? 0.55 : 0.4)) : 0;
  box.style.width = !tall && least ? `${least}px` : "";
  box.style.gridTemplateColumns = `repeat(${columns}, minmax(var(--pad), 1fr))`;
  const rows = Math.ceil(shown.length / columns);
  const titled = now === "ask" && shown.length > 0;
  const title = say(status.ears === "pads" ? "press" : "say-or-press");
  const high = ASKING.includes(now) ? (tall ? "var(--pad)" : "minmax(var(--pad), 1fr)") : "var(--pad)";
  box.style.gridTemplateRows = `${titled ? "auto " : ""}repeat(${rows}, ${high})`;
  box.replaceChildren(...(titled ? [element("p", title, "pads-title")] : []), ...shown);
}

function turn(pads, room) {
  if (pads.length <= room) return pads;
  const each = Math.max(1, room - 1);
  const pages = Math.ceil(pads.length / each);
  const from = (page % pages) * each;
  return [...pads.slice(from, from + each), pad(say("next-answers"), () => ((page += 1), draw()))];
}

function placeSession(now, tall) {
  const box = $("session");
  const cells = []; // [row, column, width, pad]
  const add = (row, column, width, made) => made && cells.push([row, column, width, made]);
  let columns = tall ? 3 : 5;
  const bottom = tall ? 2 : 1;
  const stop = stopPad();
  const more = () => pad(say("more"), () => ((panel = "more"), draw()));
  const waiting = () => sessionPhrase("stand-by") ?? sessionPhrase("go-ahead");
  const first = tall ? 1 : 2;
  if (["lost", "ended", "wait", "over"].includes(now)) {
    box.replaceChildren();
    return;
  }
  add(bottom, 1, 1, stop);
  if (now === "caution") {
    add(bottom, 2, columns - 1, pad(say("parked"), () => (keep("parked", String(view.record)), draw()), "confirm"));
  } else if (now === "notice") {
    const made = pad(say("understood"), () => press("say-again"));
    made.dataset.phrase = "say-again";
    add(bottom, 2, columns - 1, made);
  } else if (now === "more") {
    add(bottom, 2, columns - 1, pad(say("back"), () => ((panel = ""), draw())));
  } else if (now === "far") {
    add(bottom, 2, columns - 1, pad(say("pads-back"), () => ((far = false), draw())));
  } else if (armed || now === "confirm") {
    const one = armed ?? view.confirm[0];
    const made = phrasePad(one, "confirm");
    if (armed) made.textContent = say(one.twice, { phrase: one.label });
    add(1, first, 2, made);
    add(1, first + 2, 1, armed ? pad(say("not-yet"), () => ((armed = null), draw())) : sessionPhrase("correction"));
    add(bottom, columns, 1, more());
  } else {
    const tight = now === "keypad" && tall && innerHeight < 26 * mm() * 6 + 120;
    if (now === "keypad" && !tall) columns = 6;
    if (!tight) {
      add(1, first, 1, sessionPhrase("say-again"));
      add(1, first + 1, 1, waiting());
      add(1, first + 2, 1, sessionPhrase("correction"));
    }
    if (now === "keypad") view.keypad.units.forEach((unit, at) => add(bottom, columns - view.keypad.units.length + 1 + at, 1, unitPad(unit)));
    else add(bottom, columns, 1, more());
    if (tall && now === "ask") add(2, 2, 1, pad(say("far"), () => ((far = true), draw())));
  }
  box.style.gridTemplateColumns = `repeat(${columns}, minmax(var(--pad), 1fr))`;
  box.style.gridAutoRows = "var(--pad)";
  const rows = [...new Set(cells.map(([row]) => row))].sort();
  cells.forEach(([row, column, width, made]) => {
    made.style.gridArea = `${rows.indexOf(row) + 1} / ${column} / auto / span ${width}`;
  });
  // In the order of reading, so that the keyboard goes through them as the eye does; stop comes first.
  box.replaceChildren(...cells.map((cell) => cell[3]));
}

addEventListener("resize", () => {
  measure();
  draw();
});
root.dataset.theme = remember("theme") ?? "night";
measure();
follow();
