//! R22 over HTTP: files made to hurt are refused in time, each for its own reason, while the server answers everybody else.
//!
//! What each does to the reader alone is measured in `tests/lists/bombs.rs`; here the whole way is.

use std::fmt::Write as _;
use std::io::{Cursor, Write as _};
use std::time::{Duration, Instant};

use zip::write::SimpleFileOptions;

use crate::support::client::Answered;
use crate::support::scenario;
use crate::support::world::World;

/// How long a file may keep its reader: R22's twelve seconds, by which the server itself gives a reader up, and a little for
/// asking on a busy machine.
const LONGEST: Duration = Duration::from_secs(14);

/// How long anybody else waits meanwhile.
const PATIENCE: Duration = Duration::from_secs(1);

const MAIN: &str = "http://schemas.openxmlformats.org/spreadsheetml/2006/main";
const OFFICE: &str = "http://schemas.openxmlformats.org/officeDocument/2006/relationships";

/// A workbook with this sheet and these further parts.
fn workbook(sheet: &str, more: &[(&str, &[u8])]) -> Vec<u8> {
    let package = "http://schemas.openxmlformats.org/package/2006/relationships";
    let relation = |kind: &str, target: &str| {
        format!(
            r#"<Relationships xmlns="{package}"><Relationship Id="rId1" Type="{OFFICE}/{kind}" Target="{target}"/></Relationships>"#
        )
    };
    let book = format!(
        r#"<workbook xmlns="{MAIN}" xmlns:r="{OFFICE}"><sheets><sheet name="List" sheetId="1" r:id="rId1"/></sheets></workbook>"#
    );
    let relations = format!(
        r#"<Relationships xmlns="{package}"><Relationship Id="rId1" Type="{OFFICE}/worksheet" Target="worksheets/sheet1.xml"/><Relationship Id="rId2" Type="{OFFICE}/sharedStrings" Target="sharedStrings.xml"/></Relationships>"#
    );
    let types = r#"<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"><Default Extension="xml" ContentType="application/xml"/></Types>"#;
    let top = relation("officeDocument", "xl/workbook.xml");
    let sheet = format!(r#"<worksheet xmlns="{MAIN}">{sheet}</worksheet>"#);
    let parts: [(&str, &[u8]); 5] = [
        ("[Content_Types].xml", types.as_bytes()),
        ("_rels/.rels", top.as_bytes()),
        ("xl/workbook.xml", book.as_bytes()),
        ("xl/_rels/workbook.xml.rels", relations.as_bytes()),
        ("xl/worksheets/sheet1.xml", sheet.as_bytes()),
    ];
    let mut zip = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in parts.iter().chain(more) {
        zip.start_file(*name, SimpleFileOptions::default().compression_level(Some(9))).expect("a part");
        zip.write_all(bytes).expect("a part");
    }
    zip.finish().expect("a workbook").into_inner()
}

const HONEST: &str = r#"<sheetData><row r="1"><c r="A1" t="inlineStr"><is><t>Troop</t></is></c><c r="B1" t="inlineStr"><is><t>Received on</t></is></c></row><row r="2"><c r="A2" t="inlineStr"><is><t>0101</t></is></c><c r="B2" t="inlineStr"><is><t>2040-01-05</t></is></c></row></sheetData>"#;

fn repeated(count: usize, each: impl Fn(usize) -> String) -> String {
    (0..count).fold(String::new(), |text, number| text + &each(number))
}

/// A remark that does not pack, so that what stands beside it does not pack a hundredfold and is read.
fn remark(length: usize) -> String {
    let mut seed = 7_u64;
    let mut text = String::from("<!-- ");
    while text.len() < length {
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        let _ = write!(text, "{:08x}", seed >> 32);
    }
    text + " -->"
}

/// A shared string of many parts, named by many cells: each cell may be put together anew.
fn shared_strings(parts: usize, cells: usize) -> Vec<u8> {
    let string = format!(
        r#"<sst xmlns="{MAIN}"><si>{}</si>{}</sst>"#,
        repeated(parts, |_| "<r><t>aaaaaaaa</t></r>".to_owned()),
        remark(parts)
    );
    let rows = repeated(cells, |number| format!(r#"<row r="{0}"><c r="A{0}" t="s"><v>0</v></c></row>"#, number + 1));
    workbook(&format!("<sheetData>{rows}</sheetData>{}", remark(cells)), &[("xl/sharedStrings.xml", string.as_bytes())])
}

/// Texts that name texts that name texts.
fn entities() -> Vec<u8> {
    let mut text = String::from("<!DOCTYPE x [<!ENTITY e0 \"aaaaaaaaaa\">");
    for level in 1..12 {
        let before = level - 1;
        let _ = write!(text, "<!ENTITY e{level} \"{}\">", format!("&e{before};").repeat(10));
    }
    let string = format!(r#"{text}]><sst xmlns="{MAIN}"><si><t>&e11;</t></si></sst>"#);
    workbook(HONEST, &[("xl/sharedStrings.xml", string.as_bytes())])
}

/// Packed zeros inside packed zeros.
fn nested() -> Vec<u8> {
    let mut inner = vec![0_u8; 40 * 1024 * 1024];
    for name in ["a.zip", "b.zip", "c.zip"] {
        let mut zip = zip::ZipWriter::new(Cursor::new(Vec::new()));
        zip.start_file(name, SimpleFileOptions::default().compression_level(Some(9))).expect("a part");
        zip.write_all(&inner).expect("a part");
        inner = zip.finish().expect("an archive").into_inner();
    }
    workbook(HONEST, &[("xl/embeddings/a.zip", &inner)])
}

/// Each file, with the refusals that fit it; an empty list where reading it is right as well, as long as it is quick.
fn bombs() -> Vec<(&'static str, Vec<u8>, &'static [&'static str])> {
    let zeros = vec![0_u8; 60 * 1024 * 1024];
    let attributes = repeated(80_000, |number| format!(r#" a{number}="{number}""#));
    let corner = r#"<sheetData><row r="1"><c r="A1"><v>1</v></c></row><row r="1048576"><c r="XFD1048576"><v>1</v></c></row></sheetData>"#;
    let wide = format!(
        r#"<sheetData><row r="1">{}</row></sheetData>{}"#,
        repeated(1_000_000, |_| r#"<c t="s"><v>0</v></c>"#.to_owned()),
        remark(500_000)
    );
    let beyond = r#"<sheetData><row r="1"><c r="ZZZZZZZ1"><v>1</v></c></row><row r="99999999999"><c r="A99999999999"><v>1</v></c></row></sheetData>"#;
    let deep = format!("{}{}{}", "<a>".repeat(400_000), "</a>".repeat(400_000), remark(100_000));
    let merged = format!(
        "{HONEST}<mergeCells>{}</mergeCells>",
        repeated(100_000, |_| r#"<mergeCell ref="A1:XFD1048576"/>"#.to_owned())
    );
    let commas = format!("Troop{}\n1\n", ",".repeat(1_000_000));
    let quotes = format!("Troop,Received on\n{}", "\"\"\"\",".repeat(600_000));
    let open = format!("Troop,Received on\n\"{}", "x\n".repeat(2_000_000));
    let one_cell = format!("Troop,Received on\n{},2040-01-05\n", "x".repeat(4_000_000));
    vec![
        ("sixty million zeros", workbook(HONEST, &[("xl/theme/theme1.xml", &zeros)]), &["unpacks_too_large"]),
        ("a box over the whole sheet", workbook(corner, &[]), &["too_many_cells"]),
        ("eighty thousand attributes", workbook(&format!("<sheetData{attributes}></sheetData>"), &[]), &["malformed"]),
        (
            "a million columns in a row of a sheet",
            workbook(&wide, &[]),
            &["too_many_columns", "too_many_cells", "malformed", "took_too_long"],
        ),
        (
            "cells beyond any sheet",
            workbook(beyond, &[]),
            &["malformed", "too_many_cells", "too_many_columns", "too_many_rows"],
        ),
        ("archives in archives", nested(), &["nested_archive"]),
        (
            "one string of many parts in many cells",
            shared_strings(60_000, 19_000),
            &["malformed", "cell_too_long", "too_much_memory", "took_too_long"],
        ),
        ("texts that name texts", entities(), &["malformed"]),
        (
            "elements in elements",
            workbook(&format!("<sheetData>{deep}</sheetData>"), &[]),
            &["malformed", "no_headings", "no_rows", "empty", "not_a_list", "took_too_long"],
        ),
        ("a hundred thousand merged boxes", workbook(&merged, &[]), &[]),
        ("a million columns of text", commas.into_bytes(), &["too_many_columns", "too_many_cells"]),
        ("quotes and nothing else", quotes.into_bytes(), &["too_many_columns", "too_many_cells", "unclosed_quote"]),
        ("a quote that never ends", open.into_bytes(), &["unclosed_quote", "cell_too_long"]),
        ("one cell of four million signs", one_cell.into_bytes(), &["cell_too_long"]),
    ]
}

async fn upload(world: &World, number: usize, bytes: &[u8]) -> Answered {
    let path = format!("/intakes?kind=bank_details&file_name=list{number}&listed_on=2040-01-0{}", number % 9 + 1);
    world.manager.ask(reqwest::Method::POST, &path).bytes("application/octet-stream", bytes).await
}

#[test]
fn each_file_made_to_hurt_is_refused_in_time_and_everybody_else_is_answered_meanwhile() {
    scenario(async |world| {
        let mut faults = Vec::new();
        let bombs = bombs();
        for (number, (what, bytes, wanted)) in bombs.iter().enumerate() {
            assert!(
                bytes.len() <= 5 * 1024 * 1024,
                "{what} is {} bytes: refused unread, so it tests nothing",
                bytes.len()
            );
            let began = Instant::now();
            let taken = upload(world, number, bytes).await;
            let (mut slowest, mut asked) = (Duration::ZERO, 0);
            let seen = if taken.status == 202 {
                let address = taken.header("location").to_owned();
                loop {
                    for path in ["/livez", "/v1/me", "/standings"] {
                        let waits = Instant::now();
                        world.clara.get(path).await.expect(200);
                        slowest = slowest.max(waits.elapsed());
                        asked += 1;
                    }
                    let intake = world.manager.get(&address).await.expect(200);
                    if intake.at("/state") != "reading" {
                        break intake;
                    }
                    if began.elapsed() > Duration::from_secs(40) {
                        faults.push(format!("{what} is still being read"));
                        break intake;
                    }
                }
            } else {
                taken
            };
            let took = began.elapsed();
            let code = if seen.status >= 400 { seen.at("/errors/0/code") } else { seen.at("/fault/code") };
            let code = code.as_str().unwrap_or("none").to_owned();
            println!(
                "{what}: {} bytes, {code} after {took:?}; {asked} others asked, the slowest waited {slowest:?}",
                bytes.len()
            );
            if !wanted.is_empty() && !wanted.contains(&code.as_str()) {
                faults.push(format!("{what}: {code}, wanted {wanted:?}: {seen}"));
            }
            if took > LONGEST {
                faults.push(format!("{what} took {took:?}"));
            }
            if slowest > PATIENCE {
                faults.push(format!("{what}: somebody else waited {slowest:?}"));
            }
        }
        println!("{} files, {} faults", bombs.len(), faults.len());
        assert_eq!(faults, Vec::<String>::new());
    });
}
