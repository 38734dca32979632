//! Sending to an address outside: its name is looked up, all that it stands for is checked, and exactly that is connected to.

use std::future::Future;
use std::io;
use std::net::SocketAddr;
use std::pin::Pin;
use std::sync::Arc;
use std::time::{Duration, Instant};

use reqwest::Client;
use reqwest::dns::{Addrs, Name, Resolving};
use reqwest::header::{CONTENT_TYPE, HeaderMap, HeaderValue};
use reqwest::redirect::Policy;

use super::address::AddressRules;
use super::rules::AttemptOutcome;
use super::sql::work::Tried;
use crate::error::ApiError;

/// How long things outside may take (R24).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Patience {
    /// Until a connection stands.
    pub connect: Duration,
    /// Until the answer is read.
    pub answer: Duration,
}

impl Default for Patience {
    fn default() -> Self {
        Self { connect: Duration::from_secs(3), answer: Duration::from_secs(10) }
    }
}

/// The most that is read of an answer; nothing of it is kept.
const LARGEST_ANSWER: usize = 64 * 1_024;

/// What a name is found to stand for.
pub type Found = Pin<Box<dyn Future<Output = io::Result<Vec<SocketAddr>>> + Send>>;

/// Looks up what a name stands for.
pub type Resolve = Arc<dyn Fn(String) -> Found + Send + Sync>;

/// As the system looks names up.
pub(super) fn by_the_system() -> Resolve {
    Arc::new(|host| Box::pin(async move { tokio::net::lookup_host((host, 0)).await.map(Iterator::collect) }))
}

/// Names as they are looked up when something is sent: what is not allowed is not connected to, and what was checked is what is
/// connected to, since nobody asks again.
struct Names {
    rules: AddressRules,
    patience: Patience,
    resolve: Resolve,
}

/// Why a name leads nowhere.
#[derive(Debug, thiserror::Error)]
#[error("a name that leads nowhere")]
struct Nowhere(AttemptOutcome);

impl reqwest::dns::Resolve for Names {
    fn resolve(&self, name: Name) -> Resolving {
        let found = tokio::time::timeout(self.patience.connect, (self.resolve)(name.as_str().to_owned()));
        let rules = self.rules.clone();
        Box::pin(async move {
            let found = match found.await {
                Ok(Ok(found)) if !found.is_empty() => found,
                _ => return Err(Nowhere(AttemptOutcome::NotFound).into()),
            };
            if !rules.all_allowed(&found) {
                return Err(Nowhere(AttemptOutcome::AddressNotAllowed).into());
            }
            // The port is that of the address that was typed.
            let found = found.into_iter().map(|one| SocketAddr::new(one.ip(), 0));
            let found: Addrs = Box::new(found.collect::<Vec<_>>().into_iter());
            Ok(found)
        })
    }
}

/// The way outside.
pub(super) struct Outside {
    rules: AddressRules,
    client: Client,
}

/// What is sent.
pub(super) struct Message {
    pub id: String,
    pub timestamp: i64,
    pub signature: String,
    pub body: Vec<u8>,
}

impl Outside {
    /// By these rules. Every message makes its own connection, so that its name is looked up and checked each time.
    pub(super) fn open(rules: AddressRules, patience: Patience, resolve: Resolve) -> Result<Self, ApiError> {
        let names = Names { rules: rules.clone(), patience, resolve };
        let client = Client::builder()
            .redirect(Policy::none())
            .no_proxy()
            .connect_timeout(patience.connect)
            .timeout(patience.answer)
            .dns_resolver(Arc::new(names))
            .pool_max_idle_per_host(0)
            .user_agent("caselot")
            .build()
            .map_err(|error| ApiError::internal(&error))?;
        Ok(Self { rules, client })
    }

    /// Sends something, and says what became of it.
    pub(super) async fn send(&self, address: &str, message: Message) -> Tried {
        let began = Instant::now();
        let (status, outcome) = match self.tried(address, message).await {
            Ok(status) => (Some(status), AttemptOutcome::of(status)),
            Err(outcome) => (None, outcome),
        };
        Tried { status, outcome, took_ms: i32::try_from(began.elapsed().as_millis()).unwrap_or(i32::MAX) }
    }

    async fn tried(&self, address: &str, message: Message) -> Result<u16, AttemptOutcome> {
        // The rules are asked anew: they may be stricter than when the address was typed.
        let url = self.rules.target(address).map_err(|_| AttemptOutcome::AddressNotAllowed)?;
        let headers = headers(&message).ok_or(AttemptOutcome::NoConnection)?;
        let sent = self.client.post(url).headers(headers).body(message.body).send().await;
        let mut answer = sent.map_err(|error| why(&error))?;
        let mut read = 0_usize;
        while read < LARGEST_ANSWER
            && let Ok(Some(part)) = answer.chunk().await
        {
            read = read.saturating_add(part.len());
        }
        Ok(answer.status().as_u16())
    }
}

/// Why nothing was answered.
fn why(error: &reqwest::Error) -> AttemptOutcome {
    let mut cause: Option<&(dyn std::error::Error + 'static)> = Some(error);
    while let Some(one) = cause {
        if let Some(Nowhere(outcome)) = one.downcast_ref() {
            return *outcome;
        }
        cause = one.source();
    }
    if error.is_connect() { AttemptOutcome::NoConnection } else { AttemptOutcome::NoAnswer }
}

fn headers(message: &Message) -> Option<HeaderMap> {
    let mut headers = HeaderMap::new();
    headers.insert(CONTENT_TYPE, HeaderValue::from_static("application/json"));
    headers.insert("webhook-id", HeaderValue::from_str(&message.id).ok()?);
    headers.insert("webhook-timestamp", HeaderValue::from(message.timestamp));
    headers.insert("webhook-signature", HeaderValue::from_str(&message.signature).ok()?);
    Some(headers)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nobody_outside_is_waited_for_longer_than_said() {
        let said = Patience { connect: Duration::from_secs(3), answer: Duration::from_secs(10) };
        assert_eq!(Patience::default(), said);
        assert_eq!(LARGEST_ANSWER, 65_536);
    }
}
