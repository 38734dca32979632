//! R43: nothing that somebody sends makes a second line in the program's own log, colours it, or stands in it.
//!
//! The program is a process of its own, as its users meet it, and says everything that it can say.

use std::collections::BTreeMap;
use std::os::unix::fs::{OpenOptionsExt as _, PermissionsExt as _};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use caselot::auth::token::SigningKeys;
use caselot::common::clock;
use caselot::common::ids::{AccountId, SessionId};
use serde_json::Value;
use sha2::{Digest as _, Sha256};
use sqlx::ConnectOptions as _;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::TcpStream;

use crate::objects::{self, Target};
use crate::operations::{OPERATIONS, Operation};
use crate::places::{Kind, places};
use crate::prepared::prepare;
use crate::support::cluster::Role;
use crate::support::fixture::{ADMINISTRATOR, CLARA, MANAGER, OVERSEER, Somebody};
use crate::support::scenario;
use crate::support::world::World;

/// What must never be found in a log.
const CANARY: &str = "canary7Q";

/// A key that no example has.
const KEY: &str = "b7Qk2mVx9Lr4Tz8Wn3Ys6Hd1Pf5Gj0Cc";

/// The running program.
struct Program {
    child: Child,
    folder: tempfile::TempDir,
    address: String,
    keys: SigningKeys,
}

fn private_file(place: &Path, text: &str) -> PathBuf {
    use std::io::Write as _;
    let mut file = std::fs::File::options().write(true).create_new(true).mode(0o600).open(place).expect("a file");
    file.write_all(text.as_bytes()).expect("a written file");
    place.to_owned()
}

impl Program {
    async fn start(world: &World) -> Self {
        // Not below a private home folder: as root the API runs under a user id of its own.
        let folder = tempfile::Builder::new().prefix("caselot-attack-").tempdir_in("/var/tmp").expect("a folder");
        std::fs::set_permissions(folder.path(), std::fs::Permissions::from_mode(0o755)).expect("an open folder");
        let port =
            std::net::TcpListener::bind("127.0.0.1:0").and_then(|free| free.local_addr()).expect("a port").port();
        let address = format!("127.0.0.1:{port}");
        let url = world.copy.options(Role::Runtime).to_url_lossy();
        let url = private_file(&folder.path().join("runtime.url"), url.as_str());
        let key = private_file(&folder.path().join("signing.key"), KEY);
        let log = std::fs::File::create(folder.path().join("log")).expect("a log");
        let mut command = Command::new(env!("CARGO_BIN_EXE_caselot"));
        for (name, _) in std::env::vars_os().filter(|(name, _)| name.to_string_lossy().starts_with("CASELOT_")) {
            command.env_remove(name);
        }
        command
            .arg("serve")
            .env("CASELOT_DATA__FOLDER", folder.path().join("data"))
            .env("CASELOT_DATABASE__URL_FILE", url)
            .env("CASELOT_KEYS__SIGNING_KEY_FILE", key)
            .env("CASELOT_SERVER__LISTEN", &address)
            .env("CASELOT_LIMITS__REQUESTS_PER_MINUTE", "6000")
            .env("CASELOT_LOG__LEVEL", "trace")
            .env("CASELOT_LOG__FORMAT", "json")
            .stdout(Stdio::null())
            .stderr(log);
        let child = command.spawn().expect("the program");
        let named = Sha256::digest([b"name of a signing key: ", KEY.as_bytes()].concat());
        let name = URL_SAFE_NO_PAD.encode(&named[..9]);
        let keys = SigningKeys::new(vec![(name, KEY.as_bytes().to_vec().into())]).expect("a key");
        let mut program = Self { child, folder, address, keys };
        let began = Instant::now();
        while !program
            .ask(b"GET /readyz HTTP/1.1\r\nhost: x\r\nconnection: close\r\n\r\n")
            .await
            .starts_with("HTTP/1.1 200")
        {
            let ended = program.child.try_wait().expect("a look at the child");
            assert!(ended.is_none() && began.elapsed() < Duration::from_secs(20), "{}", program.log());
            tokio::time::sleep(Duration::from_millis(10)).await;
        }
        program
    }

    fn log(&self) -> String {
        let bytes = std::fs::read(self.folder.path().join("log")).expect("the log");
        String::from_utf8(bytes).expect("a log is UTF-8")
    }

