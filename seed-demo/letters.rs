//! A mail server that keeps what it is given as files (RFC 5321), so that the demo's messages can be looked at. For a demo on this
//! machine only: it listens on loopback, sends nothing on, and asks nobody who they are.

use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::{Ipv4Addr, TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

/// The longest letter that is kept.
const LONGEST: u64 = 1024 * 1024;

/// The number of the last letter.
static LAST: AtomicUsize = AtomicUsize::new(0);

/// Keeps letters in `folder`, numbered as they come, until the process ends.
///
/// # Errors
/// If the port is taken or the folder cannot be made.
pub fn keep(port: u16, folder: &Path) -> Result<(), String> {
    let told = |what: &str, error: &dyn std::fmt::Display| format!("{what}: {error}");
    std::fs::create_dir_all(folder).map_err(|error| told(&folder.display().to_string(), &error))?;
    let kept = std::fs::read_dir(folder).map_err(|error| told(&folder.display().to_string(), &error))?.count();
    LAST.store(kept, Ordering::Relaxed);
    let listener =
        TcpListener::bind((Ipv4Addr::LOCALHOST, port)).map_err(|error| told("listening for mail", &error))?;
    for stream in listener.incoming().flatten() {
        let folder = folder.to_owned();
        std::thread::spawn(move || {
            if let Err(error) = talk(&stream, &folder) {
                eprintln!("seed-demo: a conversation about mail broke off: {error}");
            }
        });
    }
    Ok(())
}

fn talk(stream: &TcpStream, folder: &Path) -> std::io::Result<()> {
    stream.set_read_timeout(Some(Duration::from_mins(2)))?;
    let mut reader = BufReader::new(stream.try_clone()?.take(LONGEST * 100));
    let mut writer = stream.try_clone()?;
    let mut say = |text: &str| writer.write_all(format!("{text}\r\n").as_bytes());
    say("220 demo.example.org keeps letters")?;
    let mut line = String::new();
    loop {
        line.clear();
        if reader.read_line(&mut line)? == 0 {
            return Ok(());
        }
        match line.split_whitespace().next().unwrap_or_default().to_ascii_uppercase().as_str() {
            "EHLO" => say("250-demo.example.org\r\n250 8BITMIME")?,
            "DATA" => {
                say("354 go on")?;
                say(if letter(&mut reader, folder)? { "250 kept" } else { "552 too long" })?;
            }
            "QUIT" => return say("221 goodbye"),
            _ => say("250 as you like")?,
        }
    }
}

/// Reads up to the dot that stands alone, and keeps it unless it is too long.
fn letter(reader: &mut impl std::io::BufRead, folder: &Path) -> std::io::Result<bool> {
    let mut text = Vec::new();
    let mut line = Vec::new();
    let mut too_long = false;
    loop {
        line.clear();
        if reader.read_until(b'\n', &mut line)? == 0 {
            return Err(std::io::ErrorKind::UnexpectedEof.into());
        }
        if line == b".\r\n" {
            break;
        }
        too_long |= u64::try_from(text.len()).unwrap_or(u64::MAX) > LONGEST;
        if !too_long {
            text.extend_from_slice(line.strip_prefix(b".").unwrap_or(&line));
        }
    }
    if too_long {
        return Ok(false);
    }
    let number = LAST.fetch_add(1, Ordering::Relaxed) + 1;
    let path: PathBuf = folder.join(format!("{number:04}.eml"));
    let unfinished = path.with_extension("part");
    std::fs::write(&unfinished, &text)?;
    std::fs::rename(&unfinished, &path)?;
    Ok(true)
}
