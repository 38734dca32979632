//! Matching, by tables of cases: people and rows are typed by hand, and so is what must come out.

use super::*;
use crate::common::ids::TroopId;
use uuid::Uuid;

const LINES: Lines = Lines { accept: 0.92, review: 0.82 };

fn troop(number: u128) -> TroopId {
    TroopId(Uuid::from_u128(number))
}

fn person(number: u128) -> PersonId {
    PersonId(Uuid::from_u128(number))
}

fn known(id: u128, name: (&str, &str), email: &str, number: &str, in_troop: u128) -> Known {
    Known {
        person_id: person(id),
        first_name: name.0.into(),
        last_name: name.1.into(),
        emails: Some(email.to_owned()).filter(|email| !email.is_empty()).into_iter().collect(),
        membership_number: Some(number.to_owned()).filter(|number| !number.is_empty()),
        troops: vec![troop(in_troop)],
    }
}

/// A roster as a town has it: spouses who share an address, siblings in one troop, two people of one name.
fn roster() -> Vec<Known> {
    vec![
        known(1, ("Elizabeth", "Okafor"), "okafor.home@example.org", "00417", 101),
        known(2, ("Daniel", "Okafor"), "okafor.home@example.org", "", 101),
        known(3, ("María José", "Núñez"), "mj@example.org", "", 102),
        known(4, ("Priya", "Raman"), "", "882", 102),
        known(5, ("Thomas", "Lindqvist"), "tom@example.org", "", 103),
        known(6, ("Thomas", "Lindqvist"), "", "", 104),
        known(7, ("Anna", "Weiss"), "", "", 105),
        known(8, ("Anne", "Weiss"), "", "", 105),
    ]
}

fn row(number: u32, in_troop: u128, name: (&str, &str), email: &str, membership: &str) -> Listed {
    let some = |text: &str| Some(text.to_owned()).filter(|text| !text.is_empty());
    Listed {
        row_number: number,
        troop: Some(troop(in_troop)),
        first_name: some(name.0),
        last_name: some(name.1),
        email: some(email),
        membership_number: some(membership),
    }
}

/// What came out, short enough to type: `taken 3`, `ask 7 8`, `new`, `problem`.
fn short(outcome: &MatchOutcome) -> String {
    match outcome {
        MatchOutcome::Taken { person_id } => format!("taken {}", person_id.0.as_u128()),
        MatchOutcome::Ask { candidates } => candidates
            .iter()
            .fold("ask".to_owned(), |text, candidate| format!("{text} {}", candidate.person_id.0.as_u128())),
        MatchOutcome::New { .. } => "new".into(),
        MatchOutcome::Problem => "problem".into(),
    }
}

#[test]
fn the_first_rule_that_speaks_decides() {
    use ReasonCode as R;
    for (why, listed, want, code) in [
        ("number with zeros lost", row(2, 101, ("Liz", "Okafor"), "", "417"), "taken 1", R::MembershipNumber),
        (
            "number over another address",
            row(2, 999, ("Elizabeth", "Okafor"), "new@example.org", "00417"),
            "taken 1",
            R::MembershipNumber,
        ),
        ("number alone", row(2, 101, ("", ""), "", "00417"), "taken 1", R::MembershipNumber),
        ("number of one, name of another", row(2, 102, ("Bruno", "Silva"), "", "882"), "ask 4", R::NumberButOtherName),
        (
            "shared address, first name decides",
            row(2, 101, ("Dan", "Okafor"), "Okafor.Home@example.org", ""),
            "taken 2",
            R::EmailAndFirstName,
        ),
        (
            "shared address, a third person",
            row(2, 101, ("Chidi", "Okafor"), "okafor.home@example.org", ""),
            "new",
            R::NobodyFits,
        ),
        (
            "address, number contradicts",
            row(2, 101, ("Beth", "Okafor"), "okafor.home@example.org", "999"),
            "ask 1",
            R::NumberConflicts,
        ),
        ("accents and case", row(2, 102, ("maria jose", "NUNEZ"), "", ""), "taken 3", R::NameAndTroop),
        ("one letter off", row(2, 102, ("Priya", "Ramen"), "", ""), "taken 4", R::NameAndTroop),
        ("columns swapped", row(2, 102, ("Raman", "Priya"), "", ""), "taken 4", R::NameAndTroop),
        (
            "address contradicts",
            row(2, 102, ("Maria Jose", "Nunez"), "other@example.org", ""),
            "ask 3",
            R::EmailConflicts,
        ),
        ("number contradicts", row(2, 102, ("Priya", "Raman"), "", "883"), "ask 4", R::NumberConflicts),
        ("two of one name, troop decides", row(2, 104, ("Tom", "Lindqvist"), "", ""), "taken 6", R::NameAndTroop),
        ("name alone, other troop", row(2, 102, ("Thomas", "Lindqvist"), "", ""), "ask 5 6", R::SameNameOtherTroop),
        ("siblings alike", row(2, 105, ("Ann", "Weiss"), "", ""), "ask 7 8", R::SeveralFit),
        ("nobody", row(2, 102, ("Bruno", "Silva"), "bruno@example.org", ""), "new", R::NobodyFits),
        ("nothing", row(2, 102, ("", "Silva"), "", ""), "problem", R::NothingToMatchBy),
    ] {
        let (outcome, reason) = decide(&listed, &People::new(&roster()), LINES);
        assert_eq!((short(&outcome).as_str(), reason.code), (want, code), "{why}: {}", reason.sentence);
    }
}

