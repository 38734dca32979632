//! Changes by hand-typed cases, on the shipped policy: what one list brings, and that the same list brings it once.

use super::test_support::{a_troop, after, person, short, troop};
use super::*;
use crate::intake::columns::fields::ScreeningOutcome;
use crate::seasons::policy::shipped_policy;

pub(super) fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

/// Ruth is known and coordinates 101; nobody else is known. Troop 103 takes no part in this season.
pub(super) fn current() -> Current {
    let ruth = Known {
        person_id: person(1),
        first_name: "Ruth".into(),
        last_name: "Adeyemi".into(),
        emails: vec!["ruth@example.org".into()],
        membership_number: None,
        troops: vec![troop(101)],
    };
    Current {
        people: vec![CurrentPerson { known: ruth, phone: Some("555 0100".into()) }],
        troops: vec![a_troop(101, true), a_troop(102, true), a_troop(103, false)],
        assigned: [(troop(101), person(1))].into(),
        led: [troop(101)].into(),
        facts: Vec::new(),
    }
}

pub(super) fn row(row_number: u32, troop: &str, name: (&str, &str)) -> ListRow {
    let some = |text: &str| Some(text.to_owned()).filter(|text| !text.is_empty());
    ListRow {
        row_number,
        troop_number: some(troop),
        first_name: some(name.0),
        last_name: some(name.1),
        ..ListRow::default()
    }
}

pub(super) struct Case {
    kind: ListKind,
    listed_on: NaiveDate,
    pub rows: Vec<ListRow>,
    pub resolutions: BTreeMap<u32, Resolution>,
}

impl Case {
    pub(super) fn new(kind: ListKind, listed_on: &str, rows: Vec<ListRow>) -> Self {
        Self { kind, listed_on: day(listed_on), rows, resolutions: BTreeMap::new() }
    }

    pub(super) fn on(&self, current: &Current) -> Vec<RowPreview> {
        let list = ReadList {
            kind: self.kind,
            listed_on: self.listed_on,
            rows: &self.rows,
            problems: &[],
            resolutions: &self.resolutions,
            complete: false,
            outdated: false,
        };
        preview(&list, &World { policy: &shipped_policy().unwrap(), today: day("2026-01-20"), current })
    }
}

pub(super) fn role_rows() -> Vec<ListRow> {
    let mut ruth = row(2, "0101", ("Ruth", "Adeyemi"));
    ruth.membership_number = Some("4001".into());
    ruth.phone = Some("555 9999".into());
    ruth.membership_valid_until = Some(day("2026-09-30"));
    ruth.screening = Some(ScreeningOutcome::Met);
    ruth.screening_valid_until = Some(day("2028-03-01"));
    let mut noor = row(3, "102", ("Noor", "Haddad"));
    noor.email = Some("noor@example.org".into());
    noor.membership_valid_until = Some(day("2025-12-31"));
    noor.screening = Some(ScreeningOutcome::Pending);
    vec![ruth, noor, row(4, "102", ("Sam", "Lee")), row(5, "103", ("Ida", "Holm")), row(6, "999", ("Bo", "Lind"))]
}

#[test]
fn a_role_list_makes_known_fills_in_proposes_and_states_what_its_columns_state() {
    let rows = Case::new(ListKind::RoleList, "2026-01-10", role_rows()).on(&current());
    assert_eq!(
        short(&rows[0]),
        [
            "MembershipNumber 4001", // the phone number that is known stays
            "membership Met 2026-01-10 until 2026-09-30",
            "registration Met 2026-01-10",
            "screening Met 2026-01-10 until 2028-03-01",
        ]
    );
    assert_eq!(
        short(&rows[1]),
        ["new Noor Haddad", "propose 102 lead", "membership NotMet 2026-01-10", "registration Met 2026-01-10"]
    );
    assert_eq!(short(&rows[2]), ["new Sam Lee", "propose 102", "registration Met 2026-01-10"]);
    for (place, code) in [(3, "troop_not_in_season"), (4, "unknown_troop")] {
        assert_eq!((&rows[place].state, rows[place].changes.len()), (&RowState::Unusable, 0));
        assert_eq!(rows[place].problems[0].code, code);
    }
}

#[test]
fn the_same_list_twice_changes_nothing_whatever_its_day() {
    for second_day in ["2026-01-10", "2026-01-17", "2026-01-03"] {
        let first = Case::new(ListKind::RoleList, "2026-01-10", role_rows());
        let next = after(&current(), &first.on(&current()));
        let again = Case::new(ListKind::RoleList, second_day, role_rows()).on(&next);
        let changes: Vec<_> = again.iter().flat_map(short).collect();
        assert!(changes.is_empty(), "{second_day}: {changes:?}");
    }
}

