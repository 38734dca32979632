//! One running PostgreSQL: made, started, kept alive, stopped.

use std::fs::File;
use std::io::Write;
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex, PoisonError, mpsc};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use rustix::process::{Pid, Signal, kill_process, test_kill_process};
use secrecy::{ExposeSecret, SecretString};

use super::binaries::Binaries;
use super::folder::{self, Ids};
use crate::start::StartError;

/// Settings that nothing may switch off, whatever the cluster's own file says.
const SETTINGS: [&str; 17] = [
    "listen_addresses=",
    "fsync=on",
    "full_page_writes=on",
    "synchronous_commit=on",
    "max_connections=120",
    "shared_buffers=64MB",
    "client_connection_check_interval=2s",
    "password_encryption=scram-sha-256",
    "timezone=UTC",
    "log_timezone=UTC",
    "logging_collector=off",
    // Short statements gain nothing from it, and programs unpacked without root lack its library.
    "jit=off",
    // What a log line could give away: the statement, its values, the row that broke a rule.
    "log_statement=none",
    "log_min_error_statement=panic",
    "log_error_verbosity=terse",
    "log_parameter_max_length_on_error=0",
    "log_line_prefix=%m [%p] ",
];

/// How long a start may take; recovery after a power cut reads the write-ahead log first.
const START_PATIENCE: Duration = Duration::from_mins(2);
/// How long another PostgreSQL on the same files gets to end, after its server was killed.
const LEFTOVER_PATIENCE: Duration = Duration::from_secs(20);
/// More restarts than this within a minute are no accident.
const MOST_RESTARTS: usize = 5;

/// What is needed to run a cluster.
#[derive(Debug, Clone)]
pub struct Plan {
    /// PostgreSQL's programs.
    pub binaries: Binaries,
    /// The cluster's files.
    pub files: PathBuf,
    /// The folder for its socket: short, since the system allows about 100 bytes.
    pub socket: PathBuf,
    /// The user to run it as; needed when this process is root.
    pub run_as: Option<Ids>,
    /// Where its messages go.
    pub log: PathBuf,
}

impl Plan {
    /// True if the cluster's files are there.
    #[must_use]
    pub fn exists(&self) -> bool {
        self.files.join("PG_VERSION").is_file()
    }

    /// Makes the cluster's files, with checksums, scram only, the superuser `postgres` and its password. All or nothing.
    ///
    /// # Errors
    /// [`StartError`] with what `initdb` said.
    pub fn create(&self, superuser_password: &SecretString) -> Result<(), StartError> {
        let unfinished = self.files.with_extension("new");
        if unfinished.exists() {
            std::fs::remove_dir_all(&unfinished).map_err(StartError::io(unfinished.display().to_string()))?;
        }
        folder::folder(&unfinished, 0o700, self.run_as)?;
        let password_file = self.socket.join("first-password");
        write_private(&password_file, superuser_password)?;
        folder::give(&password_file, self.run_as)?;
        let output = self
            .command("initdb")
            .arg("--pgdata")
            .arg(&unfinished)
            .arg("--pwfile")
            .arg(&password_file)
            .args([
                "--username=postgres",
                "--auth=scram-sha-256",
                "--data-checksums",
                "--encoding=UTF8",
                "--locale=C.UTF-8",
            ])
            .current_dir("/")
            .output();
        std::fs::remove_file(&password_file).map_err(StartError::io("removing the first password's file"))?;
        let output = output.map_err(StartError::io("running initdb through setpriv (package util-linux)"))?;
        if !output.status.success() {
            return Err(StartError::Failed(format!(
                "initdb failed: {}",
                String::from_utf8_lossy(&output.stderr).trim()
            )));
        }
        std::fs::rename(&unfinished, &self.files).map_err(StartError::io("putting the new cluster in its place"))
    }

