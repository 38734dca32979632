//! The child process that reads one foreign file and nothing else: `caselot parse-list`.
//!
//! It limits itself before it reads a byte: memory, processor time, no new file or socket, no growing file, and, where the
//! kernel knows how, no path and no port at all (Landlock). What arrives on its standard input is one line of JSON that
//! says the kind of list and the sheet, then the file to its end; what leaves on its standard output is an empty line, once the fence
//! stands, and then one JSON object: so that a reader which was never started and one which died can be told apart.

use super::fault::{FaultCode, ParseFault};
use super::table::ParsedTable;
use super::{MAX_FILE_BYTES, parse_sheet};
use crate::intake::kinds::ListKind;
use landlock::{ABI, Access, AccessFs, AccessNet, Ruleset, RulesetAttr, RulesetStatus};
use rlimit::Resource;
use serde::{Deserialize, Serialize};
use std::io::{BufRead, BufReader, Read, Write};
use std::process::ExitCode;

/// The memory that the child may take (R22).
pub const MEMORY_BYTES: u64 = 512 * 1024 * 1024;
/// The processor time that the child may take (R22).
pub const PROCESSOR_SECONDS: u64 = 10;

/// The line that comes before the file.
#[derive(Debug, Serialize, Deserialize)]
pub(super) struct Order {
    pub kind: ListKind,
    #[serde(default)]
    pub sheet: Option<String>,
}

/// What the child answers.
#[derive(Debug, Serialize, Deserialize)]
pub(super) struct Answer {
    pub table: Option<ParsedTable>,
    pub fault: Option<ParseFault>,
    pub fence: Fence,
}

/// Which limits the child really stands under; reported, because not every kernel knows all of them.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Fence {
    /// Memory, processor time, files and file size are limited.
    pub limits: bool,
    /// How far paths and ports are shut: `full`, `partial` or `none`.
    pub paths_and_ports: String,
}

/// Reads a list from standard input and writes the answer to standard output; fails only when even that cannot be done.
#[must_use]
pub fn run_child() -> ExitCode {
    let fence = raise_fence();
    if std::io::stdout().write_all(b"\n").and_then(|()| std::io::stdout().flush()).is_err() {
        return ExitCode::FAILURE;
    }
    let (table, fault) = if fence.limits {
        match read_order() {
            Ok((order, bytes)) => match parse_sheet(&bytes, order.kind, order.sheet.as_deref()) {
                Ok(table) => (Some(table), None),
                Err(fault) => (None, Some(fault)),
            },
            Err(fault) => (None, Some(fault)),
        }
    } else {
        let detail = "the reader could not limit itself, so it read nothing";
        (None, Some(ParseFault::whole(FaultCode::ReaderFailed, detail)))
    };
    let Ok(answer) = serde_json::to_vec(&Answer { table, fault, fence }) else { return ExitCode::FAILURE };
    let mut out = std::io::stdout().lock();
    if out.write_all(&answer).and_then(|()| out.flush()).is_ok() { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

fn read_order() -> Result<(Order, Vec<u8>), ParseFault> {
    let broken = |what: &str| ParseFault::whole(FaultCode::ReaderFailed, format!("the reader got {what}"));
    let most = u64::try_from(MAX_FILE_BYTES).unwrap_or(u64::MAX);
    let mut input = BufReader::new(std::io::stdin().lock());
    let mut line = String::new();
    input.by_ref().take(4096).read_line(&mut line).map_err(|_| broken("no order"))?;
    let order = serde_json::from_str(&line).map_err(|_| broken("an order that it does not understand"))?;
    let mut bytes = Vec::new();
    input.take(most + 1).read_to_end(&mut bytes).map_err(|_| broken("only a part of the file"))?;
    Ok((order, bytes))
}

/// Landlock first, because it needs a file descriptor; then the limits that take the last ones away.
fn raise_fence() -> Fence {
    let paths_and_ports = match shut_paths_and_ports() {
        Ok(RulesetStatus::FullyEnforced) => "full",
        Ok(RulesetStatus::PartiallyEnforced) => "partial",
        _ => "none",
    };
    let limits = [
        (Resource::AS, MEMORY_BYTES),
        (Resource::CPU, PROCESSOR_SECONDS),
        (Resource::FSIZE, 0),
        (Resource::CORE, 0),
        (Resource::NOFILE, 3),
    ];
    let limited = limits.into_iter().all(|(what, most)| {
        // a limit that already stands lower stays: raising it is neither allowed nor wanted
        let most = rlimit::getrlimit(what).map_or(most, |(_, hard)| most.min(hard));
        rlimit::setrlimit(what, most, most).is_ok()
    });
    Fence { limits: limited, paths_and_ports: paths_and_ports.to_owned() }
}

fn shut_paths_and_ports() -> Result<RulesetStatus, landlock::RulesetError> {
    let ruleset =
        Ruleset::default().handle_access(AccessFs::from_all(ABI::V5))?.handle_access(AccessNet::from_all(ABI::V5))?;
    Ok(ruleset.create()?.restrict_self()?.ruleset)
}
