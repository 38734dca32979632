//! Files made to hurt (reliability.md R22 and finding 6), made at run time so that no scanner trips over the repository.
//!
//! Each must be refused within 12 seconds while the memory of this process, which stands for the server, grows by less
//! than 50 MiB.

use crate::child::read;
use caselot::intake::kinds::ListKind;
use caselot::intake::parse::FaultCode;
use std::fmt::Write as _;
use std::io::{Cursor, Write as _};
use std::time::{Duration, Instant};
use zip::write::SimpleFileOptions;

const SHEET_START: &str = r#"<?xml version="1.0" encoding="UTF-8"?><worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">"#;

/// A workbook of one sheet with this XML, and further parts.
fn workbook(sheet: &[u8], more: &[(&str, &[u8])]) -> Vec<u8> {
    let mut zip = zip::ZipWriter::new(Cursor::new(Vec::new()));
    let parts: [(&str, &[u8]); 5] = [
        ("_rels/.rels", br#"<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/officeDocument" Target="xl/workbook.xml"/></Relationships>"#),
        ("[Content_Types].xml", br#"<?xml version="1.0"?><Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"><Default Extension="xml" ContentType="application/xml"/></Types>"#),
        ("xl/workbook.xml", br#"<?xml version="1.0"?><workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships"><sheets><sheet name="List" sheetId="1" r:id="rId1"/></sheets></workbook>"#),
        ("xl/_rels/workbook.xml.rels", br#"<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet" Target="worksheets/sheet1.xml"/></Relationships>"#),
        ("xl/worksheets/sheet1.xml", sheet),
    ];
    for (name, bytes) in parts.iter().chain(more) {
        zip.start_file(*name, SimpleFileOptions::default().compression_level(Some(9))).unwrap();
        zip.write_all(bytes).unwrap();
    }
    zip.finish().unwrap().into_inner()
}

fn sheet(inside: &str) -> Vec<u8> {
    format!("{SHEET_START}{inside}</worksheet>").into_bytes()
}

const HONEST_ROWS: &str = r#"<sheetData><row r="1"><c r="A1" t="inlineStr"><is><t>Troop</t></is></c><c r="B1" t="inlineStr"><is><t>Received on</t></is></c></row><row r="2"><c r="A2" t="inlineStr"><is><t>0101</t></is></c><c r="B2" t="inlineStr"><is><t>2026-01-05</t></is></c></row></sheetData>"#;

fn resident_bytes() -> usize {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find(|line| line.starts_with("VmRSS:")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse::<usize>().unwrap() * 1024
}

/// Hands the file to the child and says how it was refused.
async fn refused(what: &str, bytes: &[u8], wanted: &[FaultCode]) {
    assert!(
        bytes.len() <= 5 * 1024 * 1024,
        "{what} is {} bytes: over the limit for files, so it tests nothing",
        bytes.len()
    );
    let (start, before) = (Instant::now(), resident_bytes());
    let answer = read(bytes, ListKind::BankDetails).await;
    let (took, grown) = (start.elapsed(), resident_bytes().saturating_sub(before));
    let code = answer.err().map(|fault| fault.code);
    println!("{what}: {} bytes, {code:?} after {took:?}, memory +{} KiB", bytes.len(), grown / 1024);
    assert!(code.is_some_and(|code| wanted.contains(&code)), "{what}: {code:?}, wanted {wanted:?}");
    assert!(took < Duration::from_secs(12), "{what} took {took:?}");
    assert!(grown < 50 * 1024 * 1024, "{what} cost {grown} bytes");
}

#[tokio::test]
async fn the_workbook_that_the_bombs_are_made_from_is_honest() {
    let _measures = crate::MEMORY.write().await;
    let table = read(&workbook(&sheet(HONEST_ROWS), &[]), ListKind::BankDetails).await.unwrap();
    assert_eq!(table.rows.len(), 1);
}

#[tokio::test]
async fn a_box_over_the_whole_sheet_is_refused() {
    let _measures = crate::MEMORY.write().await;
    let cells = r#"<sheetData><row r="1"><c r="A1"><v>1</v></c></row><row r="1048576"><c r="XFD1048576"><v>1</v></c></row></sheetData>"#;
    refused("box by cells", &workbook(&sheet(cells), &[]), &[FaultCode::TooManyCells]).await;
    let declared = format!(r#"<dimension ref="A1:XFD1048576"/>{HONEST_ROWS}"#);
    refused("box by declaration", &workbook(&sheet(&declared), &[]), &[FaultCode::TooManyCells]).await;
}

#[tokio::test]
async fn eighty_thousand_attributes_are_refused() {
    let _measures = crate::MEMORY.write().await;
    let attributes = (0..80_000).fold(String::new(), |mut text, n| {
        let _ = write!(text, r#" a{n}="{n}""#);
        text
    });
    let one = format!("<sheetData{attributes}></sheetData>");
    refused("80,000 attributes", &workbook(&sheet(&one), &[]), &[FaultCode::Malformed]).await;
    let namespaces = (0..80_000).fold(String::new(), |mut text, n| {
        let _ = write!(text, r#" xmlns:n{n}="u{n}""#);
        text
    });
    let other = format!("<sheetData{namespaces}></sheetData>");
    refused("80,000 namespaces", &workbook(&sheet(&other), &[]), &[FaultCode::Malformed]).await;
    let styles = format!("<styleSheet><cellXfs><xf{attributes}/></cellXfs></styleSheet>");
    refused(
        "attributes outside a sheet",
        &workbook(&sheet(HONEST_ROWS), &[("xl/styles.xml", styles.as_bytes())]),
        &[FaultCode::Malformed],
    )
    .await;
}

#[tokio::test]
async fn packed_files_inside_and_macros_are_refused() {
    let _measures = crate::MEMORY.write().await;
    let inner = workbook(&sheet(HONEST_ROWS), &[]);
    refused("nested", &workbook(&sheet(HONEST_ROWS), &[("xl/embeddings/a.xlsx", &inner)]), &[FaultCode::NestedArchive])
        .await;
    refused("macros", &workbook(&sheet(HONEST_ROWS), &[("xl/vbaProject.bin", b"x")]), &[FaultCode::Macros]).await;
    refused("macros, other case", &workbook(&sheet(HONEST_ROWS), &[("xl/VBAPROJECT.BIN", b"x")]), &[FaultCode::Macros])
        .await;
    let many: Vec<String> = (0..100).map(|n| format!("xl/media/{n}.txt")).collect();
    let parts: Vec<(&str, &[u8])> = many.iter().map(|name| (name.as_str(), &b"x"[..])).collect();
    refused("104 parts", &workbook(&sheet(HONEST_ROWS), &parts), &[FaultCode::TooManyParts]).await;
}

#[tokio::test]
async fn what_unpacks_too_large_is_refused_whatever_it_says_of_its_size() {
    let _measures = crate::MEMORY.write().await;
    let blanks = vec![b' '; 60 * 1024 * 1024];
    let bomb = workbook(&sheet(HONEST_ROWS), &[("xl/theme/theme1.xml", &blanks)]);
    refused("60 MiB of blanks", &bomb, &[FaultCode::UnpacksTooLarge]).await;
    // the same with sizes that lie: wherever the true size stands in a header, 100 stands instead
    let (honest, lie) = ((60_u32 * 1024 * 1024).to_le_bytes(), 100_u32.to_le_bytes());
    let mut lying = bomb;
    let places: Vec<usize> =
        lying.windows(4).enumerate().filter(|(_, four)| *four == honest).map(|(place, _)| place).collect();
    assert!(!places.is_empty(), "the size stands somewhere");
    for place in places {
        lying[place..place + 4].copy_from_slice(&lie);
    }
    refused("lying sizes", &lying, &[FaultCode::UnpacksTooLarge, FaultCode::Malformed]).await;
}

#[tokio::test]
async fn a_million_rows_are_refused_in_every_format() {
    let _measures = crate::MEMORY.write().await;
    let csv: String = std::iter::once("Troop,Received on\n").chain(std::iter::repeat_n("1,\n", 1_000_000)).collect();
    refused("a million CSV rows", csv.as_bytes(), &[FaultCode::TooManyRows]).await;
    let mut rows = String::from("<sheetData>");
    for row in 1..=1_000_000 {
        let _ = write!(rows, r#"<row r="{row}"><c><v>1</v></c></row>"#);
    }
    rows.push_str("</sheetData>");
    let bytes = workbook(&sheet(&rows), &[]);
    refused("a million sheet rows", &bytes, &[FaultCode::TooManyRows]).await;
    // An OpenDocument sheet says it in one tag (OpenDocument 1.3, part 3, section 19.679).
    let repeated = |times: u32, columns: u32| {
        open_document(&format!(
            r#"<table:table-row table:number-rows-repeated="{times}"><table:table-cell office:value-type="string" table:number-columns-repeated="{columns}"><text:p>1</text:p></table:table-cell></table:table-row>"#
        ))
    };
    let refusals = [FaultCode::TooManyRows, FaultCode::TooManyCells];
    refused("a million rows in one tag", &repeated(1_000_000, 1), &refusals).await;
    refused("every cell in one tag", &repeated(1_048_576, 16_384), &[FaultCode::TooManyCells]).await;
}

/// An ODS file of one sheet with these rows.
fn open_document(rows: &str) -> Vec<u8> {
    let content = format!(
        r#"<?xml version="1.0" encoding="UTF-8"?><office:document-content xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0" xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0" xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0" office:version="1.3"><office:body><office:spreadsheet><table:table table:name="List">{rows}</table:table></office:spreadsheet></office:body></office:document-content>"#
    );
    let mut zip = zip::ZipWriter::new(Cursor::new(Vec::new()));
    let unpacked = SimpleFileOptions::default().compression_method(zip::CompressionMethod::Stored);
    zip.start_file("mimetype", unpacked).unwrap();
    zip.write_all(b"application/vnd.oasis.opendocument.spreadsheet").unwrap();
    zip.start_file("content.xml", SimpleFileOptions::default()).unwrap();
    zip.write_all(content.as_bytes()).unwrap();
    zip.start_file("META-INF/manifest.xml", SimpleFileOptions::default()).unwrap();
    zip.write_all(br#"<manifest:manifest xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0" manifest:version="1.3"><manifest:file-entry manifest:full-path="/" manifest:media-type="application/vnd.oasis.opendocument.spreadsheet"/><manifest:file-entry manifest:full-path="content.xml" manifest:media-type="text/xml"/></manifest:manifest>"#).unwrap();
    zip.finish().unwrap().into_inner()
}

/// 45 MiB of the shortest styles there are: small for the preflight, large for the reader's tables.
#[tokio::test]
async fn what_fills_the_childs_memory_ends_the_child_and_nobody_else() {
    let _measures = crate::MEMORY.write().await;
    let mut styles = String::from("<styleSheet><cellXfs>");
    let mut seed = 7_u32; // numbers without a pattern, so that it does not pack a hundredfold
    while styles.len() < 24 * 1024 * 1024 {
        seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let _ = write!(styles, r#"<xf numFmtId="{}"/>"#, seed >> 16 & 63);
    }
    styles.push_str("</cellXfs></styleSheet>");
    let bytes = workbook(&sheet(HONEST_ROWS), &[("xl/styles.xml", styles.as_bytes())]);
    let relation = bytes.len();
    assert!(relation <= 5 * 1024 * 1024, "{relation}");
    let (start, before) = (Instant::now(), resident_bytes());
    let answer = read(&bytes, ListKind::BankDetails).await;
    println!(
        "24 MiB of styles: {:?} after {:?}",
        answer.as_ref().map(|table| table.rows.len()).map_err(|fault| fault.code),
        start.elapsed()
    );
    assert!(start.elapsed() < Duration::from_secs(12));
    assert!(resident_bytes().saturating_sub(before) < 50 * 1024 * 1024);
}
