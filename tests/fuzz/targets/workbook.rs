//! Workbooks, packed here so that what is tried is what they hold and not the packing. A part is its name, U+001F, its text;
//! U+001E stands between parts. The look at a workbook before it is opened (`preflight`) has a reader of its own: what it
//! must refuse is told here by the reader that opens it, so that the two cannot see different files.
#![no_main]

mod hold;

use caselot::intake::kinds::ListKind;
use libfuzzer_sys::fuzz_target;
use quick_xml::events::{BytesStart, Event};
use std::io::{Cursor, Write};
use zip::write::{SimpleFileOptions, ZipWriter};

/// The most cells of a sheet (reliability.md R22).
const MAX_CELLS: u64 = 1_000_000;

fuzz_target!(|text: &[u8]| {
    let parts: Vec<(&str, &[u8])> = text.split(|byte| *byte == 0x1e).filter_map(named).collect();
    let Some(file) = pack(&parts) else { return };
    let kind = ListKind::ALL[text.len() % ListKind::ALL.len()];
    let read = hold::list_holds(&file, kind);
    for (name, content) in parts {
        let name = name.to_lowercase();
        if name.ends_with("vbaproject.bin") || content.starts_with(b"PK\x03\x04") {
            assert!(read.is_err(), "read in spite of {name}");
        }
        if name.ends_with(".xml")
            && let Some(why) = must_be_refused(&name, content)
        {
            assert!(read.is_err(), "{name}: {why}");
        }
    }
});

fn named(part: &[u8]) -> Option<(&str, &[u8])> {
    let at = part.iter().position(|byte| *byte == 0x1f)?;
    Some((std::str::from_utf8(&part[..at]).ok()?, &part[at + 1..]))
}

fn pack(parts: &[(&str, &[u8])]) -> Option<Vec<u8>> {
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, content) in parts {
        // an OpenDocument file is known by its type, the first part, unpacked
        let how = if *name == "mimetype" { zip::CompressionMethod::Stored } else { zip::CompressionMethod::Deflated };
        zip.start_file(*name, SimpleFileOptions::default().compression_method(how)).ok()?;
        zip.write_all(content).ok()?;
    }
    Some(zip.finish().ok()?.into_inner())
}

/// What the reader's own XML library sees in a part and no list may have.
fn must_be_refused(name: &str, content: &[u8]) -> Option<&'static str> {
    let mut reader = quick_xml::Reader::from_reader(content);
    let config = reader.config_mut();
    (config.check_end_names, config.expand_empty_elements) = (false, true);
    let mut buffer = Vec::new();
    let (mut rows, mut values, mut in_cell) = (1_u64, 0_u64, false);
    loop {
        buffer.clear();
        match reader.read_event_into(&mut buffer) {
            Ok(Event::DocType(_)) => return Some("a document type"),
            Ok(Event::Start(tag)) if name.contains("worksheets/") => {
                if tag.name().0 == "dimension" && attribute(&tag, &["ref"]).is_some_and(|area| is_huge(&area)) {
                    return Some("a sheet of more than a million cells");
                }
            }
            Ok(Event::Start(tag)) if name == "content.xml" && !in_cell => match tag.name().0 {
                "table:table" => values = 0,
                "table:table-row" => rows = repeats(&tag, "table:number-rows-repeated")?,
                "table:table-cell" | "table:covered-table-cell" => {
                    in_cell = true;
                    let filled = ["office:value", "office:boolean-value", "office:date-value", "office:time-value"];
                    if attribute(&tag, &filled).is_some_and(|value| !value.is_empty()) {
                        let more = repeats(&tag, "table:number-columns-repeated")?.saturating_mul(rows);
                        values = values.saturating_add(more);
                    }
                    if values > MAX_CELLS {
                        return Some("a sheet of more than a million values");
                    }
                }
                _ => {}
            },
            Ok(Event::End(tag)) if in_cell => {
                in_cell = !matches!(tag.name().0, "table:table-cell" | "table:covered-table-cell");
            }
            Ok(Event::Eof) | Err(_) => return None,
            Ok(_) => {}
        }
    }
}

/// The first of these attributes; none where they cannot be read.
fn attribute(tag: &BytesStart<'_>, names: &[&str]) -> Option<String> {
    let mut attributes = tag.attributes();
    let found = attributes.with_checks(false).map_while(Result::ok);
    let mut found = found.filter(|found| names.iter().any(|name| found.key.0 == *name));
    found.next().map(|found| found.value.into_owned())
}

fn repeats(tag: &BytesStart<'_>, name: &str) -> Option<u64> {
    attribute(tag, &[name]).map_or(Some(1), |text| text.parse().ok())
}

/// `A1:XFD1048576`, read as strictly as it is written.
fn is_huge(area: &str) -> bool {
    let place = |text: &str| {
        let digits = text.find(|sign: char| sign.is_ascii_digit())?;
        let (letters, row) = text.split_at(digits);
        if !(1..=3).contains(&letters.len()) || !letters.bytes().all(|sign| sign.is_ascii_uppercase()) {
            return None;
        }
        let column = letters.bytes().fold(0_u64, |column, sign| column * 26 + u64::from(sign - b'A') + 1);
        let row: u64 = row.parse().ok()?;
        ((1..=1_048_576).contains(&row) && column <= 16_384).then_some((row, column))
    };
    let corners = area.split_once(':').and_then(|(from, to)| Some((place(from)?, place(to)?)));
    corners.is_some_and(|(from, to)| (to.0.saturating_sub(from.0) + 1) * (to.1.saturating_sub(from.1) + 1) > MAX_CELLS)
}