#[test]
fn a_row_without_a_troop_is_never_matched_by_name() {
    let mut listed = row(2, 0, ("Priya", "Raman"), "", "");
    listed.troop = None;
    let (outcome, reason) = decide(&listed, &People::new(&roster()), LINES);
    assert_eq!((short(&outcome).as_str(), reason.code), ("ask 4", ReasonCode::SameNameOtherTroop));
}

#[test]
fn no_two_rows_take_one_person_silently() {
    let rows = [
        row(2, 101, ("Elizabeth", "Okafor"), "", "00417"),
        row(3, 102, ("Beth", "Okafor"), "", "417"), // the same person in a second troop: said, not asked
        row(4, 102, ("Priya", "Raman"), "p@example.org", ""),
        row(5, 102, ("Priya", "Raman"), "q@example.org", ""), // one of the two is somebody else
    ];
    let found = match_rows(&rows, &roster(), LINES, true);
    assert_eq!(
        found.iter().map(|found| short(&found.outcome)).collect::<Vec<_>>(),
        ["taken 1", "taken 1", "ask 4", "ask 4"]
    );
    assert_eq!(
        found.iter().map(|found| found.also_on_rows.clone()).collect::<Vec<_>>(),
        [vec![3], vec![2], vec![5], vec![4]]
    );
    assert_eq!(found[2].reason.code, ReasonCode::RowsContradict);
}

#[test]
fn one_new_person_on_two_rows_is_one_new_person() {
    let rows = [
        row(2, 101, ("Bruno", "Silva"), "bruno@example.org", ""),
        row(3, 102, ("Bruno", "Silva"), "BRUNO@example.org", ""),
        row(4, 102, ("Bruno", "Silva"), "", ""),
        row(5, 102, ("Rosa", "Silva"), "bruno@example.org", ""), // shares the address, is somebody else
    ];
    let first_rows: Vec<_> = match_rows(&rows, &roster(), LINES, true)
        .iter()
        .map(|found| match found.outcome {
            MatchOutcome::New { first_row } => first_row,
            _ => 0,
        })
        .collect();
    assert_eq!(first_rows, [2, 2, 4, 5]);
}

#[test]
fn a_list_that_makes_nobody_known_asks_about_strangers() {
    let found = match_rows(&[row(2, 101, ("Bruno", "Silva"), "", "")], &roster(), LINES, false);
    assert_eq!((short(&found[0].outcome).as_str(), found[0].reason.code), ("ask", ReasonCode::UnknownPerson));
}

#[test]
fn the_lines_are_the_policys() {
    let listed = row(2, 102, ("Priya", "Ramen"), "", "");
    let strict = Lines::from_percent(100, 99);
    assert_eq!(short(&decide(&listed, &People::new(&roster()), strict).0), "new");
    let between = Lines::from_percent(99, 80);
    assert_eq!(short(&decide(&listed, &People::new(&roster()), between).0), "ask 4");
}
