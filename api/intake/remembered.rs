//! What people decided about a row of an applied list holds for the same row of the next list of its kind.
//!
//! The same row: its cells that say whom or what it means are the same, and without the decision it would wait for the same
//! thing. So a row that was left out because its troop was unknown is looked at again once the troop is known, and a row that
//! could have been taken and was left out is left out of that list alone. A decision for
//! somebody who is gone holds no longer; it follows two rows that became one person.

use std::collections::{BTreeMap, HashMap, HashSet};

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};
use utoipa::ToSchema;

use super::changes::{Current, Resolution, RowPreview};
use super::columns::fields::ListRow;
use super::kinds::ListKind;
use super::waiting_reasons::waits_for;
use crate::common::fold;
use crate::common::ids::{IntakeId, PersonId};

/// Where the decision about a row comes from, if it was taken over from an earlier list.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct RememberedDecision {
    /// The list that was decided about.
    pub intake_id: IntakeId,
    /// The day for which that list speaks.
    pub listed_on: NaiveDate,
    /// The day on which it was applied.
    pub decided_on: NaiveDate,
}

/// The digest of the cells that say whom or what a row means.
pub(super) type Identity = Vec<u8>;

/// A decision that may hold again.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Remembered {
    pub resolution: Resolution,
    /// What the row was, or waited for, before it was decided.
    pub before: String,
    pub from: RememberedDecision,
}

/// What a row says of whom or what it means; none where it says nothing of that.
pub(super) fn identity(kind: ListKind, row: &ListRow) -> Option<Identity> {
    let number = |text: &Option<String>| text.as_deref().map(fold::number).unwrap_or_default();
    let words = |text: &Option<String>| text.as_deref().map(fold::key).unwrap_or_default();
    let person = [
        number(&row.troop_number),
        words(&row.first_name),
        words(&row.last_name),
        row.email.as_deref().and_then(fold::email).unwrap_or_default(),
        number(&row.membership_number),
    ];
    let cells: Vec<String> = match kind {
        ListKind::RoleList | ListKind::Certificates => person.into(),
        ListKind::BankDetails => vec![number(&row.troop_number)],
        ListKind::TroopList => vec![number(&row.troop_number), words(&row.troop_name)],
    };
    if cells.iter().all(String::is_empty) {
        return None;
    }
    let mut digest = Sha256::new();
    digest.update(kind.name());
    for cell in cells {
        digest.update([0x1f]); // no cell holds this sign: control signs are dropped on reading
        digest.update(cell);
    }
    Some(digest.finalize().to_vec())
}

/// What a row is, or waits for, without any decision.
pub(super) fn before(row: &RowPreview) -> String {
    waits_for(row).unwrap_or_else(|| {
        let reason = row.reason.as_ref().map(|reason| format!("{:?}", reason.code)).unwrap_or_default();
        format!("taken {reason}").trim_end().to_owned()
    })
}

/// The decisions that hold again: for rows about which nobody has said anything, and as long as they still can.
pub(super) fn taken_over(
    (kind, rows, undecided): (ListKind, &[ListRow], &[RowPreview]),
    explicit: &BTreeMap<u32, Resolution>,
    remembered: &HashMap<Identity, Remembered>,
    current: &Current,
) -> BTreeMap<u32, Remembered> {
    let known: HashSet<PersonId> = current.people.iter().map(|person| person.known.person_id).collect();
    let mut taken = BTreeMap::new();
    for (row, undecided) in rows.iter().zip(undecided).filter(|(row, _)| !explicit.contains_key(&row.row_number)) {
        let found = identity(kind, row).and_then(|identity| remembered.get(&identity));
        let Some(found) = found.filter(|found| found.before == before(undecided)) else { continue };
        let still = match found.resolution {
            Resolution::Person { person_id, .. } => known.contains(&person_id),
            _ => true,
        };
        if still {
            taken.insert(row.row_number, found.clone());
        }
    }
    taken
}

/// What is kept of an applied list: each decision by the identity of its row. Rows of one identity that were decided
/// differently are not remembered, and a decision that was taken anew ends what was remembered. Nor is it remembered that a
/// row was left out which did not wait: something in it was wrong that day, and the next list may say it right. Which of rows
/// that contradict each other is right holds for one list alone.
pub(super) fn to_keep(
    (kind, rows, undecided): (ListKind, &[ListRow], &[RowPreview]),
    explicit: &BTreeMap<u32, Resolution>,
) -> BTreeMap<Identity, Option<(u32, Resolution, String)>> {
    let mut kept: BTreeMap<Identity, Option<(u32, Resolution, String)>> = BTreeMap::new();
    for (row, undecided) in rows.iter().zip(undecided) {
        let Some(resolution) = explicit.get(&row.row_number).copied() else { continue };
        let Some(identity) = identity(kind, row) else { continue };
        let waits = undecided.state.needs_a_person() && undecided.contradictions.is_empty();
        let (holds, resolution) = match resolution {
            Resolution::Anew | Resolution::Holds => (false, resolution),
            Resolution::Skip => (waits, resolution),
            Resolution::Person { person_id, holds } => {
                (waits || !holds, Resolution::Person { person_id, holds: false })
            }
            Resolution::SameAsRow { row_number, holds } => {
                (waits || !holds, Resolution::SameAsRow { row_number, holds: false })
            }
            Resolution::NewPerson | Resolution::AsListed => (true, resolution),
        };
        let new = holds.then(|| (row.row_number, resolution, before(undecided)));
        let agrees = |old: &Option<(u32, Resolution, String)>| match (old, &new) {
            (Some((_, old, before)), Some((_, new, now))) => old == new && before == now,
            (old, new) => old.is_none() && new.is_none(),
        };
        kept.entry(identity)
            .and_modify(|old| {
                if !agrees(old) {
                    *old = None;
                }
            })
            .or_insert_with(|| new.clone());
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(troop: &str, first: &str, last: &str, email: &str) -> ListRow {
        let some = |text: &str| Some(text.to_owned()).filter(|text| !text.is_empty());
        ListRow {
            troop_number: some(troop),
            first_name: some(first),
            last_name: some(last),
            email: some(email),
            ..ListRow::default()
        }
    }

    #[test]
    fn a_row_says_the_same_however_it_is_written() {
        let one = identity(ListKind::RoleList, &row("0101", "José", "Núñez", "JOSE@example.org"));
        assert_eq!(one, identity(ListKind::RoleList, &row("101", "JOSE", "Nunez", "jose@example.org")));
        for other in [
            row("102", "José", "Núñez", "jose@example.org"),
            row("101", "Jose", "Nuñez-Lee", "jose@example.org"),
            row("101", "José", "Núñez", ""),
            row("101", "Jos", "éNúñez", "jose@example.org"),
        ] {
            assert_ne!(one, identity(ListKind::RoleList, &other), "{other:?}");
        }
        assert_ne!(one, identity(ListKind::Certificates, &row("101", "José", "Núñez", "jose@example.org")));
        assert_eq!(identity(ListKind::RoleList, &row("", "", "", "")), None);
        // what else stands in the row is no part of whom it means
        let more = ListRow { phone: Some("555".into()), ..row("101", "José", "Núñez", "jose@example.org") };
        assert_eq!(one, identity(ListKind::RoleList, &more));
    }
}
