//! CSV text into records (RFC 4180, and what spreadsheet programs really write), counting rows as a spreadsheet does.
//!
//! The common reader skips blank lines and does not count them; a person who is told "row 12" counts them. Everything
//! else is held equal to that reader by a property test below.

use super::fault::{FaultCode, ParseFault};

/// The most rows a list can have: a unit has 60 troops, a large list of courses some thousand rows.
pub const MAX_ROWS: usize = 20_000;
/// The most columns a list can have.
pub const MAX_COLUMNS: usize = 200;
/// The most signs a cell can have.
pub const MAX_CELL_CHARS: usize = 2_000;

/// One record with its row number; blank lines give none, but are counted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Record {
    /// The row's number as a spreadsheet shows it.
    pub row_number: u32,
    /// The fields as they stand, quotation undone.
    pub fields: Vec<String>,
}

/// Splits the whole text; an unclosed quotation mark is a fault, because it would swallow all rows below it.
///
/// # Errors
/// A zero byte, an unclosed quotation mark, too many rows or columns, a cell too long: each with row and column.
pub fn split(text: &str, delimiter: char) -> Result<Vec<Record>, ParseFault> {
    let mut splitter = Splitter { delimiter, row: 1, ..Splitter::default() };
    for sign in text.chars() {
        splitter.take(sign)?;
    }
    splitter.finish()
}

/// The records up to the first fault: enough to find the sign between the cells.
pub(super) fn split_as_far_as_it_goes(text: &str, delimiter: char) -> Vec<Record> {
    let mut splitter = Splitter { delimiter, row: 1, ..Splitter::default() };
    for sign in text.chars() {
        if splitter.take(sign).is_err() {
            break;
        }
    }
    splitter.records
}

/// Where the splitter stands inside a field.
#[derive(Clone, Copy, Default, PartialEq, Eq)]
enum At {
    #[default]
    FieldStart,
    Plain,
    Quoted,
    /// After a quotation mark inside a quoted field: the end of it, or the first of two.
    QuoteSeen,
}

#[derive(Default)]
struct Splitter {
    delimiter: char,
    at: At,
    after_return: bool,
    row: u32,
    quote_row: u32,
    field: String,
    field_chars: usize,
    quoted_once: bool,
    fields: Vec<String>,
    records: Vec<Record>,
}

impl Splitter {
    fn take(&mut self, sign: char) -> Result<(), ParseFault> {
        let second_of_pair = std::mem::take(&mut self.after_return) && sign == '\n';
        if second_of_pair {
            return Ok(());
        }
        if sign == '\0' {
            let detail = format!(
                "row {}, column {} holds a zero byte, which no text has; save the list again as CSV or XLSX",
                self.row,
                super::table::letter(self.fields.len())
            );
            return Err(ParseFault::at(FaultCode::ZeroByte, self.row, self.fields.len(), detail));
        }
        match self.at {
            At::Quoted if sign == '"' => self.at = At::QuoteSeen,
            At::Quoted => return self.push(sign),
            At::QuoteSeen if sign == '"' => {
                self.at = At::Quoted;
                return self.push('"');
            }
            At::FieldStart if sign == '"' => {
                self.at = At::Quoted;
                self.quoted_once = true;
                self.quote_row = self.row;
            }
            _ if sign == self.delimiter => self.end_field()?,
            _ if sign == '\n' || sign == '\r' => {
                self.after_return = sign == '\r';
                return self.end_record();
            }
            _ => {
                self.at = At::Plain;
                return self.push(sign);
            }
        }
        Ok(())
    }

    fn push(&mut self, sign: char) -> Result<(), ParseFault> {
        self.field.push(sign);
        self.field_chars += 1;
        if self.field_chars <= MAX_CELL_CHARS {
            return Ok(());
        }
        let (row, column) = (self.row, self.fields.len());
        if self.at == At::Quoted {
            return Err(self.unclosed());
        }
        let detail =
            format!("row {row}, column {} holds more than {MAX_CELL_CHARS} signs", super::table::letter(column));
        Err(ParseFault::at(FaultCode::CellTooLong, row, column, detail))
    }

    fn end_field(&mut self) -> Result<(), ParseFault> {
        self.at = At::FieldStart;
        self.field_chars = 0;
        self.fields.push(std::mem::take(&mut self.field));
        if self.fields.len() > MAX_COLUMNS {
            let detail =
                format!("row {} has more than {MAX_COLUMNS} columns; leave only the list in the file", self.row);
            return Err(ParseFault::at(FaultCode::TooManyColumns, self.row, MAX_COLUMNS, detail));
        }
        Ok(())
    }

