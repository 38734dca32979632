//! The stream itself: a batch of the log, the wait for more, a sign of life.

use std::convert::Infallible;
use std::fmt::Write as _;
use std::sync::atomic::Ordering;
use std::time::Duration;

use actix_web::body::BoxBody;
use actix_web::http::header;
use actix_web::web::Bytes;
use actix_web::{HttpRequest, HttpResponse, Responder};
use tokio::sync::watch::Receiver;
use tokio::time::Instant;
use uuid::Uuid;

use super::places::Place;
use super::rules::{Event, EventSubject, Listener};
use crate::auth::{Actor, Again, Tx};
use crate::common::clock;
use crate::error::ApiError;
use crate::roster;
use crate::server::STOPPING;
use crate::units::{LogRow, log_rows};

/// Rows of the log that are looked at in one transaction.
const BATCH: i64 = 200;

/// How often a sign of life is given, and looked whether the listener may still listen.
const SIGN_OF_LIFE: Duration = Duration::from_secs(20);

/// How soon a stream notices that the server stops.
const GLANCE: Duration = Duration::from_secs(1);

/// The answer that goes on.
#[derive(Debug)]
pub struct EventStream {
    again: Again,
    grown: Receiver<()>,
    after: i64,
    until: Instant,
    greeted: bool,
    over: bool,
    _place: Place,
}

impl EventStream {
    pub(super) fn new(again: Again, grown: Receiver<()>, after: i64, wait_seconds: u64, place: Place) -> Self {
        let token = again.token_lasts(clock::real_now()).and_then(|left| left.to_std().ok());
        let wait = Duration::from_secs(wait_seconds);
        let until = Instant::now() + token.map_or(wait, |token| token.min(wait));
        Self { again, grown, after, until, greeted: false, over: false, _place: place }
    }

    /// Ends at once if nobody waits for a body.
    pub(super) fn headers_alone(self, alone: bool) -> Self {
        Self { over: self.over || alone, ..self }
    }

    /// What is sent next; none when it is over.
    async fn next(mut self) -> Option<(Result<Bytes, Infallible>, Self)> {
        if !self.greeted && !self.over {
            // Who is cut off before the first event knows from where on to ask again.
            self.greeted = true;
            return Some((Ok(format!("id: {}\n\n", self.after).into()), self));
        }
        while !self.over {
            self.grown.borrow_and_update();
            let (text, more) = match self.batch().await {
                Ok(batch) => batch,
                Err(error) => {
                    tracing::debug!(%error, "a stream of events ends");
                    return None;
                }
            };
            self.over = !more && (Instant::now() >= self.until || STOPPING.load(Ordering::Relaxed));
            if !text.is_empty() {
                return Some((Ok(text.into()), self));
            }
            if !more && !self.over && !self.wait().await {
                // Those who may not listen any more hear nothing, not even this.
                return self.batch().await.ok().map(|(text, _)| (Ok(format!(": here\n\n{text}").into()), self));
            }
        }
        None
    }

    /// The next rows as this listener hears them now, and whether there are more.
    async fn batch(&mut self) -> Result<(String, bool), ApiError> {
        let (actor, mut tx) = self.again.enter().await?;
        if actor.scope::<crate::auth::permission::EventsRead>() == crate::auth::Scope::Nothing {
            return Err(crate::error::Code::Forbidden.into());
        }
        let rows = log_rows(&mut tx, self.again.unit(), self.after, BATCH).await?;
        let Some(last) = rows.last().map(|row| row.seq) else { return Ok((String::new(), false)) };
        let more = i64::try_from(rows.len()).is_ok_and(|count| count == BATCH);
        let events = heard(&actor, &mut tx, self.again.unit(), rows).await?;
        drop(tx);
        let mut text = String::new();
        for event in &events {
            let data = serde_json::to_string(event).map_err(|error| ApiError::internal(&error))?;
            let _ = write!(text, "id: {}\nevent: {}\ndata: {data}\n\n", event.seq, event.action);
        }
        if events.last().is_none_or(|event| event.seq != last) {
            let _ = write!(text, "id: {last}\n\n");
        }
        self.after = last;
        Ok((text, more))
    }

    /// Waits until there may be more, and says whether there may; or until a sign of life is due.
    async fn wait(&mut self) -> bool {
        let sign = Instant::now() + SIGN_OF_LIFE;
        loop {
            let now = Instant::now();
            if now >= self.until || STOPPING.load(Ordering::Relaxed) {
                self.over = true;
                return true;
            }
            if now >= sign {
                return false;
            }
            let wake = (now + GLANCE).min(self.until).min(sign);
            if tokio::time::timeout_at(wake, self.grown.changed()).await.is_ok() {
                return true;
            }
        }
    }
}

/// Of these rows, those that this listener hears.
async fn heard(
    actor: &Actor,
    tx: &mut Tx,
    unit: crate::common::ids::UnitId,
    rows: Vec<LogRow>,
) -> Result<Vec<Event>, ApiError> {
    let mut events = Vec::new();
    for LogRow { seq, at, action, subjects, .. } in rows {
        let subjects: Vec<EventSubject> =
            serde_json::from_str(&subjects).map_err(|error| ApiError::internal(&error))?;
        events.push(Event { seq, at, action, subjects });
    }
    let ids: Vec<Uuid> =
        events.iter().flat_map(|event| &event.subjects).filter_map(|subject| subject.id.parse().ok()).collect();
    let troops: Vec<Uuid> = actor.entered.troops.iter().map(|troop| troop.0).collect();
    let own = match actor.entered.person_id {
        Some(oneself) => roster::own_ties(tx, unit, (&troops, oneself), &ids).await?,
        None => roster::OwnTies::default(),
    };
    let scope_of = |name: &str| actor.scope_of(name);
    let listener = Listener { scope_of: &scope_of, own: &own };
    Ok(events.into_iter().filter_map(|event| listener.hears(event)).collect())
}

impl Responder for EventStream {
    type Body = BoxBody;

    fn respond_to(self, _: &HttpRequest) -> HttpResponse {
        let parts = futures_util::stream::unfold(self, Self::next);
        HttpResponse::Ok()
            .insert_header((header::CONTENT_TYPE, "text/event-stream"))
            // Each part goes out when it is there: what compresses would hold it back, and so would a proxy.
            .insert_header((header::CONTENT_ENCODING, "identity"))
            .insert_header(("x-accel-buffering", "no"))
            .streaming(parts)
    }
}
