//! A cluster for one command: made, used and removed. For tests, with every safety setting on, in memory where it fits.

use std::ffi::OsString;
use std::path::{Path, PathBuf};
use std::process::Command;

use secrecy::ExposeSecret;

use super::binaries;
use super::cluster::Plan;
use super::folder::{Layout, Who, folder};
use super::roles::Passwords;
use crate::settings::Settings;
use crate::start::StartError;

/// What a test run writes at most, so that it fits into /dev/shm.
const ROOM: u64 = 2 * 1024 * 1024 * 1024;

/// Runs `command` with a fresh cluster and returns its exit code.
///
/// The command finds in its environment `CASELOT_TEST_CLUSTER` (the superuser's address of the database `postgres`) and
/// `CASELOT_TEST_OWNER`, `CASELOT_TEST_RUNTIME`, `CASELOT_TEST_BACKUP` (the three roles' addresses of an empty database
/// `caselot`). These passwords die with the cluster a moment later, which is why they may stand there.
///
/// # Errors
/// [`StartError`] if the cluster or the command cannot be started.
pub async fn run(parent: Option<&Path>, pg_bin: Option<&Path>, command: &[OsString]) -> Result<u8, StartError> {
    let Some((program, arguments)) = command.split_first() else {
        return Err(StartError::Failed("which command? caselot cluster --throwaway -- COMMAND".to_owned()));
    };
    let parent = parent.map_or_else(roomy_folder, Path::to_path_buf);
    let temporary = tempfile::Builder::new()
        .prefix("caselot-")
        .tempdir_in(&parent)
        .map_err(StartError::io(format!("a folder in {}", parent.display())))?;
    let who = rustix::process::geteuid().is_root().then(Who::look_up);
    let layout = Layout { root: temporary.path().to_path_buf(), who };
    layout.make()?;
    // Tests sign in with the addresses, not with files, so the API's folder stays this user's.
    folder(&layout.api(), 0o700, None)?;
    let plan = Plan {
        // What deploy/get-postgres.sh unpacked lies in the lasting data folder, not in this one.
        binaries: binaries::find(pg_bin, &Layout::choose(&Settings::default())?.root, None)?,
        files: layout.cluster(),
        socket: layout.socket(),
        run_as: who.map(|who| who.cluster),
        log: layout.root.join("cluster.log"),
    };
    let passwords = Passwords::made_once(&layout)?;
    plan.create(&passwords.superuser)?;
    let cluster = plan.start()?;
    passwords.set_up(&layout.socket()).await?;
    let urls = passwords.urls(&layout.socket());
    let mut child = Command::new(program);
    child.args(arguments).env("CASELOT_TEST_CLUSTER", passwords.superuser_url(&layout.socket()).expose_secret());
    child.env("CASELOT_TEST_RUNTIME", urls.runtime.expose_secret());
    for (name, url) in [("CASELOT_TEST_OWNER", &urls.owner), ("CASELOT_TEST_BACKUP", &urls.backup)] {
        if let Some(url) = url {
            child.env(name, url.expose_secret());
        }
    }
    let status = wait_out_signals(child).await;
    cluster.stop();
    temporary.close().map_err(StartError::io("removing the throwaway cluster"))?;
    // A command that a signal ended has no code.
    Ok(status?.code().and_then(|code| u8::try_from(code).ok()).unwrap_or(1))
}

/// Waits for the command. A Ctrl-C reaches it directly (it shares the terminal); this process only must not die before it
/// has cleaned up. A TERM is for this process alone and is handed on.
async fn wait_out_signals(command: Command) -> Result<std::process::ExitStatus, StartError> {
    use tokio::signal::unix::{SignalKind, signal};
    let listen = |kind| signal(kind).map_err(StartError::io("listening for signals"));
    let (mut interrupt, mut terminate) = (listen(SignalKind::interrupt())?, listen(SignalKind::terminate())?);
    let mut child = tokio::process::Command::from(command).spawn().map_err(StartError::io("starting the command"))?;
    loop {
        tokio::select! {
            status = child.wait() => return status.map_err(StartError::io("waiting for the command")),
            _ = interrupt.recv() => {}
            _ = terminate.recv() => {
                let pid = child.id().and_then(|id| i32::try_from(id).ok()).and_then(rustix::process::Pid::from_raw);
                if let Some(pid) = pid {
                    let _ = rustix::process::kill_process(pid, rustix::process::Signal::TERM);
                }
            }
        }
    }
}

fn roomy_folder() -> PathBuf {
    let memory = Path::new("/dev/shm");
    let room = rustix::fs::statvfs(memory).map_or(0, |fs| fs.f_bavail.saturating_mul(fs.f_frsize));
    if room >= ROOM { memory.to_path_buf() } else { std::env::temp_dir() }
}
