//! The demo, loaded into a real server, ends where people said by hand that it must end.

use std::collections::BTreeMap;
use std::path::Path;
use std::process::{Command, Output};
use std::time::Duration;

use serde_json::Value;

use crate::serve::Server;
use crate::support::said;

/// State by troop, as typed by hand.
fn typed(file: &str) -> BTreeMap<String, String> {
    let fields = |line: &str| {
        let mut fields = line.split(',').map(str::to_owned);
        (fields.next().expect("a troop"), fields.next().expect("a state"))
    };
    file.lines().skip(1).map(fields).collect()
}

fn load(server: &Server) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_seed-demo"));
    command.args(["--address", &server.address(), "--program", env!("CARGO_BIN_EXE_caselot"), "--sign-ins"]);
    server.settings(&mut command).arg(server.data.join("sign-ins")).output().expect("seed-demo runs")
}

/// A small client: what the sign-in file says, a token, JSON.
struct Manager {
    http: reqwest::Client,
    unit: String,
    token: String,
}

impl Manager {
    async fn sign_in(server: &Server) -> Self {
        let file = std::fs::read_to_string(server.data.join("sign-ins.env")).expect("the sign-ins");
        let value = |name: &str| {
            let line = file.lines().find_map(|line| line.strip_prefix(&format!("{name}="))).expect("a value");
            line.trim_matches('\'').to_owned()
        };
        let http = reqwest::Client::new();
        let session = http.post(format!("{}/v1/sessions", value("API"))).header("Content-Type", "application/json");
        let session: Value = answer(session.body(value("MANAGER"))).await;
        let token = session["access_token"].as_str().expect("a token").to_owned();
        Self { http, unit: format!("{}/v1/units/{}", value("API"), value("UNIT")), token }
    }

    async fn get(&self, path: &str) -> Value {
        answer(self.http.get(format!("{}{path}", self.unit)).bearer_auth(&self.token)).await
    }

    async fn standings(&self) -> BTreeMap<String, String> {
        let page = self.get("/standings?limit=200").await;
        let items = page["items"].as_array().expect("items").clone();
        let text = |item: &Value, name: &str| item[name].as_str().expect("a text").to_owned();
        items.iter().map(|item| (text(item, "number"), text(item, "state"))).collect()
    }

    /// The demo's day, where the unit is.
    async fn today(&self) -> String {
        let stands_at = self.get("/standings?limit=1").await["stands_at"].as_str().expect("an instant").to_owned();
        let instant: chrono::DateTime<chrono::Utc> = stands_at.parse().expect("RFC 3339");
        instant.with_timezone(&chrono_tz::America::Chicago).date_naive().to_string()
    }

    /// Uploads a list that the demo laid out, and applies it; gives the counts of its preview.
    async fn apply(&self, list: &Path, listed_on: &str) -> Value {
        let name = list.file_name().and_then(|name| name.to_str()).expect("a name");
        let address = format!("{}/intakes?kind=role_list&file_name={name}&listed_on={listed_on}", self.unit);
        let file = std::fs::read(list).expect("the list");
        let request = self.http.post(address).bearer_auth(&self.token).header("Content-Type", "text/csv").body(file);
        let intake = answer(request).await;
        let path = format!("/intakes/{}", intake["intake_id"].as_str().expect("an id"));
        let mut read = self.get(&path).await;
        while read["state"] == "reading" {
            tokio::time::sleep(Duration::from_millis(20)).await;
            read = self.get(&path).await;
        }
        let body = serde_json::json!({"preview": read["etag"]});
        let key = uuid::Uuid::now_v7().to_string();
        let request = self.http.post(format!("{}{path}/apply", self.unit)).bearer_auth(&self.token);
        let applied = answer(request.header("Idempotency-Key", key).json(&body)).await;
        assert_eq!(applied["state"], "applied");
        read["counts"].clone()
    }
}

async fn answer(request: reqwest::RequestBuilder) -> Value {
    let response = request.send().await.expect("an answer");
    let (status, body) = (response.status(), response.text().await.expect("a body"));
    assert!(status.is_success(), "{status}: {body}");
    serde_json::from_str(&body).expect("JSON")
}

