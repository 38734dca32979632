//! The program's own log: one line an event, UTC, on standard error; no line can be faked by what a user sent.
//!
//! Nothing personal belongs here: ids, codes and durations only. Values that a caller sent are never fields of an event.

use std::io::{IsTerminal, Write};

use tracing_subscriber::EnvFilter;
use tracing_subscriber::fmt::MakeWriter;

use crate::settings::{Log, LogFormat};
use crate::start::StartError;

/// Starts logging. Once a process; panics are logged with their place but without their text, which could hold anything.
///
/// # Errors
/// [`StartError::Configuration`] if the level cannot be read or logging was started before.
pub fn start(settings: &Log) -> Result<(), StartError> {
    // The driver repeats the database's notices and every slow statement's text, the framework addresses that it cannot
    // read: warnings only, unless asked for by name.
    let filter: EnvFilter = format!("sqlx=warn,actix_web=warn,actix_http=warn,{}", settings.level)
        .parse()
        .map_err(|e| StartError::configuration(format!("log.level: {e}")))?;
    let json = match settings.format {
        LogFormat::Json => true,
        LogFormat::Plain => false,
        LogFormat::Auto => !std::io::stderr().is_terminal(),
    };
    let builder = tracing_subscriber::fmt().with_env_filter(filter).with_ansi(false).with_writer(OneLine);
    let started =
        if json { builder.json().flatten_event(true).try_init() } else { builder.with_target(false).try_init() };
    started.map_err(|e| StartError::configuration(format!("log: {e}")))?;
    std::panic::set_hook(Box::new(|panic| {
        let place = panic.location().map(ToString::to_string).unwrap_or_default();
        tracing::error!(%place, "panic");
    }));
    Ok(())
}

/// Standard error, with every control character but the line's end written as an escape.
struct OneLine;

struct Escaping(std::io::Stderr);

impl<'a> MakeWriter<'a> for OneLine {
    type Writer = Escaping;

    fn make_writer(&'a self) -> Self::Writer {
        Escaping(std::io::stderr())
    }
}

impl Write for Escaping {
    fn write(&mut self, event: &[u8]) -> std::io::Result<usize> {
        self.0.lock().write_all(one_line(event).as_bytes())?;
        Ok(event.len())
    }

    fn flush(&mut self) -> std::io::Result<()> {
        self.0.flush()
    }
}

/// An event comes whole, in one call, with its line end last.
fn one_line(event: &[u8]) -> String {
    let text = String::from_utf8_lossy(event);
    let (body, end) = text.strip_suffix('\n').map_or((text.as_ref(), ""), |body| (body, "\n"));
    let escaped: String =
        body.chars().map(|c| if c.is_control() { c.escape_unicode().to_string() } else { c.to_string() }).collect();
    escaped + end
}

#[cfg(test)]
mod tests {
    use super::one_line;

    #[test]
    fn what_a_user_sent_cannot_start_a_line_or_colour_a_terminal() {
        assert_eq!(one_line(b"GET /a\r\nforged line\x1b[31m\n"), "GET /a\\u{d}\\u{a}forged line\\u{1b}[31m\n");
        assert_eq!(one_line("plum jam \u{9b}31m\n".as_bytes()), "plum jam \\u{9b}31m\n");
        assert_eq!(one_line("Zoë\n".as_bytes()), "Zoë\n");
    }
}
