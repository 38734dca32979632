//! How far an ODS sheet really reaches, told from its tags alone.
//!
//! Such a sheet says "this row a million times" in one tag, and the spreadsheet reader makes a million rows of it. So the
//! repeats are counted before it may: blank rows and cells at the end cost nothing, everything up to the last cell that
//! holds a value counts as often as it is repeated.

use super::xml_scan::MAX_CELLS;

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
}

impl OdsReach {
    /// Takes a tag by its name without prefix; true while the sheet stays within a million cells.
    pub(super) fn tag<'a>(&mut self, name: &str, attribute: impl Fn(&str) -> Option<&'a str>) -> bool {
        let repeats = |what: &str| attribute(what).map_or(1, |text| text.parse::<u64>().unwrap_or(u64::MAX)).max(1);
        match name {
            "table" => *self = Self::default(),
            "table-row" => {
                self.rows_before = self.rows_before.saturating_add(self.row_repeats);
                (self.row_repeats, self.row_width, self.row_cells) = (repeats("number-rows-repeated"), 0, 0);
            }
            "table-cell" | "covered-table-cell" => {
                self.row_cells = self.row_cells.saturating_add(repeats("number-columns-repeated"));
                if attribute("value-type").is_some() || attribute("formula").is_some() {
                    self.row_width = self.row_cells;
                    self.width = self.width.max(self.row_width);
                    self.height = self.height.max(self.rows_before.saturating_add(self.row_repeats));
                }
            }
            _ => {}
        }
        self.height.saturating_mul(self.width) <= MAX_CELLS
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn within(tags: &[(&str, &[(&str, &str)])]) -> bool {
        let mut reach = OdsReach::default();
        tags.iter().all(|(name, attributes)| {
            reach.tag(name, |wanted| attributes.iter().find(|(name, _)| *name == wanted).map(|(_, value)| *value))
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
