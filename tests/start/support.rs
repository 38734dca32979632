//! Running the program, and waiting for facts (never for time).

use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::time::{Duration, Instant};

/// The program under test, with nothing of the test run's own settings.
pub fn program() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_caselot"));
    for (name, _) in std::env::vars_os() {
        if name.to_string_lossy().starts_with("CASELOT_") {
            command.env_remove(name);
        }
    }
    command
}

/// Runs it to its end.
pub fn run(arguments: &[&str]) -> Output {
    program().args(arguments).output().expect("the program runs")
}

/// Standard output and standard error, in this order.
pub fn said(output: &Output) -> String {
    format!("{}{}", String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr))
}

/// Waits until `fact` holds; fails after `patience`.
pub fn wait_until(what: &str, patience: Duration, mut fact: impl FnMut() -> bool) {
    let began = Instant::now();
    while !fact() {
        assert!(began.elapsed() < patience, "not within {patience:?}: {what}");
        std::thread::park_timeout(Duration::from_millis(10));
    }
}

/// The process id of the PostgreSQL that runs on the cluster's files in `folder`, if one does.
pub fn postgres_in(folder: &Path) -> Option<u32> {
    let pid: u32 =
        std::fs::read_to_string(folder.join("cluster/postmaster.pid")).ok()?.lines().next()?.trim().parse().ok()?;
    runs(pid, "postgres").then_some(pid)
}

/// True while process `pid` is the program `name`.
pub fn runs(pid: u32, name: &str) -> bool {
    std::fs::read_to_string(format!("/proc/{pid}/comm")).is_ok_and(|comm| comm.trim() == name)
}

/// The one folder in `parent`.
pub fn only_folder(parent: &Path) -> Option<PathBuf> {
    std::fs::read_dir(parent).ok()?.flatten().map(|entry| entry.path()).find(|path| path.is_dir())
}

/// A folder in memory where there is one, that the cluster's user can reach.
pub fn folder() -> tempfile::TempDir {
    let parent = if Path::new("/dev/shm").is_dir() { PathBuf::from("/dev/shm") } else { std::env::temp_dir() };
    let folder = tempfile::Builder::new().prefix("caselot-start-").tempdir_in(parent).expect("a folder");
    std::fs::set_permissions(folder.path(), std::os::unix::fs::PermissionsExt::from_mode(0o711)).expect("its mode");
    folder
}
