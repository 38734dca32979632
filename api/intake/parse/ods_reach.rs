//! How far an ODS sheet really reaches, told from its tags alone.
//!
//! Such a sheet says "this row a million times" in one tag, and the spreadsheet reader makes a million rows of it. So the
//! repeats are counted before it may: blank rows and cells at the end cost nothing, everything up to the last cell that
//! holds a value counts as often as it is repeated, and so does its text. Names are compared as the reader compares them,
//! with their prefix, and what lies in each other as no spreadsheet program lays it is refused: otherwise a file could show
//! one sheet here and another one there.

use super::xml_scan::MAX_CELLS;

/// The most text of all cells together, each as often as it is repeated: what a part may hold unpacked (R22).
const MAX_TEXT_BYTES: u64 = 50 * 1024 * 1024;
/// Each of these, as well as a type, makes a cell one that holds something.
const VALUES: [&str; 6] = [
    "office:value",
    "office:string-value",
    "office:boolean-value",
    "office:date-value",
    "office:time-value",
    "table:formula",
];

/// Counts the rows and cells of one sheet after the other.
#[derive(Debug, Default)]
pub(super) struct OdsReach {
    rows_before: u64,
    row_repeats: u64,
    /// Cells of the present row up to its last one with a value.
    row_width: u64,
    row_cells: u64,
    height: u64,
    width: u64,
    /// How often the present cell is there; 0 outside cells and in blank ones.
    copies: u64,
    text_bytes: u64,
}

impl OdsReach {
    /// Takes what stands between two tags.
    pub(super) fn text(&mut self, bytes: u64) {
        self.text_bytes = self.text_bytes.saturating_add(bytes.saturating_mul(self.copies));
    }

    /// Whether the text of all cells is more than can be held.
    pub(super) const fn has_too_much_text(&self) -> bool {
        self.text_bytes > MAX_TEXT_BYTES
    }

    /// Takes a closing tag by its name.
    pub(super) fn end(&mut self, name: &str) {
        if matches!(name, "table:table-cell" | "table:covered-table-cell") {
            self.copies = 0;
        }
    }

    /// Takes an opening tag by its name; true while the sheet stays within a million cells.
    pub(super) fn tag<'a>(&mut self, name: &str, attribute: impl Fn(&str) -> Option<&'a str>) -> bool {
        let repeats = |what: &str| attribute(what).map_or(1, |text| text.parse::<u64>().unwrap_or(u64::MAX)).max(1);
        match name {
            "table:table" => *self = Self { text_bytes: self.text_bytes, ..Self::default() },
            "table:table-row" => {
                self.rows_before = self.rows_before.saturating_add(self.row_repeats);
                (self.row_repeats, self.row_width, self.row_cells) = (repeats("table:number-rows-repeated"), 0, 0);
            }
            "table:table-cell" | "table:covered-table-cell" => {
                let columns = repeats("table:number-columns-repeated");
                self.row_cells = self.row_cells.saturating_add(columns);
                let held: Vec<&str> = VALUES.iter().filter_map(|value| attribute(value)).collect();
                self.copies = 0;
                if !held.is_empty() || attribute("office:value-type").is_some() {
                    self.copies = columns.saturating_mul(self.row_repeats);
                    self.row_width = self.row_cells;
                    self.width = self.width.max(self.row_width);
                    self.height = self.height.max(self.rows_before.saturating_add(self.row_repeats));
                }
                self.text(held.iter().map(|value| length(value)).sum());
            }
            // so many spaces are written as a number
            "text:s" => self.text(repeats("text:c")),
            _ => {}
        }
        self.height.saturating_mul(self.width) <= MAX_CELLS
    }
}

fn length(text: &str) -> u64 {
    u64::try_from(text.len()).unwrap_or(u64::MAX)
}

/// Where the tags of a file have led: cells lie in rows, rows in sheets, and no sheet in another one.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) enum Nesting {
    #[default]
    Outside,
    Sheet,
    Row,
    Cell,
    CoveredCell,
    /// A note in a cell, which the reader passes over up to its end.
    Note,
    NoteOfCoveredCell,
}

impl Nesting {
    /// Takes a tag by its name; false if it cannot stand here.
    pub(super) fn tag(&mut self, name: &str, ends: bool, is_empty: bool) -> bool {
        let next = match (name, ends, *self) {
            ("table:table", false, Self::Outside) | ("table:table-row", true, Self::Row) => Self::Sheet,
            ("table:table-row", false, Self::Sheet)
            | ("table:table-cell", true, Self::Cell)
            | ("table:covered-table-cell", true, Self::CoveredCell) => Self::Row,
            ("table:table-cell", false, Self::Row) | ("office:annotation", true, Self::Note) => Self::Cell,
            ("table:covered-table-cell", false, Self::Row) | ("office:annotation", true, Self::NoteOfCoveredCell) => {
                Self::CoveredCell
            }
            ("office:annotation", false, Self::Cell) => Self::Note,
            ("office:annotation", false, Self::CoveredCell) => Self::NoteOfCoveredCell,
            ("table:table", true, Self::Sheet) => Self::Outside,
            ("table:table" | "table:table-row" | "table:table-cell" | "table:covered-table-cell", ..)
            | ("office:annotation", _, Self::Note | Self::NoteOfCoveredCell) => return false,
            _ => return true,
        };
        if ends || !is_empty {
            *self = next;
        }
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn within(tags: &[(&str, &[(&str, &str)])]) -> bool {
        let mut reach = OdsReach::default();
        tags.iter().all(|(name, attributes)| {
            let found = |wanted: &str| attributes.iter().find(|(name, _)| wanted.split(':').next_back() == Some(*name));
            reach.tag(&format!("table:{name}"), |wanted| found(wanted).map(|(_, value)| *value))
        })
    }

    #[test]
    fn blank_rows_and_cells_at_the_end_cost_nothing_and_repeated_values_do() {
        let value: (&str, &[(&str, &str)]) = ("table-cell", &[("value-type", "string")]);
        let row: (&str, &[(&str, &str)]) = ("table-row", &[]);
        let blank_rows: (&str, &[(&str, &str)]) = ("table-row", &[("number-rows-repeated", "1048576")]);
        let blank_cells: (&str, &[(&str, &str)]) = ("table-cell", &[("number-columns-repeated", "16384")]);
        assert!(within(&[("table", &[]), row, value, blank_cells, blank_rows, blank_cells]));
        assert!(!within(&[("table", &[]), row, value, value, blank_rows, value]), "two columns over the whole height");
        assert!(!within(&[
            row,
            blank_cells,
            value,
            ("table-row", &[("number-rows-repeated", "60")]),
            value,
            row,
            value
        ]));
        assert!(!within(&[
            row,
            ("table-cell", &[("number-columns-repeated", "99999999999999999999"), ("value-type", "x")])
        ]));
        let many_rows: (&str, &[(&str, &str)]) = ("table-row", &[("number-rows-repeated", "900000")]);
        assert!(within(&[row, blank_cells, value, ("table", &[]), many_rows, value]), "each sheet by itself");
        assert!(!within(&[row, blank_cells, value, many_rows, value]), "one sheet holds both");
    }
}