    fn end_record(&mut self) -> Result<(), ParseFault> {
        let blank = self.fields.is_empty() && self.field.is_empty() && !self.quoted_once;
        self.quoted_once = false;
        if blank {
            self.at = At::FieldStart;
        } else {
            self.end_field()?;
            self.records.push(Record { row_number: self.row, fields: std::mem::take(&mut self.fields) });
        }
        self.row = self.row.saturating_add(1);
        if usize::try_from(self.row).unwrap_or(usize::MAX) > MAX_ROWS + 1 {
            let detail = format!("the list has more than {MAX_ROWS} rows; leave only this unit's rows in the file");
            return Err(ParseFault::at_row(FaultCode::TooManyRows, Some(self.row), detail));
        }
        Ok(())
    }

    fn finish(mut self) -> Result<Vec<Record>, ParseFault> {
        if self.at == At::Quoted {
            return Err(self.unclosed());
        }
        if !self.fields.is_empty() || !self.field.is_empty() || self.quoted_once {
            self.end_record()?;
        }
        Ok(self.records)
    }

    fn unclosed(&self) -> ParseFault {
        let column = self.fields.len();
        let detail = format!(
            "in row {}, column {} a quotation mark opens and is never closed; close or remove it",
            self.quote_row,
            super::table::letter(column)
        );
        ParseFault::at(FaultCode::UnclosedQuote, self.quote_row, column, detail)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn rows(text: &str) -> Vec<(u32, Vec<String>)> {
        split(text, ',').unwrap().into_iter().map(|record| (record.row_number, record.fields)).collect()
    }

    #[test]
    fn rows_are_numbered_as_a_spreadsheet_numbers_them() {
        let got = rows("title\r\n\r\na,b\r\n\r\n\"two\nlines\",x\r\n1,2");
        let numbers: Vec<u32> = got.iter().map(|(number, _)| *number).collect();
        assert_eq!(numbers, [1, 3, 5, 6]);
        assert_eq!(got[2].1, ["two\nlines", "x"]);
    }

    #[test]
    fn quotation_is_undone_as_rfc_4180_writes_it() {
        assert_eq!(rows("\"aaa\",\"b\"\"bb\",\"c,c\"")[0].1, ["aaa", "b\"bb", "c,c"]); // RFC 4180 section 2, rules 5 to 7
        assert_eq!(rows("a 5\" board,b")[0].1, ["a 5\" board", "b"]);
        assert_eq!(rows("\"\"")[0].1, [""]);
        assert_eq!(rows("a,\n,b"), [(1, vec!["a".into(), String::new()]), (2, vec![String::new(), "b".into()])]);
    }

    #[test]
    fn an_open_quotation_mark_is_named_where_it_opens() {
        let fault = split("a,b\n1,\"oops\n2,x\n3,y\n", ',').unwrap_err();
        assert_eq!(
            (fault.code, fault.row_number, fault.column.as_deref()),
            (FaultCode::UnclosedQuote, Some(2), Some("B"))
        );
    }

    #[test]
    fn a_zero_byte_is_named_where_it_stands() {
        let fault = split("a,b,c\n\n1,2,x\0y\n", ',').unwrap_err();
        assert_eq!((fault.code, fault.row_number, fault.column.as_deref()), (FaultCode::ZeroByte, Some(3), Some("C")));
    }

    #[test]
    fn limits_hold_at_their_edge() {
        let row_list = |n: usize| "x\n".repeat(n);
        assert_eq!(split(&row_list(MAX_ROWS), ',').unwrap().len(), MAX_ROWS);
        assert_eq!(split(&row_list(MAX_ROWS + 1), ',').unwrap_err().code, FaultCode::TooManyRows);
        let wide = |n: usize| ",".repeat(n - 1);
        assert_eq!(split(&wide(MAX_COLUMNS), ',').unwrap()[0].fields.len(), MAX_COLUMNS);
        assert_eq!(split(&wide(MAX_COLUMNS + 1), ',').unwrap_err().code, FaultCode::TooManyColumns);
        assert!(split(&"x".repeat(MAX_CELL_CHARS), ',').is_ok());
        assert_eq!(split(&"x".repeat(MAX_CELL_CHARS + 1), ',').unwrap_err().code, FaultCode::CellTooLong);
    }

    proptest! {
        /// The reference is the csv crate, a reader that the whole Rust world uses; it gives no row numbers.
        #[test]
        fn fields_are_those_of_the_common_reader(text in "[a,;\"\\r\\n x]{0,40}") {
            let Ok(ours) = split(&text, ',') else { return Ok(()) };
            let mut reader = csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(text.as_bytes());
            let theirs: Vec<Vec<String>> =
                reader.records().map(|record| record.unwrap().iter().map(str::to_owned).collect()).collect();
            prop_assert_eq!(ours.into_iter().map(|record| record.fields).collect::<Vec<_>>(), theirs);
        }
    }
}
