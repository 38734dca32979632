//! The program as its users meet it: a process of its own, release-built, with the demo's settings.

use std::collections::HashMap;
use std::os::unix::fs::{OpenOptionsExt as _, PermissionsExt as _};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use caselot::auth::token::SigningKeys;
use caselot::common::clock;
use caselot::common::ids::{AccountId, SessionId};
use sha2::{Digest as _, Sha256};
use tokio::net::TcpStream;
use uuid::Uuid;

use super::SIZE;
use super::database::Database;
use super::load;

/// An id of the data (data.sql says how).
pub fn id(kind: u32, unit: u32, number: u32) -> String {
    format!("0198be00-{kind:04}-7000-8000-{unit:05}{number:07}")
}

/// The running program.
pub struct Program {
    child: Child,
    folder: tempfile::TempDir,
    /// Where it listens.
    pub address: String,
    /// The key that signs its tokens.
    pub key: String,
    /// How long it took from its start to its first answer.
    pub started_in: Duration,
}

fn private_file(place: &Path, text: &str) -> PathBuf {
    use std::io::Write as _;
    let mut file = std::fs::File::options().write(true).create_new(true).mode(0o600).open(place).expect("a file");
    file.write_all(text.as_bytes()).expect("a written file");
    place.to_owned()
}

impl Program {
    /// Starts it and waits until `/readyz` answers 200.
    pub async fn start(database: &Database) -> Self {
        // Not below a private home folder: as root the API runs under a user id of its own.
        let folder = tempfile::Builder::new().prefix("caselot-bench-").tempdir_in("/var/tmp").expect("a folder");
        std::fs::set_permissions(folder.path(), std::fs::Permissions::from_mode(0o755)).expect("an open folder");
        let port =
            std::net::TcpListener::bind("127.0.0.1:0").and_then(|free| free.local_addr()).expect("a port").port();
        let address = format!("127.0.0.1:{port}");
        let key: String = (0..64).map(|_| char::from_digit(rand::random_range(0..16), 16).expect("a digit")).collect();
        let url = private_file(&folder.path().join("runtime.url"), &database.runtime);
        let key_file = private_file(&folder.path().join("signing.key"), &key);
        let log = std::fs::File::create(folder.path().join("server.log")).expect("a log");
        let mut command =
            Command::new(std::env::var("BENCH_PROGRAM").unwrap_or_else(|_| "target/release/caselot".to_owned()));
        command
            .arg("serve")
            .env("CASELOT_DATA__FOLDER", folder.path().join("data"))
            .env("CASELOT_DATABASE__URL_FILE", url)
            .env("CASELOT_KEYS__SIGNING_KEY_FILE", key_file)
            .env("CASELOT_SERVER__LISTEN", &address)
            // As the demo has it: 100 a second for each of the 1,240 people who ask.
            .env("CASELOT_LIMITS__REQUESTS_PER_MINUTE", "6000")
            // Nobody of the invented units has a phone.
            .env("CASELOT_ACCOUNTS__SECOND_FACTOR_REQUIRED", "false")
            .stdout(Stdio::null())
            .stderr(log);
        let began = Instant::now();
        let mut child = command.spawn().expect("the program, built by deploy/bench");
        let started_in = loop {
            if ready(&address).await {
                break began.elapsed();
            }
            let ended = child.try_wait().expect("a look at the child");
            let log = folder.path().join("server.log");
            assert!(
                ended.is_none() && began.elapsed() < Duration::from_secs(20),
                "the program did not start: {}",
                std::fs::read_to_string(log).unwrap_or_default()
            );
            tokio::time::sleep(Duration::from_millis(1)).await;
        };
        Self { child, folder, address, key, started_in }
    }

    /// Its process.
    pub fn pid(&self) -> u32 {
        self.child.id()
    }

    /// Asks once and gives the body.
    pub async fn ask(&self, request: &[u8], expected: u16) -> Vec<u8> {
        use tokio::io::AsyncWriteExt as _;
        let mut stream = TcpStream::connect(&self.address).await.expect("a connection");
        stream.write_all(request).await.expect("a request that is taken");
        let (status, body) = load::answer(&mut stream, &mut Vec::new()).await;
        assert_eq!(status, expected, "{}", String::from_utf8_lossy(&body));
        body
    }

    /// Asks once; none where the answer is another one, such as that of a program that is busy.
    pub async fn ask_if_free(&self, request: &[u8]) -> Option<Vec<u8>> {
        use tokio::io::AsyncWriteExt as _;
        let mut stream = TcpStream::connect(&self.address).await.ok()?;
        stream.write_all(request).await.ok()?;
        let (status, body) = load::answer(&mut stream, &mut Vec::new()).await;
        (status == 200).then_some(body)
    }

    /// Stops it and waits for its end.
    pub async fn stop(mut self) {
        let _ = Command::new("kill").arg("-TERM").arg(self.pid().to_string()).status();
        for _ in 0..1_000 {
            if self.child.try_wait().expect("a look at the child").is_some() {
                break;
            }
            tokio::time::sleep(Duration::from_millis(10)).await;
        }
        let _ = self.folder.close();
    }
}

async fn ready(address: &str) -> bool {
    use tokio::io::AsyncWriteExt as _;
    let Ok(mut stream) = TcpStream::connect(address).await else { return false };
    if stream.write_all(b"GET /readyz HTTP/1.1\r\nhost: bench\r\n\r\n").await.is_err() {
        return false;
    }
    load::answer(&mut stream, &mut Vec::new()).await.0 == 200
}

/// An access token for everybody of the data.
pub struct Tokens {
    by_person: HashMap<(u32, u32), String>,
    /// The day of every fact: two days ago, so that it has passed in every time zone.
    pub day: String,
}

impl Tokens {
    /// Signs them as the program would: a key is named by the first bits of its digest (api/cli/serve.rs).
    pub fn new(key: &str) -> Self {
        let digest = Sha256::digest([b"name of a signing key: ", key.as_bytes()].concat());
        let name = URL_SAFE_NO_PAD.encode(&digest[..9]);
        let keys = SigningKeys::new(vec![(name, key.as_bytes().to_vec().into())]).expect("a key that is long enough");
        let now = clock::real_now();
        let everybody = (1..=SIZE.0).flat_map(|unit| (0..=SIZE.1).map(move |number| (unit, number)));
        let by_person = everybody
            .map(|(unit, number)| {
                let parse = |kind| Uuid::parse_str(&id(kind, unit, number)).expect("an id");
                let token = keys.issue(AccountId(parse(5)), SessionId(parse(6)), now).expect("a token");
                ((unit, number), token)
            })
            .collect();
        Self { by_person, day: (now - chrono::TimeDelta::days(2)).date_naive().to_string() }
    }

    /// Somebody's token; number 0 is the unit's manager.
    pub fn of(&self, unit: u32, number: u32) -> &str {
        &self.by_person[&(unit, number)]
    }
}