    /// Starts the cluster, waits until it answers, and keeps it alive from then on.
    ///
    /// # Errors
    /// [`StartError`] with the last lines of PostgreSQL's own log.
    pub fn start(self) -> Result<Cluster, StartError> {
        let socket_path = self.socket.join(".s.PGSQL.5432");
        if socket_path.as_os_str().len() > 107 {
            return Err(StartError::configuration(format!(
                "data.folder: the path of the database's socket would be too long ({}); choose a shorter folder",
                socket_path.display()
            )));
        }
        wait_for_leftover(&self.files)?;
        let state = Arc::new(Mutex::new(State { running: None, stopping: false }));
        let (started, ready) = mpsc::channel();
        let keeper = std::thread::Builder::new()
            .name("cluster".to_owned())
            .spawn({
                let state = Arc::clone(&state);
                move || keep(&self, &state, &started)
            })
            .map_err(StartError::io("starting a thread"))?;
        let cluster = Cluster { state, keeper: Some(keeper) };
        ready.recv().map_err(|_| StartError::Failed("the cluster's keeper ended".to_owned()))??;
        Ok(cluster)
    }

    fn command(&self, program: &str) -> Command {
        let mut command = folder::command_as(self.run_as, "INT", &self.binaries.folder.join(program));
        if let Some(libraries) = &self.binaries.libraries {
            command.env("LD_LIBRARY_PATH", libraries);
        }
        // Nothing of this program's environment is PostgreSQL's business; PG* would even change what it does.
        for (name, _) in std::env::vars_os() {
            if name.to_string_lossy().starts_with("PG") || name.to_string_lossy().starts_with("CASELOT_") {
                command.env_remove(name);
            }
        }
        command.stdin(Stdio::null());
        command
    }

    fn spawn(&self) -> Result<Child, StartError> {
        let log = File::options()
            .create(true)
            .append(true)
            .mode(0o600)
            .open(&self.log)
            .map_err(StartError::io(self.log.display().to_string()))?;
        let copy = log.try_clone().map_err(StartError::io("the log file"))?;
        let mut command = self.command("postgres");
        command.arg("-D").arg(&self.files);
        for setting in SETTINGS {
            command.args(["-c", setting]);
        }
        command.arg("-c").arg(format!("unix_socket_directories={}", quoted_list_item(&self.socket)));
        command.stdout(log).stderr(copy).current_dir("/");
        command.spawn().map_err(StartError::io("starting PostgreSQL through setpriv (package util-linux)"))
    }

    fn last_words(&self) -> String {
        let text = std::fs::read_to_string(&self.log).unwrap_or_default();
        let lines: Vec<&str> = text.lines().rev().take(5).collect();
        lines.into_iter().rev().collect::<Vec<_>>().join("\n")
    }
}

/// The list syntax of `unix_socket_directories`: double quotes keep commas and spaces.
fn quoted_list_item(path: &Path) -> String {
    format!("\"{}\"", path.to_string_lossy().replace('"', "\"\""))
}

fn write_private(path: &Path, text: &SecretString) -> Result<(), StartError> {
    let failed = || StartError::io(path.display().to_string());
    if path.exists() {
        std::fs::remove_file(path).map_err(failed())?;
    }
    let mut file = File::options().write(true).create_new(true).mode(0o600).open(path).map_err(failed())?;
    file.write_all(text.expose_secret().as_bytes()).map_err(failed())
}

struct State {
    running: Option<Pid>,
    stopping: bool,
}

fn locked(state: &Mutex<State>) -> std::sync::MutexGuard<'_, State> {
    state.lock().unwrap_or_else(PoisonError::into_inner)
}

/// The keeper's thread: starts PostgreSQL, says when it is ready, waits for its end, starts it again unless it was told
/// to stop. The death signal is bound to this thread, which lasts as long as the process.
fn keep(plan: &Plan, state: &Mutex<State>, started: &mpsc::Sender<Result<(), StartError>>) {
    let mut starts: Vec<Instant> = Vec::new();
    loop {
        starts.retain(|at| at.elapsed() < Duration::from_mins(1));
        starts.push(Instant::now());
        let first = starts.len() == 1;
        let outcome = spawn_and_wait_ready(plan, state);
        let mut child = match outcome {
            Ok(child) => {
                let _ = started.send(Ok(()));
                child
            }
            Err(error) => {
                tracing::error!(%error, "the database did not start");
                let _ = started.send(Err(error));
                if first {
                    return;
                }
                pause(Duration::from_secs(1));
                continue;
            }
        };
        let ended = child.wait();
        let stopping = {
            let mut state = locked(state);
            state.running = None;
            state.stopping
        };
        if stopping {
            return;
        }
        tracing::error!(?ended, "the database ended by itself; starting it again");
        if starts.len() > MOST_RESTARTS {
            tracing::error!(
                "the database ended {MOST_RESTARTS} times within a minute; giving up. See the cluster's log"
            );
            return;
        }
    }
}

