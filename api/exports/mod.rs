//! Exports: what the unit has, as files for a spreadsheet.
//!
//! A file shows what its reader may see over the API and nothing more: columns of which the reader may see nothing are left
//! out, cells of another's troop are empty. Rows come in a fixed order, texts that a spreadsheet would compute are guarded.

mod export_roster;
mod table;

pub use export_roster::ExportFormat;

use utoipa_actix_web::service_config::ServiceConfig;

use crate::Feature;

/// The feature's value.
#[must_use]
pub const fn feature() -> Feature {
    Feature::new("exports", "What the unit has, as files for a spreadsheet.", routes)
}

fn routes(config: &mut ServiceConfig<'_>) {
    config.service(export_roster::export_roster);
}
