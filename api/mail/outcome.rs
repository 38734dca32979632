//! A message in the worker's hand, and what became of it.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use crate::common::{clock, retry};

/// When it is tried again after so many tries, in seconds (common practice, no source); then it is given up: 1 min, 5 min, 15 min,
/// 1 h, 4 h, 12 h, 24 h.
const WAITS: [i64; 7] = [60, 300, 900, 3_600, 14_400, 43_200, 86_400];

/// When a mail server is asked again that could not be reached.
const UNREACHED: [i64; 1] = [60];

/// A message that the worker took.
#[derive(Clone, Debug)]
pub struct Claimed {
    /// Which one.
    pub id: Uuid,
    /// To which address.
    pub to: String,
    /// The subject.
    pub subject: String,
    /// The text.
    pub body: String,
    /// Its language.
    pub language: String,
    /// The link that stands in for [`LINK`].
    pub link_sealed: Option<Vec<u8>>,
    /// When it was given to be sent.
    pub queued_at: DateTime<Utc>,
    /// From when on its link opens nothing.
    pub useless_at: Option<DateTime<Utc>>,
    /// How often it was taken, this time too.
    pub attempts: i32,
}

/// What became of a message.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// The mail server has it.
    Sent,
    /// Later again.
    Again {
        /// When.
        at: DateTime<Utc>,
        /// What was said.
        answer: String,
        /// Whether this was a try: it was none if the mail server was not reached.
        tried: bool,
    },
    /// Not any more.
    GivenUp {
        /// What was said.
        answer: String,
    },
}

/// What is written down of an outcome.
pub(super) struct Kept<'a> {
    pub state: &'static str,
    pub due_at: Option<DateTime<Utc>>,
    pub answer: Option<&'a str>,
    /// Tries that were counted when it was taken, and were none.
    pub untried: i32,
}

impl Outcome {
    /// What is written down of it.
    pub(super) fn kept(&self) -> Kept<'_> {
        let (state, due_at, answer, untried) = match self {
            Self::Sent => ("sent", None, None, 0),
            Self::Again { at, answer, tried } => ("waiting", Some(*at), Some(answer), i32::from(!tried)),
            Self::GivenUp { answer } => ("given_up", None, Some(answer), 0),
        };
        Kept { state, due_at, answer: answer.map(String::as_str), untried }
    }
}

/// Later again, or given up after the last try.
pub(super) fn back(message: &Claimed, answer: &str) -> Outcome {
    let answer = answer.to_owned();
    match retry::next_try(&WAITS, message.attempts, clock::real_now(), retry::chance()) {
        Some(at) => Outcome::Again { at, answer, tried: true },
        None => Outcome::GivenUp { answer },
    }
}

/// Put back as if it had not been taken: nothing was wrong with it, its mail server was not reached.
pub(super) fn unreached(answer: &str) -> Outcome {
    let now = clock::real_now();
    let at = retry::next_try(&UNREACHED, 1, now, retry::chance()).unwrap_or(now);
    Outcome::Again { at, answer: answer.to_owned(), tried: false }
}
