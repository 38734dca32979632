//! Who attacks, where, and what is noted of the answers.

use std::collections::{BTreeMap, BTreeSet};
use std::panic::AssertUnwindSafe;

use futures_util::FutureExt as _;
use reqwest::Method;

use crate::operations::Operation;
use crate::support::client::{Answered, Asked, Caller};
use crate::support::world::World;

/// Whether everything is sent everywhere.
pub fn long() -> bool {
    std::env::var("ATTACK").is_ok_and(|length| length == "long")
}

/// Which of a list's entries are sent to the n-th place: all, or every sixteenth, beginning with another one each time.
pub fn chosen(place: usize, entry: usize) -> bool {
    long() || (place + entry).is_multiple_of(16)
}

/// Somebody whom the operation lets in.
pub fn insider<'a>(world: &'a World, operation: &Operation) -> &'a Caller {
    match operation.permission.as_str() {
        "public" => &world.nobody,
        "units.create" => &world.administrator,
        "steps.read" | "steps.report" => &world.clara,
        "waivers.approve" | "overrides.approve" => &world.overseer,
        _ => &world.manager,
    }
}

/// What is put into a request beside its body.
pub fn dressed(caller: &Caller, operation: &Operation, path: &str, etag: &str) -> Asked {
    let asked = caller.ask(operation.method.clone(), path);
    if operation.asks_for_a_version() { asked.header("if-match", etag) } else { asked }
}

/// Every header field that an answer of this program has. Another one was made by what somebody sent.
const FIELDS: &[&str] = &[
    "accept-ranges",
    "allow",
    "cache-control",
    "content-disposition",
    "content-encoding",
    "content-length",
    "content-security-policy",
    "content-type",
    "date",
    "etag",
    "idempotency-replayed",
    "link",
    "location",
    "ratelimit",
    "ratelimit-policy",
    "referrer-policy",
    "retry-after",
    "transfer-encoding",
    "vary",
    "www-authenticate",
    "x-content-type-options",
    "x-frame-options",
    "x-request-id",
];

/// What is wrong with the header fields of an answer, if anything.
fn header_fault(answer: &Answered) -> Option<String> {
    for (name, value) in &answer.headers {
        if !FIELDS.contains(&name.as_str()) {
            return Some(format!("a header field that nobody made: {name}"));
        }
        let plain = |byte: &u8| matches!(byte, b' '..=b'~');
        if !value.as_bytes().iter().all(plain) {
            return Some(format!("{name} holds what is not plain: {value:?}"));
        }
        let markup = ["<script", "javascript:"];
        if markup.iter().any(|part| value.to_str().is_ok_and(|text| text.to_lowercase().contains(part))) {
            return Some(format!("{name} repeats what was sent: {value:?}"));
        }
    }
    None
}

/// What came of an attack.
#[derive(Default)]
pub struct Tally {
    /// How many answers of each status.
    pub statuses: BTreeMap<u16, usize>,
    /// What must not be, each with what was sent.
    pub faults: Vec<String>,
    /// Operations of which at least one request had its effect.
    pub reached: BTreeSet<String>,
}

impl Tally {
    /// How many requests were answered.
    pub fn tried(&self) -> usize {
        self.statuses.values().sum()
    }

    /// Sends it and notes the answer; the answer is none if it broke a promise of the document, which is noted too.
    pub async fn send(&mut self, what: &str, asked: Asked) -> Option<Answered> {
        let outcome = AssertUnwindSafe(asked.into_future()).catch_unwind().await;
        let answer = match outcome {
            Ok(answer) => answer,
            Err(panic) => {
                let text = panic.downcast_ref::<String>().cloned();
                let text = text.or_else(|| panic.downcast_ref::<&str>().map(|text| (*text).to_owned()));
                self.faults.push(format!("{what}: {}", text.unwrap_or_default()));
                *self.statuses.entry(0).or_default() += 1;
                return None;
            }
        };
        *self.statuses.entry(answer.status).or_default() += 1;
        // Who is told to come again was not answered at all: by a machine that has more to do than these tests.
        if answer.status >= 500 && answer.status != 503 {
            self.faults.push(format!("{what}: {answer}"));
        }
        if let Some(fault) = header_fault(&answer) {
            self.faults.push(format!("{what}: {fault}"));
        }
        Some(answer)
    }

    /// Says what was tried, and fails if anything was not as it must be.
    pub fn conclude(&self, what: &str) {
        println!("{what}: {} tried, {} faults, by status {:?}", self.tried(), self.faults.len(), self.statuses);
        let told: Vec<String> = self.faults.iter().take(25).map(|fault| fault.chars().take(1_500).collect()).collect();
        let put_off = self.statuses.get(&503).copied().unwrap_or(0);
        assert!(put_off * 100 <= self.tried(), "{put_off} of {} were put off: is the machine so busy?", self.tried());
        assert!(self.faults.is_empty(), "{} faults, of them:\n\n{}", self.faults.len(), told.join("\n\n"));
    }
}

/// Bytes as they stand in an address, everything escaped that has a meaning there.
pub fn escaped(bytes: &[u8]) -> String {
    let each = bytes.iter().map(|byte| match byte {
        b'0'..=b'9' | b'a'..=b'z' | b'A'..=b'Z' | b'-' | b'_' => char::from(*byte).to_string(),
        other => format!("%{other:02x}"),
    });
    each.collect()
}

/// Whether an operation only reads.
pub fn reads(operation: &Operation) -> bool {
    operation.method == Method::GET
}
