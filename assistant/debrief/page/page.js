// The trainer's page. It shows what the program read from the logs and decides nothing. Every text goes in
// as text, never as markup, for a log may hold anything.

const SVG = "http://www.w3.org/2000/svg";
const SIGNS = {
  refusal: "◆", failure: "✖", emergency: "⬣", prompt: "▸", hearing: "◂", misheard: "?", reading: "#", wait: "…",
  device: "!", clock: "◷", interruption: "⏸", begin: "●", end: "■", broken: "✂", decision: "·", note: "·",
};
const KEY = [
  ["refusal", "Refused"], ["failure", "Failed or outside the limit"], ["emergency", "Stop"], ["hazard", "Told, with a hazard"],
  ["prompt", "Told"], ["hearing", "Said"], ["misheard", "Not understood"], ["wait", "Wait"], ["device", "Tablet"],
];
const $ = (id) => document.getElementById(id);
const token = keep("debrief-token", location.hash.slice(1));
if (location.hash && !location.hash.startsWith("#/")) history.replaceState(null, "", location.pathname);
let views = [];

function keep(name, value) {
  try {
    if (value && !value.startsWith("/")) sessionStorage.setItem(name, value);
    return sessionStorage.getItem(name) ?? value;
  } catch {
    return value;
  }
}

// --- making and asking ---------------------------------------------------------------------------

export function make(tag, more = {}, ...inside) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(more)) {
    if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
    else if (name === "class") node.className = value;
    else if (value === true) node.setAttribute(name, "");
    else if (value !== false && value !== null && value !== undefined) node.setAttribute(name, value);
  }
  node.append(...inside.flat().filter((one) => one !== null && one !== undefined && one !== false));
  return node;
}

function drawn(tag, attributes, ...inside) {
  const node = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
  node.append(...inside);
  return node;
}

async function ask(path, query = {}, more = {}) {
  const address = new URL(path, location.origin);
  for (const [name, value] of Object.entries(query)) if (value !== "" && value !== null) address.searchParams.set(name, value);
  const answer = await fetch(address, { headers: { Authorization: `Bearer ${token}`, ...(more.headers ?? {}) }, cache: "no-store", ...more.fetch });
  if (!answer.ok) throw new Error((await answer.json().catch(() => ({}))).why ?? "The program does not answer.");
  return answer;
}
const askData = async (path, query) => (await ask(path, query)).json();

function tell(text = "") {
  $("status").textContent = text;
}

async function trying(what) {
  try {
    return await what();
  } catch (error) {
    tell(error instanceof TypeError ? "The program does not answer. Start hitchcall debrief again." : error.message);
    return null;
  }
}

async function save(path, query, name) {
  await trying(async () => {
    const blob = await (await ask(path, query)).blob();
    const link = make("a", { href: URL.createObjectURL(blob), download: name });
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
    tell(`Saved as ${name}.`);
  });
}

// --- a table that sorts and filters --------------------------------------------------------------