#[test]
fn a_newer_list_with_three_changes_changes_three() {
    let next = after(&current(), &Case::new(ListKind::RoleList, "2026-01-10", role_rows()).on(&current()));
    let mut rows = role_rows();
    rows[0].screening = Some(ScreeningOutcome::NotMet);
    rows[1].membership_valid_until = Some(day("2026-12-31"));
    rows[2].email = Some("sam@example.org".into());
    let changes: Vec<_> = Case::new(ListKind::RoleList, "2026-01-17", rows).on(&next).iter().flat_map(short).collect();
    assert_eq!(
        changes,
        ["screening NotMet 2026-01-17", "membership Met 2026-01-17 until 2026-12-31", "Email sam@example.org"]
    );
}

#[test]
fn bank_details_are_the_troops_on_the_day_they_came_in() {
    let received =
        |number: u32, troop: &str, on: &str| ListRow { received_on: Some(day(on)), ..row(number, troop, ("", "")) };
    let rows =
        vec![received(2, "0101", "2026-01-05"), received(3, "102", "2026-02-01"), received(4, "101", "2026-01-05")];
    let case = Case::new(ListKind::BankDetails, "2026-01-10", rows);
    let found = case.on(&current());
    assert_eq!(found[0].state, RowState::Troop(troop(101)));
    assert_eq!(short(&found[0]), ["bank_details Met 2026-01-05"]);
    assert_eq!((found[1].problems[0].code.as_str(), found[1].changes.len()), ("in_the_future", 0));
    assert!(found[2].changes.is_empty(), "said above");
    assert!(case.on(&after(&current(), &found)).iter().all(|row| row.changes.is_empty()));
}

#[test]
fn certificates_go_to_people_who_are_known_and_scores_are_cut() {
    let certificate = |number: u32, name: (&str, &str), course: &str, on: &str, score: Option<u16>| ListRow {
        email: Some("ruth@example.org".into()),
        course_code: Some(course.into()),
        completed_on: Some(day(on)),
        score,
        ..row(number, "", name)
    };
    let case = Case::new(
        ListKind::Certificates,
        "2026-01-10",
        vec![
            certificate(2, ("Ruth", "Adeyemi"), "Yearly Training", "2026-01-09", Some(7999)),
            certificate(3, ("Ruth", "Adeyemi"), "YEARLY_TRAINING", "2026-01-09", Some(8100)),
            certificate(4, ("Ruth", "Adeyemi"), "knitting", "2026-01-09", None),
            certificate(5, ("Olu", "Adeyemi"), "yearly training", "2026-01-09", None),
            certificate(6, ("Ruth", "Adeyemi"), "first season", "2026-01-21", None),
        ],
    );
    let found = case.on(&current());
    assert_eq!(short(&found[0]), ["yearly_training Met 2026-01-09 79 %"]);
    assert_eq!(short(&found[1]), ["yearly_training Met 2026-01-09 81 %"]);
    assert_eq!(found[2].problems[0].code, "unknown_course");
    let RowState::Ask(candidates) = &found[3].state else { panic!("nobody of this name is known: {found:?}") };
    assert_eq!(
        candidates.iter().map(|one| one.person_id).collect::<Vec<_>>(),
        [Some(person(1))],
        "whoever has the address"
    );
    assert_eq!(found[3].changes.len(), 0);
    assert_eq!(found[4].problems[0].code, "in_the_future");
    assert!(case.on(&after(&current(), &found)).iter().all(|row| row.changes.is_empty()), "the same file twice");
}

#[test]
fn what_a_person_decided_stands() {
    let mut case = Case::new(
        ListKind::RoleList,
        "2026-01-10",
        vec![row(2, "101", ("Rut", "Adeyami")), row(3, "102", ("Ruth", "Adeyemi"))],
    );
    assert!(matches!(case.on(&current())[1].state, RowState::Ask(_)), "a name alone never matches across troops");
    case.resolutions = [(2, Resolution::Skip), (3, Resolution::Person { person_id: person(1), holds: false })].into();
    let found = case.on(&current());
    assert_eq!((&found[0].state, found[0].changes.len()), (&RowState::Skipped, 0));
    assert_eq!(short(&found[1]), ["propose 102 lead", "registration Met 2026-01-10"]);
    case.resolutions = [(3, Resolution::NewPerson)].into();
    assert_eq!(short(&case.on(&current())[1])[0], "new Ruth Adeyemi");
}

#[test]
fn a_list_states_only_what_the_policy_takes_as_its_proof() {
    let mut policy = shipped_policy().unwrap();
    policy.requirements.retain(|asked| asked.code == "yearly_training");
    let (rows, none) = (role_rows(), BTreeMap::new());
    let list = ReadList {
        kind: ListKind::RoleList,
        listed_on: day("2026-01-10"),
        rows: &rows,
        problems: &[],
        resolutions: &none,
        complete: false,
        outdated: false,
    };
    let current = current();
    let found = preview(&list, &World { policy: &policy, today: day("2026-01-20"), current: &current });
    assert!(found.iter().flat_map(|row| &row.changes).all(|change| !matches!(change, Change::RecordFact { .. })));
}
