//! The server's side of the reader: hands a file to the child over a socket, waits a bounded time, takes a bounded answer.

use super::child::{Answer, Order};
use super::fault::{FaultCode, ParseFault};
use super::{MAX_FILE_BYTES, ParsedTable};
use crate::intake::kinds::ListKind;
use crate::parser_door::ParserDoor;
use std::io::ErrorKind;
use std::os::unix::net::UnixStream;
use std::time::{Duration, Instant};
use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt};

/// How long a file may take on the clock, so that its refusal comes within 12 s; its processor time is 10 s (R22).
const WALL_LIMIT: Duration = Duration::from_millis(11_500);
/// A child that ends without an answer after this long has used up its processor time; before, its memory.
const SLOW: Duration = Duration::from_secs(9);
/// The longest answer that is taken: a list of 20,000 rows is a few MiB.
const MAX_ANSWER_BYTES: u64 = 32 * 1024 * 1024;
/// How often, and how far apart, a door is tried behind which as many readers as may run are running.
const TRIES: u32 = 120;
const BETWEEN_TRIES: Duration = Duration::from_millis(250);

/// Reads a file as a list of this kind, outside this process, as soon as a reader is free.
///
/// # Errors
/// What is wrong with the file, or why it could not be read: too slow, too large, or no reader.
pub async fn parse_in_child(
    door: &ParserDoor,
    bytes: &[u8],
    kind: ListKind,
    sheet: Option<&str>,
) -> Result<ParsedTable, ParseFault> {
    for _ in 0..TRIES {
        let opening = door.clone();
        let opened = tokio::task::spawn_blocking(move || opening.open()).await.map_err(|cause| no_reader(&cause))?;
        match opened {
            Ok(stream) => {
                if let Some(answer) = parse_sheet_over(stream, bytes, kind, sheet).await {
                    return answer;
                }
            }
            Err(cause) if cause.kind() == ErrorKind::WouldBlock => {}
            Err(cause) => return Err(no_reader(&cause)),
        }
        tokio::time::sleep(BETWEEN_TRIES).await;
    }
    Err(no_reader(&"no reader came free for half a minute"))
}

/// Reads a file over a stream at whose other end a reader was started. None when none was: all of them are busy.
///
/// Dropping the stream ends the reader: it is waiting for the rest of the file or for room for its answer, and finds the
/// other end gone; whoever started it sees to its end in any case.
pub async fn parse_over(stream: UnixStream, bytes: &[u8], kind: ListKind) -> Option<Result<ParsedTable, ParseFault>> {
    parse_sheet_over(stream, bytes, kind, None).await
}

/// As [`parse_over`], of one sheet of a workbook.
pub async fn parse_sheet_over(
    stream: UnixStream,
    bytes: &[u8],
    kind: ListKind,
    sheet: Option<&str>,
) -> Option<Result<ParsedTable, ParseFault>> {
    if bytes.len() > MAX_FILE_BYTES {
        let detail = "the file is larger than 5 MiB; leave only this unit's rows in it";
        return Some(Err(ParseFault::whole(FaultCode::FileTooLarge, detail)));
    }
    let began = Instant::now();
    let answer = match tokio::time::timeout(WALL_LIMIT, exchange(stream, bytes, (kind, sheet))).await {
        Ok(Ok(answer)) => answer,
        Ok(Err(fault)) => return Some(Err(fault)),
        Err(_) => return Some(Err(too_long())),
    };
    match answer.as_slice() {
        [] => None,
        [b'\n'] if began.elapsed() >= SLOW => Some(Err(too_long())),
        [b'\n'] => {
            let detail = "reading the file needed more memory than a list needs; copy only the list into a new file, or save it as CSV";
            Some(Err(ParseFault::whole(FaultCode::TooMuchMemory, detail)))
        }
        answer => Some(understood(answer)),
    }
}

async fn exchange(stream: UnixStream, bytes: &[u8], asked: (ListKind, Option<&str>)) -> Result<Vec<u8>, ParseFault> {
    stream.set_nonblocking(true).map_err(|cause| no_reader(&cause))?;
    let stream = tokio::net::UnixStream::from_std(stream).map_err(|cause| no_reader(&cause))?;
    let (output, input) = stream.into_split();
    write_and_read(input, output, bytes, asked).await
}

/// Writes order and file, closes that half, reads to the end; both at once, so that neither side waits for the other.
async fn write_and_read(
    mut input: impl AsyncWrite + Unpin,
    output: impl AsyncRead + Unpin,
    bytes: &[u8],
    (kind, sheet): (ListKind, Option<&str>),
) -> Result<Vec<u8>, ParseFault> {
    let mut order =
        serde_json::to_vec(&Order { kind, sheet: sheet.map(str::to_owned) }).map_err(|cause| no_reader(&cause))?;
    order.push(b'\n');
    let write = async move {
        // a reader that refuses early closes its end: its answer counts, not this error
        let _refused_early = async {
            input.write_all(&order).await?;
            input.write_all(bytes).await?;
            input.shutdown().await
        }
        .await;
    };
    let read = async {
        let mut answer = Vec::new();
        let ended = output.take(MAX_ANSWER_BYTES + 1).read_to_end(&mut answer).await;
        ended
            .map(|_| ())
            .or_else(|cause| if cause.kind() == ErrorKind::ConnectionReset { Ok(()) } else { Err(cause) })?;
        Ok::<_, std::io::Error>(answer)
    };
    let ((), answer) = tokio::join!(write, read);
    let answer = answer.map_err(|cause| no_reader(&cause))?;
    if u64::try_from(answer.len()).unwrap_or(u64::MAX) > MAX_ANSWER_BYTES {
        let detail = "the list holds more text than can be shown; leave only this unit's rows in it";
        return Err(ParseFault::whole(FaultCode::TooManyCells, detail));
    }
    Ok(answer)
}

fn understood(answer: &[u8]) -> Result<ParsedTable, ParseFault> {
    let answer: Answer = serde_json::from_slice(answer).map_err(|cause| no_reader(&cause))?;
    if answer.fence.paths_and_ports == "none" {
        tracing::debug!("this kernel has no Landlock: the reader of lists is held by its limits alone");
    }
    match (answer.table, answer.fault) {
        (_, Some(fault)) => Err(fault),
        (Some(table), None) => Ok(table),
        (None, None) => Err(no_reader(&"it answered nothing")),
    }
}

fn too_long() -> ParseFault {
    ParseFault::whole(FaultCode::TookTooLong, "reading the file took too long; leave only this unit's rows in it")
}

fn no_reader(cause: &dyn std::fmt::Display) -> ParseFault {
    tracing::error!(%cause, "the reader of lists failed");
    let detail =
        "the list could not be read because of a fault of this server; send it again, then tell the administrator";
    ParseFault::whole(FaultCode::ReaderFailed, detail)
}
