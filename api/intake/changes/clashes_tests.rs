//! Rows of one list that contradict each other, by hand-typed cases on the shipped policy.

use super::test_support::{after, person, short};
use super::tests::{Case, current, day, role_rows, row};
use super::*;
use crate::intake::columns::fields::ScreeningOutcome;
use crate::intake::matching::{Candidate, ReasonCode};

#[test]
fn a_row_said_twice_changes_once_and_rows_that_contradict_wait() {
    let other = ListRow { row_number: 7, ..role_rows().remove(0) };
    let contradicts =
        ListRow { row_number: 8, membership_valid_until: Some(day("2026-10-31")), ..role_rows().remove(0) };
    let mut case = Case::new(ListKind::RoleList, "2026-01-10", vec![role_rows().remove(0), other, contradicts]);
    let waits = |rows: &[RowPreview]| rows.iter().map(|row| row.state.needs_a_person()).collect::<Vec<_>>();
    let rows = case.on(&current());
    assert_eq!(waits(&rows), [true, true, true]);
    assert!(rows.iter().all(|row| row.changes.is_empty()), "nothing is taken from any of them");
    assert_eq!(rows[1].also_on_rows, [2, 8]);
    let said: Vec<_> = rows.iter().map(|row| row.reason.as_ref().unwrap().sentence.as_str()).collect();
    assert_eq!(
        said[0],
        "rows contradict each other. Current membership: until 2026-09-30 here, until 2026-10-31 on row 8. Say which row is right (this_row_holds), or leave one out (leave_out)"
    );
    assert!(said[2].contains("until 2026-10-31 here, until 2026-09-30 on rows 2 and 7"), "{}", said[2]);
    // one of those that agree is right: the third says nothing of it, and everything else is taken from all of them
    case.resolutions = [(7, Resolution::Holds)].into();
    let rows = case.on(&current());
    assert_eq!(waits(&rows), [false, false, false]);
    assert_eq!((rows[0].changes.len(), rows[1].changes.len(), rows[2].changes.len()), (4, 0, 0));
    assert_eq!((rows[2].problems[0].code.as_str(), rows[2].contradictions.len()), ("rows_contradict", 1));
    case.resolutions = [(7, Resolution::Holds), (8, Resolution::Holds)].into();
    assert_eq!(waits(&case.on(&current())), [true, true, true], "both cannot be right");
    case.resolutions = [(8, Resolution::Skip)].into();
    let rows = case.on(&current());
    assert_eq!((waits(&rows), rows[0].contradictions.len()), (vec![false, false, false], 0));
    // two ends differ, and a row that names none is no answer
    case.rows[0].screening_valid_until = None;
    case.rows[2].membership_valid_until = None;
    case.rows[2].screening_valid_until = Some(day("2028-03-02"));
    case.resolutions = [(2, Resolution::Holds)].into();
    assert_eq!(waits(&case.on(&current())), [false, true, true]);
}

#[test]
fn rows_contradict_also_where_the_first_says_what_is_known() {
    let known = after(&current(), &Case::new(ListKind::RoleList, "2026-01-10", role_rows()).on(&current()));
    let mut contradicts = ListRow { row_number: 7, ..role_rows().remove(0) };
    contradicts.membership_valid_until = Some(day("2025-10-30"));
    let rows = vec![role_rows().remove(0), contradicts];
    let found = Case::new(ListKind::RoleList, "2026-01-12", rows).on(&known);
    for (row, want) in
        found.iter().zip(["until 2026-09-30 here, until 2025-10-30", "until 2025-10-30 here, until 2026-09-30"])
    {
        let reason = row.reason.as_ref().unwrap();
        assert_eq!(
            (&row.state, reason.code, row.changes.len()),
            (
                &RowState::Ask(vec![Candidate {
                    person_id: Some(person(1)),
                    row_number: None,
                    likeness_percent: 100,
                    code: ReasonCode::RowsContradict
                }]),
                ReasonCode::RowsContradict,
                0
            )
        );
        assert!(reason.sentence.contains(want), "{}", reason.sentence);
    }
}

