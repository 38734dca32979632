//! A sheet as a workbook: the table with its heading row held, and a second sheet that says what it is.

use rust_xlsxwriter::{DocProperties, ExcelDateTime, Format, FormatAlign, Workbook, Worksheet, XlsxError};

use super::sheet::Sheet;
use crate::error::ApiError;

/// The most UTF-16 units that a cell holds (the format's own limit is 32,767).
const LONGEST: usize = 32_000;

/// The most UTF-16 units of a page's foot (the format's own limit is 255, with the signs that place it).
const LONGEST_FOOT: usize = 220;

/// The workbook's bytes. Every cell is text, so nothing in it is ever computed, and numbers keep their zeros.
///
/// # Errors
/// An internal error if the table does not fit the format.
pub fn xlsx(sheet: &Sheet) -> Result<Vec<u8>, ApiError> {
    workbook(sheet).map_err(|error| ApiError::internal(&error))
}

fn workbook(sheet: &Sheet) -> Result<Vec<u8>, XlsxError> {
    let mut workbook = Workbook::new();
    let made_at = ExcelDateTime::from_timestamp(sheet.made_at.timestamp())?;
    workbook.set_properties(&DocProperties::new().set_title(&sheet.title).set_creation_datetime(&made_at));
    table(workbook.add_worksheet(), sheet)?;
    about(workbook.add_worksheet(), sheet)?;
    workbook.save_to_buffer()
}

fn table(to: &mut Worksheet, sheet: &Sheet) -> Result<(), XlsxError> {
    let head = text().set_bold();
    to.set_name("Table")?;
    to.set_landscape().set_print_fit_to_pages(1, 0).set_print_gridlines(true);
    to.set_footer(format!("&L{}&RPage &P of &N", foot(&sheet.foot)));
    for (column, place) in sheet.columns.iter().zip(0_u16..) {
        to.set_column_width(place, f64::from(column.share))?;
        to.write_string_with_format(0, place, column.heading, &head)?;
    }
    to.set_freeze_panes(1, 0)?.set_repeat_rows(0, 0)?;
    let cell = text();
    for (row, line) in sheet.rows.iter().zip(1_u32..) {
        for (value, place) in row.iter().zip(0_u16..) {
            to.write_string_with_format(line, place, held(value), &cell)?;
        }
    }
    if let (Some(last_row), Some(last)) = (u32::try_from(sheet.rows.len()).ok(), sheet.columns.len().checked_sub(1)) {
        to.autofilter(0, 0, last_row, u16::try_from(last).unwrap_or(u16::MAX))?;
    }
    Ok(())
}

fn about(to: &mut Worksheet, sheet: &Sheet) -> Result<(), XlsxError> {
    to.set_name("About")?;
    to.set_column_width(0, 24)?.set_column_width(1, 80)?;
    to.write_string_with_format(0, 0, &sheet.title, &text().set_bold())?;
    let cell = text();
    let note = ("Note".to_owned(), sheet.note.clone());
    for ((label, value), line) in sheet.facts.iter().chain([&note]).zip(1_u32..) {
        to.write_string_with_format(line, 0, label, &cell)?;
        to.write_string_with_format(line, 1, held(value), &cell)?;
    }
    Ok(())
}

/// A cell of text, wrapped, with its lines beginning at the top.
fn text() -> Format {
    Format::new().set_num_format("@").set_text_wrap().set_align(FormatAlign::Top)
}

/// The foot of a page as the format wants it, the sign that means something in it doubled.
fn foot(text: &str) -> String {
    let doubled = text.replace('&', "&&");
    if doubled.encode_utf16().count() <= LONGEST_FOOT {
        return doubled;
    }
    format!("{} ...", cut(text, LONGEST_FOOT / 2).replace('&', "&&"))
}

/// As much of a text as fits, whole letters.
fn cut(text: &str, units: usize) -> String {
    let mut room = units;
    let fits = |letter: &char| room.checked_sub(letter.len_utf16()).map(|rest| room = rest).is_some();
    text.chars().take_while(fits).collect()
}