function table({ caption, columns, rows, heading = false, filters = true, row: dress = null, most = 300 }) {
  let by = -1, down = false, shown = most;
  const wanted = columns.map(() => "");
  const body = make("tbody");
  const count = make("span", { role: "status" });
  const more = make("button", { type: "button", hidden: true, onclick: () => { shown += most; fill(); } }, "Show more rows");
  const heads = columns.map((column, at) => make("th", { scope: "col", class: column.number ? "number" : "", "aria-sort": "none" },
    make("button", { type: "button", onclick: () => sort(at) }, column.title, make("span", { "aria-hidden": "true" }))));
  const head = make("thead", {}, make("tr", {}, heads));
  if (filters) head.append(make("tr", {}, columns.map((column, at) => make("td", {}, make("input", {
    type: "search", size: column.number ? 2 : 5, "aria-label": `Filter ${column.title}`, placeholder: "filter",
    oninput: (event) => { wanted[at] = event.target.value.trim().toLowerCase(); shown = most; fill(); },
  })))));

  function sort(at) {
    down = by === at ? !down : Boolean(columns[at].number);
    by = at;
    heads.forEach((one, place) => {
      one.setAttribute("aria-sort", place !== at ? "none" : down ? "descending" : "ascending");
      one.querySelector("span").textContent = place !== at ? "" : down ? " ▼" : " ▲";
    });
    fill();
  }

  function fill() {
    let found = rows.filter((one) => columns.every((column, at) => !wanted[at] || fits(one[column.name], wanted[at], column.number)));
    if (by >= 0) {
      const name = columns[by].sort ?? columns[by].name;
      const blank = (one) => words(one[name]) === "" || one[name] === "masked";
      found = [...found].sort((one, two) => blank(one) - blank(two) || order(one[name], two[name]) * (down ? -1 : 1));
    }
    body.replaceChildren(...found.slice(0, shown).map((one) => {
      const line = make("tr", {}, columns.map((column, at) => {
        const value = column.show ? column.show(one) : words(one[column.name]);
        const tag = at === 0 ? "th" : "td";
        return make(tag, { class: `${column.number ? "number" : ""} ${value === "masked" ? "masked" : ""}`, scope: at === 0 ? "row" : null }, value);
      }));
      dress?.(line, one);
      return line;
    }));
    count.textContent = `${found.length === rows.length ? "" : `${found.length} of `}${rows.length} ${rows.length === 1 ? "row" : "rows"}`;
    more.hidden = found.length <= shown;
  }

  fill();
  return make("div", {}, heading ? make("h2", {}, caption) : null,
    make("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": caption },
      make("table", { "aria-label": caption }, make("caption", {}, heading ? "" : `${caption}. `, count), head, body)), more);
}

function put(...inside) {
  $("main").replaceChildren(...inside.filter(Boolean));
}

const words = (value) => value === null || value === undefined ? "" : String(value);

function fits(value, wanted, number) {
  const limit = number && /^([<>])=?\s*(-?[\d.]+)$/.exec(wanted);
  if (limit) return limit[1] === "<" ? Number(value) <= Number(limit[2]) : Number(value) >= Number(limit[2]);
  return words(value).toLowerCase().includes(wanted);
}

function order(one, two) {
  if (typeof one === "number" && typeof two === "number") return one - two;
  return String(one).localeCompare(String(two), undefined, { numeric: true });
}

// --- the runs ------------------------------------------------------------------------------------

const PRACTICE = [["no", "work"], ["only", "practice"], ["both", "both"]];
let chosen = {}; // the filter, kept from view to view
let offered = { choices: null, walk: 5, walks: {} };

async function showRuns() {
  const data = await askData("/api/runs", chosen);
  offer(data);
  const columns = [
    { name: "began", title: "Began (UTC)", show: (run) => run.key ? make("a", { href: `#/run/${run.key}` }, run.began || run.run) : run.began || run.run },
    { name: "procedure", title: "Procedure" },
    { name: "rig", title: "Rig" },
    { name: "site", title: "Site" },
    { name: "ended", title: "Ended" },
    { name: "length", title: "Length", sort: "seconds", number: true },
    { name: "failures", title: "Failed couplings", number: true },
    { name: "refusals", title: "Refusals", number: true },
    { name: "misheard", title: "Not understood", number: true },
    { name: "practice", title: "Practice" },
    { name: "log", title: "Log", show: (run) => run.why ? make("span", {}, `${run.log}: ${run.why}`) : run.log },
  ].filter((column) => data.runs.some((run) => words(run[column.name]) !== ""));
  const bad = data.runs.filter((run) => run.log === "not proven").length;
  put(
    make("h1", {}, "Runs"),
    make("p", { class: "quiet" }, data.folder),
    bad ? make("p", { class: "caution" }, `${bad} ${bad === 1 ? "log is" : "logs are"} not proven: to be looked at, but counted in no figure.`) : null,
    data.note ? make("p", { class: "caution" }, data.note) : null,
    filterTools(showRuns),
    offered.choices ? saveTools("runs", 0, "runs") : null,
    table({
      caption: "Runs, newest first", columns, rows: data.runs,
      row: (line, run) => line.classList.toggle("bad", run.log === "not proven"),
    }));
}

function offer(data) {
  if (data.choices) offered = { choices: data.choices, walk: data.walk, walks: data.walks };
  views = data.views.map(([name, title]) => ["view", name, title]);
  drawNav(route().view, route().one);
}

