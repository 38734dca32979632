//! What the server says to anybody: that it lives, that it is ready, its document, what its problems mean.

use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, Ordering};

use actix_web::get;
use actix_web::http::StatusCode;
use chrono::{DateTime, TimeDelta, Utc};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use utoipa_actix_web::service_config::ServiceConfig;

use crate::Feature;
use crate::auth::{Public, metrics};
use crate::common::answer::{Answer, File};
use crate::common::body::Path;
use crate::common::clock;
use crate::error::{ApiError, Code, Problems};

/// The feature's value.
#[must_use]
pub const fn feature() -> Feature {
    Feature::new("server", "Whether the server lives and is ready, its document, and what its problems mean.", routes)
}

fn routes(config: &mut ServiceConfig<'_>) {
    config
        .service(read_liveness)
        .service(read_readiness)
        .service(read_metrics)
        .service(read_root)
        .service(read_document)
        .service(explain_problem);
}

/// Set when the program was asked to stop: it finishes what it has and takes nothing new.
pub static STOPPING: AtomicBool = AtomicBool::new(false);

/// How the server is.
#[derive(Debug, Serialize, ToSchema)]
pub struct Health {
    /// `alive` or `ready`.
    #[schema(max_length = 20, example = "ready")]
    pub state: &'static str,
}

/// Say that the process is alive.
///
/// Touches nothing, so it cannot be used to wear the server out.
#[utoipa::path(tag = "server", extensions(("x-permission" = json!("public"))), responses((status = 200, description = "It is alive.", body = Health), Problems))]
#[get("/livez")]
pub async fn read_liveness(_public: Public) -> Result<Answer<Health>, ApiError> {
    Answer::new(&Health { state: "alive" })
}

/// Say whether the server is ready for work.
///
/// The database is asked at most once a second.
#[utoipa::path(tag = "server", extensions(("x-permission" = json!("public"))), responses((status = 200, description = "It is ready.", body = Health), Problems))]
#[get("/readyz")]
pub async fn read_readiness(public: Public) -> Result<Answer<Health>, ApiError> {
    if STOPPING.load(Ordering::Relaxed) {
        return Err(ApiError::new(Code::Unavailable).detail("The server is about to stop. Try again in a moment."));
    }
    let now = clock::real_now();
    let fresh = |at: DateTime<Utc>| now.signed_duration_since(at) < TimeDelta::seconds(1);
    let known = LAST_READY.lock().ok().and_then(|last| *last).filter(|(at, _)| fresh(*at));
    let ready = if let Some((_, ready)) = known {
        ready
    } else {
        let ready = public.tx().await.is_ok();
        if let Ok(mut last) = LAST_READY.lock() {
            *last = Some((now, ready));
        }
        ready
    };
    if ready { Answer::new(&Health { state: "ready" }) } else { Err(Code::Unavailable.into()) }
}

static LAST_READY: Mutex<Option<(DateTime<Utc>, bool)>> = Mutex::new(None);

/// Give the server's figures to a monitoring program.
///
/// The text format that such programs read; by path pattern, naming nobody. Keep it off the open internet at the proxy.
#[utoipa::path(tag = "server", extensions(("x-permission" = json!("public"))), responses((status = 200, description = "The figures.", body = String, content_type = "text/plain"), Problems))]
#[get("/metrics")]
pub async fn read_metrics(_public: Public) -> File {
    File::page("text/plain; version=0.0.4; charset=utf-8", metrics::text())
}

/// Where things are.
#[derive(Debug, Serialize, ToSchema)]
pub struct Root {
    /// The program's version.
    #[schema(max_length = 40, example = "0.1.0")]
    pub version: &'static str,
    /// The address of the document.
    #[schema(max_length = 200, example = "/openapi.json")]
    pub document: &'static str,
    /// The address of the reference page.
    #[schema(max_length = 200, example = "/reference/")]
    pub reference: &'static str,
}

/// Say which version this is and where to read on.
#[utoipa::path(tag = "server", extensions(("x-permission" = json!("public"))), responses((status = 200, description = "Where things are.", body = Root), Problems))]
#[get("/v1")]
pub async fn read_root(_public: Public) -> Result<Answer<Root>, ApiError> {
    Answer::new(&Root { version: env!("CARGO_PKG_VERSION"), document: "/openapi.json", reference: "/reference/" })
}

/// Give this document.
///
/// `OpenAPI` 3.1, made from the routes of the running program.
#[utoipa::path(tag = "server", extensions(("x-permission" = json!("public"))), responses((status = 200, description = "The document.", body = serde_json::Value, content_type = "application/json"), Problems))]
#[get("/openapi.json")]
pub async fn read_document(_public: Public) -> File {
    File::page("application/json", super::document::TEXT.as_bytes())
}

/// Which problem.
#[derive(Debug, Deserialize, IntoParams)]
pub struct ProblemPath {
    /// The `code` of a problem.
    #[param(max_length = 80, example = "version_stale")]
    code: String,
}

/// Explain a kind of problem in plain words.
#[utoipa::path(tag = "server", params(ProblemPath), extensions(("x-permission" = json!("public"))), responses((status = 200, description = "A page for people.", body = String, content_type = "text/plain"), Problems))]
#[get("/problems/{code}")]
pub async fn explain_problem(_public: Public, path: Path<ProblemPath>) -> Result<File, ApiError> {
    let code = Code::named(&path.code).ok_or(Code::NotFound)?;
    let (title, detail, status, name) = (code.title(), code.detail(), code.status(), code.name());
    let aside = if for_programs(status) {
        "\n\nThis is about how an app or a script asked, not about anything that you did: show this page to whoever looks after it."
    } else {
        ""
    };
    let more = "The answer that led here says more about its own case, in its \"detail\" and, under \"errors\", place by place. If you ask somebody for help, tell them its \"request_id\".";
    let text = format!("{title}\n\n{detail}{aside}\n\n{more}\n\nStatus {}, code {name}.\n", status.as_u16());
    Ok(File::page("text/plain; charset=utf-8", text))
}

/// Whether a kind of problem comes from how a program asks, whatever the person before it did.
fn for_programs(status: StatusCode) -> bool {
    matches!(status.as_u16(), 400 | 405 | 408 | 414 | 415 | 428 | 431)
}
