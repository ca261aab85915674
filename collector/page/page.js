"use strict";
// The phone page: hears the collector over one WebSocket, draws what it says, and says loudly when it hears nothing.
// Everything is put in place as text nodes; nothing that came over the wire is ever read as HTML.

const SILENT_SECONDS = 10, WAKE_SECONDS = 60, REPLY_SECONDS = 5, OPEN_SECONDS = 8, SOUND_SECONDS = 8;
// "thermal" of cmocean, Copyright (c) 2015 Kristen M. Thyng, MIT licence (doi:10.5670/oceanog.2016.66): dark is cold,
// bright is hot, and colour-blind eyes can read it.
const THERMAL = ("042333 052943 082e54 0e3167 19337c 273491 39339e 49369f 563b9c 624198 6d4694 784b91 83508f 8e548c " +
  "995889 a55c86 b15f82 bd637c c96775 d46b6d df7064 e8775a f07f50 f68848 f99341 fb9f3d fcac3c fbb93e f9c641 f6d347 " +
  "f2e14d edee54 e8fa5b").split(" ");
const ARROWS = [[20, "⇈", "rising fast"], [4, "↗", "rising"], [-4, "→", "level"], [-20, "↘", "falling"],
  [-Infinity, "⇊", "falling fast"]];
const DASHES = ["", "7 4", "2 4", "10 3 2 3", "14 4", "4 2 1 2"];

let may = "look", unit = "F", view = null, trend = [];
let socket = null, opened = false, wordAt = Date.now(), everHeard = false, attempt = 0, refused = false;
let number = 0, wanted = null, audio = null, soundedAt = 0, lock = null;
const turned = new Map();  // name of a piece -> {number, at, said}
const asked = new Map();   // key of a trouble -> {number, at, said}

const byId = (id) => document.getElementById(id);
function put(id, text) { const e = byId(id); if (e.textContent !== text) e.textContent = text; }
function make(tag, attributes, ...children) {
  const e = document.createElement(tag);
  for (const [k, v] of Object.entries(attributes || {})) e.setAttribute(k, v);
  e.append(...children);
  return e;
}
function draw(tag, attributes, ...children) {
  const e = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [k, v] of Object.entries(attributes || {})) e.setAttribute(k, v);
  e.append(...children);
  return e;
}

// Numbers in the cook's unit; a difference is converted as a difference.
const degree = () => "°" + unit;
const converted = (c) => unit === "F" ? c * 1.8 + 32 : c;
const whole = (c) => c === null ? "--" : String(Math.round(converted(c)));
const temperature = (c) => whole(c) + " " + degree();
function difference(k, signed) {
  if (k === null) return "--";
  const n = Math.round(unit === "F" ? k * 1.8 : k);
  return (signed && n > 0 ? "+" : "") + String(n).replace("-", "−");
}
function age(seconds) {
  if (!isFinite(seconds)) return "--";
  const s = Math.max(0, Math.floor(seconds));
  if (s < 60) return s + " s";
  if (s < 3600) return Math.floor(s / 60) + " min";
  return Math.floor(s / 3600) + " h " + String(Math.floor(s % 3600 / 60)).padStart(2, "0");
}
const clock = (unix) => new Date(unix * 1000).toLocaleTimeString([], {hour: "2-digit", minute: "2-digit"});
function arrow(k) { return k === null ? ["", "no trend yet"] : ARROWS.find((a) => k >= a[0]).slice(1); }
function measured(value, of) {
  if (of === "celsius") return temperature(value);
  if (of === "kelvin") return difference(value, false) + " " + degree();
  if (of === "kelvin_per_hour") return difference(value, true) + " " + degree() + "/h";
  if (of === "seconds") return age(value);
  if (of === "percent") return Math.round(value) + " %";
  return String(value);
}
// The cook's time now: what the collector said last, and what has passed since.
const now = () => view.now_unix + (Date.now() - wordAt) / 1000 * view.speed;
const heard = (unix) => unix === null ? "never heard" : age(now() - unix) + " ago";

// ---- the way to the collector