// --- many runs -----------------------------------------------------------------------------------

function filterTools(again, more = []) {
  if (!offered.choices) return null;
  const pick = (name, title, values, none) => make("label", {}, title, make("select", {
    name, onchange: (event) => { chosen = { ...chosen, [name]: event.target.value }; trying(again); },
  }, [["", none], ...values].filter(([, told]) => told).map(([value, told]) => make("option", { value, selected: (chosen[name] ?? "") === value }, told))));
  const named = (values) => values.map((one) => [one, one.replaceAll("-", " ")]);
  const months = offered.choices.month.map((one) => [one, one]);
  return make("div", { class: "tools", role: "group", "aria-label": "Which runs" },
    pick("first_month", "From month", months, "the first"), pick("last_month", "To month", months, "the last"),
    pick("procedure", "Procedure", named(offered.choices.procedure), "all"), pick("site", "Site", named(offered.choices.site), "all"),
    pick("rig", "Rig", named(offered.choices.rig), "all"), pick("practice", "Runs of", PRACTICE, ""), ...more);
}

function saveTools(name, at, file) {
  const query = (format) => ({ ...chosen, name, table: at, format });
  return make("p", { class: "tools" },
    make("button", { type: "button", onclick: () => save("/api/table", query("csv"), `${file}.csv`) }, "Save as CSV"),
    make("button", { type: "button", onclick: () => save("/api/table", query("parquet"), `${file}.parquet`) }, "Save as Parquet"));
}

async function showView(name) {
  if (!offered.choices) offer(await askData("/api/runs", chosen));
  const again = () => showView(name);
  const data = await askData("/api/view", { ...chosen, name });
  const more = [];
  if (name === "fast") more.push(make("label", {}, "Walking time, seconds", make("input", {
    type: "number", min: 0, max: 3600, step: 1, value: chosen.walk ?? offered.walk,
    onchange: (event) => { chosen = { ...chosen, walk: event.target.value }; trying(again); },
  })));
  if (name === "person") more.push(
    make("label", { class: "line" }, make("input", {
      type: "checkbox", checked: chosen.by_person === "yes",
      onchange: (event) => { chosen = { ...chosen, by_person: event.target.checked ? "yes" : "", call_sign: "" }; trying(again); },
    }), "By person: they have agreed to this look"),
    data.people.length ? make("label", {}, "Call sign", make("select", {
      onchange: (event) => { chosen = { ...chosen, call_sign: event.target.value }; trying(again); },
    }, ["", ...data.people].map((one) => make("option", { value: one, selected: chosen.call_sign === one }, one || "choose")))) : null);
  put(
    make("h1", {}, data.title),
    make("p", {}, data.question),
    filterTools(again, more.filter(Boolean)),
    data.note ? make("p", { class: "quiet" }, data.note) : null,
    ...data.plots.map((plot) => make("figure", {},
      make("img", { alt: plot.alt, src: URL.createObjectURL(new Blob([plot.svg], { type: "image/svg+xml" })), onload: (event) => URL.revokeObjectURL(event.target.src) }),
      make("figcaption", {}, plot.alt))),
    ...data.tables.flatMap((one, at) => [
      one.rows.length ? table({ ...one, heading: true, filters: one.rows.length > 8 }) : make("p", { class: "quiet" }, `${one.caption}: nothing was counted for this choice.`),
      one.note ? make("p", { class: "quiet" }, one.note) : null,
      saveTools(name, at, `${name}-${at + 1}`)]));
}

// --- one run -------------------------------------------------------------------------------------

let run = null; // what the server told of the run and its page, with what is chosen
let playing = null;

