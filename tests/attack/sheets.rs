//! R21: nothing that people typed computes in a file that a spreadsheet opens.
//!
//! Every text that an export can show is made to begin with each sign from which a spreadsheet program starts a formula;
//! then every export of the document is downloaded in every format.

use std::collections::BTreeSet;
use std::io::{Cursor, Read as _};

use calamine::{Reader as _, Xlsx};
use serde_json::json;

use crate::objects::{self, Target};
use crate::operations::{OPERATIONS, Operation, resolve};
use crate::support::built::built;
use crate::support::client::Answered;
use crate::support::fixture::UNIT;
use crate::support::scenario;
use crate::support::world::World;

/// The signs of R21; no text of the database can hold NUL.
const SIGNS: &[&str] =
    &["=", "+", "-", "@", "\t", "\r", "\n", "\u{ff1d}", "\u{ff0b}", "\u{ff0d}", "\u{ff20}", "'=", "''+"];

/// Every text that stands in an export, by the column that holds it, and a mark by which it is found again.
const TEXTS: &[(&str, &str, &str)] = &[
    ("troop", "number", "71"),
    ("troop", "name", "72"),
    ("troop", "meeting_place", "73"),
    ("troop_season", "age_band", "74"),
    ("person", "first_name", "75"),
    ("person", "last_name", "76"),
    ("person", "membership_number", "77"),
    ("person_contact", "email", "78"),
    ("person_contact", "phone", "79"),
    ("season", "label", "80"),
    ("unit", "name", "81"),
];

async fn plant(world: &World, sign: &str) {
    let mut owner = world.owner().await;
    for (table, column, mark) in TEXTS {
        // No address has a space of any kind in it, or two of its sign.
        if *column == "email" && (sign.trim() != sign || sign.contains('@')) {
            continue;
        }
        // Numbers of troops and of members are kept once in a unit.
        let own = match *column {
            "number" => "|| right(troop_id::text, 3)",
            "membership_number" => "|| right(person_id::text, 3)",
            "email" => "|| '@example.org'",
            _ => "",
        };
        let sql = format!(
            "update {table} set {column} = '{}{mark}+0' {own} where unit_id = '{UNIT}'",
            sign.replace('\'', "''")
        );
        sqlx::query(built(sql.clone())).execute(&mut owner).await.unwrap_or_else(|error| panic!("{sql}: {error}"));
    }
}

/// The addresses of every file that a spreadsheet opens, with each choice of each parameter.
fn files(operation: &Operation, path: &str) -> Vec<String> {
    let content = operation.value["responses"]["200"]["content"].as_object();
    if !content.is_some_and(|content| content.contains_key("text/csv")) {
        return Vec::new();
    }
    let mut queries = vec![String::new()];
    for parameter in operation.value["parameters"].as_array().into_iter().flatten().filter(|one| one["in"] == "query") {
        let schema = parameter["schema"]["$ref"].as_str().and_then(resolve).unwrap_or(&parameter["schema"]);
        let Some(choices) = schema["enum"].as_array() else { continue };
        let name = parameter["name"].as_str().expect("a name");
        let with = |query: &String| {
            choices
                .iter()
                .map(|choice| format!("{query}&{name}={}", choice.as_str().expect("a word")))
                .collect::<Vec<_>>()
        };
        queries = queries.iter().flat_map(with).collect();
    }
    queries.into_iter().map(|query| format!("{path}?{}", query.trim_start_matches('&'))).collect()
}

fn computes(cell: &str) -> bool {
    let signs = ['=', '+', '-', '@', '\t', '\r', '\n', '\0', '\u{ff1d}', '\u{ff0b}', '\u{ff0d}', '\u{ff20}'];
    // A typed number stays one.
    cell.starts_with(signs) && cell.parse::<i64>().is_err()
}

fn cells_of_csv(file: &Answered) -> Vec<String> {
    let text = file.body.strip_prefix(b"\xef\xbb\xbf").unwrap_or(&file.body);
    let mut reader = csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(text);
    reader.records().flat_map(|row| row.expect("a row").iter().map(str::to_owned).collect::<Vec<_>>()).collect()
}

/// The formulas of a workbook, by a reader of workbooks and by the bare text of its sheets.
fn formulas_of(file: &[u8]) -> Vec<String> {
    let mut book: Xlsx<_> = calamine::open_workbook_from_rs(Cursor::new(file.to_vec())).expect("a workbook");
    let mut found = Vec::new();
    for sheet in book.sheet_names() {
        let formulas = book.worksheet_formula(&sheet).expect("a sheet");
        found.extend(formulas.used_cells().map(|(_, _, formula)| formula.clone()));
    }
    let mut archive = zip::ZipArchive::new(Cursor::new(file)).expect("a workbook");
    for place in 0..archive.len() {
        let mut part = archive.by_index(place).expect("a part");
        let (name, mut text) = (part.name().expect("a name").into_owned(), String::new());
        part.read_to_string(&mut text).expect("text");
        if name.starts_with("xl/worksheets/") {
            found.extend(
                ["<f>", "<f ", "t=\"e\"", "<hyperlink"]
                    .iter()
                    .filter(|tag| text.contains(**tag))
                    .map(|tag| format!("{name}: {tag}")),
            );
        }
        if name.contains("externalLink") || name.ends_with("vbaProject.bin") {
            found.push(name);
        }
    }
    found
}