function connect() {
  const at = new WebSocket((location.protocol === "https:" ? "wss://" : "ws://") + location.host + "/page-feed");
  socket = at; opened = false;
  at.onopen = () => { opened = true; };
  at.onmessage = (e) => { if (at === socket) hear(JSON.parse(e.data)); };
  at.onclose = () => { if (at === socket) lost(); };
  setTimeout(() => { if (at === socket && !opened) drop(); }, OPEN_SECONDS * 1000);
}
function drop() {   // a link that is dead does not always say so: it is let go of, not waited for
  const old = socket;
  lost();
  if (old) old.close();
}
function lost() {
  socket = null;
  if (!opened) inquire();
  setTimeout(connect, Math.min(5000, 500 * 2 ** attempt++) * (0.7 + 0.3 * Math.random()));
}
async function inquire() {   // a WebSocket does not say why it was refused
  try {
    refused = (await fetch("/who", {cache: "no-store"})).status === 401;
  } catch { refused = false; }
}
function hear(message) {
  wordAt = Date.now(); everHeard = true; attempt = 0; refused = false;
  if (message.kind === "hello") { may = message.may; unit = message.unit; put("version", message.coldside); }
  if (message.kind === "trend") {
    trend = message.whole ? message.rows : trend.concat(message.rows);
    while (trend.length && trend[0][0] < trend[trend.length - 1][0] - 6 * 3600) trend.shift();
    if (view) showTrend();
  }
  if (message.kind === "view") { const first = !view; view = message; show(); if (first) showTrend(); }
  if (message.kind === "reply") answered(message);
  tick();
}

// ---- acknowledging

function acknowledge(key) {
  number += 1;
  if (!socket || !opened) asked.set(key, {number: 0, at: 0, said: "Not sent: there is no link."});
  else {
    asked.set(key, {number, at: Date.now(), said: ""});
    socket.send(JSON.stringify({do: "acknowledge", number, key}));
  }
  if (view) showTroubles();
}
function answered(reply) {
  for (const [key, ask] of asked) if (ask.number === reply.number) {
    asked.set(key, {number: 0, at: 0, said: reply.done ? "Done." : "Not done: " + reply.why});
  }
  for (const [piece, told] of turned) if (told.number === reply.number) {
    turned.set(piece, {number: 0, at: 0, said: reply.done ? "Done." : "Not done: " + reply.why});
  }
  if (view) { showTroubles(); showMeat(); }
}

// ---- what is shown

