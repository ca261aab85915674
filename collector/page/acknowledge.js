"use strict";

// What stands behind # reached no server. It is taken out of the address bar at once, so that it is neither in the
// history nor in a picture of the screen, and lives in this variable alone.
let token = "";
let wants = false;
let asking = 0;
const SECONDS = 12;
const at = (id) => document.getElementById(id);

function say(text, kind) {
  at("says").textContent = text;
  at("says").className = kind || "";
}

function offer(words) {
  at("bar").hidden = !words;
  at("tap").disabled = false;
  at("tap").textContent = words;
}

function show(told) {
  at("pit").textContent = told.pit;
  at("title").textContent = told.title || "Acknowledge";
  document.title = "coldside: " + (told.title || "acknowledge");
  say(told.text, told.state === "failed" ? "warn" : "");
  document.body.dataset.state = told.state;
  offer(told.state === "open" || told.state === "failed" ? "Acknowledge" : "");
  if (told.state === "done") navigator.vibrate?.(80);
}

// Ask what the link stands for, or acknowledge it. An answer to an earlier question is not shown any more.
async function ask(act) {
  const mine = ++asking;
  wants = act;
  at("tap").disabled = true;
  const end = new AbortController();
  const clock = setTimeout(() => end.abort(), 1000 * SECONDS);
  try {
    const answer = await fetch("/acknowledge", {
      method: "POST", body: JSON.stringify({token, act}), headers: {"Content-Type": "application/json"},
      cache: "no-store", credentials: "omit", redirect: "error", signal: end.signal,
    });
    const text = await answer.text();
    if (mine !== asking) return;
    if (answer.ok) return show(JSON.parse(text));
    document.body.dataset.state = "refused";
    say("NOT acknowledged. " + text.trim(), "warn");
    offer(answer.status === 429 || answer.status >= 500 ? "Try again" : "");
  } catch {
    if (mine !== asking) return;
    document.body.dataset.state = "away";
    say(act
      ? "The pit did not answer, so it is not known whether this was acknowledged. Is this phone in the house's network or VPN?"
      : "The pit does not answer. Is this phone in the house's network or VPN? NOT acknowledged.", "warn");
    offer("Try again");
  } finally {
    clearTimeout(clock);
  }
}

function begin() {
  const found = location.hash.slice(1);
  history.replaceState(null, "", location.pathname);
  if (found) token = found;
  if (token) return ask(false);
  document.body.dataset.state = "empty";
  say("The link is used up in this window, or it was cut. Open it again from the message, or acknowledge on the phone page.", "warn");
}

at("tap").addEventListener("click", () => ask(document.body.dataset.state === "open" || wants || document.body.dataset.state === "failed"));
addEventListener("hashchange", () => { if (location.hash.length > 1) begin(); });
begin();
