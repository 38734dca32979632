//! Which column of a file is which, and what its cells say.
//!
//! `headings` recognises headings, `plan` proposes a column for everything a kind wants and says what is missing or has to
//! be asked, `dates` decides per column in which order days are written, `memory` keeps what people said for the next
//! list, `fields` reads the cells (with `naming`, `scores` and `troops`).

pub mod dates;
pub mod fields;
pub mod headings;
pub mod memory;
mod naming;
pub mod plan;
mod scores;
mod troops;

#[cfg(test)]
mod fields_tests;
