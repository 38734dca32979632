//! Every example of the document, sent to the demo as the reference page would send it: with the demo's ids in the places
//! of ids, in the path and in the body, and otherwise as it stands. What a reader copies must work.

use std::collections::{BTreeMap, BTreeSet};

use serde_json::{Value, json};

/// Who sends it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Who {
    Manager,
    Administrator,
    /// The coordinator of troop 163.
    Coordinator,
}

impl Who {
    /// The name in the file of sign-ins.
    const fn name(self) -> &'static str {
        match self {
            Manager => "MANAGER",
            Administrator => "ADMINISTRATOR",
            Coordinator => "DMITRI",
        }
    }
}

/// Which of the demo's things is meant, where the last one made (or any one) would not do.
#[derive(Clone, Copy, Debug)]
enum Thing {
    /// The troop of this number.
    Troop(&'static str),
    /// The lead of this troop.
    Lead(&'static str),
    /// The lead's assignment to this troop.
    Place(&'static str),
}
use Thing::{Lead, Place, Troop};
use Who::{Administrator, Coordinator, Manager};

/// The things that an operation is sent with, by the names of their places.
type Places = &'static [(&'static str, Thing)];

/// Every change of the document, in an order in which each finds what it needs.
const CHANGES: &[(&str, Who, Places)] = &[
    ("create_unit", Administrator, &[]),
    ("confirm_session", Manager, &[]),
    ("make_key", Manager, &[]),
    ("revoke_key", Manager, &[]),
    ("end_session", Coordinator, &[]),
    ("end_all_sessions", Coordinator, &[]),
    ("make_calendar", Manager, &[]),
    ("end_calendar", Manager, &[]),
    ("make_calendar", Manager, &[]),
    ("make_webhook", Manager, &[]),
    ("change_webhook", Manager, &[]),
    ("rotate_webhook_secret", Manager, &[]),
    ("test_webhook", Manager, &[]),
    ("resend_webhook_delivery", Manager, &[]),
    ("end_webhook", Manager, &[]),
    ("make_webhook", Manager, &[]),
    ("change_email", Coordinator, &[]),
    ("change_password", Coordinator, &[]),
    ("begin_second_factor", Administrator, &[]),
    ("add_person", Manager, &[]),
    ("change_person", Manager, &[]),
    ("change_contact", Manager, &[]),
    ("invite_person", Manager, &[]),
    ("give_role", Manager, &[]),
    ("end_grant", Manager, &[]),
    ("add_troop", Manager, &[]),
    ("remove_troop", Manager, &[]),
    ("add_troop", Manager, &[]),
    ("renumber_troops", Manager, &[]),
    ("change_troop", Manager, &[]),
    ("add_troop_contact", Manager, &[]),
    ("end_troop_contact", Manager, &[]),
    ("name_coordinator", Manager, &[("troop_id", Troop("203"))]),
    ("confirm_assignment", Manager, &[("assignment_id", Place("211"))]),
    ("waive_requirement", Manager, &[("person_id", Lead("190"))]),
    ("record_evidence", Manager, &[("person_id", Lead("190"))]),
    ("withdraw_evidence", Manager, &[]),
    ("record_evidence_about_many", Manager, &[("person_id", Lead("190"))]),
    ("end_waiver", Manager, &[]),
    ("override_gate", Manager, &[("troop_id", Troop("163"))]),
    ("end_override", Manager, &[]),
    ("report_step", Coordinator, &[("troop_id", Troop("163"))]),
    ("appoint_coordinator", Manager, &[("assignment_id", Place("121"))]),
    ("suspend_coordinator", Manager, &[("assignment_id", Place("104"))]),
    ("ask_for_reset", Manager, &[]),
    ("ask_for_sign_in_link", Manager, &[]),
    ("change_mail_settings", Manager, &[]),
    ("change_mail_template", Manager, &[]),
    ("restore_mail_template", Manager, &[]),
    ("preview_message", Manager, &[("troop_id", Troop("190"))]),
    ("write_messages", Manager, &[("troop_id", Troop("163"))]),
    ("mark_message_sent", Manager, &[]),
    ("mark_message_bounced", Manager, &[]),
    ("restore_coordinator", Manager, &[("assignment_id", Place("145"))]),
    ("stand_down_coordinator", Manager, &[("assignment_id", Place("108"))]),
    ("make_lead", Manager, &[("assignment_id", Place("216"))]),
    ("replace_coordinator", Manager, &[("assignment_id", Place("178")), ("person_id", Lead("104"))]),
    ("record_leaving", Manager, &[("person_id", Lead("184"))]),
    ("merge_person", Manager, &[("person_id", Lead("203")), ("into_person_id", Lead("112"))]),
    ("tick_outside_steps", Manager, &[]),
    ("split_troop", Manager, &[("troop_id", Troop("112"))]),
    ("preview_troop_merge", Manager, &[("troop_id", Troop("203")), ("into_troop_id", Troop("112"))]),
    ("merge_troops", Manager, &[("troop_id", Troop("203")), ("into_troop_id", Troop("112"))]),
    ("rejoin_troop", Manager, &[("troop_id", Troop("222"))]),
    ("sit_out_troop", Manager, &[("troop_id", Troop("133"))]),
    ("upload_list", Manager, &[]),
    ("choose_columns", Manager, &[]),
    ("resolve_intake_row", Manager, &[]),
    ("apply_intake", Manager, &[]),
    ("reverse_intake", Manager, &[]),
    ("upload_list", Manager, &[]),
    ("discard_intake", Manager, &[]),
    ("file_return", Manager, &[]),
    ("mark_return_sent", Manager, &[]),
    ("note_return_answer", Manager, &[]),
    ("create_season", Manager, &[]),
    ("change_season", Manager, &[]),
    ("date_milestones", Manager, &[]),
    ("add_milestone", Manager, &[]),
    ("change_milestone", Manager, &[]),
    ("remove_milestone", Manager, &[]),
    ("preview_policy", Manager, &[]),
    ("change_policy", Manager, &[]),
    ("copy_policy", Manager, &[]),
];

/// What no example can do, since only its owner has the secret or the demo has no such thing: the answer that says so, and
/// that the request itself was understood.
const REFUSED: &[(&str, Who, u16, &str)] = &[
    ("accept_invitation", Manager, 401, "the link's secret is nobody's"),
    ("join_unit", Manager, 401, "the link's secret is nobody's"),
    ("accept_reset", Manager, 401, "the link's secret is nobody's"),
    ("accept_sign_in_link", Manager, 401, "the link's secret is nobody's"),
    ("confirm_second_factor", Administrator, 403, "the code of an example is not the one that an app shows now"),
    ("renew_recovery_codes", Manager, 409, "nobody of the demo has a second factor"),
    ("remove_second_factor", Manager, 409, "nobody of the demo has a second factor"),
    ("accept_email", Manager, 401, "the link's secret is nobody's"),
    ("sign_in", Manager, 401, "the demo's passwords are made anew each time"),
    ("refresh_session", Manager, 401, "the token is nobody's"),
    ("send_message", Manager, 409, "the demo's last message was sent above"),
    ("discard_message", Manager, 409, "the demo's last message was sent above"),
    ("decline_waiver", Manager, 403, "the second person is an overseer, whom nobody here signed in"),
    ("decline_override", Manager, 403, "the second person is an overseer, whom nobody here signed in"),
    ("approve_waiver", Manager, 403, "the second person is an overseer, whom nobody here signed in"),
    ("approve_override", Manager, 403, "the second person is an overseer, whom nobody here signed in"),
    ("resume_webhook", Manager, 409, "no webhook of the demo has stopped"),
    ("take_decisions", Manager, 409, "the stamp of an example is of no preview"),
    ("resolve_rows_by_reason", Manager, 409, "no list of the demo is under way by now"),
    ("choose_sheet", Manager, 409, "no list of the demo is a workbook with several sheets"),
    ("erase_person", Manager, 409, "whoever still has a place in the unit leaves first"),
    ("decline_assignment", Manager, 409, "the one proposal of the demo was confirmed above"),
];

/// The demo, with who is signed in and what was made last.
pub struct Demo {
    http: reqwest::Client,
    address: String,
    document: Value,
    tokens: BTreeMap<&'static str, String>,
    passwords: BTreeMap<&'static str, Value>,
    ids: BTreeMap<String, String>,
    today: String,
}

impl Demo {
    /// Signs everybody in that is needed. `sign_ins` is the file that the demo's loader wrote.
    pub async fn open(sign_ins: &str) -> Self {
        let value = |name: &str| {
            let line = sign_ins.lines().find_map(|line| line.strip_prefix(&format!("{name}="))).expect("a value");
            line.trim_matches('\'').to_owned()
        };
        let (http, address) = (reqwest::Client::new(), value("API"));
        let document = http.get(format!("{address}/openapi.json")).send().await.expect("an answer");
        let document = document.json().await.expect("the document");
        let ids = BTreeMap::from([
            ("unit_id".to_owned(), value("UNIT")),
            ("row_number".to_owned(), "1".to_owned()),
            ("duty".to_owned(), "treasurer".to_owned()),
            ("code".to_owned(), "not_found".to_owned()),
        ]);
        let today = value("TODAY");
        let mut demo =
            Self { http, address, document, tokens: BTreeMap::new(), passwords: BTreeMap::new(), ids, today };
        // The coordinator twice: one of the two sessions is there to be ended.
        for name in ["DMITRI", "MANAGER", "ADMINISTRATOR", "DMITRI"] {
            let session = json_of(demo.http.post(format!("{}/v1/sessions", demo.address)).body(value(name))).await;
            let token = session["access_token"].as_str().expect("a token").to_owned();
            let body: Value = serde_json::from_str(&value(name)).expect("an address and a password");
            demo.passwords.insert(name, body["password"].clone());
            if demo.tokens.insert(name, token).is_none() && name == "DMITRI" {
                demo.note(&session);
            }
        }
        let season = demo.get("/standings?limit=1").await["season_id"].as_str().expect("a season").to_owned();
        let milestones = demo.get(&format!("/seasons/{season}/milestones")).await;
        demo.note(&milestones["items"][0]);
        demo.ids.insert("season_id".to_owned(), season);
        demo
    }

