//! The season return: the roster as head office wants it on the due day.
//!
//! A preview shows what a return would say now, with a stamp; filing it under that stamp freezes a numbered copy
//! (`crate::frozen`), or answers what changed meanwhile. Filed returns are listed, shown, downloaded (JSON, CSV, XLSX, PDF) and
//! compared with the unit as it is now: whether a new one is owed. That one was sent, and what came back, is noted beside it.
//!
//! Invariants: a filed return never changes; its numbers have no gaps; none says exactly what the one before it says, unless that
//! was sent back or somebody asked for it by name; its figures name nobody, so names can be erased and
//! the digest still fits; a screening that is not met reads "not confirmed" in it, whoever files.

mod changes;
mod csv;
mod document;
mod download;
mod erase;
mod file;
mod find;
mod list;
mod mark_sent;
mod needs;
mod now;
mod preview;
mod rules;
mod sending;
mod sheet;
mod sql;

pub use download::{ReturnFormat, ReturnPaper};

use utoipa_actix_web::service_config::ServiceConfig;

use crate::Feature;
use crate::one_person::Eraser;

/// The feature's value.
#[must_use]
pub const fn feature() -> Feature {
    Feature::new("returns", "The season return: preview, file, fetch, and what has changed since.", routes)
        .erasing(&[ERASER])
        .with_needs(|tx, asked| Box::pin(needs::look(tx, asked)))
}

/// What filed returns lose: names, and nothing else.
const ERASER: Eraser = Eraser {
    columns: &["frozen_name.name", "return_sending.sent_to", "return_sending.answer_reason"],
    erase: |tx, by, erasure| Box::pin(erase::erase(tx, by, erasure)),
};

fn routes(config: &mut ServiceConfig<'_>) {
    config
        .service(preview::preview_return)
        .service(file::file_return)
        .service(list::list_returns)
        .service(find::find_return)
        .service(download::download_return)
        .service(changes::list_return_changes)
        .service(mark_sent::mark_return_sent)
        .service(mark_sent::note_return_answer)
        .service(sending::list_return_sendings);
}
