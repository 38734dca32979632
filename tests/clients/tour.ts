// The README's tour, walked by a client in TypeScript that was generated from openapi/openapi.json. .ci/spec
//
// Every request goes through the generated types, so that a document that does not fit is found by `tsc --strict`; every
// answer is asserted, so that a server that does not fit is found by running. Needs a freshly loaded demo.
import assert from "node:assert/strict";
import { randomUUID } from "node:crypto";
import { readFileSync } from "node:fs";
import createClient, { type Middleware } from "openapi-fetch";
import type { components, paths } from "./caselot.js";

type Problem = components["schemas"]["Problem"];
type Standing = components["schemas"]["TroopStanding"];

// What `deploy/demo env` names: address, unit, lists, and what each person signs in with.
function variable(name: string): string {
  const value = process.env[name];
  assert.ok(value, `${name} is not set: source the demo's file of sign-ins`);
  return value;
}

const unit_id = variable("UNIT");
const today = variable("TODAY");
const here = { path: { unit_id } };
const open = createClient<paths>({ baseUrl: variable("API") });

// A client that sends a token, and a new key for safe retries with every change.
function clientWith(token: string) {
  const client = createClient<paths>({ baseUrl: variable("API") });
  const dressed: Middleware = {
    onRequest({ request }) {
      request.headers.set("Authorization", `Bearer ${token}`);
    },
  };
  client.use(dressed);
  return client;
}

async function signIn(who: string) {
  const credentials = JSON.parse(variable(who)) as components["schemas"]["Credentials"];
  const session = right(await open.POST("/v1/sessions", { body: credentials }), 201);
  return clientWith(session.access_token);
}

// What openapi-fetch gives: data or a problem, and the response.
type Answer<T> = { data?: T; error?: unknown; response: Response };

// The answer, which must have succeeded with this status.
function right<T>(answer: Answer<T>, status: number): T {
  assert.equal(answer.response.status, status, JSON.stringify(answer.error));
  assert.ok(answer.data !== undefined, `${answer.response.url}: no body`);
  return answer.data;
}

// The problem, which must have this status and code, and say what to do.
function refused(answer: { error?: Problem; response: Response }, status: number, code: string): Problem {
  assert.ok(answer.error, `${answer.response.url}: ${answer.response.status} where ${status} was meant`);
  assert.equal(answer.response.status, status, JSON.stringify(answer.error));
  assert.equal(answer.error.code, code);
  assert.equal(answer.response.headers.get("content-type"), "application/problem+json");
  assert.ok(answer.error.detail.length > 20 && answer.error.request_id);
  return answer.error;
}

// The one of a list; the list must have one.
function first<T>(list: readonly T[]): T {
  const [one] = list;
  assert.ok(one !== undefined, "the list is empty");
  return one;
}

// The header of a change that must carry a key for safe retries.
const once = () => ({ "Idempotency-Key": randomUUID() });

let manager = await signIn("MANAGER");

// Where does everyone stand?
const standings = right(
  await manager.GET("/v1/units/{unit_id}/standings", { params: { ...here, query: { state: ["lapsed", "ready"] } } }), 200);
assert.deepEqual(new Map(standings.counts.map(({ state, troops }) => [state, troops])), new Map([
  ["sitting_out", 2], ["vacant", 4], ["suspended", 2], ["lapsed", 2], ["appointed", 5], ["ready", 2], ["gathering", 7],
]));
assert.deepEqual(standings.items.map(({ number, state }) => `${number} ${state}`),
  ["121 ready", "126 ready", "133 lapsed", "139 lapsed"]);
const step = standings.items.find(({ number }) => number === "121")?.next_step;
assert.equal(step?.code, "appoint");
assert.deepEqual(step?.who, ["unit_manager"]);
const troops = right(await manager.GET("/v1/units/{unit_id}/troops", { params: { ...here, query: { limit: 200 } } }), 200);
assert.equal(troops.items.length, 24);
const troop_id = first(troops.items.filter(({ number }) => number === "184")).troop_id;

const place = right(await manager.GET("/v1/units/{unit_id}/assignments", { params: { ...here, query: { troop: troop_id } } }), 200);
const { assignment_id, person_id } = first(place.items);
const appoint = (reason: string) => manager.POST("/v1/units/{unit_id}/assignments/{assignment_id}/appoint",
  { params: { path: { unit_id, assignment_id }, header: once() }, body: { reason } });
const early = refused(await appoint("Known for years."), 409, "requirements_open");
assert.deepEqual(early.errors.map(({ code }) => code), ["membership"]);

