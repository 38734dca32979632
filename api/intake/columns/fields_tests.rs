//! Cells read by tables of cases.

use super::fields::*;
use super::plan::{ColumnChoices, plan};
use crate::intake::kinds::ListKind;
use crate::intake::parse::parse;
use crate::intake::parse::table::CellProblem;

fn read(csv: &str, kind: ListKind) -> (Vec<ListRow>, Vec<CellProblem>) {
    let table = parse(csv.as_bytes(), kind).unwrap();
    read_rows(&table, &plan(&table, kind, &ColumnChoices::default()))
}

#[test]
fn names_in_one_cell_are_parted() {
    for (text, first, last) in [
        ("Ann Lee", Some("Ann"), Some("Lee")),
        ("Lee, Ann", Some("Ann"), Some("Lee")),
        ("Ana de la Cruz", Some("Ana"), Some("de la Cruz")),
        ("Mary Ann Lee", Some("Mary Ann"), Some("Lee")),
        ("van Dyk, Piet", Some("Piet"), Some("van Dyk")),
        ("Cher", None, Some("Cher")),
        ("Lee,", None, Some("Lee")),
    ] {
        assert_eq!(super::naming::split_name(text), (first.map(str::to_owned), last.map(str::to_owned)), "{text}");
    }
}

#[test]
fn scores_are_read_in_every_writing_and_never_rounded_up() {
    for (text, want) in [
        ("92", 9200),
        ("92 %", 9200),
        ("92.5", 9250),
        ("92,5%", 9250),
        ("79.9999", 7999),
        ("18/20", 9000),
        ("2/3", 6666),
        ("100", 10_000),
        ("0", 0),
    ] {
        let (rows, problems) = read(
            &format!(
                "Name;Email;Course;Completed on;Score\nAnn Lee;a@example.org;C1;2026-01-02;{text}\nBo Ek;b@example.org;C1;2026-01-02;50\n"
            ),
            ListKind::Certificates,
        );
        assert_eq!(rows[0].score, Some(want), "{text}: {problems:?}");
    }
}

#[test]
fn a_column_of_fractions_is_a_column_of_per_cents() {
    let csv = "Name,Email,Course,Completed on,Score\nAnn Lee,a@example.org,C1,2026-01-02,0.925\nBo Ek,b@example.org,C1,2026-01-02,1\n";
    let (rows, _) = read(csv, ListKind::Certificates);
    assert_eq!(rows.iter().map(|row| row.score).collect::<Vec<_>>(), [Some(9250), Some(10_000)]);
}

#[test]
fn what_cannot_be_read_says_where_what_and_what_was_expected() {
    let csv = "Troop,First name,Last name,E-mail,Membership number,Membership valid until,Screening\n\
               101,Ann,Lee,ann at example,1.23E+11,31/31/2026,maybe\n";
    let (rows, problems) = read(csv, ListKind::RoleList);
    assert_eq!((&rows[0].email, &rows[0].membership_number, rows[0].screening), (&None, &None, None));
    let seen: Vec<_> = problems
        .iter()
        .map(|p| (p.row_number, p.column.as_deref().unwrap(), p.code.as_str(), p.read.as_str()))
        .collect();
    assert_eq!(
        seen,
        [
            (2, "D", "not_an_email", "ann at example"),
            (2, "E", "number_shortened", "1.23E+11"),
            (2, "F", "not_a_day", "31/31/2026"),
            (2, "G", "not_an_outcome", "maybe"),
        ]
    );
}

#[test]
fn signs_for_nothing_say_nothing() {
    let (rows, problems) =
        read("Troop,First name,Last name,E-mail,Screening\nTroop 0101,Ann,Lee,n/a,-\n", ListKind::RoleList);
    assert_eq!((&rows[0].email, rows[0].screening, rows[0].troop_number.as_deref()), (&None, None, Some("0101")));
    assert!(problems.is_empty());
}