fn cells_of_xlsx(file: &Answered) -> Vec<String> {
    let mut book: Xlsx<_> = calamine::open_workbook_from_rs(Cursor::new(file.body.clone())).expect("a workbook");
    let sheets = book.sheet_names();
    let cells = sheets.iter().flat_map(|sheet| {
        let range = book.worksheet_range(sheet).expect("a sheet");
        range.used_cells().map(|(_, _, cell)| cell.to_string()).collect::<Vec<_>>()
    });
    cells.collect()
}

/// Files a return of how things stand, and gives its address.
async fn filed(world: &World) -> String {
    let stamp = world.manager.get("/return-preview").await.expect(200).text("/stamp");
    let filed = world.manager.post("/returns", json!({"stamp": stamp, "again": true})).await.expect(201);
    format!("/v1/units/{UNIT}/returns/{}", filed.text("/return_id"))
}

#[test]
fn no_text_of_any_field_computes_in_any_export() {
    let (mut downloads, mut guarded, mut kinds) = (0, 0, BTreeSet::new());
    let mut faults = Vec::new();
    let mut seen: BTreeSet<&str> = BTreeSet::new();
    scenario(async |world| {
        for sign in SIGNS {
            plant(world, sign).await;
            let document = filed(world).await;
            for operation in OPERATIONS.iter().filter(|operation| operation.method == reqwest::Method::GET) {
                let path = if operation.pattern.contains("{return_id}") {
                    format!("{document}/file")
                } else {
                    objects::path(operation, Target::Own).expect("a path")
                };
                for address in files(operation, &path) {
                    let file = world.manager.get(&address).await.expect(200);
                    let kind = file.header("content-type").split(';').next().unwrap_or_default().to_owned();
                    let cells = match kind.as_str() {
                        "text/csv" => cells_of_csv(&file),
                        "application/json" | "application/pdf" => continue,
                        _ => cells_of_xlsx(&file),
                    };
                    if kind == "text/csv" {
                        faults.extend(
                            cells
                                .iter()
                                .filter(|cell| computes(cell))
                                .map(|cell| format!("{address}: {cell:?} after {sign:?}")),
                        );
                        guarded += cells.iter().filter(|cell| cell.starts_with('\'')).count();
                    } else {
                        faults.extend(
                            formulas_of(&file.body)
                                .into_iter()
                                .map(|formula| format!("{address}: {formula} after {sign:?}")),
                        );
                    }
                    let marks = TEXTS.iter().map(|(_, _, mark)| *mark);
                    seen.extend(marks.filter(|mark| cells.iter().any(|cell| cell.contains(&format!("{mark}+0")))));
                    kinds.insert((operation.id.clone(), kind));
                    downloads += 1;
                }
            }
        }
    });
    println!("{downloads} files of {kinds:?}, {guarded} guarded cells, {} faults", faults.len());
    assert!(faults.is_empty(), "{faults:#?}");
    // A text that no file shows would prove nothing.
    assert_eq!(seen, TEXTS.iter().map(|(_, _, mark)| *mark).collect(), "each text was seen in a file");
    assert!(guarded > 100 && kinds.len() >= 6, "{guarded}, {kinds:?}");
}

/// The way of finding them finds them.
#[test]
fn a_formula_would_be_found() {
    let mut book = rust_xlsxwriter::Workbook::new();
    book.add_worksheet().write_formula(0, 0, "=1+1").expect("a formula");
    let file = book.save_to_buffer().expect("a workbook");
    assert!(formulas_of(&file).len() >= 2, "{:?}", formulas_of(&file));
    for cell in ["=1", "+1 555", "-x", "@x", "\tx", "\u{ff1d}x"] {
        assert!(computes(cell), "{cell:?}");
    }
    for cell in ["-5", "12", "'=1", "x=1", ""] {
        assert!(!computes(cell), "{cell:?}");
    }
}

/// What the document says of a file is what is tried: a new export joins by itself.
#[test]
fn every_export_of_the_document_is_downloaded() {
    let exports: Vec<&str> = OPERATIONS
        .iter()
        .filter(|operation| !files(operation, "/x").is_empty())
        .map(|operation| operation.id.as_str())
        .collect();
    assert_eq!(exports, ["download_list_template", "download_return", "export_roster"]);
}