async function showRun(key, page = 0, chosen = null) {
  stopPlaying();
  const data = await askData("/api/run", { run: key, page });
  run = { ...data, key, at: -1, byNumber: new Map(data.moments.map((one, at) => [one.number, at])) };
  let facts = [];
  for (const one of run.moments) one.facts = facts = one.facts ?? facts.map((fact) => ({ ...fact, new: false }));
  document.title = `${run.title}, ${run.began}`;
  const list = make("ol", { class: "moments", role: "listbox", tabindex: "0", "aria-label": "Moments", onkeydown: onList, onclick: onListClick },
    run.moments.map(momentLine));
  const drawing = drawn("svg", { class: "timeline", viewBox: "0 0 1000 184", role: "img", "aria-label": "Timeline of the run: the list below holds the same moments" });
  for (const shape of run.drawing) drawing.append(shapeOf(shape));
  drawing.addEventListener("click", (event) => {
    const number = event.target.dataset?.moment;
    if (number !== undefined) choose(run.byNumber.get(Number(number)));
  });
  const legend = make("p", { class: "key", "aria-label": "What the shapes mean" }, KEY.map(([what, name]) => make("span", {}, sample(what), name)));
  put(
    make("h1", {}, run.title),
    runHead(),
    run.banner ? make("p", { class: "banner", role: "alert" }, run.banner) : null,
    run.notes.length ? make("p", { class: "caution" }, run.notes.join(" ")) : null,
    runTools(),
    drawing, legend,
    make("div", { class: "split" },
      make("section", { "aria-labelledby": "list-title" }, make("h2", { id: "list-title" }, `Moments${run.more || run.page ? `, part ${run.page + 1}` : ""}`), list, pager()),
      make("section", { class: "detail", id: "detail", "aria-labelledby": "detail-title", "aria-live": "polite" })),
    make("details", {}, make("summary", {}, "What the check of the log came to"), make("ul", {}, run.check.map((line) => make("li", {}, line)))));
  run.list = list;
  run.svg = drawing;
  const first = run.moments.findIndex((one) => one.mistake);
  choose(chosen !== null && run.byNumber.has(chosen) ? run.byNumber.get(chosen) : Math.max(0, first));
}

function runHead() {
  const told = [["Began (UTC)", run.began], ["Length", run.length], ["Rig", run.rig], ["Order", run.site], ["Crew", run.crew], ["Log", run.log], ["Run", run.run]];
  return make("p", { class: "facts-of-run" }, told.filter(([, value]) => value).map(([name, value]) => make("span", {}, make("b", {}, name), value)));
}

function runTools() {
  const speeds = [["1", "as it was"], ["2", "twice as fast"], ["4", "four times as fast"]];
  return make("div", { class: "tools", role: "group", "aria-label": "Going through the run" },
    make("button", { type: "button", onclick: () => jump("back") }, "◆ Previous refusal (P)"),
    make("button", { type: "button", class: "strong", onclick: () => jump("on") }, "Next refusal (N) ◆"),
    make("button", { type: "button", id: "play", onclick: togglePlay }, "Replay from here (R)"),
    make("label", {}, "Speed", make("select", { id: "speed" }, speeds.map(([value, name]) => make("option", { value }, `${value}×, ${name}`)))),
    make("label", {}, "Pauses", make("select", { id: "pauses" }, make("option", { value: "kept" }, "kept"), make("option", { value: "shortened" }, "shortened to 2 s"))),
    make("button", { type: "button", onclick: () => skipPause() }, "Skip this pause (S)"),
    make("button", { type: "button", onclick: () => save("/api/heard", { run: run.key, page: run.page, pauses: $("pauses").value }, `${run.run}-heard.flac`) }, "Save what was heard"),
    make("button", { type: "button", onclick: () => save("/api/report", { run: run.key, format: "html" }, `${run.run}.html`) }, "Report (HTML)"),
    make("button", { type: "button", onclick: () => save("/api/report", { run: run.key, format: "pdf" }, `${run.run}.pdf`) }, "Report (PDF)"));
}

function pager() {
  if (!run.more && !run.page) return null;
  const go = (page) => trying(() => showRun(run.key, page));
  return make("p", { class: "tools" },
    make("button", { type: "button", disabled: run.page === 0, onclick: () => go(run.page - 1) }, "Earlier part"),
    make("button", { type: "button", disabled: !run.more, onclick: () => go(run.page + 1) }, "Later part"));
}

function momentLine(one, at) {
  return make("li", { role: "option", id: `moment-${one.number}`, "data-at": at, "aria-selected": "false", class: `${one.what}${one.proven ? "" : " unproven"}` },
    make("span", {}, one.clock),
    make("span", { class: "sign", "aria-hidden": "true" }, SIGNS[one.what] ?? "·"),
    make("span", {}, make("b", {}, one.title), one.text ? ` ${one.text}` : ""));
}

