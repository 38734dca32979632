//! A document as a table with a head: what the renderers of XLSX and PDF are given.
//!
//! A feature turns its frozen figures into a sheet once; how a sheet is printed is no business of the feature.

use chrono::{DateTime, Utc};

/// A document to be rendered.
#[derive(Clone, Debug)]
pub struct Sheet {
    /// What it is, as in "Season return 3".
    pub title: String,
    /// What belongs to the whole of it, in order: label and value.
    pub facts: Vec<(String, String)>,
    /// What must be said with it.
    pub note: String,
    /// What stands at the foot of each page beside the page's number.
    pub foot: String,
    /// When it was made; the file says so of itself, so that the same document gives the same bytes.
    pub made_at: DateTime<Utc>,
    /// The columns.
    pub columns: Vec<Column>,
    /// The rows, each with one text a column. All are text: a troop's number keeps its zeros.
    pub rows: Vec<Vec<String>>,
}

/// A column.
#[derive(Clone, Debug)]
pub struct Column {
    /// Its heading.
    pub heading: &'static str,
    /// Its width beside the others'.
    pub share: u16,
}

/// The paper that a document is printed on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Paper {
    /// ISO 216 A4: 210 mm x 297 mm.
    #[default]
    A4,
    /// US Letter: 8.5 in x 11 in.
    Letter,
}

impl Paper {
    /// Width and height, lying on its long side, in points of 1/72 inch.
    #[must_use]
    pub const fn landscape(self) -> (f32, f32) {
        match self {
            Self::A4 => (841.89, 595.276),
            Self::Letter => (792.0, 612.0),
        }
    }
}