/// The short examples under deploy/examples, with a key of their own, against what was typed by hand. They need python3 and jq,
/// which `.ci/run` installs; on a machine without one of them, what needs it is left out and said.
async fn scripts_say_what_the_paper_says(server: &Server, manager: &Manager) {
    let (address, unit) = manager.unit.split_once("/v1/units/").expect("an address");
    let body =
        serde_json::json!({"name": "examples", "unit_id": unit, "permissions": ["standings.read", "assignments.read"]});
    let made = manager.http.post(format!("{address}/v1/keys")).bearer_auth(&manager.token).json(&body);
    let secret = answer(made).await["secret"].as_str().expect("a secret").to_owned();
    let run = |program: &str, arguments: &[&std::ffi::OsStr]| {
        let here = Path::new(env!("CARGO_MANIFEST_DIR")).join("deploy/examples");
        let mut command = Command::new(program);
        let known =
            command.args(arguments).current_dir(here).envs([("API", address), ("UNIT", unit), ("KEY", &secret)]);
        known.env("PYTHONDONTWRITEBYTECODE", "1").output().expect("the program runs")
    };
    let there =
        |program: &str| Command::new(program).arg("--version").output().is_ok_and(|found| found.status.success());
    let line = |text: &str, number: &str| {
        let found = text.lines().find(|line| line.starts_with(&format!("{number}\t")));
        found.unwrap_or_else(|| panic!("no line of {number}: {text}")).to_owned()
    };
    if there("jq") && there("curl") {
        let said = said(&run("sh", &["open_list.sh".as_ref()]));
        assert_eq!(said.lines().count(), 24, "{said}");
        assert_eq!(line(&said, "104"), "104\tappointed\t-");
        assert_eq!(line(&said, "121"), "121\tready\tEverything asked for is in order: appoint the coordinator.");
    } else {
        println!("jq or curl is not installed here: open_list.sh was not run");
    }
    if there("python3") {
        let said = said(&run("python3", &["open_list.py".as_ref()]));
        assert_eq!(said.lines().count(), 24, "{said}");
        assert_eq!(line(&said, "163"), "163\tgathering\tYearly training");
        assert_eq!(line(&said, "104"), "104\tappointed\t-");
        let table = server.data.join("standings.csv");
        run("python3", &["to_spreadsheet.py".as_ref(), table.as_os_str()]);
        let table = std::fs::read_to_string(table).expect("the table");
        let row = table.lines().find(|row| row.starts_with("169,")).expect("the row of 169");
        assert!(row.contains(",gathering,Bank details form,"), "{row}");
        assert!(table.starts_with("\u{feff}Troop,Name,State,Still open,Next step,By"), "{table}");
    } else {
        println!("python3 is not installed here: its examples were not run");
    }
}

#[tokio::test]
async fn the_demos_lists_end_in_the_standings_typed_by_hand_and_a_newer_list_changes_three() {
    let environment = [
        ("CASELOT_DATA__DEMO", "true"),
        ("CASELOT_ACCOUNTS__SECOND_FACTOR_REQUIRED", "false"),
        ("CASELOT_LIMITS__REQUESTS_PER_MINUTE", "6000"),
    ];
    let server = Server::start_with(&environment);
    let loaded = load(&server);
    assert!(loaded.status.success(), "{}", said(&loaded));
    let manager = Manager::sign_in(&server).await;
    let expected = typed(include_str!("../../seed-demo/expectations/standings.csv"));
    assert_eq!(expected.len(), 24);
    assert_eq!(manager.standings().await, expected);

    scripts_say_what_the_paper_says(&server, &manager).await;

    // The same list again, on the day for which it spoke: nothing changes.
    let lists = server.data.join("lists");
    let earlier = manager.get("/intakes").await["items"][0]["listed_on"].as_str().expect("a day").to_owned();
    let again = manager.apply(&lists.join("4-role-list.csv"), &earlier).await;
    assert_eq!((&again["rows"], &again["changes"]), (&Value::from(21), &Value::from(0)), "{again}");
    assert_eq!(manager.standings().await, expected);

    // Loading again finds the demo there and says the same.
    assert_eq!(said(&load(&server)), said(&loaded));

    // A newer list with three changes changes three troops and no other.
    let newer = manager.apply(&lists.join("5-newer-role-list.csv"), &manager.today().await).await;
    assert_eq!(newer["changing_rows"], Value::from(3), "{newer}");
    let mut after = expected;
    let changed = typed(include_str!("../../seed-demo/expectations/after-newer-list.csv"));
    assert_eq!(changed.len(), 3);
    after.extend(changed);
    assert_eq!(manager.standings().await, after);

    // The reference page's examples, on the same demo.
    let sign_ins = std::fs::read_to_string(server.data.join("sign-ins.env")).expect("the sign-ins");
    crate::examples::every_example_works(&sign_ins).await;

    let verified = server.command(&["log", "verify"]);
    assert_eq!(verified.status.code(), Some(0), "{}", said(&verified));
}