function shapeOf(shape) {
  const node = drawn(shape.tag, shape.at);
  if (shape.text) node.textContent = shape.text;
  if (shape.told) node.append(drawn("title", {}, shape.told));
  if (shape.moment !== null) node.dataset.moment = shape.moment;
  return node;
}

function sample(what) {
  const points = { refusal: "8,0 16,8 8,16 0,8", emergency: "5,0 11,0 16,5 16,11 11,16 5,16 0,11 0,5", failure: "1,3 3,1 8,5 13,1 15,3 11,8 15,13 13,15 8,11 3,15 1,13 5,8" };
  const shape = points[what] ? drawn("polygon", { class: `m ${what}`, points: points[what] })
    : ["wait", "device"].includes(what) ? drawn("circle", { class: `m ${what}`, cx: 8, cy: 8, r: 5 })
      : drawn("rect", { class: `m ${what}`, x: 0, y: 2, width: 16, height: 12 });
  return drawn("svg", { "aria-hidden": "true" }, shape);
}

function choose(at) {
  if (at === undefined || at < 0 || at >= run.moments.length) return;
  run.list.children[run.at]?.setAttribute("aria-selected", "false");
  run.at = at;
  const one = run.moments[at];
  const line = run.list.children[at];
  line.setAttribute("aria-selected", "true");
  run.list.setAttribute("aria-activedescendant", line.id);
  const top = line.offsetTop, list = run.list;
  if (top < list.scrollTop || top + line.offsetHeight > list.scrollTop + list.clientHeight) list.scrollTop = top - list.clientHeight / 3;
  drawHere(one);
  drawDetail(one);
}

function drawHere(one) {
  run.svg.querySelectorAll(".here, .here-top").forEach((node) => node.remove());
  const shape = run.drawing.find((shape) => shape.moment === one.number);
  if (!shape) return;
  const x = Number(shape.at.cx ?? shape.at.x ?? shape.at.points?.split(",")[0] ?? 0);
  run.svg.append(drawn("line", { class: "here", x1: x, x2: x, y1: 24, y2: 162 }), drawn("polygon", { class: "here-top", points: `${x - 5},172 ${x + 5},172 ${x},162` }));
}

function drawDetail(one) {
  // A failure clears every fact; what was believed until then is what a trainer wants to see.
  const facts = one.what === "failure" && run.at > 0 ? run.moments[run.at - 1].facts : one.facts;
  const step = one.step ? `${one.stepNumber ? `Step ${one.stepNumber}: ` : ""}${one.step}` : "";
  $("detail").replaceChildren(...[
    make("h2", { id: "detail-title" }, `${one.clock} ${one.title}`),
    make("p", {}, one.text),
    one.proven ? null : make("p", { class: "banner" }, "The log does not vouch for this moment."),
    one.how.length ? make("p", { class: "quiet" }, `Not all of it was spoken: ${one.how.join(", ")}.`) : null,
    one.noise === null ? null : make("p", { class: "quiet" }, `Noise ${one.noise.toFixed(0)} dB, speech ${one.speech === null ? "not measured" : `${one.speech.toFixed(0)} dB`} of full scale.`),
    one.sound ? make("p", {}, make("button", { type: "button", onclick: () => trying(() => playOne(one)) }, "Play this moment (Enter)")) : null,
    one.why ? whyBox(one.why) : null,
    one.mistake ? beforeBox(one.before) : null,
    step ? make("h3", {}, "Asked after this") : null, step ? make("p", {}, step) : null,
    make("h3", {}, one.what === "failure" ? "Facts believed until then" : "Facts believed at this moment"),
    facts.length ? make("ul", { class: "fact-list" }, facts.map(factLine)) : make("p", { class: "quiet" }, "Nothing had been seen yet."),
    notesBox(one),
  ].filter(Boolean));
}

function factLine(fact) {
  return make("li", { class: `${fact.new ? "new" : ""} ${fact.doubt ? "doubt" : ""}` },
    `${fact.name}: ${fact.value}${fact.doubt ? " (in doubt: the act may have begun)" : ""}${fact.new ? " (new)" : ""}`);
}

