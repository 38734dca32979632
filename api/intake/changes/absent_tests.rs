//! Who is missing from a complete list, by cases typed by hand on the shipped policy (its brake stands at 25 %).

use super::test_support::{person, troop};
use super::*;
use crate::seasons::policy::shipped_policy;

fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

/// Four coordinators of troops 101 and 102, numbered 1 to 4; 3 is new to the season's lists.
fn current() -> Current {
    let somebody = |number: u128, first: &str, of: u128| CurrentPerson {
        known: Known {
            person_id: person(number),
            first_name: first.into(),
            last_name: "Holm".into(),
            emails: Vec::new(),
            membership_number: Some(number.to_string()),
            troops: vec![troop(of)],
        },
        phone: None,
    };
    let a_troop = |number: u128| super::test_support::a_troop(number, true);
    Current {
        people: vec![
            somebody(1, "Ida", 101),
            somebody(2, "Bo", 101),
            somebody(3, "Eva", 102),
            somebody(4, "Finn", 102),
        ],
        troops: vec![a_troop(101), a_troop(102)],
        assigned: [(101, 1), (101, 2), (102, 3), (102, 4)].map(|(of, who)| (troop(of), person(who))).into(),
        led: [troop(101), troop(102)].into(),
        facts: vec![
            fact("registration", known(1), EvidenceOutcome::Met, "2026-01-05", 1),
            fact("registration", known(2), EvidenceOutcome::Met, "2026-01-05", 2),
            fact("membership", known(2), EvidenceOutcome::Met, "2026-01-05", 3),
            fact("registration", known(4), EvidenceOutcome::Absent, "2026-01-05", 4),
            fact("bank_details", Subject::Troop(troop(101)), EvidenceOutcome::Met, "2026-01-03", 5),
        ],
    }
}

fn known(number: u128) -> Subject {
    Subject::Person(PersonRef::Known(person(number)))
}

fn fact(requirement: &str, subject: Subject, outcome: EvidenceOutcome, on: &str, order: i64) -> CurrentFact {
    let statement = Statement { outcome, observed_on: day(on), valid_until_on: None, score_percent: None };
    CurrentFact { requirement: requirement.into(), subject, statement, order }
}

/// A complete list with these rows: row number, troop, membership number.
fn look_at(
    kind: ListKind,
    rows: &[(u32, &str, &str)],
    resolutions: &[(u32, Resolution)],
    current: &Current,
) -> Preview {
    let rows: Vec<ListRow> = rows
        .iter()
        .map(|(row_number, of, number)| ListRow {
            row_number: *row_number,
            troop_number: Some((*of).to_owned()),
            first_name: Some("Ida".into()),
            last_name: Some("Holm".into()),
            membership_number: Some((*number).to_owned()).filter(|text| !text.is_empty()),
            received_on: (kind == ListKind::BankDetails).then(|| day("2026-01-03")),
            ..ListRow::default()
        })
        .collect();
    let resolutions: BTreeMap<u32, Resolution> = resolutions.iter().copied().collect();
    let list = ReadList {
        kind,
        listed_on: day("2026-01-12"),
        rows: &rows,
        problems: &[],
        resolutions: &resolutions,
        complete: true,
        outdated: false,
    };
    look(&list, &World { policy: &shipped_policy().unwrap(), today: day("2026-01-20"), current })
}

fn missing(preview: &Preview) -> Vec<(String, Subject)> {
    let recorded = preview.absences.iter().map(|absence| match absence {
        Absence::Recorded { requirement, subject, .. } => (requirement.clone(), *subject),
        Absence::Shown(troop) => (String::new(), Subject::Troop(*troop)),
    });
    recorded.collect()
}

#[test]
fn only_what_being_listed_proves_is_absent_and_only_of_whom_a_list_had_named() {
    let preview = look_at(ListKind::RoleList, &[(2, "101", "1")], &[], &current());
    // 2 is missing; 3 was never on a list; 4 was missing before; 2's membership keeps its last dated fact.
    assert_eq!(missing(&preview), [("registration".to_owned(), known(2))]);
    let Absence::Recorded { statement, .. } = &preview.absences[0] else { panic!("it is recorded") };
    assert_eq!(statement.observed_on, day("2026-01-12"));
    assert_eq!((preview.touched.people, preview.touched.of_people), (1, 4));
}

