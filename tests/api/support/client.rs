//! Who asks, what they ask, and what they are answered. Every answer passes [`promise::check`] on its way.

use std::cell::RefCell;
use std::future::{Future, IntoFuture};
use std::pin::Pin;
use std::rc::Rc;

use caselot::common::clock;
use caselot::common::ids::{AccountId, SessionId};
use chrono::{DateTime, TimeDelta, Utc};
use reqwest::Method;
use reqwest::header::HeaderMap;
use serde_json::Value;
use uuid::Uuid;

use super::fixture::Somebody;
use super::{promise, server};

/// The way to the server, with a journal of what went over it.
pub struct Line {
    base: String,
    http: reqwest::Client,
    /// Every finished request.
    pub journal: RefCell<Vec<Entry>>,
}

/// One finished request.
#[derive(Clone, Debug)]
pub struct Entry {
    pub method: Method,
    pub path: String,
    /// The operation in the document, if there is one.
    pub operation: Option<String>,
    pub request_id: String,
    pub status: u16,
    pub replayed: bool,
    /// The caller's name in a log.
    pub actor: String,
}

impl Line {
    pub fn new(base: &str) -> Self {
        let http = reqwest::Client::builder().redirect(reqwest::redirect::Policy::none()).build().expect("a client");
        Self { base: base.to_owned(), http, journal: RefCell::new(Vec::new()) }
    }
}

/// Somebody who asks.
#[derive(Clone)]
pub struct Caller {
    /// For messages.
    pub name: &'static str,
    /// The unit below which short paths are meant.
    pub unit: Option<Uuid>,
    /// The account.
    pub account: Option<Uuid>,
    token: Option<String>,
    /// Whose token it is, and since when, where it is renewed before it is too old: a long test outlives an access token.
    renewed: Option<(AccountId, SessionId, DateTime<Utc>)>,
    actor: String,
    line: Rc<Line>,
}

fn token_of(account: AccountId, session: SessionId, at: DateTime<Utc>) -> String {
    server::signing_keys().issue(account, session, at).expect("an access token")
}

impl Caller {
    pub(super) fn of(line: &Rc<Line>, who: &Somebody) -> Self {
        let (account, session, now) = (AccountId(who.account), SessionId(who.session), clock::real_now());
        Self {
            name: who.first_name,
            unit: who.place.map(|place| place.unit),
            account: Some(who.account),
            token: Some(token_of(account, session, now)),
            renewed: Some((account, session, now)),
            actor: format!("account:{}", who.account),
            line: Rc::clone(line),
        }
    }

    pub(super) fn nobody(line: &Rc<Line>) -> Self {
        Self {
            name: "nobody",
            unit: None,
            account: None,
            token: None,
            renewed: None,
            actor: "public".to_owned(),
            line: Rc::clone(line),
        }
    }

    /// The same person by another token: a refreshed one, a stale one, rubbish.
    pub fn with_token(&self, token: impl Into<String>) -> Self {
        Self { token: Some(token.into()), renewed: None, ..self.clone() }
    }

    /// The caller named in a log as this account: for somebody whose account a test made.
    pub fn acting_as(&self, account: &str) -> Self {
        Self { actor: format!("account:{account}"), ..self.clone() }
    }

    /// The same person by a key for scripts.
    pub fn with_key(&self, key_id: &str, secret: impl Into<String>) -> Self {
        Self { token: Some(secret.into()), renewed: None, actor: format!("key:{key_id}"), ..self.clone() }
    }

    /// The same person, with short paths meant below another unit.
    pub fn in_unit(&self, unit: Uuid) -> Self {
        Self { unit: Some(unit), ..self.clone() }
    }

    /// The access token.
    pub fn token(&self) -> &str {
        self.token.as_deref().unwrap_or_default()
    }

    pub fn get(&self, path: &str) -> Asked {
        self.ask(Method::GET, path)
    }

    pub fn post(&self, path: &str, body: impl Into<Value>) -> Asked {
        self.ask(Method::POST, path).json(&body.into())
    }

    /// Something that cannot be taken back, done to a person who was read just before: `merge` or `erase`.
    pub async fn once_and_for_all(&self, act: &str, person: impl std::fmt::Display, body: Value) -> Answered {
        let read = self.get(&format!("/people/{person}")).await;
        let etag = if read.status == 200 { read.text("/etag") } else { "\"v1\"".to_owned() };
        self.ask(Method::POST, &format!("/people/{person}/{act}")).header("if-match", &etag).json(&body).await
    }

    /// A change of a thing that has a version.
    pub fn patch(&self, path: &str, etag: &str, body: impl Into<Value>) -> Asked {
        self.ask(Method::PATCH, path).header("if-match", etag).json(&body.into())
    }

    /// A replacement of a thing that has a version.
    pub fn put(&self, path: &str, etag: &str, body: impl Into<Value>) -> Asked {
        self.ask(Method::PUT, path).header("if-match", etag).json(&body.into())
    }

    pub fn delete(&self, path: &str, etag: &str) -> Asked {
        self.ask(Method::DELETE, path).header("if-match", etag)
    }

