//! The way to the program that reads uploaded files: a process of its own, since a hostile file can end or swell it.
//!
//! The API gets one end of a socket; the other end is the standard input and output of `caselot parse-list`. When the
//! server was started as root, the supervisor starts that process under a user id of its own; otherwise the API starts it
//! under the same id, and the limits that the process sets for itself are the fence.

use std::io;
use std::os::fd::OwnedFd;
use std::os::unix::net::UnixStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use crate::postgres::{Ids, Layout, command_as};

/// Parsers at once: each may use half a gigabyte.
const MOST_AT_ONCE: usize = 2;
/// A parser that still lives after this time is ended, whatever it does.
const LONGEST_LIFE: Duration = Duration::from_secs(30);

/// The way to the parser, for the whole process; clone it freely.
#[derive(Debug, Clone)]
pub struct ParserDoor {
    way: Way,
}

#[derive(Debug, Clone)]
enum Way {
    /// Ask the supervisor.
    Supervisor(PathBuf),
    /// Start it here.
    Here(Starter),
}

impl ParserDoor {
    /// The supervisor's socket where there is one, else a parser started by this process.
    ///
    /// # Errors
    /// If this program's own path is not known.
    pub fn new(layout: &Layout) -> io::Result<Self> {
        let socket = layout.parser_socket();
        let way = if socket.exists() {
            Way::Supervisor(socket)
        } else {
            Way::Here(Starter::new(std::env::current_exe()?, None))
        };
        Ok(Self { way })
    }

    /// Parsers started by this process from another program than itself: a test is not the program.
    #[must_use]
    pub fn of_program(program: PathBuf) -> Self {
        Self { way: Way::Here(Starter::new(program, None)) }
    }

    /// Starts one parser. Write the file, `shutdown(Write)`, read the answer to its end; set read and write timeouts.
    ///
    /// # Errors
    /// `WouldBlock` when as many as may run are running (through the supervisor: the stream ends at once); otherwise
    /// whatever the system said.
    pub fn open(&self) -> io::Result<UnixStream> {
        match &self.way {
            Way::Supervisor(socket) => UnixStream::connect(socket),
            Way::Here(starter) => {
                let (ours, theirs) = UnixStream::pair()?;
                starter.start(theirs)?;
                Ok(ours)
            }
        }
    }
}

/// Starts parsers, so many at once and no more.
#[derive(Debug, Clone)]
pub struct Starter {
    program: PathBuf,
    run_as: Option<Ids>,
    running: Arc<AtomicUsize>,
}

impl Starter {
    /// Starts `program parse-list`, as another user if one is given.
    #[must_use]
    pub fn new(program: PathBuf, run_as: Option<Ids>) -> Self {
        Self { program, run_as, running: Arc::default() }
    }

    /// Starts one parser that talks on `stream`, and sees to its end.
    ///
    /// # Errors
    /// `WouldBlock` when as many as may run are running; otherwise whatever the system said.
    pub fn start(&self, stream: UnixStream) -> io::Result<()> {
        let place = Place::take(&self.running).ok_or(io::ErrorKind::WouldBlock)?;
        let output = Stdio::from(OwnedFd::from(stream.try_clone()?));
        let input = Stdio::from(OwnedFd::from(stream));
        let program = self.program.clone();
        let run_as = self.run_as;
        // The death signal is bound to the thread that starts the child, so the thread stays until the child has ended.
        let (said, heard) = std::sync::mpsc::channel();
        std::thread::Builder::new().name("parser".to_owned()).spawn(move || {
            let _place = place;
            let spawned = command(&program, run_as).stdin(input).stdout(output).spawn();
            match spawned {
                Ok(child) => {
                    let _ = said.send(Ok(()));
                    see_to_its_end(child);
                }
                Err(error) => {
                    let _ = said.send(Err(error));
                }
            }
        })?;
        heard.recv().map_err(|_| io::Error::other("the parser's thread ended"))?
    }
}

fn command(program: &Path, run_as: Option<Ids>) -> Command {
    let mut command = command_as(run_as, "KILL", program);
    // Nothing of this process reaches the parser but the file: no environment, no folder, no error output.
    command.arg("parse-list").env_clear().env("PATH", "/usr/bin:/bin").current_dir("/").stderr(Stdio::null());
    command
}

fn see_to_its_end(mut child: Child) {
    let began = Instant::now();
    loop {
        match child.try_wait() {
            Ok(None) if began.elapsed() < LONGEST_LIFE => std::thread::park_timeout(Duration::from_millis(20)),
            Ok(None) => {
                let _ = child.kill();
                let _ = child.wait();
                return;
            }
            Ok(Some(_)) | Err(_) => return,
        }
    }
}

struct Place(Arc<AtomicUsize>);

impl Place {
    fn take(running: &Arc<AtomicUsize>) -> Option<Self> {
        let took = running.fetch_update(Ordering::SeqCst, Ordering::SeqCst, |now| {
            (now < MOST_AT_ONCE).then(|| now.saturating_add(1))
        });
        took.ok().map(|_| Self(Arc::clone(running)))
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        self.0.fetch_sub(1, Ordering::SeqCst);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::{Read, Write};
    use std::net::Shutdown;

    /// A stand-in for the parser: a script that ignores its argument and answers with what it was given.
    fn echo() -> (tempfile::TempDir, Starter) {
        let folder = tempfile::tempdir().unwrap();
        let program = folder.path().join("program");
        std::fs::write(&program, "#!/bin/sh\nprintf '%s:' \"$1\"\nexec cat\n").unwrap();
        std::fs::set_permissions(&program, std::os::unix::fs::PermissionsExt::from_mode(0o755)).unwrap();
        let starter = Starter::new(program, None);
        (folder, starter)
    }

    #[test]
    fn the_file_goes_in_and_the_answer_comes_out_of_one_socket() {
        let (_folder, starter) = echo();
        let (mut ours, theirs) = UnixStream::pair().unwrap();
        starter.start(theirs).unwrap();
        ours.write_all(b"oat rounds").unwrap();
        ours.shutdown(Shutdown::Write).unwrap();
        let mut answer = String::new();
        ours.read_to_string(&mut answer).unwrap();
        assert_eq!(answer, "parse-list:oat rounds");
    }

    #[test]
    fn a_third_parser_has_to_wait_until_one_has_ended() {
        let (_folder, starter) = echo();
        let open = || {
            let (ours, theirs) = UnixStream::pair().unwrap();
            starter.start(theirs).map(|()| ours)
        };
        let (first, _second) = (open().unwrap(), open().unwrap());
        assert_eq!(open().unwrap_err().kind(), io::ErrorKind::WouldBlock);
        drop(first);
        let began = Instant::now();
        while starter.running.load(Ordering::SeqCst) == 2 && began.elapsed() < Duration::from_secs(10) {
            std::thread::yield_now();
        }
        assert!(open().is_ok());
    }
}