// A newer list has come.
const file_name = "5-newer-role-list.csv";
const query = { kind: "role_list", file_name, listed_on: today } as const;
let list = right(await manager.POST("/v1/units/{unit_id}/intakes", {
  params: { ...here, query }, headers: { "Content-Type": "text/csv" },
  body: readFileSync(`${variable("LISTS")}/${file_name}`, "utf8"), bodySerializer: (text) => text,
}), 202);
const listPath = { path: { unit_id, intake_id: list.intake_id } };
for (let tries = 0; list.state === "reading" && tries < 120; tries += 1) {
  await new Promise((wake) => setTimeout(wake, 500));
  list = right(await manager.GET("/v1/units/{unit_id}/intakes/{intake_id}", { params: listPath }), 200);
}
assert.equal(list.state, "ready");
assert.equal(list.next_step, "Look at the 3 changes, then apply the list.");
assert.deepEqual([list.counts.rows, list.counts.changes, list.counts.waiting, list.counts.problems], [21, 3, 0, 0]);
assert.equal(list.source?.format, "csv");
const rows = right(await manager.GET("/v1/units/{unit_id}/intakes/{intake_id}/rows", { params: { ...listPath, query: { limit: 200 } } }), 200);
assert.equal(rows.items.length, 21);
assert.equal(rows.items.flatMap(({ changes }) => changes).length, 3);

// Meanwhile, a coordinator reports a step, and sees no other troop.
const dmitri = await signIn("DMITRI");
const mine = first(right(await dmitri.GET("/v1/units/{unit_id}/my-steps", { params: here }), 200).troops);
const reported = right(await dmitri.POST("/v1/units/{unit_id}/my-steps/reports",
  { params: here, body: { troop_id: mine.troop_id, requirement: "yearly_training", done_on: today } }), 201);
assert.deepEqual([reported.outcome, reported.source, reported.observed_on], ["reported", "person", today]);
const one = { params: { path: { unit_id, troop_id } } };
refused(await dmitri.GET("/v1/units/{unit_id}/standings/{troop_id}", one), 404, "not_found");

// The manager applies the list that was looked at, and appoints.
list = right(await manager.GET("/v1/units/{unit_id}/intakes/{intake_id}", { params: listPath }), 200);
const apply = (preview: string) => manager.POST("/v1/units/{unit_id}/intakes/{intake_id}/apply",
  { params: { ...listPath, header: once() }, body: { preview } });
list = right(await apply(list.etag), 200);
assert.equal(list.state, "applied");
const decided = right(await appoint("Membership renewed; everything is in order."), 200);
assert.equal(decided.decision, "appoint");
assert.deepEqual([decided.troop.number, decided.troop.standing.state], ["184", "appointed"]);
assert.deepEqual(decided.troop.standing.reasons.map(({ code }) => code), ["all_in_order"]);

// Something was typed for the wrong person.
const state = async (): Promise<Standing["standing"]["state"]> =>
  right(await manager.GET("/v1/units/{unit_id}/standings/{troop_id}", one), 200).standing.state;
const fact = right(await manager.POST("/v1/units/{unit_id}/evidence",
  { params: here, body: { requirement: "agreement", person_id, outcome: "not_met" } }), 201);
assert.equal(await state(), "lapsed");
const withdrawn = right(await manager.POST("/v1/units/{unit_id}/evidence/{evidence_id}/withdraw",
  { params: { path: { unit_id, evidence_id: fact.evidence_id } } }), 200);
assert.ok(withdrawn.withdrawn_at);
assert.equal(await state(), "appointed");

// The season return, looked at and filed.
const { stamp } = right(await manager.GET("/v1/units/{unit_id}/return-preview", { params: here }), 200);
const file = (again?: boolean) => manager.POST("/v1/units/{unit_id}/returns",
  { params: { ...here, header: once() }, body: again === undefined ? { stamp } : { stamp, again } });
const filed = right(await file(), 201);
assert.equal(filed.number, 1);
assert.match(filed.sha256, /^[0-9a-f]{64}$/);
const returned = { path: { unit_id, return_id: filed.return_id } };
const sheet = right(await manager.GET("/v1/units/{unit_id}/returns/{return_id}/file",
  { params: { ...returned, query: { format: "csv" } }, parseAs: "text" }), 200);
assert.match(String(sheet), /^\ufeff?troop_number,troop_name,state,/);
const paper: unknown = right(await manager.GET("/v1/units/{unit_id}/returns/{return_id}/file",
  { params: { ...returned, query: { format: "pdf", paper: "letter" } }, parseAs: "arrayBuffer" }), 200);
assert.ok(paper instanceof ArrayBuffer && Buffer.from(paper).subarray(0, 5).toString() === "%PDF-");
const sent = right(await manager.POST("/v1/units/{unit_id}/returns/{return_id}/sendings",
  { params: { ...returned, header: once() }, body: { sent_to: "Head office, season desk", way: "mail" } }), 201);
assert.equal(sent.answer, null);
const changes = right(await manager.GET("/v1/units/{unit_id}/returns/{return_id}/changes", { params: returned }), 200);
assert.deepEqual([changes.changes, changes.new_return_owed], [[], false]);
refused(await file(), 409, "nothing_new");

