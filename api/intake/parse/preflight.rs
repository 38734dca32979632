//! A workbook is looked at before the spreadsheet reader may allocate for it (R22): parts, sizes, ratio, cells, macros.
//!
//! What the file says of its sizes counts for nothing: every part is really inflated, under count, and thrown away.

use super::fault::{FaultCode, ParseFault};
use super::xml_scan::{Part, Scan};
use std::io::{Cursor, Read};
use zip::ZipArchive;

const MAX_PARTS: usize = 100;
const MAX_PART_BYTES: u64 = 50 * 1024 * 1024;
const MAX_TOTAL_BYTES: u64 = 100 * 1024 * 1024;
const MAX_RATIO: u64 = 100;
/// Below this a part is too small to harm, and honest small parts of blank cells do pack more than a hundredfold.
const RATIO_FROM_BYTES: u64 = 256 * 1024;

/// Refuses what is no plain workbook.
pub(super) fn check(bytes: &[u8]) -> Result<(), ParseFault> {
    let mut archive = ZipArchive::new(Cursor::new(bytes)).map_err(|cause| damaged(&cause))?;
    if archive.len() > MAX_PARTS {
        let detail = format!("the workbook has {} parts, more than {MAX_PARTS}; save the list as CSV", archive.len());
        return Err(ParseFault::whole(FaultCode::TooManyParts, detail));
    }
    if archive.has_duplicate_names() {
        return Err(ParseFault::whole(
            FaultCode::Malformed,
            "two parts of the workbook have one name; save the list as CSV",
        ));
    }
    refuse_by_name(&archive)?;
    let mut total = 0;
    for place in 0..archive.len() {
        total = inflate(&mut archive, place, total)?;
    }
    Ok(())
}

fn refuse_by_name(archive: &ZipArchive<Cursor<&[u8]>>) -> Result<(), ParseFault> {
    let names: Vec<String> =
        archive.file_names_raw().map(|name| String::from_utf8_lossy(name).to_lowercase()).collect();
    if names.iter().any(|name| name.ends_with("vbaproject.bin") || name.contains("xl/macrosheets/")) {
        return Err(ParseFault::whole(
            FaultCode::Macros,
            "the workbook carries macros; save it as XLSX without macros, or as CSV",
        ));
    }
    if names.iter().any(|name| name.starts_with("basic/") || name.starts_with("scripts/")) {
        return Err(ParseFault::whole(
            FaultCode::Macros,
            "the file carries macros; save it without them, as XLSX or as CSV",
        ));
    }
    let open_document = names.iter().any(|name| name == "mimetype") && names.iter().any(|name| name == "content.xml");
    if open_document || names.iter().any(|name| name == "xl/workbook.xml") {
        return Ok(());
    }
    let detail = if names.iter().any(|name| name == "xl/workbook.bin") {
        "binary workbooks are not read; save the list as XLSX or CSV"
    } else {
        "the packed file is no workbook; send the list itself as XLSX or CSV"
    };
    Err(ParseFault::whole(FaultCode::UnsupportedFormat, detail))
}

/// Inflates one part under count; gives the new total of all parts.
fn inflate(archive: &mut ZipArchive<Cursor<&[u8]>>, place: usize, before: u64) -> Result<u64, ParseFault> {
    let mut part = archive.by_index(place).map_err(|cause| damaged(&cause))?;
    let name = String::from_utf8_lossy(part.name_raw()).to_lowercase();
    let packed = part.compressed_size().max(1);
    let is_xml = [".xml", ".rels", ".vml"].iter().any(|ending| name.ends_with(ending));
    let mut scan = Scan::new(match name.as_str() {
        "content.xml" => Part::OpenDocument,
        name if name.contains("worksheets/") => Part::Sheet,
        _ => Part::Other,
    });
    let mut chunk = vec![0_u8; 64 * 1024];
    let mut size = 0_u64;
    loop {
        let read = part.read(&mut chunk).map_err(|cause| damaged(&cause))?;
        let Some(got) = chunk.get(..read).filter(|got| !got.is_empty()) else { break };
        if size == 0 && got.starts_with(b"PK\x03\x04") {
            let detail = "a packed file lies inside the workbook; copy the list into a new workbook, or save it as CSV";
            return Err(ParseFault::whole(FaultCode::NestedArchive, detail));
        }
        size += u64::try_from(read).unwrap_or(u64::MAX);
        let too_large = size > MAX_PART_BYTES || before + size > MAX_TOTAL_BYTES;
        if too_large || (size > RATIO_FROM_BYTES && size / packed >= MAX_RATIO) {
            let detail =
                "unpacked, the workbook is far larger than a list can be; copy only the list into a new workbook";
            return Err(ParseFault::whole(FaultCode::UnpacksTooLarge, detail));
        }
        if is_xml {
            scan.feed(got)?;
        }
    }
    Ok(before + size)
}

fn damaged(cause: &dyn std::fmt::Display) -> ParseFault {
    ParseFault::of_library("the workbook cannot be unpacked", cause)
}