function show() {
  const [sign, going] = arrow(view.slope_kelvin_per_hour);
  put("grate", temperature(view.grate_celsius) + " " + sign);
  byId("grate").setAttribute("aria-label", "grate " + temperature(view.grate_celsius) + ", " + going);
  put("fire", view.fire);
  byId("fire").classList.toggle("warn", view.fire_wants_an_eye);
  document.title = temperature(view.grate_celsius) + " " + view.fire;
  showTroubles(); showMap(); showZones(); showMeat(); showProbes(); showMarks();
}
function facts() {
  const said = ["target " + temperature(view.target_celsius) + " (" + whole(view.low_celsius) + " to " +
    whole(view.high_celsius) + ")", "spread " + difference(view.spread_kelvin, false) + " " + degree()];
  if (view.split_due_unix !== null) {
    const late = now() - view.split_due_unix;
    said.push(late >= 60 ? "split overdue by " + age(late) : "split due about " + clock(view.split_due_unix));
  }
  said.push(view.cook + ", " + age(now() - view.started_unix));
  if (view.speed !== 1) said.push("played ×" + view.speed);
  if (view.sources_down.length) said.push("NOT HEARD: " + view.sources_down.join(", "));
  if (view.unsaved) said.push("NOT SAVED: " + view.unsaved);
  said.push("word " + age((Date.now() - wordAt) / 1000) + " ago");
  return said.join(" · ");
}
function sentence(t) {
  let said = t.title;
  if (t.value !== null) said += ", " + t.meant.replace("{}", measured(t.value, t.unit));
  if (t.value !== null && t.limit) said += " (limit " + measured(t.limit, t.unit) + ")";
  return t.what ? said + "; " + t.what : said;
}
function showTroubles() {
  const calling = view.troubles.filter((t) => t.calls), list = byId("troubles");
  const there = new Map([...list.children].map((e) => [e.dataset.key, e]));
  for (const key of asked.keys()) if (!view.troubles.some((t) => t.key === key)) asked.delete(key);
  view.troubles.forEach((t, i) => {
    let row = there.get(t.key);
    if (!row) {   // rows are kept, so that a thumb on its way to a button does not miss it
      const button = make("button", {class: "main"}, "Acknowledge");
      button.onclick = () => acknowledge(t.key);
      row = make("li", {}, make("p", {}), make("p", {class: "soft"}), button, make("span", {role: "status"}));
      row.dataset.key = t.key;
    }
    there.delete(t.key);
    const [says, how, button, status] = row.children;
    row.classList.toggle("calls", t.calls);
    if (says.textContent !== sentence(t)) says.textContent = sentence(t);
    how.textContent = [t.priority, t.state + (t.active ? "" : ", over"), "for " + age(now() - t.since_unix)].join(" · ");
    const ask = asked.get(t.key), waiting = ask && ask.number > 0;
    button.hidden = may !== "act" || !t.calls;
    button.disabled = Boolean(waiting);
    button.textContent = waiting ? "Sending …" : "Acknowledge";
    button.setAttribute("aria-label", "Acknowledge: " + t.title);
    const told = ask ? ask.said : "";
    if (status.textContent !== told) status.textContent = told;
    if (list.children[i] !== row) list.insertBefore(row, list.children[i] || null);
  });
  for (const row of there.values()) row.remove();
  byId("quiet").hidden = view.troubles.length > 0;
  // the bar under the thumb: the most pressing one
  const top = calling[0] || null, ask = top ? asked.get(top.key) : null;
  wanted = top ? top.key : null;
  byId("bar").classList.toggle("calls", Boolean(top));
  const more = calling.length > 1 ? " (and " + (calling.length - 1) + " more)" : "";
  const standing = view.troubles.length ? "Acknowledged; " + view.troubles.length + " still listed." : "Nothing calls you.";
  put("bar-says", top ? top.priority + ": " + top.title + more + (ask && ask.said ? ". " + ask.said : "") : standing);
  const button = byId("acknowledge"), waiting = Boolean(ask && ask.number > 0);
  button.hidden = may !== "act" || !top;
  button.disabled = waiting;
  button.textContent = waiting ? "Sending …" : "Acknowledge";
}
function rows(id, made) {
  const list = byId(id);
  list.replaceChildren(...made);
}
const letter = (i) => String.fromCharCode(65 + i % 26);
function showZones() {
  const several = new Set(view.zones.map((z) => z.level)).size > 1;
  rows("zones", view.zones.map((z, i) => {
    const [sign, going] = arrow(z.trend_kelvin_per_hour);
    const outside = z.outside ? (z.outside === "low" ? " below the band" : " above the band") : "";
    const says = [difference(z.deviation_kelvin, true) + " " + degree() + " from its level's mean",
      sign + " " + going + " " + difference(z.trend_kelvin_per_hour, true) + " " + degree() + "/h",
      z.probes ? z.probes + (z.probes === 1 ? " probe, " : " probes, ") + heard(z.heard_unix) : "read from the map alone",
      ...(z.watched ? [] : ["not watched: no probe near enough"])];
    return make("li", {}, make("div", {class: "line"},
      make("span", {}, letter(i) + "  " + z.name + (several ? " (" + z.level + ")" : "")),
      make("span", {class: "value"}, temperature(z.celsius))),
      make("div", {class: "soft"}, ...(outside ? [make("span", {class: "warn"}, outside.trim() + " · ")] : []), says.join(" · ")));
  }));
}
function probeSays(p) {
  if (p.silent && p.heard_unix !== null) return ["silent for " + age(now() - p.heard_unix), true];
  return p.doubt ? [p.doubt + (p.heard_unix === null ? "" : ", " + heard(p.heard_unix)), true] : [heard(p.heard_unix), false];
}
// A time of day; with its day of the week where that is most of a day off.
function when(unix) {
  const far = Math.abs(unix - now()) > 20 * 3600;
  return (far ? new Date(unix * 1000).toLocaleDateString([], {weekday: "short"}) + " " : "") + clock(unix);
}
function dayAndTime(unix) {   // its day where that is not today's
  const midnight = (date) => new Date(date.getFullYear(), date.getMonth(), date.getDate());
  const days = Math.round((midnight(new Date(unix * 1000)) - midnight(new Date(now() * 1000))) / 864e5);
  const day = days === 0 ? "" : days === 1 ? "tomorrow " : new Date(unix * 1000).toLocaleDateString([], {weekday: "short"}) + " ";
  return day + clock(unix);
}
const rough = (s) => s < 5400 ? Math.max(5, Math.round(s / 300) * 5) + " min" : (Math.round(s / 1800) / 2) + " h";
function between(a) {
  return when(a.median_unix) + (a.low_unix === null ? "" : " (" + when(a.low_unix) + "–" +
    (a.high_unix === null ? "or much later" : when(a.high_unix)) + ")") + (a.why ? ", " + a.why : "");
}
function arrives(part, phase) {
  if (part.done_celsius === null) return "";
  if (part.celsius !== null && part.celsius >= part.done_celsius) return "at its target of " + temperature(part.done_celsius);
  const goal = "to " + temperature(part.done_celsius);
  if (part.done.median_unix !== null) return goal + ", done " + between(part.done);
  if (phase !== "cooking" && phase !== "wrapped") return goal;
  return goal + ", time not known: " + (part.done.why || "it cannot be known yet");
}
function partSays(part, phase) {
  const said = [arrives(part, phase)];
  if (phase === "cooking" && part.wrap_celsius !== null) {
    if (part.celsius !== null && part.celsius >= part.wrap_celsius) said.push("at its wrap temperature");
    else if (part.wrap.median_unix !== null) said.push("wrap " + between(part.wrap));
  }
  if (part.stall_began_unix !== null) {
    const at = part.stall_celsius === null ? "" : " at " + temperature(part.stall_celsius);
    if (part.stall_ended_unix !== null) said.push("stalled " + when(part.stall_began_unix) + " to " + when(part.stall_ended_unix) + at);
    else said.push("stalls since " + when(part.stall_began_unix) + at + (part.wrap_gain_seconds >= 600 ?
      "; wrapped now it would be done about " + rough(part.wrap_gain_seconds) + " sooner" : ""));
  }
  if (part.air_celsius !== null) said.push("air " + temperature(part.air_celsius));
  return said.filter(Boolean).join(" · ");
}
function pieceSays(m) {   // each with whether it wants an eye
  const said = m.advice.map((a) => [a.replace(": ", "; the trade would "), true]);
  const serve = m.serve_unix ?? (m.plan.find(([what]) => what === "serve") || [])[1] ?? null;
  if (serve !== null && m.phase !== "off") {
    const steps = m.did.filter(([, unix]) => unix !== null).map(([what, unix]) => what + " " + when(unix)).concat(
      m.plan.filter(([what, unix]) => what !== "serve" && unix !== null).map(([what, unix]) => what + " by " + when(unix)));
    const about = m.late_seconds === null ? "" : "about " + rough(Math.abs(m.late_seconds)) + " ";
    const late = {"": "", "just in time": "just in time", "never": "it will not come in time at this air"}[m.lateness] ?? about + m.lateness;
    said.push(["serve " + dayAndTime(serve) + (steps.length ? ": " + steps.join(", ") : "") + (late ? "; " +
      (m.on || m.lateness === "never" ? "" : "if it went on now ") + late : ""), m.lateness === "late" || m.lateness === "never"]);
  }
  if (m.phase === "holding") said.push(["held " + age(m.held_seconds) + ", no colder than " + temperature(m.hold_celsius),
    m.parts.some((p) => p.celsius !== null && p.celsius < m.hold_celsius)]);
  if (m.phase === "cooling") {
    if (m.cool_due_unix !== null) said.push(["cool it through this stage by " + when(m.cool_due_unix), now() > m.cool_due_unix]);
    const c = m.cooling;
    said.push(["by " + c.title + ": " + whole(c.from_celsius) + " to " + temperature(c.first_celsius) + " within " + c.first_seconds / 3600 +
      " h, to " + temperature(c.second_celsius) + " within " + c.second_seconds / 3600 + " h " + (c.in_all ? "in all" : "more") + "; " + c.others, false]);
  }
  if (m.on) {
    const span = (seconds, [low, high]) => age(seconds === null ? NaN : seconds) + " within " + whole(low) + "–" + temperature(high);
    said.push([span(m.come_up_seconds, m.come_up_celsius) + " on the fire, at most " + age(m.come_up_most_seconds) +
      " by the published guideline", m.come_up_seconds >= m.come_up_soon_seconds]);
    said.push([span(m.danger_seconds, m.danger_celsius) + " off the fire, where many codes count " + age(m.danger_most_seconds),
      m.danger_seconds >= m.danger_soon_seconds]);
    const logs = m.log_reduction === null ? "No table of log reductions is known for this meat, so none is counted. " :
      "At the probe's tip " + (m.log_reduction >= m.log_goal ? "all " + m.log_goal : m.log_reduction.toFixed(1)) + " of the " +
      m.log_goal + " log reductions of one published table are counted; " + m.log_note + ". ";
    said.push([logs + m.caution, false]);
  }
  return said;
}
const PHASES = ["cooking", "wrapped", "resting", "holding", "cooling", "off", "not on yet"];
function turn(piece, phase) {
  number += 1;
  if (!socket || !opened) turned.set(piece, {number: 0, at: 0, said: "Not sent: there is no link."});
  else {
    turned.set(piece, {number, at: Date.now(), said: "Sending …"});
    socket.send(JSON.stringify({do: "turn", number, piece, phase}));
  }
  showMeat();
}
// What cannot be taken back is asked for twice. No dialog of the browser: while one stands open, no alarm sounds.
function twice(button, question, done) {
  const asked = button.textContent === question, word = button.dataset.word || button.textContent;
  clearTimeout(Number(button.dataset.timer));
  button.dataset.word = word;
  button.textContent = asked ? word : question;
  if (asked) done();
  else button.dataset.timer = setTimeout(() => { button.textContent = word; }, 5000);
}
function showMeat() {
  const held = new Set(view.meat.flatMap((m) => m.parts.map((p) => p.probe)));
  const loose = view.probes.filter((p) => p.duty === "meat" && !held.has(p.name));
  byId("meat-section").hidden = !loose.length && !view.meat.length && !view.spots.length;
  showPieces();
  rows("meat", loose.map((p) => {
    const [says, doubtful] = probeSays(p), [sign, going] = arrow(p.trend_kelvin_per_hour);
    const goal = p.target_celsius === null ? "" : "to " + temperature(p.target_celsius) + " · ";
    return make("li", {}, make("div", {class: "line"}, make("span", {}, p.name),
      make("span", {class: "value"}, temperature(p.celsius))),
      make("div", {class: "soft"}, goal + sign + " " + going + " " + difference(p.trend_kelvin_per_hour, true) + " " +
        degree() + "/h · ", make("span", doubtful ? {class: "warn"} : {}, says)));
  }));
  rows("spots", view.spots.map((s) => make("li", {}, make("div", {class: "line"},
    make("span", {}, s.where, make("span", {class: "soft"}, "  by hand, " + when(s.time_unix))),
    make("span", {class: "value"}, s.kind === "bread" ? "bread " + s.value + " of 5" : temperature(s.value))))));
}
function showPieces() {
  const list = byId("pieces"), there = new Map([...list.children].map((e) => [e.dataset.name, e]));
  view.meat.forEach((m, i) => {
    let row = there.get(m.name);
    if (!row) {   // rows are kept, so that a thumb on its way to a button does not miss it
      const buttons = PHASES.map((phase) => {
        const forget = phase === "not on yet", word = forget ? "forget" : phase;
        const button = make("button", {"data-phase": phase}, word);
        button.setAttribute("aria-label", m.name + ": " + (forget ? "forget, it was not on after all" : phase));
        button.onclick = () => forget ? twice(button, "forget its clocks?", () => turn(m.name, phase)) : turn(m.name, phase);
        return button;
      });
      row = make("li", {}, make("h3", {}), make("ul", {class: "rows"}), make("div", {}), make("div", {class: "phases"}, ...buttons),
        make("span", {role: "status"}));
      row.dataset.name = m.name;
    }
    there.delete(m.name);
    const [head, parts, says, buttons, status] = row.children;
    head.textContent = m.name + ", " + m.phase + (m.since_unix === null ? "" : " since " + when(m.since_unix));
    const now_of = new Map(view.probes.map((p) => [p.name, p]));
    parts.replaceChildren(...m.parts.map((part) => {
      const probe = now_of.get(part.probe), [heardSays, doubtful] = probe ? probeSays(probe) : ["no such probe", true];
      const shown = probe ? {...part, celsius: probe.celsius} : part;
      const [sign] = arrow(probe ? probe.trend_kelvin_per_hour : null);
      return make("li", {}, make("div", {class: "line"}, make("span", {}, part.name),
        make("span", {class: "value"}, temperature(shown.celsius) + " " + sign)),
        make("div", {class: "soft"}, partSays(shown, m.phase) + " · ", make("span", doubtful ? {class: "warn"} : {}, heardSays)));
    }));
    says.replaceChildren(...pieceSays(m).map(([text, eye]) => make("p", {class: eye ? "warn" : "soft"}, text)));
    buttons.hidden = may !== "act";
    const told = turned.get(m.name);
    for (const button of buttons.children) {
      button.classList.toggle("main", button.dataset.phase === m.phase);
      button.setAttribute("aria-pressed", String(button.dataset.phase === m.phase));
      button.disabled = button.dataset.phase === m.phase || Boolean(told && told.number > 0);
    }
    const text = told ? told.said : "";
    if (status.textContent !== text) status.textContent = text;
    if (list.children[i] !== row) list.insertBefore(row, list.children[i] || null);
  });
  for (const row of there.values()) row.remove();
}
function showProbes() {
  rows("probes", view.probes.filter((p) => p.duty !== "meat").map((p) => {
    const [says, doubtful] = probeSays(p);
    return make("tr", {}, make("th", {scope: "row"}, p.name, make("div", {class: "soft"}, p.level || p.duty)),
      make("td", {class: p.silent ? "value soft" : "value"}, temperature(p.celsius)), make("td", doubtful ? {class: "warn"} : {class: "soft"}, says));
  }));
}
function showMarks() {
  rows("marks", view.marks.length ? view.marks.map((m) => make("li", {}, make("div", {class: "line"},
    make("span", {}, m.what), make("span", {class: "soft"}, clock(m.time_unix))))) : [make("li", {}, "none yet")]);
}

