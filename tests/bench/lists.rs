//! A large list against a large unit: how long from its upload to its preview, and what it costs in memory.

use std::fmt::Write as _;
use std::time::{Duration, Instant};

use serde_json::json;

use super::SIZE;
use super::database::Database;
use super::proc;
use super::program::{Program, Tokens, id};

/// How many rows, and how many people.
const MANY: u32 = 20_000;

/// The unit whose list it is.
const UNIT: u32 = 2;

/// What came of it.
pub struct Previewed {
    /// From the first byte of the upload to the preview, by a client that asks every twenty milliseconds.
    pub took: Duration,
    /// What all of the program's processes, the reader among them, grew by at most.
    pub grown_kib: u64,
    /// The preview in figures, as the program tells it.
    pub counts: String,
}

/// Names of two syllable tables each: 20,000 different people with names of a usual length, many of them alike.
fn name(number: u32) -> (String, String) {
    const FIRST: [&str; 20] = [
        "Ama", "Bela", "Caro", "Dami", "Elia", "Fari", "Gita", "Hano", "Ines", "Jora", "Kiri", "Lumi", "Mika", "Nael",
        "Oren", "Pia", "Rosa", "Sami", "Tove", "Uli",
    ];
    const LAST: [&str; 25] = [
        "berg", "dahl", "field", "gren", "holm", "itz", "jones", "kamp", "lund", "moss", "nair", "oak", "price",
        "quist", "rath", "stone", "thorpe", "ulv", "vale", "wick", "yard", "zell", "ford", "beck", "well",
    ];
    let pick = |table: &[&'static str], place: u32| table[place as usize % table.len()];
    let first = format!("{}{}", pick(&FIRST, number), pick(&["", "ra", "lin", "no"], number / 20));
    let last = format!("{}{}", pick(&FIRST, number / 80), pick(&LAST, number / 1_600));
    (first, last)
}

fn troop(number: u32) -> u32 {
    1 + number % SIZE.1
}

/// Everybody of the unit: half with a membership number, half with an address, each a contact of a troop.
fn people() -> String {
    let (unit, mut sql) = (id(1, UNIT, 0), String::new());
    for number in 0..MANY {
        let ((first, last), person) = (name(number), id(10, UNIT, number));
        let membership = if number % 2 == 0 { format!("'B-{number}'") } else { "null".to_owned() };
        let _ = write!(
            sql,
            "insert into person (unit_id, person_id, first_name, last_name, membership_number, version, log_seq) \
             values ('{unit}', '{person}', '{first}', '{last}', {membership}, 1, 998001);\
             insert into troop_contact (unit_id, troop_id, person_id, duty, from_at, log_seq) \
             values ('{unit}', '{}', '{person}', 'other', now(), 998001);",
            id(3, UNIT, troop(number))
        );
        if number % 4 < 2 {
            let _ = write!(
                sql,
                "insert into person_contact (unit_id, person_id, email, email_key, version, log_seq) \
                 values ('{unit}', '{person}', 'b{number}@example.org', 'b{number}@example.org', 1, 998001);"
            );
        }
    }
    sql
}

/// The list: one row each but the last, since a file has 20,000 lines at most and the first is the heading; a third of the
/// rows with a letter of the last name written twice.
fn list() -> String {
    let mut csv = "Troop,First name,Last name,E-mail,Membership number,Membership valid until\n".to_owned();
    for number in 0..MANY - 1 {
        let (first, mut last) = name(number);
        if number % 3 == 0 {
            last.insert(1, last.chars().nth(1).unwrap_or('a'));
        }
        let email = if number % 4 < 2 { format!("b{number}@example.org") } else { String::new() };
        let membership = if number % 2 == 0 { format!("B-{number}") } else { String::new() };
        let _ = writeln!(csv, "{:04},{first},{last},{email},{membership},2030-08-31", 100 + troop(number));
    }
    csv
}

/// Uploads the list and waits for its preview.
pub async fn previewed(program: &Program, database: &Database, tokens: &Tokens) -> Previewed {
    database.add(&people()).await;
    let (at, token, list) = (format!("/v1/units/{}/intakes", id(1, UNIT, 0)), tokens.of(UNIT, 0), list());
    let head = format!("host: bench\r\nauthorization: Bearer {token}\r\nconnection: close\r\n");
    let before = proc::memory_kib(program.pid());
    let began = Instant::now();
    let upload = format!(
        "POST {at}?kind=role_list&file_name=all.csv&listed_on={} HTTP/1.1\r\n{head}content-type: text/csv\r\ncontent-length: {}\r\n\r\n{list}",
        tokens.day,
        list.len()
    );
    let made = program.ask(upload.as_bytes(), 202).await;
    let made: serde_json::Value = serde_json::from_slice(&made).expect("the list");
    let ask = format!("GET {at}/{} HTTP/1.1\r\n{head}\r\n", made["intake_id"].as_str().expect("its id"));
    let mut most = before;
    for look in 0_u32.. {
        // Every tenth of a second: to add up the pages of a process stops it for a moment.
        if look.is_multiple_of(5) {
            most = most.max(proc::memory_kib(program.pid()));
        }
        let answer = program.ask_if_free(ask.as_bytes()).await;
        let seen: serde_json::Value =
            answer.map(|body| serde_json::from_slice(&body).expect("the list")).unwrap_or(json!({"state": "reading"}));
        if seen["state"] != "reading" {
            assert_eq!(seen["state"], "ready", "{}", seen["fault"]);
            let counts = seen["counts"].to_string();
            return Previewed { took: began.elapsed(), grown_kib: most - before, counts };
        }
        assert!(began.elapsed() < Duration::from_mins(2), "no preview within two minutes");
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    unreachable!("it looks until there is a preview or two minutes are over")
}
