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
        let counted = rows.iter().enumerate().filter(|(_, row)| row.state != RowState::Skipped);
        let known = |(place, row): &(usize, &RowPreview)| {
            if about_troops {
                return troops.get(*place).is_some_and(|troop| troop.id().is_some());
            }
            let matched = matches.get(*place).is_some_and(|found| match &found.outcome {
                MatchOutcome::Taken { .. } => true,
                MatchOutcome::Ask { candidates } => !candidates.is_empty(),
                MatchOutcome::New { .. } | MatchOutcome::Problem => false,
            });
            matched || matches!(row.state, RowState::Person(_))
        };
        let (all, known) = (counted.clone().count(), counted.filter(known).count());
        if all < A_HANDFUL || roster < A_HANDFUL || known * ONE_IN > all {
            return 0;
        }
        u32::try_from(all - known).unwrap_or(u32::MAX)
    }
}
