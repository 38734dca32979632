//! Whether a list plainly speaks of another unit: hardly any of its people or troops is known here.

use std::collections::BTreeSet;

use super::rows::{TroopFound, Work};
use super::{RowPreview, RowState};
use crate::common::ids::PersonId;
use crate::intake::matching::{MatchOutcome, RowMatch};

/// Below this many rows, or this many people or troops in the season, nothing can be said. Our choice, no source.
const A_HANDFUL: usize = 3;
/// At most one row in so many is known where the list is another unit's. Our choice, no source.
const ONE_IN: usize = 10;

impl Work<'_> {
    /// The rows that name nobody and no troop known here, where these are nearly all; else none. Rows that a person left out
    /// are not counted, and a unit whose season is still empty knows nobody anyway.
    pub(super) fn unfamiliar(&self, rows: &[RowPreview], matches: &[RowMatch], troops: &[TroopFound]) -> u32 {
        let about_troops = self.list.kind.is_about_troops();
        let roster = if about_troops {
            self.world.current.troops.iter().filter(|troop| troop.place.is_some()).count()
        } else {
            let placed: BTreeSet<PersonId> = self.world.current.assigned.iter().map(|(_, person)| *person).collect();
            placed.len()
        };
        // a row of a role list that names no person, only a troop, says nothing of whose list it is
        let names = |row: &RowPreview| about_troops || !matches!(row.state, RowState::Troop(_));
        let counted = rows.iter().enumerate().filter(|(_, row)| row.state != RowState::Skipped && names(row));
        let known = |(place, row): &(usize, &RowPreview)| {
            if about_troops {
                return troops.get(*place).is_some_and(|troop| troop.id().is_some());
            }
            let is_matched = matches.get(*place).is_some_and(|found| match &found.outcome {
                MatchOutcome::Taken { .. } => true,
                MatchOutcome::Ask { candidates } => candidates.iter().any(|one| one.person_id.is_some()),
                MatchOutcome::New { .. } | MatchOutcome::Problem => false,
            });
            is_matched || matches!(row.state, RowState::Person(_))
        };
        let (all, known) = (counted.clone().count(), counted.filter(known).count());
        if all < A_HANDFUL || roster < A_HANDFUL || known * ONE_IN > all {
            return 0;
        }
        u32::try_from(all - known).unwrap_or(u32::MAX)
    }
}

#[cfg(test)]
mod tests {
    use super::super::test_support::{a_troop, person, troop};
    use super::super::*;
    use crate::seasons::policy::shipped_policy;

    /// Family names, none near another.
    const NAMES: [&str; 18] = [
        "Okafor", "Lind", "Haddad", "Mwangi", "Sato", "Herrera", "Zak", "Boateng", "Quist", "Raman", "Weiss", "Silva",
        "Voss", "Calloway", "Dyk", "Torre", "Nakamura", "Ferreira",
    ];

    /// Twelve people have a place in troop 101.
    fn current() -> Current {
        let known = (1..=12).map(|number: u128| Known {
            person_id: person(number),
            first_name: "Ann".into(),
            last_name: format!("Of{number}"),
            emails: Vec::new(),
            membership_number: Some(format!("{number}")),
            troops: vec![troop(101)],
        });
        Current {
            people: known.map(|known| CurrentPerson { known, phone: None }).collect(),
            troops: vec![a_troop(101, true)],
            assigned: (1..=12).map(|number| (troop(101), person(number))).collect(),
            ..Current::default()
        }
    }

    /// A role list of troop 101: so many strangers, then so many who are known, then so many rows without a name.
    fn unfamiliar(strangers: u32, known: u32, bare: u32, current: &Current) -> u32 {
        let row = |row_number: u32, number: Option<u32>, name: Option<&str>| ListRow {
            row_number,
            troop_number: Some("101".into()),
            first_name: name.map(|_| "Ida".into()),
            last_name: name.map(str::to_owned),
            membership_number: number.map(|number| number.to_string()),
            ..ListRow::default()
        };
        let mut rows: Vec<ListRow> =
            (0..strangers).zip(NAMES).map(|(at, name)| row(2 + at, Some(900 + at), Some(name))).collect();
        rows.extend((0..known).map(|at| row(500 + at, Some(1 + at), None)));
        rows.extend((0..bare).map(|at| row(700 + at, None, None)));
        let list = ReadList {
            kind: ListKind::RoleList,
            listed_on: "2026-01-10".parse().unwrap(),
            rows: &rows,
            problems: &[],
            resolutions: &BTreeMap::new(),
            complete: false,
            outdated: false,
        };
        let today = "2026-01-20".parse().unwrap();
        look(&list, &World { policy: &shipped_policy().unwrap(), today, current }).unfamiliar_rows
    }

    #[test]
    fn a_list_is_strange_where_at_most_one_row_in_ten_is_known() {
        for (strangers, known, bare, want) in [
            (10, 0, 0, 10),
            (9, 1, 0, 9),
            (8, 1, 0, 0),
            (18, 2, 0, 18),
            (2, 0, 0, 0), // too few to say anything
            (2, 0, 9, 0), // rows that name nobody say nothing
            (3, 0, 9, 3),
        ] {
            assert_eq!(unfamiliar(strangers, known, bare, &current()), want, "{strangers} {known} {bare}");
        }
        let empty = Current { assigned: BTreeSet::new(), ..current() };
        assert_eq!(unfamiliar(10, 0, 0, &empty), 0, "whoever comes first finds nobody");
    }
}