// ---- the chamber from above

const rem = () => parseFloat(getComputedStyle(document.documentElement).fontSize);
function colour(share) {
  const at = Math.min(THERMAL.length - 1, Math.max(0, Math.floor(share * THERMAL.length)));
  return "#" + THERMAL[at];
}
function hatched(id) {
  return draw("pattern", {id, width: 8, height: 8, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)"},
    draw("rect", {width: 8, height: 8, class: "ground"}), draw("line", {x1: 0, y1: 0, x2: 0, y2: 8, class: "hatch"}));
}
function showMap() {
  const place = byId("map"), width = place.clientWidth, line = rem() * 1.3;
  if (!width) return;
  const tall = Math.max(rem() * 11, Math.min(width * 0.7, width * view.width_m / view.length_m * 1.25));
  const top = line, height = tall + 2 * line;
  const picture = draw("svg", {viewBox: `0 0 ${width} ${height}`, height}, draw("defs", {}, hatched("hatch"),
    draw("clipPath", {id: "inside"}, draw("rect", {x: 1, y: top, width: width - 2, height: tall, rx: view.shape === "cylinder" ? rem() : 2}))));
  const cells = draw("g", {"shape-rendering": "crispEdges", "clip-path": "url(#inside)"}), m = view.map;
  if (m) m.mean.forEach((row, r) => row.forEach((c, k) => {
    const w = width / row.length, h = tall / m.mean.length, unknown = m.unknown[r][k] === "1" || c === null;
    const share = (c - m.low_celsius) / Math.max(1, m.high_celsius - m.low_celsius);
    cells.append(draw("rect", {x: k * w, y: top + r * h, width: w + 0.6, height: h + 0.6, fill: unknown ? "url(#hatch)" : colour(share)}));
  }));
  else cells.append(draw("rect", {x: 0, y: top, width, height: tall, fill: "url(#hatch)"}));
  picture.append(cells, draw("rect", {x: 1, y: top, width: width - 2, height: tall, rx: view.shape === "cylinder" ? rem() : 2, class: "edge"}));
  const end = width < 16 * rem() ? "" : " END";   // with large text there is room for a word each
  const ends = view.fire_side === "left" ? ["◀ FIRE" + end, "STACK" + end] : ["STACK" + end, "FIRE" + end + " ▶"];
  picture.append(draw("text", {x: 2, y: top - 6}, ends[0]), draw("text", {x: width - 2, y: top - 6, "text-anchor": "end"}, ends[1]),
    draw("text", {x: width / 2, y: top + tall + line - 4, "text-anchor": "middle"}, "door"));
  const taken = [];
  for (const p of view.probes) {
    if (p.x === null || p.y === null || !m || p.level !== m.level || p.duty !== "chamber") continue;
    const doubtful = p.silent || p.doubt, text = p.silent || p.celsius === null ? "×" : whole(p.celsius) + (doubtful ? "?" : "");
    const half = text.length * rem() * 0.33, x = Math.min(width - half - 3, Math.max(half + 3, p.x * width));
    let y = 0;
    for (const step of [0, 1, -1, 2, -2, 3, -3]) {
      y = Math.min(top + tall - 5, Math.max(top + rem() * 1.1, top + p.y * tall + rem() * 0.35 + step * line));
      if (!taken.some(([a, b, l]) => Math.abs(a - x) < l + half + 2 && Math.abs(b - y) < line * 0.95)) break;
    }
    taken.push([x, y, half]);
    picture.append(draw("text", {x, y, class: "number", "text-anchor": "middle"}, text));
  }
  place.replaceChildren(picture);
  showLegend();
}
function showLegend() {
  const m = view.map, bar = draw("svg", {viewBox: `0 0 ${THERMAL.length} 1`, preserveAspectRatio: "none", "aria-hidden": "true"},
    ...THERMAL.map((c, i) => draw("rect", {x: i, y: 0, width: 1.1, height: 1, fill: "#" + c})));
  const swatch = draw("svg", {viewBox: "0 0 26 16", class: "small", "aria-hidden": "true"},
    draw("defs", {}, hatched("hatch2")), draw("rect", {width: 26, height: 16, fill: "url(#hatch2)"}));
  byId("legend").replaceChildren(...(m ? [make("span", {}, whole(m.low_celsius), bar, temperature(m.high_celsius))] : []),
    make("span", {}, swatch, "not known here"), make("span", {}, "× silent, ? doubtful"));
}

