//! Posted lists on their way in: a file is read, shown as a preview, resolved row by row, then applied at once.
//!
//! An uploaded file is foreign text until a person has seen what it would change. It is read in a child process that
//! holds nothing but the file (`parse`), its headings are recognised (`columns`), its rows are matched to people of the
//! unit with a reason for every match (`matching`), and the difference to what is known already becomes a list of
//! changes (`changes`). Nothing of this touches the roster before `apply`.
//!
//! What never happens: a list is applied that nobody could read; two rows take one person silently; of two rows that
//! contradict each other one is taken before a person has chosen; a name alone is matched across troops; a list states
//! something that none of its columns states; absence from a list counts that nobody called complete; a list is taken back
//! while something stands on it.

mod apply;
mod built_on;
pub mod changes;
mod choose_columns;
mod choose_sheet;
pub mod columns;
mod compare;
mod counts;
pub mod difference;
mod discard;
mod find;
pub mod kinds;
mod list;
mod list_rows;
mod make_changes;
mod mask;
pub mod matching;
mod material;
mod needs;
mod next_step;
mod one_person;
pub mod parse;
mod remembered;
mod resolve_by_reason;
mod resolve_row;
mod retention;
mod reverse;
mod shown;
mod sql;
mod template;
mod upload;
mod waiting_reasons;
mod watch;
mod words;
mod work;

pub use template::TemplateFormat;
pub use watch::{WaitingList, WatchedKind, watched};

use utoipa_actix_web::service_config::ServiceConfig;

use crate::Feature;

/// The feature's value.
#[must_use]
pub const fn feature() -> Feature {
    Feature::new("intake", "Posted lists: upload, preview with a reason for every match, resolve, apply.", routes)
        .merging_people(one_person::follow)
        .erasing(&[one_person::ERASER])
        .every_minute(|system, unit| Box::pin(retention::every_minute(system, unit)))
        .with_needs(|tx, asked| Box::pin(needs::look(tx, asked)))
}

fn routes(config: &mut ServiceConfig<'_>) {
    config
        .service(upload::upload_list)
        .service(list::list_intakes)
        .service(find::find_intake)
        .service(list_rows::list_intake_rows)
        .service(choose_columns::choose_columns)
        .service(choose_sheet::choose_sheet)
        .service(resolve_row::resolve_intake_row)
        .service(waiting_reasons::list_waiting_reasons)
        .service(resolve_by_reason::resolve_rows_by_reason)
        .service(apply::apply_intake)
        .service(reverse::reverse_intake)
        .service(compare::compare_intake)
        .service(watch::list_list_kinds)
        .service(template::download_list_template)
        .service(discard::discard_intake);
}
