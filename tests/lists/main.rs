//! Lists as people really send them: each dirty file has its expectation beside it, typed by hand before any parser saw it.
//!
//! `tests/lists/<kind>/<name>.json` says what must come out of `<name>.csv`, `.xlsx` or `.ods`: the rows field by field, what
//! was passed over, every problem by row and column, the sheets that a person is asked about, or the fault that refuses the whole file.

#![expect(clippy::unwrap_used, clippy::expect_used, clippy::indexing_slicing, reason = "a test fails by panicking")]

mod bombs;
mod child;

use caselot::intake::columns::fields::read_rows;
use caselot::intake::columns::plan::{ColumnChoices, plan};
use caselot::intake::kinds::ListKind;
use caselot::intake::parse::{FaultCode, parse};
use serde_json::{Map, Value, json};
use std::path::{Path, PathBuf};

/// Held by whoever measures the memory of this process, shared by whoever fills it.
static MEMORY: tokio::sync::RwLock<()> = tokio::sync::RwLock::const_new(());

/// The fewest dirty files of each kind.
const FILES_A_KIND: usize = 20;

fn folder(kind: ListKind) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/lists").join(kind.name())
}

/// The files of a kind with their expectations.
fn cases(kind: ListKind) -> Vec<(PathBuf, Value)> {
    let mut cases: Vec<(PathBuf, Value)> = std::fs::read_dir(folder(kind))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|ending| ending == "json"))
        .map(|path| {
            let expected = serde_json::from_slice(&std::fs::read(&path).unwrap()).unwrap();
            let list =
                ["csv", "xlsx", "ods"].iter().map(|ending| path.with_extension(ending)).find(|path| path.exists());
            (list.unwrap_or_else(|| panic!("{} has no list beside it", path.display())), expected)
        })
        .collect();
    cases.sort_by(|one, other| one.0.cmp(&other.0));
    cases
}

/// What the program makes of a file, in the form of the expectations.
fn seen(bytes: &[u8], kind: ListKind, expected: &Value) -> Value {
    let table = match parse(bytes, kind) {
        Ok(table) => table,
        Err(fault) if fault.code == FaultCode::WhichSheet => return json!({"sheets": fault.sheets}),
        Err(fault) => {
            assert!(fault.detail.len() > 20, "a fault says what to do: {fault:?}");
            return json!({"fault": {"code": fault.code, "row": fault.row_number, "column": fault.column}});
        }
    };
    let choices: ColumnChoices = match expected.get("choices") {
        Some(date_orders) => serde_json::from_value(json!({"letters": {}, "date_orders": date_orders})).unwrap(),
        None => ColumnChoices::default(),
    };
    let plan = plan(&table, kind, &choices);
    let (rows, problems) = read_rows(&table, &plan);
    let mut out = Map::new();
    out.insert("read_as".into(), json!([table.source.encoding, table.source.delimiter, table.source.sheet]));
    out.insert("other_sheets".into(), json!(table.source.other_sheets));
    out.insert("header_row".into(), json!(table.header.row_number));
    out.insert(
        "columns".into(),
        plan.columns
            .iter()
            .map(|planned| (planned.column.name().to_owned(), json!(planned.letter)))
            .collect::<Map<_, _>>()
            .into(),
    );
    out.insert("missing".into(), json!(plan.missing));
    out.insert("undecided_dates".into(), json!(plan.undecided_dates));
    out.insert("skipped".into(), table.skipped.iter().map(|row| json!([row.row_number, row.reason])).collect());
    out.insert(
        "rows".into(),
        rows.iter()
            .map(|row| {
                let Value::Object(fields) = serde_json::to_value(row).unwrap() else { panic!("a row is an object") };
                Value::Object(fields.into_iter().filter(|(_, value)| !value.is_null()).collect())
            })
            .collect(),
    );
    out.insert("problems".into(), problems.iter().map(|p| json!([p.row_number, p.column, p.code, p.read])).collect());
    if expected.get("choices").is_some() {
        out.insert("choices".into(), expected["choices"].clone());
    }
    Value::Object(out)
}

/// An expectation with everything that it leaves out as it mostly is: nothing passed over, nothing wrong.
fn whole(expected: &Value) -> Value {
    for alone in ["fault", "sheets"] {
        if let Some(value) = expected.get(alone) {
            return json!({ alone: value });
        }
    }
    let mut whole = json!({"other_sheets": [], "missing": [], "undecided_dates": [], "skipped": [], "problems": [], "header_row": 1});
    for (key, value) in expected.as_object().unwrap() {
        whole[key] = value.clone();
    }
    whole.as_object_mut().unwrap().remove("dirt");
    whole
}

#[test]
fn every_dirty_list_reads_as_expected() {
    let _fills_memory = MEMORY.blocking_read();
    for kind in ListKind::ALL {
        let cases = cases(kind);
        assert!(cases.len() >= FILES_A_KIND, "{} has {} lists", kind.name(), cases.len());
        for (path, expected) in cases {
            let bytes = std::fs::read(&path).unwrap();
            let (got, want) = (seen(&bytes, kind, &expected), whole(&expected));
            for (key, value) in want.as_object().unwrap() {
                assert_eq!(&got[key], value, "{}: {key}\nread: {got:#}", path.display());
            }
            assert_eq!(got.as_object().unwrap().len(), want.as_object().unwrap().len(), "{}: {got:#}", path.display());
        }
    }
}

/// The prefixes of an honest file are broken files; none of them may make the reader fall over or read on for ever.
#[test]
fn a_list_cut_off_anywhere_is_read_or_refused() {
    let _fills_memory = MEMORY.blocking_read();
    for kind in ListKind::ALL {
        for (path, _) in cases(kind) {
            let bytes = std::fs::read(&path).unwrap();
            for end in (0..bytes.len()).step_by(1 + bytes.len() / 60) {
                let _read_or_refused = parse(&bytes[..end], kind);
            }
        }
    }
}
