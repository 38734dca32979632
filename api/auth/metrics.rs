//! Figures for a monitoring program, by path pattern: never by path, so that the series stay few and name nobody.

use std::sync::LazyLock;

use actix_web::http::{Method, StatusCode};
use prometheus::{Encoder as _, HistogramOpts, HistogramVec, Registry, TextEncoder};

struct Figures {
    registry: Registry,
    seconds: Option<HistogramVec>,
}

static FIGURES: LazyLock<Figures> = LazyLock::new(|| {
    let registry = Registry::new();
    let buckets = vec![0.001, 0.002, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 15.0];
    let options =
        HistogramOpts::new("caselot_request_seconds", "How long requests took, by path pattern").buckets(buckets);
    let seconds = HistogramVec::new(options, &["pattern", "method", "status"]).ok();
    if let Some(seconds) = &seconds
        && let Err(error) = registry.register(Box::new(seconds.clone()))
    {
        tracing::warn!(cause = %error, "no figures");
    }
    Figures { registry, seconds }
});

/// A method by its name; one that somebody made up has none here.
#[must_use]
pub fn name(method: &Method) -> &str {
    match method.as_str() {
        known @ ("GET" | "HEAD" | "POST" | "PUT" | "PATCH" | "DELETE" | "OPTIONS") => known,
        _ => "other",
    }
}

/// Counts one answered request.
pub fn observe(pattern: &str, method: &str, status: StatusCode, micros: u64) {
    if let Some(seconds) = &FIGURES.seconds {
        seconds
            .with_label_values(&[pattern, method, status.as_str()])
            .observe(std::time::Duration::from_micros(micros).as_secs_f64());
    }
}

/// All figures in the text format that such programs read.
#[must_use]
pub fn text() -> String {
    let mut text = Vec::new();
    match TextEncoder::new().encode(&FIGURES.registry.gather(), &mut text) {
        Ok(()) => String::from_utf8(text).unwrap_or_default(),
        Err(_) => String::new(),
    }
}