function whyBox(why) {
  return make("div", { class: "why" },
    make("p", {}, make("span", { class: "signal" }, why.signal), " ", why.text),
    make("p", {}, why.restsOn),
    why.facts.length ? make("p", {}, "As it stood: ", why.facts.map((fact) => `${fact.name} ${fact.value}`).join("; "), ".") : null,
    why.source ? make("p", { class: "quiet" }, "Source: ", why.source) : null);
}

function beforeBox(before) {
  return make("div", {}, make("h3", {}, "What the driver had been told in the minute before"),
    before.length ? make("ul", { class: "told-list" }, before.map((told) => make("li", { class: told.kind },
      `${told.ago} before: ${told.text}`, told.how === "spoken" ? "" : make("i", {}, ` (${told.how})`))))
      : make("p", { class: "quiet" }, "Nothing."));
}

function notesBox(one) {
  const box = make("textarea", { "aria-label": "Note on this moment", maxlength: 4000 });
  const found = run.noteList.flatMap((notes) => notes.notes.map((note, at) => ({ ...note, notes, at }))).filter((note) => note.moment === one.number);
  const others = run.noteList.reduce((sum, notes) => sum + notes.notes.length, 0) - found.length;
  return make("section", {}, make("h3", {}, "Trainer's notes"),
    run.noteList.filter((notes) => notes.fault).map((notes) => make("p", { class: "remark bad" }, `Notes in ${notes.file} do not stand up. ${notes.fault}`)),
    found.map((note) => make("div", { class: `remark${note.notes.fault ? " bad" : ""}` }, note.text,
      make("p", {}, `${note.wall.slice(0, 16).replace("T", " ")} UTC, signed ${note.notes.own ? "with your key" : "by another trainer"} ${note.notes.by}${note.notes.fault ? ". Not proven." : ""} `,
        note.notes.own && !note.notes.fault ? make("button", { type: "button", onclick: () => sendNote({ remove: note.at }) }, "Remove") : null))),
    others ? make("p", { class: "quiet" }, `${others} more on other moments of this run.`) : null,
    box, make("button", { type: "button", onclick: () => box.value.trim() && sendNote({ moment: one.number, text: box.value }) }, "Save note, signed"));
}

async function sendNote(note) {
  await trying(async () => {
    const answer = await ask("/api/note", {}, {
      headers: { "Content-Type": "application/json" }, fetch: { method: "POST", body: JSON.stringify({ run: run.key, ...note }) },
    });
    run.noteList = await answer.json();
    drawDetail(run.moments[run.at]);
    tell("Saved, outside the log.");
  });
}

async function jump(way) {
  const here = run.moments[run.at]?.number ?? 0;
  const near = way === "on" ? run.moments.findIndex((one, at) => at > run.at && one.mistake)
    : run.moments.findLastIndex((one, at) => at < run.at && one.mistake);
  if (near >= 0) { tell(); return choose(near); }
  const further = way === "on" ? run.more : run.page > 0;
  if (!further) return tell(way === "on" ? "No later refusal." : "No earlier refusal.");
  tell("Looking …");
  await trying(async () => {
    const edge = run.moments[way === "on" ? run.moments.length - 1 : 0].number;
    const found = await askData("/api/jump", { run: run.key, from: edge, way });
    await showRun(run.key, found.page, found.number);
    tell(found.found ? "" : "None so far. Press again to look further.");
  });
  return here;
}

function onList(event) {
  const steps = { ArrowDown: 1, ArrowUp: -1, PageDown: 12, PageUp: -12 };
  if (event.key in steps) choose(Math.min(run.moments.length - 1, Math.max(0, run.at + steps[event.key])));
  else if (event.key === "Home") choose(0);
  else if (event.key === "End") choose(run.moments.length - 1);
  else if (event.key === "Enter" && run.moments[run.at].sound) trying(() => playOne(run.moments[run.at]));
  else return;
  event.preventDefault();
}

function onListClick(event) {
  const line = event.target.closest("li");
  if (line) choose(Number(line.dataset.at));
}

// --- hearing it again ----------------------------------------------------------------------------

const clips = new Map(); // what was fetched, by run and moment; the last few only

