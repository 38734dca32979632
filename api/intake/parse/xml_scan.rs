//! A cheap look at XML while it is being inflated: how large its tags are, how many attributes they have, how far a sheet
//! reaches. It keeps one tag in memory and never a tree, so that hostile XML costs nothing before it is refused.

use super::fault::{FaultCode, ParseFault};
use super::ods_reach::{Nesting, OdsReach};
use super::xml_tag::{attribute, attributes, name_of};

/// The most attributes that a tag of a workbook may have; spreadsheet programs write about 30 at most.
const MAX_ATTRIBUTES: usize = 200;
/// The longest tag that is read.
const MAX_TAG_BYTES: usize = 32 * 1024;
/// The most cells in the box around all cells of a sheet (R22).
pub(super) const MAX_CELLS: u64 = 1_000_000;
/// The most merged regions of a sheet.
const MAX_MERGED: u64 = 10_000;
/// The most rows that a sheet may hold, blank ones with a colour counted; a list may have fewer still.
const MAX_SHEET_ROWS: u64 = 50_000;

/// What a part of a workbook is, as far as its tags say how large it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Part {
    /// A sheet of an XLSX workbook.
    Sheet,
    /// The content of an ODS file, all sheets in one.
    OpenDocument,
    /// Anything else.
    Other,
}

/// Scans one part of a workbook, chunk by chunk.
pub(super) struct Scan {
    part: Part,
    reach: OdsReach,
    nesting: Nesting,
    /// Bytes since the last tag's end.
    between: u64,
    tag: Vec<u8>,
    inside: bool,
    quote: Option<u8>,
    text_before: Vec<u8>,
    cells: u64,
    merged: u64,
    rows: u64,
    first: Option<(u32, u32)>,
    last: (u32, u32),
    row: u32,
    column: u32,
}

impl Scan {
    pub(super) fn new(part: Part) -> Self {
        let (tag, text_before) = (Vec::new(), Vec::new());
        Self {
            part,
            reach: OdsReach::default(),
            nesting: Nesting::default(),
            between: 0,
            tag,
            inside: false,
            quote: None,
            text_before,
            cells: 0,
            merged: 0,
            rows: 0,
            first: None,
            last: (0, 0),
            row: 0,
            column: 0,
        }
    }

    pub(super) fn feed(&mut self, chunk: &[u8]) -> Result<(), ParseFault> {
        let mut rest = chunk;
        while !rest.is_empty() {
            if self.inside {
                rest = self.feed_tag(rest)?;
            } else if let Some(start) = rest.iter().position(|byte| *byte == b'<') {
                self.between += length(rest.get(..start).unwrap_or_default());
                rest = rest.get(start + 1..).unwrap_or_default();
                self.inside = true;
                self.tag.clear();
                self.quote = None;
            } else {
                self.between += length(rest);
                return Ok(());
            }
        }
        Ok(())
    }

