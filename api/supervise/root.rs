//! Running everything, as root, until told to stop.

use std::path::Path;
use std::process::{ExitStatus, Stdio};
use std::time::{Duration, Instant};

use rustix::process::{Pid, Signal, kill_process};
use tokio::net::UnixListener;
use tokio::process::{Child, Command};
use tokio::signal::unix::{Signal as Listener, SignalKind, signal};

use super::prepare;
use crate::parser_door::Starter;
use crate::postgres::{self, Ids, Layout, Who, command_as, folder, give};
use crate::settings::Settings;
use crate::start::StartError;

/// More restarts of the API than this within a minute are no accident.
const MOST_RESTARTS: usize = 5;

/// How the work ended.
enum End {
    /// Told to stop, and everything running had time to finish.
    Asked,
    /// Told a second time: at once.
    AtOnce,
}

/// Runs cluster, API and parsers under three users until SIGTERM or SIGINT, then stops API and cluster, in that order. A
/// second signal ends it at once; the cluster then ends by itself.
///
/// # Errors
/// [`StartError`] of whatever could not be started, or of an API that keeps ending.
pub fn run(settings: &Settings, layout: &Layout, who: Who) -> Result<(), StartError> {
    // One thread: the children's death signals are bound to the thread that starts them.
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(StartError::io("starting the supervisor"))?;
    runtime.block_on(supervise(settings, layout, who))
}

async fn supervise(settings: &Settings, layout: &Layout, who: Who) -> Result<(), StartError> {
    let mut signals = Signals::listen()?;
    let program = prepare::copy_program(layout)?;
    let database = postgres::open(settings, layout).await?;
    postgres::check(&database.urls.runtime).await?;
    let file = prepare::hand_over(settings, layout, &database.urls.runtime, who.api)?;
    let listener = listen_for_parsers(layout, who.api)?;
    let starter = Starter::new(program.clone(), Some(who.parser));
    let parsers = tokio::spawn(serve_parsers(listener, starter));
    let ended = keep_api(&program, &file, who.api, settings, &mut signals).await;
    parsers.abort();
    let _ = std::fs::remove_file(layout.parser_socket());
    if matches!(ended, Ok(End::AtOnce)) {
        // Leaving now: the cluster gets its death signal and shuts down cleanly without us.
        std::mem::forget(database.cluster);
    }
    ended.map(|_| ())
}

fn listen_for_parsers(layout: &Layout, api: Ids) -> Result<UnixListener, StartError> {
    let path = layout.parser_socket();
    let failed = || StartError::io(path.display().to_string());
    let above = path.parent().unwrap_or(&layout.root).to_path_buf();
    // Only the API may enter the folder; who may enter may connect.
    folder(&above, 0o700, Some(api))?;
    if path.exists() {
        std::fs::remove_file(&path).map_err(failed())?;
    }
    let listener = UnixListener::bind(&path).map_err(failed())?;
    give(&path, Some(api))?;
    Ok(listener)
}

/// Starts a parser for each connection; one too many is closed unanswered, which the API reads as "busy".
async fn serve_parsers(listener: UnixListener, starter: Starter) {
    loop {
        let stream = match listener.accept().await {
            Ok((stream, _)) => stream,
            Err(error) => {
                tracing::warn!(%error, "a parser could not be asked for");
                tokio::time::sleep(Duration::from_millis(100)).await;
                continue;
            }
        };
        let outcome = stream
            .into_std()
            .and_then(|stream| stream.set_nonblocking(false).map(|()| stream))
            .and_then(|s| starter.start(s));
        if let Err(error) = outcome {
            tracing::warn!(%error, "a parser was not started");
        }
    }
}

async fn keep_api(
    program: &Path,
    file: &Path,
    api: Ids,
    settings: &Settings,
    signals: &mut Signals,
) -> Result<End, StartError> {
    let mut starts: Vec<Instant> = Vec::new();
    loop {
        starts.retain(|at| at.elapsed() < Duration::from_mins(1));
        starts.push(Instant::now());
        let mut command = command_as(Some(api), "TERM", program);
        command.arg("serve-api").arg("--settings").arg(file).stdin(Stdio::null()).current_dir("/");
        let mut child = Command::from(command).spawn().map_err(StartError::io("starting the API"))?;
        let status = tokio::select! {
            status = child.wait() => status.map_err(StartError::io("waiting for the API"))?,
            () = signals.next() => return stop(&mut child, settings, signals).await,
        };
        if status.code() == Some(78) || starts.len() > MOST_RESTARTS {
            return Err(StartError::Failed(format!(
                "the API ended by itself ({status}); its own messages above say why"
            )));
        }
        tracing::error!(%status, "the API ended by itself; starting it again");
        tokio::select! {
            () = tokio::time::sleep(Duration::from_secs(1)) => {}
            () = signals.next() => return Ok(End::Asked),
        }
    }
}

async fn stop(child: &mut Child, settings: &Settings, signals: &mut Signals) -> Result<End, StartError> {
    send(child, Signal::TERM);
    let patience = Duration::from_secs(settings.limits.stop_seconds.saturating_add(3));
    let report = |status: ExitStatus| {
        if !status.success() {
            tracing::warn!(%status, "the API did not stop cleanly");
        }
    };
    tokio::select! {
        status = child.wait() => {
            report(status.map_err(StartError::io("waiting for the API"))?);
            Ok(End::Asked)
        }
        () = tokio::time::sleep(patience) => {
            tracing::warn!("the API did not stop in time; ending it");
            child.kill().await.map_err(StartError::io("ending the API"))?;
            Ok(End::Asked)
        }
        () = signals.next() => {
            child.kill().await.map_err(StartError::io("ending the API"))?;
            Ok(End::AtOnce)
        }
    }
}

fn send(child: &Child, signal: Signal) {
    if let Some(pid) = child.id().and_then(|id| i32::try_from(id).ok()).and_then(Pid::from_raw) {
        let _ = kill_process(pid, signal);
    }
}

/// The two signals that mean "stop".
struct Signals {
    terminate: Listener,
    interrupt: Listener,
}

impl Signals {
    fn listen() -> Result<Self, StartError> {
        let listen = |kind| signal(kind).map_err(StartError::io("listening for signals"));
        Ok(Self { terminate: listen(SignalKind::terminate())?, interrupt: listen(SignalKind::interrupt())? })
    }

    async fn next(&mut self) {
        tokio::select! {
            _ = self.terminate.recv() => {}
            _ = self.interrupt.recv() => {}
        }
    }
}