    /// Any request. A path that does not begin at the server's root (`/v1`, `/livez`, ...) is meant below the own unit.
    pub fn ask(&self, method: Method, path: &str) -> Asked {
        let at_root = [
            "/v1",
            "/livez",
            "/readyz",
            "/metrics",
            "/openapi.json",
            "/problems",
            "/reference",
            "/nowhere",
            "/calendar/",
        ];
        let path = match self.unit {
            Some(unit) if !at_root.iter().any(|root| path.starts_with(root)) => format!("/v1/units/{unit}{path}"),
            _ => path.to_owned(),
        };
        let key = (method == Method::POST && self.token.is_some()).then(|| Uuid::now_v7().to_string());
        Asked { caller: self.clone(), method, path, headers: Vec::new(), body: Vec::new(), key }
    }
}

/// A request that goes out when it is awaited.
pub struct Asked {
    caller: Caller,
    method: Method,
    path: String,
    headers: Vec<(String, String)>,
    body: Vec<u8>,
    key: Option<String>,
}

impl Asked {
    #[must_use]
    pub fn header(mut self, name: &str, value: &str) -> Self {
        self.headers.push((name.to_owned(), value.to_owned()));
        self
    }

    /// With this `Idempotency-Key`.
    #[must_use]
    pub fn key(self, key: &str) -> Self {
        Self { key: Some(key.to_owned()), ..self }
    }

    /// Without an `Idempotency-Key`.
    #[must_use]
    pub fn without_key(self) -> Self {
        Self { key: None, ..self }
    }

    #[must_use]
    pub fn json(self, body: &Value) -> Self {
        self.bytes("application/json", body.to_string())
    }

    /// With these bytes as the body; an empty type sends none.
    #[must_use]
    pub fn bytes(mut self, content_type: &str, body: impl Into<Vec<u8>>) -> Self {
        self.headers.retain(|(name, _)| name != "content-type");
        if !content_type.is_empty() {
            self.headers.push(("content-type".to_owned(), content_type.to_owned()));
        }
        self.body = body.into();
        self
    }

    async fn send(self) -> Answered {
        let Self { caller, method, path, headers, body, key } = self;
        let request_id = Uuid::now_v7().to_string();
        let mut request = caller.line.http.request(method.clone(), format!("{}{path}", caller.line.base));
        request = request.header("x-request-id", &request_id);
        let now = clock::real_now();
        match (&caller.token, caller.renewed) {
            (_, Some((account, session, since))) if now - since > TimeDelta::minutes(5) => {
                request = request.bearer_auth(token_of(account, session, now));
            }
            (Some(token), _) => request = request.bearer_auth(token),
            (None, _) => {}
        }
        if let Some(key) = key {
            request = request.header("idempotency-key", key);
        }
        for (name, value) in headers {
            request = request.header(name, value);
        }
        let response = request.body(body).send().await.unwrap_or_else(|error| panic!("{method} {path}: {error}"));
        let (status, headers) = (response.status().as_u16(), response.headers().clone());
        let body = response.bytes().await.unwrap_or_else(|error| panic!("{method} {path}: {error}")).to_vec();
        let answered = Answered { asked: format!("{} asks {method} {path}", caller.name), status, headers, body };
        assert_eq!(answered.header("x-request-id"), request_id, "{answered}");
        let operation = promise::check(&method, &path, &answered);
        caller.line.journal.borrow_mut().push(Entry {
            method,
            path,
            operation,
            request_id,
            status,
            replayed: answered.header("idempotency-replayed") == "true",
            actor: caller.actor,
        });
        answered
    }
}

impl IntoFuture for Asked {
    type Output = Answered;
    type IntoFuture = Pin<Box<dyn Future<Output = Answered>>>;

    fn into_future(self) -> Self::IntoFuture {
        Box::pin(self.send())
    }
}

/// An answer.
#[derive(Clone, Debug)]
pub struct Answered {
    asked: String,
    pub status: u16,
    pub headers: HeaderMap,
    pub body: Vec<u8>,
}

impl std::fmt::Display for Answered {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let body: String = String::from_utf8_lossy(&self.body).chars().take(4_000).collect();
        write!(f, "{}\nis answered {}\n{body}", self.asked, self.status)
    }
}

impl Answered {
    /// Fails unless the status is this one.
    #[track_caller]
    pub fn expect(self, status: u16) -> Self {
        assert_eq!(self.status, status, "{self}");
        self
    }

    /// Fails unless it is this problem.
    #[track_caller]
    pub fn expect_problem(self, status: u16, code: &str) -> Self {
        assert_eq!((self.status, self.text("/code").as_str()), (status, code), "{self}");
        self
    }

    /// The body.
    #[track_caller]
    pub fn json(&self) -> Value {
        serde_json::from_slice(&self.body).unwrap_or_else(|error| panic!("{error}: {self}"))
    }

    /// What a JSON pointer names in the body; null if there is nothing.
    #[track_caller]
    pub fn at(&self, pointer: &str) -> Value {
        self.json().pointer(pointer).cloned().unwrap_or_default()
    }

    /// The text that a JSON pointer names.
    #[track_caller]
    pub fn text(&self, pointer: &str) -> String {
        self.at(pointer).as_str().unwrap_or_else(|| panic!("no text at {pointer}: {self}")).to_owned()
    }

    /// A header field; empty if it is not there.
    pub fn header(&self, name: &str) -> &str {
        self.headers.get(name).and_then(|value| value.to_str().ok()).unwrap_or_default()
    }

    /// The version: of the header, or else of the body.
    #[track_caller]
    pub fn etag(&self) -> String {
        let header = self.header("etag");
        if header.starts_with('"') { header.to_owned() } else { self.text("/etag") }
    }
}
