// The forms of the plain pages: each sends one operation of the API and shows what came back, in the server's own words.
const secret = decodeURIComponent(location.hash.slice(1));
const one = (selector, within = document) => within.querySelector(selector);
const all = (selector) => document.querySelectorAll(selector);
const [fault, done] = [one("[data-fault]"), one("[data-done]")];

const tell = (place, text) => {
  fault.hidden = place !== fault;
  done.hidden = place !== done;
  if (text) place.textContent = text;
  place.tabIndex = -1;
  place.focus();
};

const ask = async (method, path, body, token) => {
  const headers = body ? { "Content-Type": "application/json" } : {};
  if (token) headers.Authorization = `Bearer ${token}`;
  if (token && body) headers["Idempotency-Key"] = crypto.randomUUID();
  const answer = await fetch(path, { method, headers, cache: "no-store", ...(body && { body: JSON.stringify(body) }) });
  const value = await answer.json().catch(() => ({}));
  if (answer.ok) return value;
  const details = (value.errors ?? []).map((fault) => fault.detail).filter(Boolean);
  throw Object.assign(new Error([value.detail ?? "The server did not answer as expected. Try again in a minute.", ...details].join(" ")), { code: value.code, status: answer.status });
};
const send = (path, body, token) => ask("POST", path, body, token);

// Nobody stays signed in by these pages: the phone may be a borrowed one.
const leave = (token) => send("/v1/sessions/current/end", {}, token).catch(() => {});

// The steps of whoever is signed in. What is shown is text and never markup, whatever it holds.
const made = (name, text, ...children) => {
  const element = document.createElement(name);
  if (text) element.textContent = text;
  element.append(...children);
  return element;
};
const SAID = { met: "done", waived: "let go for a time", covered: "another one counts", reported: "reported by you, not confirmed yet" };
let session = null;

const fresh = async () => {
  if (Date.now() > session.until) open(await send("/v1/sessions/refresh", { refresh_token: session.refresh_token }));
  return session.access_token;
};
const open = (answer) => {
  session = { ...answer, until: Date.now() + 8 * 60 * 1000 };
};

const report = (unit, troop, step) => {
  const form = made("form");
  const on = Object.assign(made("input"), { type: "date", name: "done_on", id: `on-${troop.troop_id}-${step.requirement}` });
  form.append(Object.assign(made("label", "Done on (leave it empty for today)"), { htmlFor: on.id }), on, made("button", "Tell the unit that it is done"));
  form.addEventListener("submit", (event) => working(event, async () => {
    const said = { troop_id: troop.troop_id, requirement: step.requirement, ...(on.value && { done_on: on.value }) };
    await send(`/v1/units/${unit.unit_id}/my-steps/reports`, said, await fresh());
    await steps();
    tell(done, `"${step.title}" is reported. It counts once it is confirmed.`);
  }));
  return made("details", "", made("summary", `I have done this: ${step.title}`), form);
};

// A day counts to its end: midnight is said as the day that ends.
const day = (instant) => {
  const at = new Date(instant);
  const ends = at.getHours() === 0 && at.getMinutes() === 0;
  return ends ? new Date(at - 1).toLocaleDateString([], { dateStyle: "full" }) : at.toLocaleString([], { dateStyle: "full", timeStyle: "short" });
};

const troopShown = (unit, troop) => {
  const part = made("section", "", made("h2", `Troop ${troop.number}${troop.name ? ` · ${troop.name}` : ""}`));
  const next = troop.next_step;
  const yours = next?.who.includes("coordinator");
  part.append(made("p", !next ? "Nothing is to be done now. Thank you." : yours ? `Next: ${next.sentence}` : `You have nothing to do now. Next, for others: ${next.sentence}`));
  if (next?.by) part.append(made("p", `By: ${day(next.by.at)} (${next.by.title})`));
  const rows = made("ul");
  for (const step of troop.steps) {
    const row = made("li", `${step.title}: ${SAID[step.outcome] ?? "open"}${step.closed || !step.how ? "" : `. ${step.how}`}`);
    if (!step.closed && step.can_be_done_now && step.outcome !== "reported" && step.kind !== "screening") row.append(report(unit, troop, step));
    rows.append(row);
  }
  part.append(rows);
  return part;
};