    fn token(&self, who: Who) -> &str {
        &self.tokens[who.name()]
    }

    /// Reads something of the unit, as its manager.
    async fn get(&self, path: &str) -> Value {
        let address = format!("{}/v1/units/{}{path}", self.address, self.ids["unit_id"]);
        json_of(self.http.get(address).bearer_auth(self.token(Manager))).await
    }

    /// Remembers the ids of what was made.
    fn note(&mut self, made: &Value) {
        for (name, value) in made.as_object().into_iter().flatten() {
            match value.as_str() {
                Some(stamp) if name == "stamp" => {
                    self.ids.insert(name.clone(), stamp.to_owned());
                }
                Some(id) if name.ends_with("_id") && name != "unit_id" && name != "season_id" => {
                    self.ids.insert(name.clone(), id.to_owned());
                }
                _ => self.note(value),
            }
        }
    }

    async fn find(&self, thing: Thing) -> String {
        let (Troop(number) | Lead(number) | Place(number)) = thing;
        let page = self.get(&format!("/standings?troop={number}")).await;
        let troop = page["items"][0]["troop_id"].as_str().expect("the troop").to_owned();
        let key = match thing {
            Troop(_) => return troop,
            Lead(_) => "person_id",
            Place(_) => "assignment_id",
        };
        let held = self.get(&format!("/assignments?troop={troop}")).await;
        held["items"][0][key].as_str().unwrap_or_else(|| panic!("{number} has no {key}: {held}")).to_owned()
    }

