//! Bytes of a CSV file into records: which encoding, which sign between the cells.

use super::fault::{FaultCode, ParseFault};
use super::records::{self, Record};
use crate::common::csv_out::unguard;
use crate::intake::columns::headings;
use crate::intake::kinds::ListKind;

/// A CSV file split into records, with how that was done.
pub(super) struct Split {
    pub records: Vec<Record>,
    pub encoding: &'static str,
    pub delimiter: &'static str,
}

/// The signs that may stand between cells, the commonest first: it wins where two fit alike.
const DELIMITERS: [(char, &str); 3] = [(',', "comma"), (';', "semicolon"), ('\t', "tab")];
/// How many lines are looked at to find the sign between the cells.
const LINES_LOOKED_AT: usize = 60;

pub(super) fn read(bytes: &[u8], kind: ListKind) -> Result<Split, ParseFault> {
    let (text, encoding) = decode(bytes);
    let (declared, text, first_row) = declared_delimiter(&text);
    let (sign, delimiter) = declared.unwrap_or_else(|| best_delimiter(text, kind));
    let mut records = records::split(text, sign).map_err(|fault| shift(fault, first_row))?;
    for record in &mut records {
        record.row_number += first_row;
        for field in &mut record.fields {
            *field = unguard(field).to_owned();
        }
    }
    if records.iter().all(|record| record.fields.iter().all(|field| field.trim().is_empty())) {
        return Err(ParseFault::whole(FaultCode::Empty, "nothing is in the file; send the list as CSV or XLSX"));
    }
    Ok(Split { records, encoding, delimiter })
}

fn shift(fault: ParseFault, rows: u32) -> ParseFault {
    ParseFault { row_number: fault.row_number.map(|row| row + rows), ..fault }
}

/// UTF-8 or UTF-16 by its mark, UTF-8 by its form, else Windows-1252, in which every byte is some sign.
fn decode(bytes: &[u8]) -> (String, &'static str) {
    if let Some((encoding, mark)) = encoding_rs::Encoding::for_bom(bytes) {
        let (text, _) = encoding.decode_without_bom_handling(bytes.get(mark..).unwrap_or_default());
        return (text.into_owned(), encoding.name());
    }
    match std::str::from_utf8(bytes) {
        Ok(text) => (text.to_owned(), "UTF-8"),
        Err(_) => (encoding_rs::WINDOWS_1252.decode_without_bom_handling(bytes).0.into_owned(), "windows-1252"),
    }
}

/// Some spreadsheet programs write `sep=;` as a first line; it is obeyed and counted as a row.
fn declared_delimiter(text: &str) -> (Option<(char, &'static str)>, &str, u32) {
    let (first, rest) = text.split_once('\n').unwrap_or((text, ""));
    let sign = first.trim_end_matches('\r').strip_prefix("sep=").and_then(|sign| sign.chars().next());
    match DELIMITERS.into_iter().find(|(candidate, _)| Some(*candidate) == sign) {
        Some(found) => (Some(found), rest, 1),
        None => (None, text, 0),
    }
}

/// The sign under which some row reads as the most headings; where none does, the one that splits rows most evenly.
fn best_delimiter(text: &str, kind: ListKind) -> (char, &'static str) {
    let end = text.match_indices('\n').nth(LINES_LOOKED_AT).map_or(text.len(), |(at, _)| at);
    let head = text.get(..end).unwrap_or(text);
    let mut best = (DELIMITERS[0], (0, 0));
    for candidate in DELIMITERS {
        let score = delimiter_score(head, candidate.0, kind);
        if score > best.1 {
            best = (candidate, score);
        }
    }
    best.0
}

fn delimiter_score(head: &str, sign: char, kind: ListKind) -> (usize, usize) {
    let mut records = records::split_as_far_as_it_goes(head, sign);
    if records.is_empty() {
        records = records::split(head, sign).unwrap_or_default(); // one line without its end
    }
    let headings = records
        .iter()
        .map(|record| record.fields.iter().filter(|field| headings::recognise(field, kind).is_some()).count())
        .max()
        .unwrap_or(0);
    let widths: Vec<usize> = records.iter().map(|record| record.fields.len()).filter(|width| *width > 1).collect();
    let even = widths.iter().map(|width| widths.iter().filter(|other| *other == width).count()).max().unwrap_or(0);
    (headings, even)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::common::csv_out::{CsvCell, to_csv};
    use proptest::prelude::*;

    fn first(bytes: &[u8]) -> (Vec<String>, &'static str, &'static str) {
        let split = read(bytes, ListKind::RoleList).unwrap();
        (split.records[0].fields.clone(), split.encoding, split.delimiter)
    }

    #[test]
    fn the_encoding_is_found_by_mark_or_form() {
        // é is C3 A9 in UTF-8, E9 in Windows-1252, E9 00 in UTF-16LE; 80 is the euro sign in Windows-1252 only
        for (bytes, encoding) in [
            (&b"Ren\xC3\xA9,x"[..], "UTF-8"),
            (b"\xEF\xBB\xBFRen\xC3\xA9,x", "UTF-8"),
            (b"Ren\xE9,x", "windows-1252"),
            (b"\xFF\xFER\0e\0n\0\xE9\0,\0x\0", "UTF-16LE"),
            (b"\xFE\xFF\0R\0e\0n\0\xE9\0,\0x", "UTF-16BE"),
        ] {
            assert_eq!(first(bytes), (vec!["René".into(), "x".into()], encoding, "comma"));
        }
        assert_eq!(first(b"\x80 5,x").0[0], "€ 5");
    }

    #[test]
    fn the_sign_between_cells_is_found_even_where_others_stand_inside() {
        assert_eq!(first(b"Troop;First name;Last name\n1;Ann, called Nan;Lee").2, "semicolon");
        assert_eq!(first(b"Troop\tFirst name\tLast name, born\n1\tAnn\tLee").2, "tab");
        assert_eq!(first(b"Troop,First name,Last; name\n1,Ann,Lee").2, "comma");
        assert_eq!(first(b"sep=;\nTroop;First, name\n").2, "semicolon");
    }

    #[test]
    fn a_declared_separator_counts_as_a_row() {
        assert_eq!(read(b"sep=;\r\nTroop;Email\r\n", ListKind::RoleList).unwrap().records[0].row_number, 2);
    }

    #[test]
    fn utf_16_without_its_mark_is_refused_for_its_zero_bytes() {
        let fault = read(b"T\0r\0o\0", ListKind::RoleList).err().unwrap();
        assert_eq!((fault.code, fault.row_number), (FaultCode::ZeroByte, Some(1)));
    }

    proptest! {
        /// What this program writes as CSV it reads back sign for sign (R21).
        #[test]
        fn an_export_comes_back_as_it_was(rows in prop::collection::vec(prop::collection::vec("[-'=+@\t\r\n,;\"a ＝é]{0,8}", 1..5), 1..6)) {
            let cells = rows.iter().map(|row| row.iter().map(|text| CsvCell::Text(text)).collect());
            let csv = to_csv(&["h"], cells);
            let records = records::split(std::str::from_utf8(&csv).unwrap(), ',').unwrap();
            let back: Vec<Vec<&str>> =
                records.iter().skip(1).map(|record| record.fields.iter().map(|field| unguard(field)).collect()).collect();
            prop_assert_eq!(back, rows);
        }
    }
}