function clipOf(one) {
  const name = `${run.key}/${one.number}`;
  if (!clips.has(name)) {
    const got = ask("/api/sound", { run: run.key, number: one.number }).then((answer) => answer.blob()).then((blob) => URL.createObjectURL(blob));
    got.catch(() => clips.delete(name));
    clips.set(name, got);
    if (clips.size > 40) {
      const [oldest, old] = clips.entries().next().value;
      clips.delete(oldest);
      old.then(URL.revokeObjectURL, () => {});
    }
  }
  return clips.get(name);
}

async function playOne(one, speed = 1, stop = null) {
  const sound = new Audio(await clipOf(one));
  sound.preservesPitch = true;
  sound.playbackRate = speed;
  await new Promise((done, fail) => {
    sound.onended = () => done();
    sound.onerror = () => fail(new Error("The browser cannot play that."));
    stop?.addEventListener("abort", () => { sound.pause(); done(); });
    sound.play().catch(fail);
  });
  return sound.duration * 1000;
}

function togglePlay() {
  if (playing) return stopPlaying();
  return trying(replay);
}

function stopPlaying() {
  playing?.abort();
  playing = null;
  if ($("play")) $("play").textContent = "Replay from here (R)";
}

let skip = null;
function skipPause() {
  skip?.();
}

function rest(ms, stop) {
  return new Promise((done) => {
    const timer = setTimeout(end, ms);
    function end() { clearTimeout(timer); skip = null; done(); }
    skip = end;
    stop.addEventListener("abort", end);
  });
}

async function replay() {
  const stop = new AbortController();
  playing = stop;
  $("play").textContent = "Stop the replay (R)";
  const name = $("pauses").value === "shortened" ? "dueShort" : "due";
  const items = run.moments.filter((one) => one[name] !== null && run.byNumber.get(one.number) >= run.at).sort((one, two) => one[name] - two[name]);
  let clock = items[0]?.[name] ?? 0;
  for (const [at, one] of items.entries()) {
    const speed = Number($("speed").value);
    const gap = Math.max(0, one[name] - clock);
    if (gap > 400) {
      tell(`Pause of ${Math.round(gap / 1000)} s, ${speed}×`);
      await rest(gap / speed, stop.signal);
    }
    if (stop.signal.aborted) return;
    clock += gap;
    choose(run.byNumber.get(one.number));
    tell(`Replaying ${one.clock}, ${speed}×`);
    items.slice(at + 1, at + 3).filter((next) => next.sound).forEach((next) => clipOf(next).catch(() => {}));
    if (one.sound) {
      const lasted = await playOne(one, speed, stop.signal).catch((error) => { tell(error.message); return null; });
      clock += lasted ?? one.lasts;
    } else {
      await rest(one.lasts / speed, stop.signal);
      clock += one.lasts;
    }
    if (stop.signal.aborted) return;
  }
  stopPlaying();
  tell(run.more ? "The end of this part." : "The end of the run.");
}

// --- keys and ways -------------------------------------------------------------------------------

document.addEventListener("keydown", (event) => {
  if (route().view !== "run" || !run || event.ctrlKey || event.altKey || event.metaKey) return;
  if (/^(INPUT|TEXTAREA|SELECT)$/.test(event.target.tagName)) return;
  const act = { n: () => jump("on"), p: () => jump("back"), r: togglePlay, s: skipPause }[event.key.toLowerCase()];
  if (act) { event.preventDefault(); act(); }
});

function route() {
  const [, view = "runs", one = "", two = ""] = location.hash.split("/");
  return { view: view || "runs", one, two };
}

async function go() {
  const { view, one, two } = route();
  stopPlaying();
  tell();
  drawNav(view, one);
  await trying(async () => {
    document.title = "Debrief";
    if (view === "run") await showRun(one, 0, two ? Number(two) : null);
    else if (view === "view") await showView(one);
    else await showRuns();
  });
}

function drawNav(view, one) {
  $("views").replaceChildren(...[["runs", "", "Runs"], ...views].map(([name, part, title]) => make("a", {
    href: part ? `#/${name}/${part}` : `#/${name}`, "aria-current": name === view && (!part || part === one) ? "page" : null,
  }, title)));
}

window.addEventListener("hashchange", go);
go();
