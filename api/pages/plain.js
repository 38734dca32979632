// The forms of the plain pages: each sends one operation of the API and shows what came back, in the server's own words.
const secret = decodeURIComponent(location.hash.slice(1));
const [fault, done] = [document.querySelector("[data-fault]"), document.querySelector("[data-done]")];

const tell = (place, text) => {
  fault.hidden = place !== fault;
  done.hidden = place !== done;
  if (text) place.textContent = text;
  place.tabIndex = -1;
  place.focus();
};

const send = async (path, body, token) => {
  const headers = { "Content-Type": "application/json" };
  if (token) Object.assign(headers, { Authorization: `Bearer ${token}`, "Idempotency-Key": crypto.randomUUID() });
  const answer = await fetch(path, { method: "POST", headers, body: JSON.stringify(body) });
  const value = await answer.json().catch(() => ({}));
  if (answer.ok) return value;
  const details = (value.errors ?? []).map((one) => one.detail).filter(Boolean);
  throw Object.assign(new Error([value.detail ?? "The server did not answer as expected. Try again in a minute.", ...details].join(" ")), { code: value.code });
};

// Nobody stays signed in by these pages: the phone may be a borrowed one.
const leave = (token) => send("/v1/sessions/current/end", {}, token).catch(() => {});

const act = async (form) => {
  const { email, password, code, my_other_address } = form.elements;
  const typed = code?.value.trim() ? { code: code.value.trim() } : {};
  if (!("signIn" in form.dataset)) {
    const done = await send(form.dataset.send, { token: secret, ...(password && { password: password.value }), ...typed });
    return done.access_token && leave(done.access_token);
  }
  const session = await send("/v1/sessions", { email: email.value.trim(), password: password.value, ...typed });
  try {
    await send(form.dataset.send, { token: secret, my_other_address: my_other_address.checked }, session.access_token);
  } finally {
    await leave(session.access_token);
  }
};

const submitted = async (event) => {
  event.preventDefault();
  const form = event.target;
  const button = form.querySelector("button");
  button.disabled = true;
  try {
    await act(form);
    // The link is used up: it leaves the address, and the forms the page.
    history.replaceState(null, "", location.pathname);
    for (const old of document.querySelectorAll("form, details")) old.remove();
    tell(done);
  } catch (problem) {
    if (problem.code === "email_taken") document.querySelector("[data-existing]").open = true;
    if (problem.code === "second_factor_needed") {
      form.querySelector("[data-code]").hidden = false;
      problem.message = "This account has a second factor: give its code below too, and send it again.";
    }
    if (problem.code === "another_address") {
      form.querySelector("[data-other]").hidden = false;
      problem.message = "This invitation was sent to another address than that of this account. If both are yours, say so below and send it again. If it is for somebody else, leave it to them.";
    }
    tell(fault, problem instanceof TypeError ? "The server could not be reached. Look at your connection and try again; nothing was lost." : problem.message);
  } finally {
    button.disabled = false;
  }
};

for (const form of document.forms) {
  form.addEventListener("submit", submitted);
  form.querySelector("[data-show]")?.addEventListener("change", (event) => {
    form.elements.password.type = event.target.checked ? "text" : "password";
  });
}
if (!secret) {
  for (const useless of document.querySelectorAll("form, details")) useless.remove();
  tell(fault, "This address is not complete. Open the link itself, or copy all of it, up to its very end.");
}
