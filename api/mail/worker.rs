//! The worker that hands messages to mail servers.
//!
//! It takes a message (`sending`, with the instant) in one transaction, hands it over while none is open, and writes down what
//! became of it in another. Killed in between, the message is taken again once its time is over, by any process: with the same
//! Message-ID, date and bytes, so that a mail server that had it already can tell. What a server refuses for good is given up
//! and shown; what it refuses for now is tried again, ever later; what keeps a connection from being opened holds up
//! everything behind it and uses up no message's tries.

use std::sync::Arc;
use std::time::{Duration, Instant};

use chrono::{DateTime, TimeDelta, Utc};
use lettre::transport::smtp::client::AsyncSmtpConnection;
use secrecy::ExposeSecret as _;
use uuid::Uuid;

use super::compose::{self, Letter};
use super::outcome::{Claimed, Outcome, back, unreached};
use super::sql;
use super::transport::{Transport, Transports, said};
use super::write::LINK;
use crate::auth::System;
use crate::auth::seal::Seal;
use crate::common::clock;
use crate::common::ids::UnitId;
use crate::error::ApiError;

/// How long a mail server that could not be reached is left alone.
const LEFT_ALONE: Duration = Duration::from_mins(1);

/// How long one message may take. RFC 5321 section 4.5.3.2.6 lets a server think for ten minutes after the last line.
const ONE_MESSAGE: Duration = Duration::from_mins(12);

/// After how long a taken message is taken to be a dead worker's: longer than a living one can be about it, since it takes one
/// at a time.
const TAKEN_FOR: TimeDelta = TimeDelta::minutes(15);

/// What the worker needs.
#[derive(Clone, Debug)]
pub struct Post {
    /// The program itself.
    pub system: System,
    /// The mail servers.
    pub transports: Transports,
    /// What opens sealed links.
    pub seal: Seal,
    /// The address of this server, for what links of ours begin with.
    pub own_address: String,
}

/// Whose messages.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Whose {
    Server,
    Unit(UnitId),
}

impl Whose {
    const fn unit(self) -> Option<UnitId> {
        match self {
            Self::Server => None,
            Self::Unit(unit) => Some(unit),
        }
    }
}

/// Mail servers that could not be reached, and since when.
#[derive(Debug, Default)]
pub struct LeftAlone(Vec<(Arc<Transport>, Instant)>);

impl LeftAlone {
    fn is(&mut self, transport: &Arc<Transport>) -> bool {
        self.0.retain(|(_, since)| since.elapsed() < LEFT_ALONE);
        self.0.iter().any(|(one, _)| Arc::ptr_eq(one, transport))
    }
}

/// One round: everything that is due, of the server and of these units.
///
/// # Errors
/// Database faults.
pub async fn round(
    post: &Post,
    units: &[UnitId],
    alone: &mut LeftAlone,
    stop: &tokio::sync::watch::Receiver<bool>,
) -> Result<(), ApiError> {
    for whose in std::iter::once(Whose::Server).chain(units.iter().copied().map(Whose::Unit)) {
        let transport = match whose {
            Whose::Server => post.transports.of_server(),
            Whose::Unit(unit) => post.transports.of_unit(unit),
        };
        let Some(transport) = transport.filter(|transport| !alone.is(transport)) else { continue };
        if let Err(unreachable) = drain(post, transport, whose, stop).await? {
            tracing::warn!(host = %transport.host, cause = %unreachable, "mail cannot be handed over; tried again in a minute");
            alone.0.push((Arc::clone(transport), Instant::now()));
        }
    }
    Ok(())
}

/// Everything that is due of one, one message after the other over one connection. The inner error is what kept the mail
/// server from being reached.
async fn drain(
    post: &Post,
    transport: &Transport,
    whose: Whose,
    stop: &tokio::sync::watch::Receiver<bool>,
) -> Result<Result<(), String>, ApiError> {
    let mut connection = None;
    while !*stop.borrow() {
        let Some((claimed_at, message, from)) = claim(post, whose).await? else { break };
        match hand_over(post, transport, &mut connection, &message, &from).await {
            Ok(outcome) => settle(post, whose, claimed_at, message.id, &outcome).await?,
            Err(unreachable) => {
                settle(post, whose, claimed_at, message.id, &unreached(&unreachable)).await?;
                return Ok(Err(unreachable));
            }
        }
    }
    if let Some(mut open) = connection {
        // It has everything; whether it says goodbye changes nothing.
        if let Ok(Err(error)) = tokio::time::timeout(Duration::from_secs(5), open.quit()).await {
            tracing::debug!(cause = %said(&error), "no goodbye");
        }
    }
    Ok(Ok(()))
}