    /// Sends these bytes and gives what comes back; nothing where nobody is there.
    async fn ask(&self, request: &[u8]) -> String {
        let Ok(mut socket) = TcpStream::connect(&self.address).await else { return String::new() };
        if socket.write_all(request).await.is_err() {
            return String::new();
        }
        let mut came = Vec::new();
        let _end = tokio::time::timeout(Duration::from_secs(20), socket.read_to_end(&mut came)).await;
        String::from_utf8_lossy(&came).into_owned()
    }

    fn token(&self, who: &Somebody) -> String {
        self.keys.issue(AccountId(who.account), SessionId(who.session), clock::real_now()).expect("a token")
    }

    /// Stops it, as who runs it would, and waits for its end.
    fn stop(&mut self) {
        let _sent = Command::new("kill").arg("-TERM").arg(self.child.id().to_string()).status();
        let began = Instant::now();
        while self.child.try_wait().expect("a look at the child").is_none() {
            assert!(began.elapsed() < Duration::from_secs(40), "it does not stop");
            std::thread::park_timeout(Duration::from_millis(20));
        }
    }
}

impl Drop for Program {
    fn drop(&mut self) {
        let _ended = self.child.kill();
        let _waited = self.child.wait();
    }
}

/// What forges a line, as a JSON string holds it.
fn payload() -> String {
    serde_json::to_string(&format!(
        "{CANARY}\r\n{{\"level\":\"ERROR\",\"message\":\"forged {CANARY}\"}}\n\u{1b}[31m\u{9b}2J\u{202e}"
    ))
    .expect("a string is JSON")
}

fn who(operation: &Operation) -> Option<&'static Somebody> {
    match operation.permission.as_str() {
        "public" => None,
        "units.create" => Some(&ADMINISTRATOR),
        "steps.report" => Some(&CLARA),
        "waivers.approve" | "overrides.approve" => Some(&OVERSEER),
        _ => Some(&MANAGER),
    }
}

/// A request by hand, with these further header lines as they stand.
fn request(method: &str, path: &str, headers: &[u8], body: &[u8]) -> Vec<u8> {
    let head =
        format!("{method} {path} HTTP/1.1\r\nhost: x\r\nconnection: close\r\ncontent-length: {}\r\n", body.len());
    [head.as_bytes(), headers, b"\r\n", body].concat()
}

/// Every place of every body, each with the payload in it.
async fn bodies(program: &Program) -> usize {
    let mut sent = 0;
    for operation in OPERATIONS.iter() {
        let Some(base) = objects::body(operation, Target::Own) else { continue };
        let path = format!("{}{}", objects::path(operation, Target::Own).expect("a path"), objects::query(operation));
        let token = who(operation).map(|who| format!("authorization: Bearer {}\r\n", program.token(who)));
        let headers = format!("content-type: application/json\r\nif-match: \"v1\"\r\n{}", token.unwrap_or_default());
        for place in places(operation, &base).into_iter().filter(|place| place.kind != Kind::Object) {
            let body = place.with(&payload());
            let answer =
                program.ask(&request(operation.method.as_str(), &path, headers.as_bytes(), body.as_bytes())).await;
            assert!(answer.starts_with("HTTP/1.1 "), "{} {}: {answer:?}", operation.id, place.pointer);
            sent += 1;
        }
    }
    sent
}

/// Header fields that somebody may fill, with what the wire lets through and what it should not.
async fn headers(program: &Program) -> usize {
    let names = [
        "x-request-id",
        "idempotency-key",
        "if-match",
        "if-none-match",
        "authorization",
        "user-agent",
        "referer",
        "origin",
        "forwarded",
        "x-forwarded-for",
        "x-forwarded-host",
        "accept",
        "accept-language",
        "accept-encoding",
        "cookie",
        "content-type",
        "expect",
        "traceparent",
        "range",
        "upgrade",
        "x-canary7Q",
    ];
    let values: [&[u8]; 9] = [
        b"canary7Q \x1b[31mred",
        b"canary7Q\tforged",
        b"canary7Q\x9b31m\xff\xfe",
        b"canary7Q x\r\n {\"level\":\"ERROR\"}",
        b"canary7Q x\nlevel: ERROR",
        b"canary7Q x\0",
        b"canary7Q %0d%0aforged",
        b"\"canary7Q\\\",\\\"level\\\":\\\"ERROR\"",
        b"Bearer canary7Q.canary7Q.canary7Q",
    ];
    let manager = format!("authorization: Bearer {}\r\n", program.token(&MANAGER));
    let mut sent = 0;
    for name in names {
        for value in values {
            let mut lines = if name == "authorization" { Vec::new() } else { manager.clone().into_bytes() };
            lines.extend_from_slice(name.as_bytes());
            lines.extend_from_slice(b": ");
            lines.extend_from_slice(value);
            lines.extend_from_slice(b"\r\n");
            for (method, path, body) in [("GET", "/v1/me", ""), ("POST", "/v1/keys", "{\"name\":\"canary7Q\"}")] {
                program.ask(&request(method, path, &lines, body.as_bytes())).await;
                sent += 1;
            }
        }
    }
    sent
}