#[test]
fn where_one_row_is_silent_nothing_contradicts_and_the_end_that_is_said_is_taken() {
    let met = |number: u32, until: Option<&str>| ListRow {
        screening: Some(ScreeningOutcome::Met),
        screening_valid_until: until.map(day),
        ..row(number, "101", ("Ruth", "Adeyemi"))
    };
    let mut silent = met(4, None);
    silent.screening = Some(ScreeningOutcome::Pending);
    for rows in
        [vec![met(2, None), met(3, Some("2028-03-01")), silent.clone()], vec![met(2, Some("2028-03-01")), met(3, None)]]
    {
        let found = Case::new(ListKind::RoleList, "2026-01-10", rows).on(&current());
        let facts: Vec<String> =
            found.iter().flat_map(short).filter(|change| change.starts_with("screening")).collect();
        assert_eq!(facts, ["screening Met 2026-01-10 until 2028-03-01"]);
        assert!(found.iter().all(|row| row.contradictions.is_empty() && row.problems.is_empty()));
    }
}

#[test]
fn rows_of_one_new_person_contradict_too_and_the_rest_of_them_stays_one_person() {
    let until = |number: u32, troop: &str, until: Option<&str>| ListRow {
        membership_number: Some("7001".into()),
        membership_valid_until: until.map(day),
        ..row(number, troop, ("Noor", "Haddad"))
    };
    let rows = vec![until(2, "102", Some("2026-09-30")), until(3, "102", Some("2026-10-31")), until(4, "101", None)];
    let mut case = Case::new(ListKind::RoleList, "2026-01-10", rows);
    let waits = |rows: &[RowPreview]| rows.iter().map(|row| row.state.needs_a_person()).collect::<Vec<_>>();
    assert_eq!(waits(&case.on(&current())), [true, true, false]);
    case.resolutions = [(3, Resolution::Holds)].into();
    let found = case.on(&current());
    assert_eq!(short(&found[0]), ["new Noor Haddad", "propose 102 lead", "registration Met 2026-01-10"]);
    assert_eq!(short(&found[1]), ["membership Met 2026-01-10 until 2026-10-31"]);
    assert_eq!(short(&found[2]), ["propose 101"]);
    case.resolutions = [(2, Resolution::Skip)].into();
    let found = case.on(&current());
    assert_eq!(found.iter().flat_map(short).filter(|change| change.starts_with("new ")).count(), 1);
    assert_eq!((&found[1].state, &found[2].state), (&RowState::NewPerson(3), &RowState::NewPerson(3)));
}

#[test]
fn a_new_person_is_known_by_what_any_of_the_rows_says() {
    let said = |number: u32, first: &str, membership: &str, phone: Option<&str>| ListRow {
        email: Some("diallo@example.org".into()),
        membership_number: Some(membership.to_owned()).filter(|text| !text.is_empty()),
        phone: phone.map(str::to_owned),
        ..row(number, "102", (first, "Diallo"))
    };
    let rows = vec![
        said(2, "Fatoumata", "", None),
        said(3, "Fatou", "5006", Some("555 0107")),
        said(4, "Fatoumata", "5007", None),
    ];
    let mut case = Case::new(ListKind::RoleList, "2026-01-10", rows);
    case.resolutions = [3, 4].map(|row| (row, Resolution::SameAsRow { row_number: 2, holds: false })).into();
    let found = case.on(&current());
    assert_eq!(
        found[0].changes[0],
        Change::NewPerson {
            first_name: "Fatoumata".into(),
            last_name: "Diallo".into(),
            membership_number: Some("5006".into()),
            email: Some("diallo@example.org".into()),
            phone: Some("555 0107".into()),
        }
    );
    let problems: Vec<_> = found.iter().map(|row| row.problems.len()).collect();
    assert_eq!((problems, found[2].problems[0].read.as_str()), (vec![0, 0, 1], "5007"));
    // two rows that each call the other the same are one new person
    case.resolutions = [(2, 3), (3, 2), (4, 3)]
        .map(|(row, other)| (row, Resolution::SameAsRow { row_number: other, holds: false }))
        .into();
    let states: Vec<_> = case.on(&current()).into_iter().map(|row| row.state).collect();
    assert_eq!(states, [RowState::NewPerson(2), RowState::NewPerson(2), RowState::NewPerson(2)]);
    // whoever is the same as somebody who is known is that one
    case.resolutions = [
        (2, Resolution::Person { person_id: person(1), holds: false }),
        (3, Resolution::SameAsRow { row_number: 2, holds: false }),
        (4, Resolution::Skip),
    ]
    .into();
    let states: Vec<_> = case.on(&current()).into_iter().map(|row| row.state).collect();
    assert_eq!(states, [RowState::Person(person(1)), RowState::Person(person(1)), RowState::Skipped]);
}
