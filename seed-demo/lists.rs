//! Head office's lists: filled in with days, uploaded, looked at, resolved where a person must decide, applied.

use std::time::Duration;

use chrono::NaiveDate;
use serde_json::{Value, json};

use crate::client::text;
use crate::days::fill_in;
use crate::set_up::Unit;

/// A list as a file.
pub struct List {
    pub name: &'static str,
    kind: &'static str,
    template: &'static str,
    /// Written in Windows-1252, as old spreadsheets do.
    old_letters: bool,
}

impl List {
    pub const FIRST_ROLE_LIST: Self = Self {
        name: "1-role-list.csv",
        kind: "role_list",
        template: include_str!("lists/1-role-list.csv"),
        old_letters: true,
    };
    pub const BANK_DETAILS: Self = Self {
        name: "2-bank-details.csv",
        kind: "bank_details",
        template: include_str!("lists/2-bank-details.csv"),
        old_letters: false,
    };
    pub const CERTIFICATES: Self = Self {
        name: "3-certificates.csv",
        kind: "certificates",
        template: include_str!("lists/3-certificates.csv"),
        old_letters: false,
    };
    pub const SECOND_ROLE_LIST: Self = Self {
        name: "4-role-list.csv",
        kind: "role_list",
        template: include_str!("lists/4-role-list.csv"),
        old_letters: false,
    };
    /// Not sent by the demo: the README's tour does.
    pub const NEWER_ROLE_LIST: Self = Self {
        name: "5-newer-role-list.csv",
        kind: "role_list",
        template: include_str!("lists/5-newer-role-list.csv"),
        old_letters: false,
    };

    fn bytes(&self, zero: NaiveDate) -> Result<Vec<u8>, String> {
        let text = fill_in(self.template, zero)?;
        Ok(if self.old_letters { encoding_rs::WINDOWS_1252.encode(&text).0.into_owned() } else { text.into_bytes() })
    }
}

/// Every list as it was, or could be, sent.
pub fn all_rendered(zero: NaiveDate) -> Result<Vec<(&'static str, Vec<u8>)>, String> {
    let all =
        [List::FIRST_ROLE_LIST, List::BANK_DETAILS, List::CERTIFICATES, List::SECOND_ROLE_LIST, List::NEWER_ROLE_LIST];
    all.iter().map(|list| Ok((list.name, list.bytes(zero)?))).collect()
}

/// Rows about which a person must decide, and what the demo's manager decides: the likeliest person is meant.
const LIKELIEST_IS_MEANT: [(&str, &str); 1] = [("3-certificates.csv", "Kuba Nowak")];

/// Uploads a list, looks at its preview, decides what waits for a person, and applies what was looked at.
pub async fn apply(unit: &Unit, list: &List, listed_on: NaiveDate, zero: NaiveDate) -> Result<(), String> {
    let query = format!("?kind={}&file_name={}&listed_on={listed_on}", list.kind, list.name);
    let upload = unit.manager.upload(&unit.path(&format!("/intakes{query}")), "text/csv", list.bytes(zero)?).await?;
    let path = unit.path(&format!("/intakes/{}", text(&upload, "intake_id")?));
    let mut intake = unit.manager.get(&path).await?;
    for _ in 0..600 {
        if text(&intake, "state")? != "reading" {
            break;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
        intake = unit.manager.get(&path).await?;
    }
    for row in unit.manager.all(&format!("{path}/rows")).await? {
        if row.get("needs_a_person") == Some(&Value::Bool(true)) {
            decide(unit, list, &path, &row).await?;
        }
    }
    let seen = unit.manager.get(&path).await?;
    let applied = unit.manager.post(&format!("{path}/apply"), &json!({"preview": text(&seen, "etag")?})).await?;
    match text(&applied, "state")? {
        "applied" => Ok(()),
        state => Err(format!("{} is {state} after applying it", list.name)),
    }
}

async fn decide(unit: &Unit, list: &List, path: &str, row: &Value) -> Result<(), String> {
    let name = text(row, "name")?;
    let likeliest = row.pointer("/candidates/0/person_id").and_then(Value::as_str);
    let (true, Some(person)) = (LIKELIEST_IS_MEANT.contains(&(list.name, name)), likeliest) else {
        return Err(format!("{}: nobody said what to do about this row: {row}", list.name));
    };
    let number = row.get("row_number").and_then(Value::as_u64).unwrap_or_default();
    let decision = json!({"decision": "person", "person_id": person});
    unit.manager.post(&format!("{path}/rows/{number}/resolve"), &decision).await.map(|_| ())
}