    /// Each operation with its method and path.
    fn operations(&self) -> Vec<(String, String, Value)> {
        let paths = self.document["paths"].as_object().expect("paths");
        let of = |(path, methods): (&String, &Value)| {
            let methods = methods.as_object().expect("methods").clone();
            methods.into_iter().map(|(method, operation)| (path.clone(), method, operation)).collect::<Vec<_>>()
        };
        paths.into_iter().flat_map(of).collect()
    }

    /// Sends one operation's example; gives the status and the answer.
    async fn send(&mut self, id: &str, who: Who, things: &[(&str, Thing)]) -> (u16, Value) {
        let (path, method, operation) =
            self.operations().into_iter().find(|one| one.2["operationId"] == *id).expect(id);
        let mut ids = self.ids.clone();
        for (name, thing) in things {
            ids.insert((*name).to_owned(), self.find(*thing).await);
        }
        let path = ids.iter().fold(path, |path, (name, value)| path.replace(&format!("{{{name}}}"), value));
        if path.contains('{') {
            return (0, Value::String(format!("nothing stands for a place in {path}")));
        }
        let address = format!("{}{path}{}", self.address, self.query(&operation));
        let verb = reqwest::Method::from_bytes(method.to_uppercase().as_bytes()).expect("a method");
        let mut request = self.http.request(verb, &address).bearer_auth(self.token(who));
        if method == "post" {
            request = request.header("Idempotency-Key", uuid::Uuid::now_v7().to_string());
        }
        let asked = operation["parameters"].as_array().into_iter().flatten().any(|one| one["name"] == "If-Match");
        if asked {
            let thing = if method == "post" { path.rsplit_once('/').expect("an act on a thing").0 } else { &path };
            request = request.header("If-Match", self.etag_of(thing, who).await);
        }
        request = self.with_body(request, &path, &operation, &ids, who).await;
        let response = request.send().await.expect("an answer");
        let (status, text) = (response.status().as_u16(), response.text().await.expect("a body"));
        (status, serde_json::from_str(&text).unwrap_or(Value::String(text)))
    }