    /// Takes a tag up to its end, or as far as the chunk goes; gives what is left of the chunk.
    fn feed_tag<'a>(&mut self, chunk: &'a [u8]) -> Result<&'a [u8], ParseFault> {
        for (place, byte) in chunk.iter().enumerate() {
            let after = || chunk.get(place + 1..).unwrap_or_default();
            if self.skips(*byte) {
                if self.inside {
                    continue;
                }
                return Ok(after());
            }
            match self.quote {
                Some(open) if open == *byte => self.quote = None,
                None if matches!(*byte, b'"' | b'\'') => self.quote = Some(*byte),
                None if *byte == b'>' => {
                    self.inside = false;
                    let tag = std::mem::take(&mut self.tag);
                    self.end_of_tag(&tag)?;
                    self.tag = tag;
                    return Ok(after());
                }
                _ => {}
            }
            self.tag.push(*byte);
            if self.tag.len() > MAX_TAG_BYTES {
                return Err(malformed("a part of the workbook has a tag of more than 32 KiB"));
            }
        }
        Ok(&[])
    }

    /// Inside a comment, a character-data section or a processing instruction only its end counts; true while there. Whatever
    /// would end one of them elsewhere than for the spreadsheet reader could hide cells from this look at them.
    fn skips(&mut self, byte: u8) -> bool {
        let end: &[u8] = if self.tag.starts_with(b"!--") {
            b"-->"
        } else if self.tag.starts_with(b"![CDATA[") {
            b"]]>"
        } else if self.tag.starts_with(b"?") {
            b"?>"
        } else {
            return false;
        };
        self.between += 1;
        self.text_before.push(byte);
        let keep = self.text_before.len().saturating_sub(end.len());
        self.text_before.drain(..keep);
        if self.text_before == end {
            self.inside = false;
            self.text_before.clear();
        }
        true
    }

    fn end_of_tag(&mut self, tag: &[u8]) -> Result<(), ParseFault> {
        if tag.get(..8).is_some_and(|head| head.eq_ignore_ascii_case(b"!DOCTYPE")) {
            return Err(malformed(
                "a part of the workbook declares a document type, which no spreadsheet program writes",
            ));
        }
        let tag = String::from_utf8_lossy(tag);
        if attributes(&tag).count() > MAX_ATTRIBUTES {
            return Err(malformed("a part of the workbook has a tag with more than 200 attributes"));
        }
        if self.part == Part::OpenDocument {
            return self.open_document_tag(&tag);
        }
        if self.part == Part::Other || tag.starts_with('/') {
            return Ok(());
        }
        let name = name_of(&tag);
        let name = name.rsplit(':').next().unwrap_or(name);
        match name {
            "dimension" => declared(attribute(&tag, "ref")),
            "row" => {
                self.rows += 1;
                if self.rows > MAX_SHEET_ROWS {
                    let detail = "a sheet has more than 50,000 rows; copy only this unit's rows into a new sheet";
                    return Err(ParseFault::whole(FaultCode::TooManyRows, detail));
                }
                self.row =
                    attribute(&tag, "r").and_then(|row| row.parse().ok()).unwrap_or_else(|| self.row.saturating_add(1));
                self.column = 0;
                self.reaches(self.row, 1)
            }
            "c" => self.cell(attribute(&tag, "r")),
            "mergeCell" => {
                self.merged += 1;
                if self.merged > MAX_MERGED {
                    return Err(malformed("a sheet has more than 10,000 merged regions"));
                }
                Ok(())
            }
            _ => Ok(()),
        }
    }

    fn open_document_tag(&mut self, tag: &str) -> Result<(), ParseFault> {
        let (name, ends, is_empty) = (name_of(tag), tag.starts_with('/'), tag.ends_with('/'));
        if !self.nesting.tag(name, ends, is_empty) {
            return Err(malformed("the sheets, rows and cells of the file do not lie in each other as they should"));
        }
        self.reach.text(std::mem::take(&mut self.between));
        let within = ends || self.reach.tag(name, |wanted| attribute(tag, wanted));
        if ends || is_empty {
            self.reach.end(name);
        }
        if self.reach.has_too_much_text() {
            let detail = "the cells of a sheet repeat more text than a list has; copy only the list into a new sheet";
            return Err(too_many_cells(detail));
        }
        let detail = "a sheet reaches over more than a million cells; copy only the list into a new sheet";
        if within { Ok(()) } else { Err(too_many_cells(detail)) }
    }

    fn cell(&mut self, reference: Option<&str>) -> Result<(), ParseFault> {
        self.cells += 1;
        if self.cells > MAX_CELLS {
            return Err(too_many_cells("the sheet has more than a million cells"));
        }
        match reference {
            Some(text) => {
                let Some((row, column)) = place(text) else {
                    return Err(malformed("a cell of the workbook has an address that no spreadsheet program writes"));
                };
                (self.row, self.column) = (row, column);
            }
            None => self.column = self.column.saturating_add(1),
        }
        self.reaches(self.row, self.column)
    }

    fn reaches(&mut self, row: u32, column: u32) -> Result<(), ParseFault> {
        let first = self.first.get_or_insert((row, column));
        *first = (first.0.min(row), first.1.min(column));
        self.last = (self.last.0.max(row), self.last.1.max(column));
        within_box(*first, self.last)
    }
}

fn declared(reference: Option<&str>) -> Result<(), ParseFault> {
    let Some((from, to)) = reference.and_then(|text| text.split_once(':')) else { return Ok(()) };
    match (place(from), place(to)) {
        (Some(from), Some(to)) => within_box(from, to),
        _ => Ok(()),
    }
}