#[test]
fn a_row_that_was_left_out_or_waits_names_somebody_all_the_same() {
    let left_out =
        look_at(ListKind::RoleList, &[(2, "101", "1"), (3, "101", "2")], &[(3, Resolution::Skip)], &current());
    assert!(missing(&left_out).is_empty());
    let empty = look_at(ListKind::RoleList, &[], &[], &current());
    assert_eq!(missing(&empty).len(), 2);
}

#[test]
fn a_later_fact_is_not_undone_by_the_list_of_an_earlier_day() {
    let mut later = current();
    later.facts.push(fact("registration", known(2), EvidenceOutcome::Met, "2026-01-12", 6));
    assert!(missing(&look_at(ListKind::RoleList, &[(2, "101", "1")], &[], &later)).is_empty());
}

#[test]
fn who_has_no_place_this_season_is_missing_on_no_list() {
    let mut left = current();
    left.assigned.retain(|(_, who)| *who != person(2));
    assert!(missing(&look_at(ListKind::RoleList, &[(2, "101", "1")], &[], &left)).is_empty());
}

#[test]
fn a_troop_that_was_missing_and_is_on_the_list_again_is_said_by_the_lists_day() {
    let gone = look_at(ListKind::BankDetails, &[(2, "102", "")], &[], &current());
    assert_eq!(missing(&gone), [("bank_details".to_owned(), Subject::Troop(troop(101)))]);
    let mut absent = current();
    absent.facts.push(fact("bank_details", Subject::Troop(troop(101)), EvidenceOutcome::Absent, "2026-01-10", 6));
    let back = look_at(ListKind::BankDetails, &[(2, "0101", "")], &[], &absent);
    let said: Vec<_> = back.rows[0].changes.iter().collect();
    assert!(
        matches!(said.as_slice(), [Change::RecordFact { statement, .. }] if statement.observed_on == day("2026-01-12")),
        "{said:?}"
    );
    absent.facts.push(fact("bank_details", Subject::Troop(troop(101)), EvidenceOutcome::Met, "2026-01-12", 7));
    assert!(look_at(ListKind::BankDetails, &[(2, "0101", "")], &[], &absent).rows[0].changes.is_empty());
}

#[test]
fn the_brake_is_a_share_of_the_roster_and_more_than_a_handful() {
    let touched =
        |people: u32, of_people: u32, troops: u32, of_troops: u32| Touched { people, of_people, troops, of_troops };
    for (seen, want) in [
        (touched(0, 0, 0, 0), false),
        (touched(2, 2, 2, 2), false),
        (touched(3, 12, 0, 9), false),
        (touched(4, 12, 0, 9), true),
        (touched(0, 12, 3, 9), true),
        (touched(5, 20, 0, 0), false),
        (touched(6, 20, 0, 0), true),
    ] {
        assert_eq!(seen.brakes(25), want, "{seen:?}");
    }
    assert!(!touched(12, 12, 9, 9).brakes(100));
}

#[test]
fn renewing_what_was_known_is_touching_and_a_first_fact_is_not() {
    let mut rows = vec![ListRow {
        row_number: 2,
        troop_number: Some("101".into()),
        first_name: Some("Bo".into()),
        last_name: Some("Holm".into()),
        membership_number: Some("2".into()),
        membership_valid_until: Some(day("2027-09-30")),
        ..ListRow::default()
    }];
    rows.push(ListRow {
        row_number: 3,
        membership_number: Some("3".into()),
        first_name: Some("Eva".into()),
        ..rows[0].clone()
    });
    rows[1].troop_number = Some("102".into());
    let (none, current) = (BTreeMap::new(), current());
    let list = ReadList {
        kind: ListKind::RoleList,
        listed_on: day("2026-01-12"),
        rows: &rows,
        problems: &[],
        resolutions: &none,
        complete: false,
        outdated: false,
    };
    let preview =
        look(&list, &World { policy: &shipped_policy().unwrap(), today: day("2026-01-20"), current: &current });
    // Bo's membership was known and is said otherwise; everything about Eva is a first fact.
    assert_eq!(preview.touched, Touched { people: 1, of_people: 4, troops: 0, of_troops: 2 });
}
