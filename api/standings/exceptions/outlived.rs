//! What an override does not reach: a rule that one person's word does not override begins before its end, or whoever
//! coordinated the troop when it was given does so no more.

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};
use uuid::Uuid;

use super::override_gate::{GateOverride, course};
use super::{ExceptionState, rules};
use crate::auth::Tx;
use crate::common::ids::UnitId;
use crate::error::ApiError;
use crate::seasons::calendar::Calendar;
use crate::seasons::policy::{OverrideBy, Policy};
use crate::seasons::{self, ThisSeason};
use crate::standings::load;
use crate::standings::rules::AssignmentFact;
use crate::standings::sql::exceptions::OverrideRow;
use crate::standings::sql::facts;

/// What overrides are looked at with.
pub(super) struct Look {
    calendar: Calendar,
    policy: Policy,
    assignments: Vec<(Uuid, AssignmentFact)>,
    at: DateTime<Utc>,
}

impl Look {
    /// For the overrides of these rows, at an instant.
    pub async fn at(
        tx: &mut Tx,
        unit: UnitId,
        season: &ThisSeason,
        rows: &[OverrideRow],
        at: DateTime<Utc>,
    ) -> Result<Self, ApiError> {
        let troops: BTreeSet<Uuid> = rows.iter().map(|row| row.troop_id).collect();
        let troops: Vec<Uuid> = troops.into_iter().collect();
        let assignments = facts::assignments(tx, unit, season.season_id, &troops).await?;
        Ok(Self {
            calendar: seasons::calendar_of(tx, unit, season).await?,
            policy: seasons::policy_of(tx, unit, season.season_id).await?,
            assignments: assignments.iter().map(|row| (row.troop_id, load::assignment_fact(row))).collect(),
            at,
        })
    }

    /// An override as it is shown.
    pub fn show(&self, row: OverrideRow) -> Result<GateOverride, ApiError> {
        let state = rules::state(course(&row), &self.calendar, self.at);
        let lives = matches!(state, ExceptionState::Waiting | ExceptionState::InForce);
        let ends = not_enough_from(&row, &self.policy, &self.calendar).filter(|_| lives);
        let changed = state == ExceptionState::InForce && self.coordinator_changed(&row);
        let mut caution = Vec::new();
        if let Some((from, by)) = ends {
            caution.push(not_enough(from, by, &self.calendar));
        }
        if changed {
            caution.push(CHANGED.to_owned());
        }
        let caution = (!caution.is_empty()).then(|| caution.join(" "));
        GateOverride::new(row, state, (ends.map(|(from, _)| from), changed, caution))
    }

    /// Whether somebody else coordinates the troop than when the override came into force.
    pub fn coordinator_changed(&self, row: &OverrideRow) -> bool {
        let own: Vec<_> =
            self.assignments.iter().filter(|(troop, _)| *troop == row.troop_id).map(|(_, one)| one).collect();
        row.granted_at.is_some_and(|given| changed_hands(&own, given, self.at))
    }
}

const CHANGED: &str = "It was given while somebody else coordinated the troop. Look whether it still stands, and end it (end_override) if not; if it does, end it and give it anew (override_gate), so that it is meant for who coordinates now.";

/// Whether those who answered for a troop at one instant (its lead, or everybody where none led) do so no more at a later
/// one. A troop that nobody coordinated has changed hands for nobody.
fn changed_hands(assignments: &[&AssignmentFact], then: DateTime<Utc>, now: DateTime<Utc>) -> bool {
    let there = |one: &AssignmentFact, at: DateTime<Utc>| {
        one.from_at <= at
            && one.confirmed_at.is_some_and(|confirmed| confirmed <= at)
            && [one.ended_at, one.until_at].into_iter().flatten().all(|end| at < end)
    };
    let before: Vec<_> = assignments.iter().filter(|one| there(one, then)).collect();
    let led = before.iter().any(|one| one.led_at(then));
    let answered: Vec<_> = before.iter().filter(|one| !led || one.led_at(then)).map(|one| one.person_id).collect();
    let mut present = assignments.iter().filter(|one| there(one, now) && (!led || one.led_at(now)));
    !answered.is_empty() && !present.any(|one| answered.contains(&one.person_id))
}