fn within_box(from: (u32, u32), to: (u32, u32)) -> Result<(), ParseFault> {
    let rows = u64::from(to.0.saturating_sub(from.0)) + 1;
    let columns = u64::from(to.1.saturating_sub(from.1)) + 1;
    if rows * columns <= MAX_CELLS {
        return Ok(());
    }
    Err(too_many_cells(&format!(
        "the sheet reaches over {rows} rows and {columns} columns, more than a million cells; copy only the list into a new sheet"
    )))
}

fn too_many_cells(detail: &str) -> ParseFault {
    ParseFault::whole(FaultCode::TooManyCells, detail)
}

fn malformed(detail: &str) -> ParseFault {
    ParseFault::whole(FaultCode::Malformed, format!("{detail}; save the list as CSV and send that"))
}

/// Row and column, both from 1, of an address such as `XFD1048576`; none beyond what a sheet can have.
fn place(reference: &str) -> Option<(u32, u32)> {
    let digits = reference.find(|sign: char| sign.is_ascii_digit())?;
    let (letters, row) = reference.split_at(digits);
    if letters.is_empty() || letters.len() > 3 {
        return None;
    }
    let mut column = 0_u32;
    for letter in letters.bytes() {
        let value = u32::from(letter.to_ascii_uppercase().checked_sub(b'A')?) + 1;
        column = column.checked_mul(26)?.checked_add(value)?;
    }
    let row: u32 = row.parse().ok()?;
    ((1..=1_048_576).contains(&row) && column <= 16_384).then_some((row, column))
}