/// Who writes, and where answers go.
struct From {
    name: String,
    reply_to: Option<String>,
}

/// Takes the next message that is due.
async fn claim(post: &Post, whose: Whose) -> Result<Option<(DateTime<Utc>, Claimed, From)>, ApiError> {
    let now = clock::real_now();
    let times = (now, now - TAKEN_FOR);
    let mut tx = post.system.open(whose.unit(), "send_mail").await?;
    let claimed = match whose {
        Whose::Server => sql::account::claim(&mut tx, times).await?.map(super::account::letter),
        Whose::Unit(unit) => sql::sending::claim(&mut tx, unit, times).await?,
    };
    let Some(claimed) = claimed else { return Ok(None) };
    let from = match whose {
        Whose::Server => From { name: "Caselot".to_owned(), reply_to: None },
        Whose::Unit(unit) => {
            let reply_to = sql::setting(&mut tx, unit).await?.reply_to;
            From { name: sql::sending::unit_name(&mut tx, unit).await?, reply_to }
        }
    };
    tx.commit_unlogged().await?;
    Ok(Some((now, claimed, from)))
}

/// Hands one message over. The error is what keeps the mail server from being reached: then no message is to blame.
async fn hand_over(
    post: &Post,
    transport: &Transport,
    connection: &mut Option<AsyncSmtpConnection>,
    message: &Claimed,
    from: &From,
) -> Result<Outcome, String> {
    let now = clock::real_now();
    if message.useless_at.is_some_and(|at| at <= now) {
        return Ok(Outcome::GivenUp { answer: "the link in it had run out before it could be sent".to_owned() });
    }
    let Some(text) = whole_text(&post.seal, message) else {
        return Ok(Outcome::GivenUp {
            answer: "the link in it cannot be opened with this server's sealing key".to_owned(),
        });
    };
    let letter = Letter {
        id: message.id,
        from_name: &from.name,
        from: &transport.sender,
        reply_to: from.reply_to.as_deref(),
        to: &message.to,
        subject: &message.subject,
        text: &text,
        own_address: &post.own_address,
        language: &message.language,
        at: message.queued_at,
    };
    let (envelope, bytes) = match compose::compose(&letter) {
        Ok(composed) => composed,
        Err(why) => return Ok(Outcome::GivenUp { answer: why.to_string() }),
    };
    let mut open = match connection.take() {
        Some(open) if !open.has_broken() => open,
        _ => transport.connect().await?,
    };
    let outcome = match tokio::time::timeout(ONE_MESSAGE, open.send(&envelope, &bytes)).await {
        Ok(Ok(_)) => Outcome::Sent,
        Ok(Err(error)) if error.is_permanent() => Outcome::GivenUp { answer: said(&error) },
        Ok(Err(error)) => back(message, &said(&error)),
        Err(_) => back(message, "the mail server did not finish in time"),
    };
    // After anything but a plain success the next message begins on a connection of its own.
    if outcome == Outcome::Sent {
        *connection = Some(open);
    } else {
        tokio::time::timeout(Duration::from_secs(5), open.abort()).await.unwrap_or_default();
    }
    Ok(outcome)
}

/// The text with its link in its place.
fn whole_text(seal: &Seal, message: &Claimed) -> Option<String> {
    let Some(sealed) = &message.link_sealed else {
        return (!message.body.contains(LINK)).then(|| message.body.clone());
    };
    let link = seal.open(sealed, &message.id.to_string())?;
    let link = std::str::from_utf8(link.expose_secret()).ok()?;
    Some(message.body.replace(LINK, link))
}

async fn settle(
    post: &Post,
    whose: Whose,
    claimed_at: DateTime<Utc>,
    message: Uuid,
    outcome: &Outcome,
) -> Result<(), ApiError> {
    let times = (claimed_at, clock::real_now());
    match whose {
        Whose::Server => {
            let mut tx = post.system.open(None, "send_mail").await?;
            sql::account::settle(&mut tx, message, times, outcome).await?;
            tx.commit_unlogged().await
        }
        Whose::Unit(unit) => {
            let action = match outcome {
                Outcome::Sent => "message_sent",
                Outcome::Again { .. } => "send_mail",
                Outcome::GivenUp { .. } => "message_given_up",
            };
            let mut tx = post.system.open(Some(unit), action).await?;
            let settled = sql::sending::settle(&mut tx, unit, message, times, outcome).await?;
            if settled && !matches!(outcome, Outcome::Again { .. }) {
                tx.about("message", message);
                tx.commit().await
            } else {
                tx.commit_unlogged().await
            }
        }
    }
}