fn spawn_and_wait_ready(plan: &Plan, state: &Mutex<State>) -> Result<Child, StartError> {
    let mut child = plan.spawn()?;
    let pid = i32::try_from(child.id()).ok().and_then(Pid::from_raw);
    let stopping = {
        let mut state = locked(state);
        state.running = pid;
        state.stopping
    };
    if let (true, Some(pid)) = (stopping, pid) {
        let _ = kill_process(pid, Signal::INT);
    }
    let began = Instant::now();
    loop {
        if is_ready(&plan.files, child.id()) {
            return Ok(child);
        }
        if let Some(status) = child.try_wait().map_err(StartError::io("waiting for PostgreSQL"))? {
            locked(state).running = None;
            return Err(StartError::Failed(format!("PostgreSQL did not start ({status}):\n{}", plan.last_words())));
        }
        if began.elapsed() > START_PATIENCE {
            let _ = child.kill();
            return Err(StartError::Failed(format!(
                "PostgreSQL was not ready after two minutes:\n{}",
                plan.last_words()
            )));
        }
        pause(Duration::from_millis(5));
    }
}

/// PostgreSQL writes its process id in the first and its state in the eighth line of `postmaster.pid`.
fn is_ready(files: &Path, pid: u32) -> bool {
    let text = std::fs::read_to_string(files.join("postmaster.pid")).unwrap_or_default();
    let mut lines = text.lines();
    lines.next().and_then(|line| line.trim().parse().ok()) == Some(pid) && lines.nth(6).map(str::trim) == Some("ready")
}

/// A cluster whose server was killed gets the interrupt signal and ends within a second or two: waits for that.
fn wait_for_leftover(files: &Path) -> Result<(), StartError> {
    let began = Instant::now();
    while leftover(files) {
        if began.elapsed() > LEFTOVER_PATIENCE {
            return Err(StartError::Failed(format!(
                "another PostgreSQL is running on {} and does not end",
                files.display()
            )));
        }
        pause(Duration::from_millis(20));
    }
    Ok(())
}

fn leftover(files: &Path) -> bool {
    let text = std::fs::read_to_string(files.join("postmaster.pid")).unwrap_or_default();
    let Some(pid) = text.lines().next().and_then(|line| line.trim().parse().ok()).and_then(Pid::from_raw) else {
        return false;
    };
    let name = std::fs::read_to_string(format!("/proc/{}/comm", pid.as_raw_nonzero())).unwrap_or_default();
    name.trim() == "postgres" && !matches!(test_kill_process(pid), Err(rustix::io::Errno::SRCH))
}

/// Sleeps. Only the keeper's own thread and the time before anything is served wait like this.
#[expect(
    clippy::disallowed_methods,
    reason = "no worker runs on this thread; the operating system gives no event to wait for"
)]
fn pause(time: Duration) {
    std::thread::sleep(time);
}

/// A running cluster. Dropping it stops it.
pub struct Cluster {
    state: Arc<Mutex<State>>,
    keeper: Option<JoinHandle<()>>,
}

impl Cluster {
    /// Stops the cluster (running statements are rolled back, everything committed is kept) and waits for its end.
    pub fn stop(self) {
        drop(self);
    }
}

impl Drop for Cluster {
    fn drop(&mut self) {
        {
            let mut state = locked(&self.state);
            state.stopping = true;
            if let Some(pid) = state.running {
                let _ = kill_process(pid, Signal::INT);
            }
        }
        if let Some(keeper) = self.keeper.take() {
            let _ = keeper.join();
        }
    }
}