/// The first line of a request, and what is in it.
async fn addresses(program: &Program) -> usize {
    let manager = format!("authorization: Bearer {}\r\n", program.token(&MANAGER));
    let unit = crate::support::fixture::UNIT;
    let lines = [
        ("GET", format!("/v1/units/{unit}/people?search=canary7Q%0d%0aforged%1b%5b31m")),
        ("GET", format!("/v1/units/{unit}/people?canary7Q%0a=1")),
        ("GET", format!("/v1/units/{unit}/troops/canary7Q%0d%0aforged")),
        ("GET", format!("/v1/units/{unit}/troops?cursor=canary7Q%0a")),
        ("GET", "/canary7Q%0d%0a%1b[31m".to_owned()),
        ("GET", "/problems/canary7Q%0a".to_owned()),
        ("GET", "/v1/me?token=canary7Q".to_owned()),
        ("GET", "/\u{1b}[31mcanary7Q".to_owned()),
        ("GET", "/canary7Q\u{9b}31m".to_owned()),
        ("CANARY7Q", "/v1/me".to_owned()),
        ("canary7Q!#$%&'*+-.^_`|~", "/v1/me".to_owned()),
        ("GE\u{1b}T", "/canary7Q".to_owned()),
        ("OPTIONS", "/canary7Q".to_owned()),
        ("GET", "http://canary7Q.example.org/v1/me".to_owned()),
        ("CONNECT", "canary7Q.example.org:443".to_owned()),
    ];
    let list = format!("Troop,First name,Last name\n{CANARY},{CANARY}\u{1b}[31m,\"{CANARY}\r\nforged\"\n");
    let upload =
        format!("/v1/units/{unit}/intakes?kind=role_list&file_name=canary7Q%0aforged.csv&listed_on=2040-01-09");
    for (method, path) in &lines {
        program.ask(&request(method, path, manager.as_bytes(), b"")).await;
    }
    let headers = format!("{manager}content-type: text/csv\r\n");
    program.ask(&request("POST", &upload, headers.as_bytes(), list.as_bytes())).await;
    lines.len() + 1
}

#[test]
fn nothing_that_is_sent_forges_a_line_of_the_log_or_stands_in_it() {
    scenario(async |world| {
        prepare(world).await;
        let mut program = Program::start(world).await;
        let sent = (bodies(&program).await, headers(&program).await, addresses(&program).await);
        program.stop();
        let log = program.log();
        let mut answered: BTreeMap<String, usize> = BTreeMap::new();
        let mut faults = Vec::new();
        for line in log.split_terminator('\n') {
            let Ok(event) = serde_json::from_str::<Value>(line) else {
                faults.push(format!("no JSON: {line:?}"));
                continue;
            };
            if !(event["timestamp"].is_string() && event["level"].is_string()) {
                faults.push(format!("no event: {line}"));
            }
            if line.to_lowercase().contains(&CANARY.to_lowercase()) {
                faults.push(format!("holds what was sent: {line}"));
            }
            if event["message"] == "answered" {
                *answered.entry(event["request_id"].as_str().unwrap_or_default().to_owned()).or_default() += 1;
            }
        }
        if let Some(odd) = log.chars().find(|sign| sign.is_control() && *sign != '\n') {
            faults.push(format!("a control character: {odd:?}"));
        }
        faults.extend(
            answered.iter().filter(|(_, lines)| **lines != 1).map(|(id, lines)| format!("{id} has {lines} lines")),
        );
        println!(
            "{} bodies, {} header fields, {} addresses; {} lines, {} of them answers, {} faults",
            sent.0,
            sent.1,
            sent.2,
            log.lines().count(),
            answered.len(),
            faults.len()
        );
        assert!(faults.is_empty(), "{} faults, of them:\n{}", faults.len(), faults[..faults.len().min(10)].join("\n"));
        assert!(sent.0 > 200 && answered.len() > sent.0, "{sent:?}");
    });
}
