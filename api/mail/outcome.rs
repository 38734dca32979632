//! A message in the worker's hand, and what became of it.

use chrono::{DateTime, TimeDelta, Utc};
use uuid::Uuid;

use crate::auth::token;
use crate::common::clock;

/// When it is tried again after so many tries (common practice, no source); then it is given up.
const AGAIN: [TimeDelta; 7] = [
    TimeDelta::minutes(1),
    TimeDelta::minutes(5),
    TimeDelta::minutes(15),
    TimeDelta::hours(1),
    TimeDelta::hours(4),
    TimeDelta::hours(12),
    TimeDelta::hours(24),
];

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
    },
    /// Not any more.
    GivenUp {
        /// What was said.
        answer: String,
    },
}

impl Outcome {
    /// The state, when it is due, and what was said.
    #[must_use]
    pub fn parts(&self) -> (&'static str, Option<DateTime<Utc>>, Option<&str>) {
        match self {
            Self::Sent => ("sent", None, None),
            Self::Again { at, answer } => ("waiting", Some(*at), Some(answer)),
            Self::GivenUp { answer } => ("given_up", None, Some(answer)),
        }
    }
}

/// Later again, or given up after the last try.
pub(super) fn back(message: &Claimed, answer: &str) -> Outcome {
    let tries = usize::try_from(message.attempts).unwrap_or(usize::MAX).saturating_sub(1);
    match AGAIN.get(tries) {
        Some(delay) => Outcome::Again { at: clock::real_now() + jittered(*delay), answer: answer.to_owned() },
        None => Outcome::GivenUp { answer: answer.to_owned() },
    }
}

/// A fifth more or less, so that what failed together is not tried together.
pub(super) fn jittered(delay: TimeDelta) -> TimeDelta {
    let [byte] = token::chance::<1>();
    delay * (80 + i32::from(byte) * 40 / 255) / 100
}