    /// The version of a thing: its own read says it, or its line in the list that it stands in.
    async fn etag_of(&self, path: &str, who: Who) -> String {
        let read = |path: &str| self.http.get(format!("{}{path}", self.address)).bearer_auth(self.token(who)).send();
        let own: Value = read(path).await.expect("an answer").json().await.expect("JSON");
        if let Some(etag) = own["etag"].as_str() {
            return etag.to_owned();
        }
        // A list whose lines are changed by what the body names: in the demo all of them are as they were shipped.
        if let Some(etag) = own["items"][0]["etag"].as_str().filter(|_| path.ends_with("/mail-templates")) {
            return etag.to_owned();
        }
        let (list, id) = path.rsplit_once('/').expect("a path");
        let list: Value = read(list).await.expect("an answer").json().await.expect("JSON");
        let items = list["items"].as_array().expect("items");
        let line = items.iter().find(|item| item.as_object().is_some_and(|item| item.values().any(|held| held == id)));
        line.expect("the thing in its list")["etag"].as_str().expect("its version").to_owned()
    }

    async fn with_body(
        &self,
        request: reqwest::RequestBuilder,
        path: &str,
        operation: &Value,
        ids: &BTreeMap<String, String>,
        who: Who,
    ) -> reqwest::RequestBuilder {
        let content = &operation["requestBody"]["content"];
        if let Some(file) = content["application/octet-stream"]["example"].as_str() {
            return request.header("Content-Type", "application/octet-stream").body(file.to_owned());
        }
        let Some(name) = content["application/json"]["schema"]["$ref"].as_str() else { return request };
        let name = name.rsplit('/').next().unwrap_or_default();
        let mut body = self.document["components"]["schemas"][name]["example"].clone();
        place(&mut body, ids);
        self.redate(&mut body);
        // The demo's passwords are made anew each time: whoever is asked for the own one gives it.
        for (id, key) in [
            ("change_password", "current_password"),
            ("change_email", "password"),
            ("confirm_session", "password"),
            ("begin_second_factor", "password"),
        ] {
            if operation["operationId"] == id {
                body[key] = self.passwords[who.name()].clone();
            }
        }
        if body.get("stamp").is_some() {
            body["stamp"] = self.get("/return-preview").await["stamp"].clone();
        }
        if body.pointer("/steps/0/event_id").is_some() {
            let due = self.get("/outside-steps?done=false&limit=200").await;
            let mut due = due["items"].as_array().expect("steps").iter();
            let event = due.find(|step| step["step"] == body["steps"][0]["step"]).expect("a step that is due");
            body["steps"][0]["event_id"] = event["event_id"].clone();
        }
        if body.get("preview").is_some() {
            let list = path.trim_end_matches("/apply").trim_end_matches("/resolve-by-reason");
            let read = self.http.get(format!("{}{list}", self.address)).bearer_auth(self.token(Manager));
            body["preview"] = json_of(read).await["etag"].clone();
        }
        request.json(&body)
    }

    /// Dates of an example stand near a season of the year in which it was written; the demo's season is this year's.
    fn redate(&self, value: &mut Value) {
        let today: chrono::NaiveDate = self.today.parse().expect("a day");
        let in_days = |days: u64| json!(today + chrono::Days::new(days));
        match value {
            Value::Object(map) => {
                for (key, inner) in map.iter_mut() {
                    match &**key {
                        "on_day" => *inner = in_days(20),
                        "starts_on" => *inner = in_days(300),
                        "ends_on" => *inner = in_days(500),
                        _ => self.redate(inner),
                    }
                }
            }
            Value::Array(items) => items.iter_mut().for_each(|item| self.redate(item)),
            _ => {}
        }
    }

    /// What a query must have, by its own example or first choice; days of lists are today's.
    fn query(&self, operation: &Value) -> String {
        let needed = operation["parameters"].as_array().into_iter().flatten();
        let needed =
            needed.filter(|one| one["in"] == "query" && (one["required"] == true || one["name"] == "wait_seconds"));
        let pairs = needed.map(|one| {
            let name = one["name"].as_str().expect("a name");
            let schema = one["schema"]["$ref"]
                .as_str()
                .map_or(&one["schema"], |path| self.document.pointer(path.trim_start_matches('#')).expect("a schema"));
            let sample = [&one["example"], &schema["example"], &schema["enum"][0]];
            let sample = sample.into_iter().find_map(Value::as_str).unwrap_or_default();
            let sample = match name {
                "listed_on" => &*self.today,
                // A stream is asked for what is there, so that its answer ends.
                "wait_seconds" => "0",
                // What the preview that was sent before it gave.
                "confirm_stamp" => self.ids.get("stamp").map_or(sample, String::as_str),
                // The example of an uploaded file is a list of bank details.
                "kind" => "bank_details",
                _ => sample,
            };
            format!("{name}={sample}")
        });
        let pairs: Vec<String> = pairs.collect();
        if pairs.is_empty() { String::new() } else { format!("?{}", pairs.join("&")) }
    }