/// What a cell can hold of a text; what it cannot, it says.
fn held(value: &str) -> String {
    if value.encode_utf16().count() <= LONGEST {
        return value.to_owned();
    }
    let held = cut(value, LONGEST);
    format!("{held} ... (a cell holds no more; the CSV and JSON files have all of it)")
}

#[cfg(test)]
mod tests {
    use std::io::Cursor;

    use calamine::{Data, Reader as _, Xlsx};

    use super::super::sheet::{Column, Sheet};
    use super::{held, xlsx};

    fn sheet() -> Sheet {
        let row = |texts: [&str; 2]| texts.map(str::to_owned).to_vec();
        Sheet {
            title: "Season return 3".to_owned(),
            facts: vec![("Stands at".to_owned(), "2040-01-10 16:00 UTC".to_owned())],
            note: "Head office's figures prevail.".to_owned(),
            foot: "Oats & plums".to_owned(),
            made_at: "2040-01-10T16:00:00Z".parse().unwrap(),
            columns: vec![Column { heading: "Number", share: 10 }, Column { heading: "Name", share: 40 }],
            rows: vec![row(["0412", "=HYPERLINK(1)"]), row(["7", "Björn’s 李"])],
        }
    }

    #[test]
    fn every_cell_is_text_read_back_as_it_was() {
        let mut book: Xlsx<_> = calamine::open_workbook_from_rs(Cursor::new(xlsx(&sheet()).unwrap())).unwrap();
        assert_eq!(book.sheet_names(), ["Table", "About"]);
        let range = book.worksheet_range("Table").unwrap();
        let rows: Vec<Vec<Data>> = range.rows().map(<[Data]>::to_vec).collect();
        let text = |text: &str| Data::String(text.to_owned());
        assert_eq!(
            rows,
            [[text("Number"), text("Name")], [text("0412"), text("=HYPERLINK(1)")], [text("7"), text("Björn’s 李")],]
        );
        assert!(book.worksheet_formula("Table").unwrap().is_empty(), "nothing in it is computed");
        let about = book.worksheet_range("About").unwrap();
        assert_eq!(about.get_value((2, 1)), Some(&text("Head office's figures prevail.")));
    }

    #[test]
    fn the_heading_stays_in_sight_and_the_same_sheet_gives_the_same_bytes() {
        let bytes = xlsx(&sheet()).unwrap();
        assert_eq!(bytes, xlsx(&sheet()).unwrap());
        let mut archive = zip::ZipArchive::new(Cursor::new(bytes)).unwrap();
        let mut part = String::new();
        std::io::Read::read_to_string(&mut archive.by_name("xl/worksheets/sheet1.xml").unwrap(), &mut part).unwrap();
        assert!(
            part.contains(r#"<pane ySplit="1" topLeftCell="A2" activePane="bottomLeft" state="frozen"/>"#),
            "{part}"
        );
        assert!(part.contains("Oats &amp;&amp; plums"), "a sign that means something in a foot is doubled");
    }

    #[test]
    fn what_a_cell_cannot_hold_is_said() {
        assert_eq!(held(&"a".repeat(32_000)).len(), 32_000);
        assert!(held(&"a".repeat(32_001)).ends_with("(a cell holds no more; the CSV and JSON files have all of it)"));
        // Two units each: half as many.
        assert_eq!(held(&"\u{1f600}".repeat(20_000)).matches('\u{1f600}').count(), 16_000);
        let mut long = sheet();
        long.foot = "& ".repeat(150);
        long.rows = vec![vec!["\u{1f600}".repeat(40_000), "a".repeat(40_000)]];
        let mut archive = zip::ZipArchive::new(Cursor::new(xlsx(&long).unwrap())).unwrap();
        let mut part = String::new();
        std::io::Read::read_to_string(&mut archive.by_name("xl/worksheets/sheet1.xml").unwrap(), &mut part).unwrap();
        assert!(part.contains("&amp;&amp; &amp;&amp; ") && part.contains(" ...&amp;RPage &amp;P of &amp;N"), "{part}");
    }
}
