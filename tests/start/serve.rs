//! `caselot serve` with a database of its own, as root (three users) or as a normal user (one).

use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use crate::support::{folder, postgres_in, program, runs, said, wait_until};

const PATIENCE: Duration = Duration::from_mins(1);

/// A running server on a data folder of its own; dropping it kills it.
pub struct Server {
    child: Child,
    port: u16,
    folder: tempfile::TempDir,
    pub data: std::path::PathBuf,
}

impl Server {
    fn start() -> Self {
        Self::start_with(&[])
    }

    pub fn start_with(environment: &[(&str, &str)]) -> Self {
        let folder = folder();
        let data = folder.path().join("data");
        // Asked for and given back: nobody else takes it in the moment until the server does.
        let port = TcpListener::bind("127.0.0.1:0").and_then(|l| l.local_addr()).expect("a free port").port();
        let child = Self::spawn(folder.path(), &data, port, environment);
        let server = Self { child, port, folder, data };
        server.wait_until_ready();
        server
    }

    fn spawn(folder: &Path, data: &Path, port: u16, environment: &[(&str, &str)]) -> Child {
        let log = std::fs::File::create(folder.join("log")).expect("a log");
        let mut command = settings(program(), data, port);
        command
            .envs(environment.iter().copied())
            .arg("serve")
            .stderr(Stdio::from(log))
            .spawn()
            .expect("the server starts")
    }

    fn start_again(&mut self) {
        self.child = Self::spawn(self.folder.path(), &self.data, self.port, &[]);
        self.wait_until_ready();
    }

    fn wait_until_ready(&self) {
        wait_until("the server is ready", PATIENCE, || {
            self.get("/readyz").is_some_and(|a| a.starts_with("HTTP/1.1 200"))
        });
    }

    fn get(&self, path: &str) -> Option<String> {
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).ok()?;
        stream.set_read_timeout(Some(Duration::from_secs(5))).ok()?;
        write!(stream, "GET {path} HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n").ok()?;
        let mut answer = String::new();
        stream.read_to_string(&mut answer).ok()?;
        Some(answer)
    }

    pub fn address(&self) -> String {
        format!("http://127.0.0.1:{}", self.port)
    }

    /// Gives another program the settings that this server has.
    pub fn settings<'a>(&self, command: &'a mut Command) -> &'a mut Command {
        command
            .env("CASELOT_DATA__FOLDER", &self.data)
            .env("CASELOT_SERVER__LISTEN", format!("127.0.0.1:{}", self.port))
    }

    pub fn command(&self, arguments: &[&str]) -> std::process::Output {
        settings(program(), &self.data, self.port).args(arguments).output().expect("the program runs")
    }

    fn signal(&self, name: &str) {
        let status = Command::new("sh").args(["-c", &format!("kill -{name} {}", self.child.id())]).status();
        assert!(status.expect("kill").success());
    }

    fn api_process(&self) -> u32 {
        if !rustix::process::geteuid().is_root() {
            return self.child.id();
        }
        let children = format!("/proc/{0}/task/{0}/children", self.child.id());
        let pids = std::fs::read_to_string(children).expect("its children");
        let found = pids.split_whitespace().filter_map(|pid| pid.parse().ok()).find(|pid| runs(*pid, "caselot"));
        found.expect("the API's process")
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
        let began = Instant::now();
        while postgres_in(&self.data).is_some() && began.elapsed() < PATIENCE {
            std::thread::park_timeout(Duration::from_millis(10));
        }
    }
}

fn settings(mut command: Command, data: &Path, port: u16) -> Command {
    command.env("CASELOT_DATA__FOLDER", data).env("CASELOT_SERVER__LISTEN", format!("127.0.0.1:{port}"));
    command
}

#[test]
fn without_any_setting_up_it_serves_stops_cleanly_and_starts_again() {
    let mut server = Server::start();
    assert!(server.get("/livez").is_some_and(|answer| answer.starts_with("HTTP/1.1 200")));
    assert_eq!(server.command(&["check"]).status.code(), Some(0), "{}", said(&server.command(&["check"])));
    assert_eq!(server.command(&["log", "verify"]).status.code(), Some(0));
    server.signal("TERM");
    assert_eq!(server.child.wait().expect("its end").code(), Some(0));
    assert_eq!(postgres_in(&server.data), None, "the cluster ended first");
    let log = std::fs::read_to_string(server.data.join("cluster.log")).expect("the cluster's log");
    assert!(log.contains("database system is shut down"));

    server.start_again();
    assert_eq!(server.command(&["check"]).status.code(), Some(0));
}

#[test]
fn a_second_signal_ends_it_within_a_second_and_the_cluster_still_ends_cleanly() {
    let mut server = Server::start();
    let postgres = postgres_in(&server.data).expect("its cluster");
    // A request that never ends keeps the first signal waiting.
    let mut slow = TcpStream::connect(("127.0.0.1", server.port)).expect("a connection");
    slow.write_all(
        b"POST /v1/sessions HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\nContent-Length: 100\r\n\r\n{",
    )
    .expect("half a request");
    server.signal("TERM");
    // Two signals in one moment are one to a process that was not running meanwhile.
    wait_until("it is about to stop", PATIENCE, || {
        !server.get("/readyz").is_some_and(|answer| answer.starts_with("HTTP/1.1 200"))
    });
    let began = Instant::now();
    server.signal("TERM");
    server.child.wait().expect("its end");
    assert!(began.elapsed() < Duration::from_secs(2), "{:?}", began.elapsed());
    wait_until("the cluster ends by itself", Duration::from_secs(10), || !runs(postgres, "postgres"));
    let log = std::fs::read_to_string(server.data.join("cluster.log")).expect("the cluster's log");
    assert!(log.contains("database system is shut down"));
}

