//! What a preview is made from, and how it is made: without a transaction, on a thread of its own.

use std::collections::{BTreeMap, HashMap};

use chrono::NaiveDate;

use super::changes::{Current, Preview, ReadList, Resolution, World, look};
use super::columns::fields::ListRow;
use super::columns::plan::ColumnPlan;
use super::kinds::ListKind;
use super::parse::table::CellProblem;
use super::remembered::{Identity, Remembered, RememberedDecision, taken_over, to_keep};
use super::words::shown;
use super::work::Made;
use crate::seasons::policy::Policy;

/// Everything that a preview is made from.
pub(super) struct Material {
    pub kind: ListKind,
    pub listed_on: NaiveDate,
    pub outdated: bool,
    pub complete: bool,
    pub season_begins_on: NaiveDate,
    pub today: NaiveDate,
    pub columns: ColumnPlan,
    pub rows: Vec<ListRow>,
    pub problems: Vec<CellProblem>,
    pub policy: Policy,
    pub current: Current,
    pub remembered: HashMap<Identity, Remembered>,
    pub resolutions: BTreeMap<u32, Resolution>,
}

impl Material {
    fn look_with(&self, resolutions: &BTreeMap<u32, Resolution>) -> Preview {
        let Self { kind, listed_on, outdated, complete, today, .. } = *self;
        let (rows, problems) = (self.rows.as_slice(), self.problems.as_slice());
        let world = World { policy: &self.policy, today, current: &self.current };
        look(&ReadList { kind, listed_on, rows, problems, resolutions, complete, outdated }, &world)
    }

    /// The list held against what is known.
    pub(super) fn compared(self) -> Made {
        let (mut taken, mut to_remember) = (BTreeMap::new(), BTreeMap::new());
        if !self.remembered.is_empty() || !self.resolutions.is_empty() {
            let undecided = self.look_with(&BTreeMap::new());
            let seen = (self.kind, self.rows.as_slice(), undecided.rows.as_slice());
            taken = taken_over(seen, &self.resolutions, &self.remembered, &self.current);
            to_remember = to_keep(seen, &self.resolutions);
        }
        let mut hold = self.resolutions.clone();
        hold.retain(|_, resolution| *resolution != Resolution::Anew);
        hold.extend(taken.iter().map(|(row, remembered)| (*row, remembered.resolution)));
        let preview = self.look_with(&hold);
        let days = (self.season_begins_on, self.today);
        let (mut shown, absences) = shown(&self.rows, &preview, &self.policy, days, &self.current);
        for row in &mut shown {
            if let Some(remembered) = taken.get(&row.row_number) {
                let RememberedDecision { decided_on, listed_on, .. } = remembered.from;
                if !row.needs_a_person {
                    row.reason = Some(format!("as decided on {decided_on} for the list of {listed_on}"));
                }
                row.remembered = Some(remembered.from.clone());
            }
        }
        let Self { columns, resolutions, policy, .. } = self;
        Made { columns, preview, shown, absences, resolutions, to_remember, policy }
    }
}
