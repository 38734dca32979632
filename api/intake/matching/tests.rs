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
        known(9, ("Nadia", "Haddad"), "nadia.haddad@example.org", "", 106),
        known(10, ("Nadja", "Haddad"), "", "5017", 107),
        known(11, ("Oluwaseun", "Adeyemi"), "o.adeyemi@example.org", "", 108),
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

/// What came out, short enough to type: `taken 3`, `ask 7 8`, `ask row 2`, `new`, `problem`.
fn short(outcome: &MatchOutcome) -> String {
    match outcome {
        MatchOutcome::Taken { person_id } => format!("taken {}", person_id.0.as_u128()),
        MatchOutcome::Ask { candidates } => {
            candidates.iter().fold("ask".to_owned(), |text, one| match (one.person_id, one.row_number) {
                (Some(person_id), _) => format!("{text} {}", person_id.0.as_u128()),
                (None, row) => format!("{text} row {}", row.unwrap_or_default()),
            })
        }
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
fn whoever_has_the_address_is_thought_of() {
    use ReasonCode as R;
    for (why, listed, want, code) in [
        (
            "number of one, address and name of another",
            row(2, 106, ("Nadia", "Haddad"), "nadia.haddad@example.org", "5017"),
            "ask 9 10",
            R::EmailConflicts,
        ),
        (
            "number and name of one, address of somebody else",
            row(2, 102, ("Priya", "Raman"), "tom@example.org", "882"),
            "taken 4",
            R::MembershipNumber,
        ),
        (
            "number and name of one, the family's address",
            row(2, 101, ("Elizabeth", "Okafor"), "okafor.home@example.org", "00417"),
            "taken 1",
            R::MembershipNumber,
        ),
        (
            "a part of the first name",
            row(2, 999, ("Seun", "Adeyemi"), "O.Adeyemi@example.org", ""),
            "ask 11",
            R::EmailButOtherFirstName,
        ),
        (
            "asked about anyway, and the address is somebody's",
            row(2, 105, ("Ann", "Weiss"), "o.adeyemi@example.org", ""),
            "ask 7 8 11",
            R::SeveralFit,
        ),
        (
            "number of one, name of another, address of a third",
            row(2, 102, ("Bruno", "Silva"), "o.adeyemi@example.org", "882"),
            "ask 4 11",
            R::NumberButOtherName,
        ),
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
    let found: Vec<_> = match_rows(&rows, &roster(), LINES, true).iter().map(first_row).collect();
    assert_eq!(found, ["new 2", "new 2", "ask row 2", "new 5"], "row 4 has the name and the troop of row 3");
}

fn first_row(found: &RowMatch) -> String {
    match &found.outcome {
        MatchOutcome::New { first_row } => format!("new {first_row}"),
        other => short(other),
    }
}

#[test]
fn one_new_person_in_two_spellings_is_asked_about_once() {
    let rows = [
        row(2, 201, ("Fatoumata", "Diallo"), "fd@example.org", "5006"),
        row(3, 202, ("Fatou", "Diallo"), "fd@example.org", ""), // the same address and a name that is near
        row(4, 203, ("Fatou", "Diallo"), "FD@example.org", ""), // plainly row 3
        row(5, 202, ("Ibrahim", "Diallo"), "fd@example.org", ""), // shares the address
        row(6, 201, ("Fatoumata", "Dialo"), "", ""),            // the same troop and a name that is near
        row(7, 204, ("Fatoumata", "Diallo"), "", ""),           // a name alone, across troops
        row(8, 205, ("Fatoumatta", "Diallo"), "", "5006"),      // the same number and a name that is near
        row(9, 206, ("Bo", "Ek"), "", "7007"),
        row(10, 207, ("Cy", "Ott"), "", "7007"), // the same number and another name: one of the two is wrong
    ];
    let found = match_rows(&rows, &roster(), LINES, true);
    assert_eq!(
        found.iter().map(first_row).collect::<Vec<_>>(),
        ["new 2", "ask row 2", "new 3", "new 5", "ask row 2", "new 7", "ask row 2", "ask", "ask"]
    );
    assert_eq!((found[1].reason.code, &*found[1].also_on_rows), (ReasonCode::LooksLikeRow, &[4][..]));
    assert_eq!(
        found[1].reason.sentence,
        "nobody in the unit fits, and row 2 is new as well, with the same e-mail and a name near to this one: the same person (same_as_row 2), or somebody else (new_person)?"
    );
    assert_eq!((found[7].reason.code, found[8].reason.code), (ReasonCode::RowsContradict, ReasonCode::RowsContradict));
    let rows = [rows[0].clone(), rows[1].clone(), row(4, 203, ("Fatoumata", "Diallo"), "fd@example.org", "")];
    let found = match_rows(&rows, &roster(), LINES, true);
    assert_eq!(
        found.iter().map(first_row).collect::<Vec<_>>(),
        ["new 2", "ask row 2", "new 2"],
        "a row of the first below"
    );
}

#[test]
fn a_list_that_makes_nobody_known_asks_about_strangers() {
    let found = match_rows(&[row(2, 101, ("Bruno", "Silva"), "", "")], &roster(), LINES, false);
    assert_eq!((short(&found[0].outcome).as_str(), found[0].reason.code), ("ask", ReasonCode::UnknownPerson));
    // whoever has the address may be meant, whatever the name
    let bruno = row(2, 101, ("Bruno", "Adeyemi"), "o.adeyemi@example.org", "");
    let found = match_rows(std::slice::from_ref(&bruno), &roster(), LINES, false);
    assert_eq!((short(&found[0].outcome).as_str(), found[0].reason.code), ("ask 11", ReasonCode::UnknownPerson));
    assert!(found[0].reason.sentence.contains("the e-mail is Oluwaseun Adeyemi's"), "{}", found[0].reason.sentence);
    assert_eq!(short(&match_rows(&[bruno], &roster(), LINES, true)[0].outcome), "new", "a family shares an address");
}

#[test]
fn the_lines_are_the_policys() {
    let listed = row(2, 102, ("Priya", "Ramen"), "", "");
    let strict = Lines::from_percent(100, 99);
    assert_eq!(short(&decide(&listed, &People::new(&roster()), strict).0), "new");
    let between = Lines::from_percent(99, 80);
    assert_eq!(short(&decide(&listed, &People::new(&roster()), between).0), "ask 4");
}