#[test]
fn a_killed_server_takes_its_cluster_along_and_the_next_start_waits_for_it() {
    let mut server = Server::start();
    let (postgres, api) = (postgres_in(&server.data).expect("its cluster"), server.api_process());
    server.child.kill().expect("SIGKILL");
    server.child.wait().expect("its end");
    wait_until("the cluster ends", Duration::from_secs(10), || !runs(postgres, "postgres"));
    wait_until("the API ends", Duration::from_secs(40), || !runs(api, "caselot"));
    server.start_again();
}

#[test]
fn a_killed_database_is_started_again() {
    let server = Server::start();
    let before = postgres_in(&server.data).expect("its cluster");
    let status = Command::new("sh").args(["-c", &format!("kill -9 {before}")]).status();
    assert!(status.expect("kill").success());
    wait_until("another PostgreSQL runs", Duration::from_secs(20), || {
        postgres_in(&server.data).is_some_and(|now| now != before)
    });
    server.wait_until_ready();
}

#[test]
fn two_servers_cannot_share_a_data_folder() {
    let server = Server::start();
    let output = server.command(&["serve"]);
    assert!(!output.status.success());
    assert!(said(&output).contains("another Caselot server is running"), "{}", said(&output));
}

#[test]
fn no_secret_stands_in_a_command_line_or_an_environment() {
    let server = Server::start();
    let mut secrets = Vec::new();
    for place in [
        "private/superuser.password",
        "private/owner.password",
        "private/backup.password",
        "api/runtime.password",
        "api/signing.key",
    ] {
        secrets.push(std::fs::read_to_string(server.data.join(place)).expect("the secret"));
    }
    let mut seen = 0;
    for pid in [server.child.id(), server.api_process(), postgres_in(&server.data).expect("its cluster")] {
        for file in ["cmdline", "environ"] {
            let text =
                String::from_utf8_lossy(&std::fs::read(format!("/proc/{pid}/{file}")).expect("readable")).into_owned();
            seen += usize::from(!text.is_empty());
            for secret in &secrets {
                assert!(!text.contains(secret.as_str()), "in {file} of process {pid}");
            }
        }
    }
    assert!(seen >= 5, "the files were read");
}

#[test]
fn the_database_of_another_major_version_is_refused_with_the_way_out() {
    let folder = folder();
    let cluster = folder.path().join("data/cluster");
    std::fs::create_dir_all(&cluster).expect("a folder");
    std::fs::write(cluster.join("PG_VERSION"), "9\n").expect("a version");
    let output = settings(program(), &folder.path().join("data"), 1).arg("serve").output().expect("the program runs");
    assert_eq!(output.status.code(), Some(78), "{}", said(&output));
    assert!(said(&output).contains("made by PostgreSQL 9") && said(&output).contains("pg_dump"), "{}", said(&output));
}

#[test]
fn started_as_root_each_part_has_a_user_of_its_own() {
    if !rustix::process::geteuid().is_root() {
        return; // Only root can become others; then everything shares one user.
    }
    let server = Server::start();
    let user = |pid: u32| {
        let status = std::fs::read_to_string(format!("/proc/{pid}/status")).expect("its status");
        let line = status.lines().find(|line| line.starts_with("Uid:")).expect("a user").to_owned();
        line.split_whitespace().nth(1).and_then(|uid| uid.parse::<u32>().ok()).expect("a number")
    };
    let (api, cluster) = (user(server.api_process()), user(postgres_in(&server.data).expect("its cluster")));
    assert!(api != 0 && cluster != 0 && api != cluster, "{api} {cluster}");
    // The API's user can read its own secrets and none of the others.
    let can_read = |path: &str| {
        let status = Command::new("setpriv")
            .args([&format!("--reuid={api}"), &format!("--regid={api}"), "--clear-groups", "cat"])
            .arg(server.data.join(path))
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .status();
        status.expect("setpriv").success()
    };
    assert!(can_read("api/runtime.password"));
    for secret in ["private/owner.password", "private/owner.url", "private/superuser.password", "cluster/PG_VERSION"] {
        assert!(!can_read(secret), "{secret}");
    }
}

#[test]
fn the_clock_moves_in_a_demo_and_nowhere_else() {
    let server = Server::start();
    let refused = server.command(&["clock", "--forwards", "3d"]);
    assert!(!refused.status.success() && said(&refused).contains("cannot be moved"), "{}", said(&refused));
    let demo = Server::start_with(&[("CASELOT_DATA__DEMO", "true")]);
    let moved = demo.command(&["clock", "--forwards", "3d"]);
    assert_eq!(said(&moved), "this database's clock is 3 days, 0 hours, 0 minutes ahead\n");
}