// ---- the last hours

function showTrend() {
  const place = byId("trend"), width = place.clientWidth, height = rem() * 13, left = rem() * 2.6, foot = rem() * 1.4, right = rem() * 1.2;
  if (!width || !view) return;
  const drawn = view.zones.map((z, i) => [z, i]).filter(([z]) => !view.map || z.level === view.map.level);
  const values = trend.flatMap((r) => [r[1], ...drawn.map(([, i]) => r[2 + i])]).filter((v) => v !== null && v !== undefined);
  if (trend.length < 2 || !values.length) { place.replaceChildren(make("p", {class: "soft"}, "Too little yet for a curve.")); return; }
  const low = Math.min(view.low_celsius, ...values) - 3, high = Math.max(view.high_celsius, ...values) + 3;
  const first = trend[0][0], last = Math.max(trend[trend.length - 1][0], first + 600);
  const x = (t) => left + (t - first) / (last - first) * (width - left - right);
  const y = (c) => (height - foot) * (1 - (c - low) / (high - low));
  const picture = draw("svg", {viewBox: `0 0 ${width} ${height}`, height});
  picture.append(draw("rect", {x: left, y: y(view.high_celsius), width: width - left - right, height: y(view.low_celsius) - y(view.high_celsius), class: "band"}));
  const a = converted(low), b = converted(high), step = [10, 20, 25, 50, 100, 200].find((s) => (b - a) / s <= 6) || 500;
  for (let v = Math.ceil(a / step) * step; v <= b; v += step) {
    const at = y(unit === "F" ? (v - 32) / 1.8 : v);
    picture.append(draw("line", {x1: left, x2: width - right, y1: at, y2: at, class: "grid"}));
    if (at > rem() * 0.8) picture.append(draw("text", {x: left - 5, y: at + 5, "text-anchor": "end"}, String(v)));
  }
  const hours = (last - first) / 3600, hop = 3600 * (hours > 4 ? 2 : hours > 1.5 ? 1 : 0.25);
  for (let t = Math.ceil(first / hop) * hop; t <= last; t += hop) {
    if (x(t) < left + rem() || x(t) > width - rem() * 2) continue;
    picture.append(draw("line", {x1: x(t), x2: x(t), y1: 0, y2: height - foot, class: "grid"}),
      draw("text", {x: x(t), y: height - 3, "text-anchor": "middle"}, clock(t)));
  }
  const ends = [];
  function curve(column, attributes, name) {
    let path = "", before = null, end = null;
    for (const r of trend) {
      const v = r[column];
      if (v === null || v === undefined) { before = null; continue; }
      path += (before === null || r[0] - before > 400 ? "M" : "L") + x(r[0]).toFixed(1) + " " + y(v).toFixed(1);
      before = r[0]; end = v;
    }
    picture.append(draw("path", {d: path, ...attributes}));
    if (end !== null && name) ends.push([y(end), name]);
  }
  drawn.forEach(([, i], k) => curve(2 + i, {class: "curve", "stroke-dasharray": DASHES[k % DASHES.length]}, letter(i)));
  curve(1, {class: "curve main"}, "");
  let under = -Infinity;
  for (const [at, name] of ends.sort((p, q) => p[0] - q[0])) {
    under = Math.max(at + 5, under + rem() * 0.95);
    picture.append(draw("text", {x: width - right + 4, y: under}, name));
  }
  place.replaceChildren(picture);
  put("curves", "Thick: the grate. " + drawn.map(([z, i]) => letter(i) + " " + z.name).join(", ") + ". Shaded: the band.");
}