fn length(bytes: &[u8]) -> u64 {
    u64::try_from(bytes.len()).unwrap_or(u64::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn scan(xml: &str) -> Result<(), ParseFault> {
        let mut scan = Scan::new(Part::Sheet);
        for chunk in xml.as_bytes().chunks(7) {
            scan.feed(chunk)?;
        }
        Ok(())
    }

    #[test]
    fn addresses_are_read_up_to_the_edge_of_a_sheet() {
        assert_eq!(place("A1"), Some((1, 1)));
        assert_eq!(place("XFD1048576"), Some((1_048_576, 16_384))); // ECMA-376: the last cell of a sheet
        for beyond in ["XFE1", "A1048577", "A0", "1", "A", "", "AAAA1", "a-1"] {
            assert_eq!(place(beyond), None, "{beyond}");
        }
    }

    #[test]
    fn a_box_of_a_million_cells_is_the_edge() {
        assert!(scan("<worksheet><dimension ref=\"A1:Z38461\"/></worksheet>").is_ok()); // 26 x 38,461 = 999,986
        for over in [
            "<dimension ref=\"A1:Z38462\"/>",
            "<x:dimension ref='A1:XFD1048576'/>",
            "<row r=\"1\"><c r=\"A1\"/></row><row r=\"1048576\"><c r=\"XFD1048576\"/></row>",
            "<row r=\"1\"><c/></row><row r=\"1048576\"><c/><c/></row>",
        ] {
            assert_eq!(scan(over).unwrap_err().code, FaultCode::TooManyCells, "{over}");
        }
        assert!(scan("<row r=\"1048570\"><c r=\"XFD1048570\"/></row>").is_ok(), "far away alone is no large box");
    }

    #[test]
    fn hostile_tags_are_refused_and_text_is_left_alone() {
        let many: String = std::iter::repeat_n(" a=\"1\"", 201).collect();
        for bad in [
            format!("<c{many}/>"),
            format!("<c a=\"{}\"/>", "x".repeat(40_000)),
            "<!DOCTYPE x [<!ENTITY a 'b'>]>".into(),
        ] {
            assert_eq!(scan(&bad).unwrap_err().code, FaultCode::Malformed);
        }
        for good in
            ["<!-- <!DOCTYPE > = = -->", "<t><![CDATA[ <c r=\"XFD1\"> ]]></t>", "<t>a=b=c</t>", "<c r=\"A1\" t='a>b'/>"]
        {
            assert!(scan(good).is_ok(), "{good}");
        }
    }

    fn open_document(xml: &str) -> Result<(), FaultCode> {
        let mut scan = Scan::new(Part::OpenDocument);
        xml.as_bytes().chunks(7).try_for_each(|chunk| scan.feed(chunk)).map_err(|fault| fault.code)
    }

    /// A sheet of these rows.
    fn sheet_of(rows: &str) -> Result<(), FaultCode> {
        open_document(&format!("<table:table table:name=\"x\">{rows}</table:table>"))
    }

    #[test]
    fn an_instruction_ends_where_the_reader_ends_it_and_hides_nothing() {
        for opened in ["<?a><!--?>", "<?a>\"?>", "<?a b='?>", "<?a?b><![CDATA[?>"] {
            let sheet = format!("{opened}<dimension ref=\"A1:XFD1048576\"/>");
            assert_eq!(scan(&sheet).unwrap_err().code, FaultCode::TooManyCells, "{sheet}");
        }
        assert!(scan("<?xml version=\"1.0\"?><?a <c r=\"-\"> ?><c r=\"A1\"/>").is_ok());
    }

    #[test]
    fn a_cell_counts_as_the_reader_counts_it_however_its_attributes_are_written() {
        let many = "table:number-columns-repeated=\"16384\"";
        for cell in [
            format!("{many} office:value=\"1\""),
            format!("{many} office:string-value=\"x\""),
            format!("x:number-columns-repeated=\"1\" {many} office:value-type=\"float\""),
            format!("x table:number-columns-repeated=\"1\" {many} office:value-type=\"float\""),
            format!("\u{c}{many} office:value-type=\"float\""),
        ] {
            let row = format!("<table:table-row><table:table-cell {cell}/></table:table-row>");
            assert_eq!(sheet_of(&row), Ok(()), "one row of it: {cell}");
            assert_eq!(sheet_of(&row.repeat(62)), Err(FaultCode::TooManyCells), "{cell}"); // 62 x 16,384 = 1,015,808
        }
    }

    #[test]
    fn text_counts_as_often_as_its_cell_is_repeated() {
        let cell = |repeats: u32, inside: &str| {
            sheet_of(&format!(
                "<table:table-row><table:table-cell office:value-type=\"string\" table:number-columns-repeated=\"{repeats}\">\
                 <text:p>{inside}</text:p></table:table-cell></table:table-row>"
            ))
        };
        let long = "x".repeat(60_000);
        assert_eq!(cell(100, &long), Ok(()));
        assert_eq!(cell(1_000, &long), Err(FaultCode::TooManyCells)); // 60 MB of 50 MiB
        assert_eq!(cell(1, "a<text:s text:c=\"3\"/>b"), Ok(()));
        assert_eq!(cell(1, "a<text:s text:c=\"4000000000\"/>b"), Err(FaultCode::TooManyCells));
        assert_eq!(cell(1_000, "a<text:s text:c=\"60000\"/>b"), Err(FaultCode::TooManyCells));
    }

    #[test]
    fn sheets_rows_and_cells_lie_in_each_other_or_are_refused() {
        let cell = "<table:table-cell office:value-type=\"string\"><text:p>x</text:p></table:table-cell>";
        let row = format!("<table:table-row>{cell}<table:covered-table-cell/></table:table-row>");
        let good = format!("<table:table><table:table-header-rows>{row}</table:table-header-rows>{row}</table:table>");
        assert_eq!(open_document(&format!("{good}<table:table/>{good}<x:table><x:table>")), Ok(()));
        let noted = "<table:table-row><table:table-cell><office:annotation><text:p>see</text:p></office:annotation></table:table-cell></table:table-row>";
        assert_eq!(sheet_of(noted), Ok(()));
        for rows in [
            "<table:table/>",
            "<table:table-cell/>",
            "</table:table-row>",
            "<table:table-row><table:table-cell><table:table></table:table></table:table-cell></table:table-row>",
            "<table:table-row><table:table-cell></table:table></table:table-cell></table:table-row>",
            "<table:table-row><table:table-cell><office:annotation></table:table-cell></table:table-row>",
            "<table:table-row><table:table-row/></table:table-row>",
        ] {
            assert_eq!(sheet_of(rows), Err(FaultCode::Malformed), "{rows}");
        }
    }
}