/// From when on an override by one person does not reach any more, before its last day, and who may override then.
fn not_enough_from(row: &OverrideRow, policy: &Policy, calendar: &Calendar) -> Option<(DateTime<Utc>, OverrideBy)> {
    let ends_at = calendar.end_of_day(row.until_on);
    let reached = |by: OverrideBy| by == OverrideBy::Manager || (row.needs_two && by == OverrideBy::TwoPeople);
    let rules = policy.gates.iter().filter(|gate| gate.gate.name() == row.gate).flat_map(|gate| &gate.rules);
    let beyond = rules.filter(|rule| !reached(rule.override_by)).filter_map(|rule| {
        let from = calendar.instant(rule.from.as_ref()?)?;
        let over = rule.until.as_ref().and_then(|code| calendar.instant(code)).is_some_and(|until| until <= from);
        (row.asked_at < from && from < ends_at && !over).then_some((from, rule.override_by))
    });
    beyond.min_by_key(|(from, _)| *from)
}

fn not_enough(from: DateTime<Utc>, by: OverrideBy, calendar: &Calendar) -> String {
    let day = calendar.date(from);
    match by {
        OverrideBy::Never => format!(
            "It does not reach to its end: from {day} on a rule of the policy holds that nobody may override, so what that rule asks for must be met by then."
        ),
        OverrideBy::Manager | OverrideBy::TwoPeople => format!(
            "It does not reach to its end: from {day} on a rule of the policy holds that takes two people. If the troop still needs leave then, ask for it anew (override_gate) once that day has come, and let a second person agree (approve_override)."
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::common::ids::{AssignmentId, PersonId};

    fn at(text: &str) -> DateTime<Utc> {
        text.parse().unwrap()
    }

    fn place(person: PersonId, lead: bool, from: &str, ended: Option<&str>) -> AssignmentFact {
        AssignmentFact {
            assignment_id: AssignmentId::new(),
            person_id: person,
            lead,
            lead_changed_at: vec![],
            from_at: at(from),
            until_at: None,
            proposed_at: None,
            confirmed_at: Some(at(from)),
            declined_at: None,
            ended_at: ended.map(at),
        }
    }

    /// By hand: the leave is given on the 5th, and looked at on the 20th; somebody goes on the 10th.
    #[test]
    fn a_troop_has_changed_hands_when_nobody_is_left_who_answered_for_it() {
        let (ada, bo) = (PersonId::new(), PersonId::new());
        let (first, fifth, tenth, twentieth) =
            ("2027-01-01T00:00:00Z", at("2027-01-05T00:00:00Z"), "2027-01-10T00:00:00Z", at("2027-01-20T00:00:00Z"));
        let taken_over = AssignmentFact { lead_changed_at: vec![at(tenth)], ..place(bo, true, first, None) };
        let given_up = AssignmentFact { lead_changed_at: vec![at(tenth)], ..place(ada, false, first, None) };
        for (what, assignments, changed) in [
            ("the same lead", vec![place(ada, true, first, None)], false),
            ("the lead went", vec![place(ada, true, first, Some(tenth))], true),
            ("another lead came", vec![place(ada, true, first, Some(tenth)), place(bo, true, tenth, None)], true),
            (
                "the lead was named anew",
                vec![place(ada, true, first, Some(tenth)), place(ada, true, tenth, None)],
                false,
            ),
            ("a co-coordinator went", vec![place(ada, true, first, None), place(bo, false, first, Some(tenth))], false),
            ("the lead went over", vec![given_up, taken_over], true),
            (
                "of two without a lead one went",
                vec![place(ada, false, first, Some(tenth)), place(bo, false, first, None)],
                false,
            ),
            ("nobody was there", vec![place(ada, true, tenth, None)], false),
        ] {
            let assignments: Vec<_> = assignments.iter().collect();
            assert_eq!(changed_hands(&assignments, fifth, twentieth), changed, "{what}");
        }
    }
}