// What needs a person now, and what takes two people.
const overseer = await signIn("OVERSEER");
const needs = right(await overseer.GET("/v1/units/{unit_id}/needs", { params: { ...here, query: { limit: 200 } } }), 200);
assert.ok(needs.total > 0 && needs.items.length === needs.total);
const settles = needs.items.flatMap(({ settle }) => settle).map(({ path }) => /\/waivers\/([^/]+)\/approve$/.exec(path)?.[1]);
const waiver_id = first(settles.filter((id) => id !== undefined));
const waiver = right(await overseer.POST("/v1/units/{unit_id}/waivers/{waiver_id}/approve",
  { params: { path: { unit_id, waiver_id } } }), 200);
assert.deepEqual([waiver.requirement, waiver.state, waiver.needs_two_people], ["yearly_training", "in_force", true]);
const decisions = right(await overseer.GET("/v1/units/{unit_id}/decisions", { params: { ...here, query: { limit: 1 } } }), 200);
assert.equal(first(decisions.items).reason, "Membership renewed; everything is in order.");

// A stricter rule, tried before it is saved.
const season = { path: { unit_id, season_id: standings.season_id } };
const { policy } = right(await manager.GET("/v1/units/{unit_id}/seasons/{season_id}/policy", { params: season }), 200);
for (const requirement of policy.requirements) {
  if (requirement.needed_by === "first_season") requirement.needed_by = "all";
}
const tried = right(await manager.POST("/v1/units/{unit_id}/seasons/{season_id}/policy/preview", { params: season, body: policy }), 200);
assert.equal(tried.needs_confirmation, true);
const stricter = first(tried.changed);
assert.deepEqual([stricter.number, stricter.state_now, stricter.state_then], ["104", "appointed", "lapsed"]);
assert.deepEqual(stricter.opened_requirements, ["first_season_course"]);

// The others.
const viewer = await signIn("VIEWER");
const people = await viewer.GET("/v1/units/{unit_id}/people", { params: here });
assert.match(refused(people, 403, "forbidden").detail, /people\.read/);
const materials = await signIn("MATERIALS");
const known = first(right(await materials.GET("/v1/units/{unit_id}/people", { params: { ...here, query: { limit: 1 } } }), 200).items);
const contact = right(await materials.GET("/v1/units/{unit_id}/people/{person_id}/contact",
  { params: { path: { unit_id, person_id: known.person_id } } }), 200);
assert.match(contact.email ?? "", /@example\.org$/);
const roster = right(await materials.GET("/v1/units/{unit_id}/roster-export",
  { params: { ...here, query: { format: "csv" } }, parseAs: "text" }), 200);
assert.match(String(roster), /email,phone,troop_id/);
const stranger = await signIn("STRANGER");
refused(await stranger.GET("/v1/units/{unit_id}/standings", { params: here }), 404, "not_found");

// Who did what, page by page; and a read that has not changed.
const pages: number[] = [];
let cursor: string | undefined;
do {
  const page = right(await overseer.GET("/v1/units/{unit_id}/log", { params: { ...here, query: { limit: 100, ...(cursor && { cursor }) } } }), 200);
  pages.push(...page.items.map(({ seq }) => seq));
  cursor = page.next_cursor ?? undefined;
} while (cursor);
assert.ok(pages.length > 130);
assert.deepEqual(pages, pages.map((_, place) => place + 1));
const tag = (await manager.GET("/v1/units/{unit_id}/troops", { params: here })).response.headers.get("etag");
assert.ok(tag);
const again = await manager.GET("/v1/units/{unit_id}/troops", { params: { ...here, header: { "If-None-Match": tag } } });
assert.equal(again.response.status, 304);

// A key for a script does what it was given, and no more.
const made = right(await manager.POST("/v1/keys",
  { body: { name: "open list", unit_id, permissions: ["standings.read", "assignments.read"], lasts_days: 1 } }), 201);
const script = clientWith(made.secret);
const line = first(right(await script.GET("/v1/units/{unit_id}/standings", { params: { ...here, query: { troop: "139" } } }), 200).items);
const { standing } = right(await script.GET("/v1/units/{unit_id}/standings/{troop_id}",
  { params: { path: { unit_id, troop_id: line.troop_id } } }), 200);
const asked = [...standing.requirements, ...standing.coordinators.filter(({ counted }) => counted).flatMap(({ requirements }) => requirements)];
assert.deepEqual(asked.filter(({ closed }) => !closed).map(({ title }) => title), ["Background screening on file"]);
refused(await script.POST("/v1/units/{unit_id}/troops", { params: here, body: { number: "999", age_band: "juniors", first_season: false, selling_youths: 8 } }), 403, "forbidden");

// One's own sign-ins; a session that was ended is refused.
manager = await signIn("MANAGER");
const sessions = right(await manager.GET("/v1/me/sessions", { params: { query: { limit: 200 } } }), 200);
assert.equal(sessions.items.filter(({ current }) => current).length, 1);
right(await manager.POST("/v1/sessions/current/end", {}), 200);
refused(await manager.GET("/v1/me", {}), 401, "not_signed_in");
console.log("the tour in TypeScript: every answer as asserted");
