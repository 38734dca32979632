//! A sheet as a PDF: black on white, lying on its long side, its heading row on each page, each page numbered.
//!
//! The letters are embedded (only those used), so it prints alike everywhere. Nothing is cut off: long texts are wrapped, a
//! row longer than a page goes on overleaf, and what the fonts lack is told by its Unicode number.

mod layout;
mod text;

use chrono::{DateTime, Datelike as _, Timelike as _, Utc};
use krilla::Document;
use krilla::geom::{PathBuilder, Point};
use krilla::metadata::{DateTime as PdfTime, Metadata};
use krilla::num::NormalizedF32;
use krilla::page::PageSettings;
use krilla::paint::{Fill, Stroke};
use krilla::surface::Surface;
use krilla::text::{Font, TextDirection};

use self::layout::Mark;
use super::sheet::{Paper, Sheet};
use crate::error::ApiError;

/// The PDF's bytes.
///
/// # Errors
/// An internal error if the fonts cannot be read or the document not be written.
pub fn pdf(sheet: &Sheet, paper: Paper) -> Result<Vec<u8>, ApiError> {
    let faces = text::Faces::new()?;
    let pages = layout::pages(&faces, sheet, paper);
    let font = |bytes: &'static [u8]| {
        Font::new(bytes.into(), 0).ok_or_else(|| ApiError::broken("a print font that cannot be read"))
    };
    let fonts = (font(text::PLAIN)?, font(text::BOLD)?);
    let mut document = Document::new();
    document.set_metadata(
        Metadata::new().title(sheet.title.clone()).language("en".to_owned()).creation_date(time(sheet.made_at)),
    );
    let (width, height) = paper.landscape();
    for marks in &pages {
        let size = PageSettings::from_wh(width, height).ok_or_else(|| ApiError::broken("a page without a size"))?;
        let mut page = document.start_page_with(size);
        let mut surface = page.surface();
        for mark in marks {
            draw(&mut surface, &faces, &fonts, mark);
        }
        surface.finish();
        page.finish();
    }
    document.finish().map_err(|error| ApiError::internal(&error))
}

fn draw(surface: &mut Surface<'_>, faces: &text::Faces, (plain, strong): &(Font, Font), mark: &Mark) {
    match mark {
        Mark::Text { x, y, size, bold, line } => {
            surface.set_fill(Some(Fill::default()));
            surface.set_stroke(None);
            let font = if *bold { strong } else { plain };
            let mut x = *x;
            for run in &line.runs {
                let way = if run.from_right { TextDirection::RightToLeft } else { TextDirection::LeftToRight };
                surface.draw_text(Point::from_xy(x, *y), font.clone(), *size, &run.text, false, way);
                x += faces.run_width(run, *size, *bold);
            }
        }
        Mark::Rule { y, from, to, weight } => {
            let mut path = PathBuilder::new();
            path.move_to(*from, *y);
            path.line_to(*to, *y);
            let Some(path) = path.finish() else { return };
            surface.set_fill(None);
            surface.set_stroke(Some(Stroke { width: *weight, opacity: NormalizedF32::ONE, ..Stroke::default() }));
            surface.draw_path(&path);
        }
    }
}

fn time(at: DateTime<Utc>) -> PdfTime {
    let small = |number: u32| u8::try_from(number).unwrap_or(0);
    PdfTime::new(u16::try_from(at.year()).unwrap_or(0))
        .month(small(at.month()))
        .day(small(at.day()))
        .hour(small(at.hour()))
        .minute(small(at.minute()))
        .second(small(at.second()))
        .utc_offset_hour(0)
        .utc_offset_minute(0)
}

#[cfg(test)]
mod tests {
    use super::layout::{Mark, pages};
    use super::text::Faces;
    use super::{Paper, Sheet, pdf};
    use crate::frozen::sheet::Column;

    fn sheet(rows: Vec<Vec<String>>) -> Sheet {
        Sheet {
            title: "Season return 3".to_owned(),
            facts: vec![("Stands at".to_owned(), "2040-01-10 16:00 UTC".to_owned())],
            note: "Head office's figures prevail until reconciled.".to_owned(),
            foot: "Season return 3, Juniper Ridge".to_owned(),
            made_at: "2040-01-10T16:00:00Z".parse().unwrap(),
            columns: vec![Column { heading: "Number", share: 10 }, Column { heading: "What", share: 90 }],
            rows,
        }
    }

    fn texts(page: &[Mark]) -> Vec<&str> {
        page.iter()
            .filter_map(|mark| match mark {
                Mark::Text { line, .. } => Some(line.text.as_str()),
                Mark::Rule { .. } => None,
            })
            .collect()
    }

    #[test]
    fn each_page_has_the_headings_and_says_which_of_how_many_it_is() {
        let faces = Faces::new().unwrap();
        let rows: Vec<_> = (1..=90).map(|number| vec![format!("{number:04}"), "in order".to_owned()]).collect();
        for paper in [Paper::A4, Paper::Letter] {
            let laid = pages(&faces, &sheet(rows.clone()), paper);
            assert!(laid.len() > 1, "{paper:?}");
            for (page, number) in laid.iter().zip(1..) {
                let told = texts(page);
                assert_eq!(told.iter().filter(|text| **text == "Number").count(), 1);
                assert!(told.contains(&format!("Page {number} of {}", laid.len()).as_str()));
                assert!(told.contains(&"Season return 3, Juniper Ridge"));
            }
            let all: Vec<&str> = laid.iter().flat_map(|page| texts(page)).collect();
            for number in 1..=90 {
                assert_eq!(all.iter().filter(|text| **text == format!("{number:04}")).count(), 1, "{number}");
            }
        }
    }

    #[test]
    fn a_row_longer_than_a_page_goes_on_overleaf_and_loses_nothing() {
        let faces = Faces::new().unwrap();
        let words: Vec<String> = (0..9_000).map(|number| format!("word{number}")).collect();
        let laid = pages(&faces, &sheet(vec![vec!["0412".to_owned(), words.join(" ")]]), Paper::A4);
        assert!(laid.len() > 1);
        let all: Vec<&str> = laid.iter().flat_map(|page| texts(page)).flat_map(str::split_whitespace).collect();
        for word in &words {
            assert_eq!(all.iter().filter(|one| *one == word).count(), 1, "{word}");
        }
        assert!(all.contains(&"(continued)"));
        let (_, height) = Paper::A4.landscape();
        for mark in laid.iter().flatten() {
            let y = match mark {
                Mark::Text { y, .. } | Mark::Rule { y, .. } => *y,
            };
            assert!(y > 0.0 && y <= height - 36.0, "{mark:?}");
        }
    }

    #[test]
    fn the_same_sheet_gives_the_same_bytes_and_they_are_a_pdf_of_that_size() {
        let rows = vec![vec!["0412".to_owned(), "Zoë Łukasiewicz".to_owned()]];
        let bytes = pdf(&sheet(rows.clone()), Paper::Letter).unwrap();
        assert!(bytes.starts_with(b"%PDF-1."));
        assert_eq!(bytes, pdf(&sheet(rows), Paper::Letter).unwrap());
        assert!(String::from_utf8_lossy(&bytes).contains("/MediaBox[0 0 792 612]"));
        assert!(bytes.len() < 60_000, "only the letters used are embedded: {} bytes", bytes.len());
    }
}