const steps = async () => {
  const place = one("[data-steps]");
  const { units } = await ask("GET", "/v1/me", null, await fresh());
  const parts = [];
  for (const unit of units) {
    // Whoever coordinates no troop there has no steps there.
    const own = await ask("GET", `/v1/units/${unit.unit_id}/my-steps`, null, await fresh()).catch((problem) => {
      if (![403, 404, 409].includes(problem.status)) throw problem;
      return { troops: [] };
    });
    parts.push(...own.troops.map((troop) => troopShown(unit, troop)));
  }
  const out = made("button", "Sign out");
  out.addEventListener("click", async () => {
    await leave(session.access_token);
    session = null;
    place.replaceChildren();
    tell(done, "You are signed out. You can close this page.");
  });
  one("h1").textContent = "My steps";
  document.title = "My steps · Caselot";
  place.replaceChildren(...(parts.length ? parts : [made("p", "You coordinate no troop now, so there are no steps for you here.")]), made("p", "Who helps: answer the message that brought you here, or ask your unit manager."), out);
  place.hidden = false;
};

const act = async (form) => {
  const { email, password, code, my_other_address } = form.elements;
  const typed = code?.value.trim() ? { code: code.value.trim() } : {};
  if ("asks" in form.dataset) return (await send(form.dataset.send, { email: email.value.trim() })).in_words;
  if ("opens" in form.dataset) {
    const by = "link" in form.dataset ? { token: secret } : { email: email.value.trim(), password: password.value };
    open(await send(form.dataset.send, { ...by, ...typed }));
    return steps();
  }
  if (!("signIn" in form.dataset)) {
    const answer = await send(form.dataset.send, { token: secret, ...(password && { password: password.value }), ...typed });
    return answer.access_token && leave(answer.access_token);
  }
  const other = await send("/v1/sessions", { email: email.value.trim(), password: password.value, ...typed });
  try {
    await send(form.dataset.send, { token: secret, my_other_address: my_other_address.checked }, other.access_token);
  } finally {
    await leave(other.access_token);
  }
};

const working = async (event, work) => {
  event.preventDefault();
  const button = one("button", event.target);
  button.disabled = true;
  try {
    await work(event.target);
  } catch (problem) {
    tell(fault, problem instanceof TypeError ? "The server could not be reached. Look at your connection and try again; nothing was lost." : problem.message);
  } finally {
    button.disabled = false;
  }
};

const submitted = (event) => working(event, async (form) => {
  let words;
  try {
    words = await act(form);
  } catch (problem) {
    if (problem.code === "email_taken") one("[data-existing]").open = true;
    if (problem.code === "second_factor_needed") {
      one("[data-code]", form).hidden = false;
      problem.message = "This account has a second factor: give its code below too, and send it again.";
    }
    if (problem.code === "another_address") {
      one("[data-other]", form).hidden = false;
      problem.message = "This invitation was sent to another address than that of this account. If both are yours, say so below and send it again. If it is for somebody else, leave it to them.";
    }
    throw problem;
  }
  if ("asks" in form.dataset) return tell(done, words);
  // The link is used up: it leaves the address, and the forms the page.
  history.replaceState(null, "", location.pathname);
  for (const old of all("main > form, main > details")) old.remove();
  if (!("opens" in form.dataset)) return tell(done);
  fault.hidden = true;
  one("h1").tabIndex = -1;
  one("h1").focus();
});

for (const form of document.forms) {
  form.addEventListener("submit", submitted);
  one("[data-show]", form)?.addEventListener("change", (event) => {
    form.elements.password.type = event.target.checked ? "text" : "password";
  });
}
if ("withoutLink" in one("main").dataset) {
  for (const part of all(secret ? "[data-link]" : "[data-typed]")) part.hidden = false;
} else if (!secret) {
  for (const useless of all("form, details")) useless.remove();
  tell(fault, "This address is not complete. Open the link itself, or copy all of it, up to its very end.");
}
