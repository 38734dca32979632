//! What every feature leans on and no feature owns: ids, time, bodies, pages, versions, answers. Imports no feature.

pub mod answer;
pub mod body;
pub mod clock;
pub mod csv_out;
pub mod etag;
mod every_fault;
pub mod fold;
pub mod ids;
pub mod names;
pub mod nicknames;
pub mod page;
pub mod retry;
pub mod shape;
pub mod short_text;
pub mod since;
pub mod stamp;
pub mod text;
pub mod words;