// ---- silence, and waking somebody

function tick() {
  const silent = (Date.now() - wordAt) / 1000, bad = silent > SILENT_SECONDS || refused;
  if (socket && opened && silent > SILENT_SECONDS) drop();
  byId("banner").hidden = !bad;
  document.body.classList.toggle("old", bad && everHeard);
  if (bad) {
    put("banner-says", everHeard ? "NO WORD FOR " + age(silent) : "NO WORD YET");
    put("banner-why", refused ? "The collector does not know this browser any more." :
      everHeard ? "What you see is old. Is the collector running, is the phone in reach of it? Trying again and again." :
        "Trying again and again.");
    byId("banner-login").hidden = !refused;
  }
  if (view) put("facts", facts());
  for (const [key, ask] of asked) if (ask.number > 0 && Date.now() - ask.at > REPLY_SECONDS * 1000) {
    asked.set(key, {number: 0, at: 0, said: "No answer: it may or may not have been done. Try again."});
    if (view) showTroubles();
  }
  for (const [piece, told] of turned) if (told.number > 0 && Date.now() - told.at > REPLY_SECONDS * 1000) {
    turned.set(piece, {number: 0, at: 0, said: "No answer: it may or may not have been done. Look, and try again."});
    if (view) showMeat();
  }
  const urgent = !bad && view && view.troubles.some((t) => t.calls && t.urgent);
  if ((silent > WAKE_SECONDS || urgent) && Date.now() - soundedAt > SOUND_SECONDS * 1000) wake();
}
function wake() {
  if (!audio) return;
  soundedAt = Date.now();
  document.body.dataset.woken = String(Number(document.body.dataset.woken || 0) + 1);
  if (navigator.vibrate) navigator.vibrate([500, 200, 500, 200, 500]);
  audio.resume();
  for (let i = 0; i < 6; i++) beep(audio.currentTime + i * 0.35, i % 2 ? 660 : 990, 0.25, 0.6);
}
function beep(at, hertz, seconds, loud) {
  const tone = audio.createOscillator(), gain = audio.createGain();
  tone.type = "square"; tone.frequency.value = hertz; gain.gain.value = loud;
  tone.connect(gain).connect(audio.destination);
  tone.start(at); tone.stop(at + seconds);
}
async function keepAwake() {   // a phone that sleeps runs no page, and so wakes nobody
  if (!audio || !navigator.wakeLock || document.visibilityState !== "visible") return;
  try { lock = await navigator.wakeLock.request("screen"); } catch { lock = null; }
}
function soundSays() {
  byId("sound").setAttribute("aria-pressed", String(Boolean(audio)));
  put("sound", audio ? "Sound is on: keep this page open" : "Wake me by sound");
}
byId("sound").onclick = async () => {
  if (audio) {
    await audio.close(); audio = null;
    if (lock) { lock.release(); lock = null; }
  } else {
    audio = new AudioContext(); soundedAt = 0;
    beep(audio.currentTime, 880, 0.15, 0.3);
    if (navigator.vibrate) navigator.vibrate(150);
    keepAwake();
  }
  soundSays();
};
byId("acknowledge").onclick = () => { if (wanted !== null) acknowledge(wanted); };
document.addEventListener("visibilitychange", () => { keepAwake(); tick(); });
new ResizeObserver(() => document.documentElement.style.setProperty("--bar", byId("bar").offsetHeight + "px")).observe(byId("bar"));
new ResizeObserver(() => { if (view) { showMap(); showTrend(); } }).observe(byId("map"));
setInterval(tick, 1000);
setInterval(() => { if (view && !document.hidden) { showZones(); showMeat(); showProbes(); } }, 5000);
connect();