    /// The row of an uploaded list, once it is read.
    async fn await_list(&mut self) {
        let list = format!("/intakes/{}", self.ids["intake_id"]);
        while self.get(&list).await["state"] == "reading" {
            tokio::time::sleep(std::time::Duration::from_millis(20)).await;
        }
        let rows = self.get(&format!("{list}/rows")).await;
        self.ids.insert("row_number".to_owned(), rows["items"][0]["row_number"].to_string());
    }
}

/// Puts the demo's ids into the places of ids.
fn place(value: &mut Value, ids: &BTreeMap<String, String>) {
    match value {
        Value::Object(map) => {
            for (key, inner) in map.iter_mut() {
                match ids.get(key).filter(|_| key.ends_with("_id") && inner.is_string()) {
                    Some(id) => *inner = json!(id),
                    None => place(inner, ids),
                }
            }
        }
        Value::Array(items) => items.iter_mut().for_each(|item| place(item, ids)),
        _ => {}
    }
}

async fn json_of(request: reqwest::RequestBuilder) -> Value {
    let response = request.header("Content-Type", "application/json").send().await.expect("an answer");
    let (status, text) = (response.status(), response.text().await.expect("a body"));
    assert!(status.is_success(), "{status}: {text}");
    serde_json::from_str(&text).expect("JSON")
}

/// Sends all of them.
pub async fn every_example_works(sign_ins: &str) {
    let mut demo = Demo::open(sign_ins).await;
    let mut faults = Vec::new();
    let mut sent = BTreeSet::new();
    for (id, who, things) in CHANGES {
        sent.insert((*id).to_owned());
        let (status, answer) = demo.send(id, *who, things).await;
        if !(200..300).contains(&status) {
            faults.push(format!("{id}: {status} {answer}"));
        }
        // The other unit that was made is not the one that we work in.
        if *id != "create_unit" {
            demo.note(&answer);
        }
        if *id == "create_season" {
            demo.ids.insert("from_season_id".to_owned(), answer["season_id"].as_str().unwrap_or_default().to_owned());
        }
        if let Some(address) = answer["address"].as_str().filter(|_| *id == "make_calendar") {
            let secret = address.rsplit('/').next().unwrap_or_default();
            demo.ids.insert("secret".to_owned(), secret.to_owned());
        }
        if *id == "upload_list" {
            demo.await_list().await;
        }
    }
    for (id, who, wanted, why) in REFUSED {
        sent.insert((*id).to_owned());
        let (status, answer) = demo.send(id, *who, &[]).await;
        if status != *wanted {
            faults.push(format!("{id}: {status} where {wanted} was meant ({why}): {answer}"));
        }
    }
    for (_, method, operation) in demo.operations() {
        let id = operation["operationId"].as_str().expect("an id").to_owned();
        if method != "get" || sent.contains(&id) {
            continue;
        }
        sent.insert(id.clone());
        let who = if id == "list_my_steps" { Coordinator } else { Manager };
        let things: &[(&str, Thing)] =
            &[("troop_id", Troop("104")), ("person_id", Lead("104")), ("assignment_id", Place("104"))];
        let (status, answer) = demo.send(&id, who, things).await;
        if status != 200 {
            faults.push(format!("{id}: {status} {answer}"));
        }
    }
    // The last of all, since nobody is signed in after it.
    sent.insert("sign_out".to_owned());
    let (status, answer) = demo.send("sign_out", Coordinator, &[]).await;
    if status != 200 {
        faults.push(format!("sign_out: {status} {answer}"));
    }
    let all: BTreeSet<String> =
        demo.operations().into_iter().filter_map(|one| Some(one.2["operationId"].as_str()?.to_owned())).collect();
    let unsent: Vec<&String> = all.difference(&sent).collect();
    assert!(unsent.is_empty(), "say in tests/start/examples.rs when these are sent: {unsent:?}");
    assert!(faults.is_empty(), "{} examples do not work in the demo:\n{}", faults.len(), faults.join("\n"));
}
