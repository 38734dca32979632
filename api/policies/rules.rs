//! What a changed policy would do to the troops: pure.

use std::collections::BTreeSet;

use serde::Serialize;
use sha2::{Digest as _, Sha256};
use utoipa::ToSchema;

use crate::common::ids::{PersonId, SeasonId, TroopId};
use crate::common::short_text::CodeInList;
use crate::common::text;
use crate::seasons::policy::{GateName, Policy};
use crate::standings::Compared;
use crate::standings::rules::{Standing, TroopState};

/// A troop whose answer another policy would change: its state, a gate, or what is open.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct TroopUnderPolicy {
    /// The troop.
    pub troop_id: TroopId,
    /// Its number, as people write it.
    #[schema(max_length = 20, example = "0412")]
    pub number: String,
    /// Its name.
    #[schema(max_length = 120)]
    pub name: String,
    /// Its state under the policy in force.
    pub state_now: TroopState,
    /// Its state under the policy that was sent.
    pub state_then: TroopState,
    /// The gates that would open or close for it.
    #[schema(max_items = 3)]
    pub gates: Vec<GateUnderPolicy>,
    /// The codes of the requirements that would be open and are not now, the troop's own or a counted coordinator's.
    #[schema(max_items = 40, value_type = Vec<CodeInList>)]
    pub opened_requirements: Vec<String>,
    /// The codes of the requirements that are open now and would not be, or would not be asked for.
    #[schema(max_items = 40, value_type = Vec<CodeInList>)]
    pub closed_requirements: Vec<String>,
}

/// A gate that another policy would open or close.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct GateUnderPolicy {
    /// The gate.
    pub gate: GateName,
    /// Whether it is open under the policy in force.
    pub open_now: bool,
    /// Whether it would be open under the policy that was sent.
    pub open_then: bool,
}

impl TroopUnderPolicy {
    /// Whether the troop stands as appointed and would not any more.
    pub(super) fn falls(&self) -> bool {
        self.state_now == TroopState::Appointed && self.state_then != TroopState::Appointed
    }
}

/// The troops that would change, in the order in which they were compared; one that takes no part has nothing to lose.
pub(super) fn changed(compared: &[Compared]) -> Vec<TroopUnderPolicy> {
    let out = |one: &&Compared| [one.now.state, one.then.state] == [TroopState::SittingOut; 2];
    let each = compared.iter().filter(|one| !out(one)).map(|one| {
        let pairs = one.now.gates.iter().zip(&one.then.gates);
        let gates = pairs.filter(|(now, then)| now.open != then.open).map(|(now, then)| GateUnderPolicy {
            gate: now.gate,
            open_now: now.open,
            open_then: then.open,
        });
        let (now, then) = (open(&one.now), open(&one.then));
        TroopUnderPolicy {
            troop_id: one.troop_id,
            number: one.number.clone(),
            name: one.name.clone(),
            state_now: one.now.state,
            state_then: one.then.state,
            gates: gates.collect(),
            opened_requirements: codes(then.difference(&now)),
            closed_requirements: codes(now.difference(&then)),
        }
    });
    let differs = |one: &TroopUnderPolicy| {
        let lists = [one.gates.is_empty(), one.opened_requirements.is_empty(), one.closed_requirements.is_empty()];
        one.state_now != one.state_then || lists.contains(&false)
    };
    each.filter(differs).collect()
}

/// A requirement of somebody; of the troop, without a person.
type Whose<'a> = (&'a str, Option<PersonId>);

/// What is open in an answer: of the troop, and of the coordinators whom the policy counts.
fn open(standing: &Standing) -> BTreeSet<Whose<'_>> {
    let people = standing.coordinators.iter().filter(|one| one.counted);
    let own = people.flat_map(|one| one.requirements.iter().map(|row| (row, Some(one.person_id))));
    let rows = own.chain(standing.requirements.iter().map(|row| (row, None)));
    rows.filter(|(row, _)| !row.closed).map(|(row, person)| (&*row.requirement, person)).collect()
}

/// The codes of these, each once.
fn codes<'a>(of: impl Iterator<Item = &'a Whose<'a>>) -> Vec<String> {
    let codes: BTreeSet<&str> = of.map(|(code, _)| *code).collect();
    codes.into_iter().map(str::to_owned).collect()
}

/// How many troops stand as appointed under the policy in force.
pub(super) fn appointed(compared: &[Compared]) -> usize {
    compared.iter().filter(|one| one.now.state == TroopState::Appointed).count()
}

/// Whether more than the share of the appointed troops would fall: exactly the share does not brake.
pub(super) fn brakes(falling: usize, appointed: usize, share_percent: u8) -> bool {
    falling.saturating_mul(100) > appointed.saturating_mul(usize::from(share_percent))
}

/// What ties a confirmation to exactly this change of exactly these troops under exactly this version.
pub(super) fn stamp(
    season: SeasonId,
    version: i64,
    new: &Policy,
    changed: &[TroopUnderPolicy],
) -> Result<String, serde_json::Error> {
    Ok(text::hex(&Sha256::digest(serde_json::to_vec(&(season, version, new, changed))?)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::seasons::policy::{RequirementKind, WaivableBy, shipped_policy};
    use crate::standings::rules::{GateStanding, RequirementOutcome, RequirementStanding};

    fn standing(state: TroopState, open: [bool; 3]) -> Standing {
        let gate = |(gate, open): (GateName, bool)| GateStanding {
            gate,
            open,
            reasons: vec![],
            ahead: vec![],
            let_through: vec![],
            overridden_by: None,
            changes_at: None,
        };
        Standing {
            state,
            reasons: vec![],
            next_step: None,
            requirements: vec![],
            coordinators: vec![],
            gates: GateName::ALL.into_iter().zip(open).map(gate).collect(),
            begins: vec![],
            lapses: vec![],
            changes_at: None,
        }
    }

    fn compared(now: (TroopState, [bool; 3]), then: (TroopState, [bool; 3])) -> Compared {
        Compared {
            troop_id: TroopId::new(),
            number: "0412".to_owned(),
            name: String::new(),
            now: standing(now.0, now.1),
            then: standing(then.0, then.1),
        }
    }

    fn row(requirement: &str, closed: bool) -> RequirementStanding {
        RequirementStanding {
            requirement: requirement.to_owned(),
            title: String::new(),
            kind: RequirementKind::Plain,
            outcome: if closed { RequirementOutcome::Met } else { RequirementOutcome::Missing },
            closed,
            source: None,
            observed_on: None,
            valid_until_on: None,
            score_percent: None,
            grace_until_at: None,
            waiver_id: None,
            can_be_done_now: false,
            who_can_close: vec![],
            how: None,
            waivable_by: WaivableBy::Never,
        }
    }

    #[test]
    fn what_opens_and_what_closes_is_told_though_state_and_gates_stay() {
        let mut one = compared((TroopState::Gathering, [true; 3]), (TroopState::Gathering, [true; 3]));
        one.now.requirements = vec![row("form", false), row("gone", false), row("kept", false), row("met", true)];
        one.then.requirements = vec![row("form", true), row("kept", false), row("met", true), row("quiz", false)];
        let told = changed(std::slice::from_ref(&one));
        assert_eq!(told.len(), 1);
        assert_eq!(told[0].opened_requirements, ["quiz"]);
        assert_eq!(told[0].closed_requirements, ["form", "gone"]);
        let mut out = one.clone();
        (out.now.state, out.then.state) = (TroopState::SittingOut, TroopState::SittingOut);
        assert_eq!(changed(&[out]), []);
        one.then.requirements = one.now.requirements.clone();
        assert_eq!(changed(&[one]), []);
    }

    #[test]
    fn only_troops_whose_state_or_gates_change_are_told() {
        use TroopState::{Appointed, Gathering, Lapsed, Ready};
        let all = [
            compared((Appointed, [true; 3]), (Appointed, [true; 3])),
            compared((Appointed, [true; 3]), (Lapsed, [false, true, false])),
            compared((Gathering, [true, false, false]), (Gathering, [true, true, false])),
            compared((Gathering, [false; 3]), (Ready, [false; 3])),
        ];
        let told = changed(&all);
        let states: Vec<_> = told.iter().map(|one| (one.state_now, one.state_then, one.falls())).collect();
        assert_eq!(states, [(Appointed, Lapsed, true), (Gathering, Gathering, false), (Gathering, Ready, false)]);
        let gates: Vec<_> =
            told.iter().map(|one| one.gates.iter().map(|one| (one.gate, one.open_then)).collect::<Vec<_>>()).collect();
        assert_eq!(
            gates,
            [vec![(GateName::Order, false), (GateName::Earn, false)], vec![(GateName::Collect, true)], vec![]]
        );
        assert_eq!(appointed(&all), 2);
    }

    /// Typed by hand: 20 % of 10 troops are 2.
    #[test]
    fn more_than_the_share_brakes_and_the_share_itself_does_not() {
        for (falling, appointed, percent, expected) in [
            (0, 10, 20, false),
            (2, 10, 20, false),
            (3, 10, 20, true),
            (1, 4, 20, true),
            (0, 0, 20, false),
            (5, 5, 100, false),
        ] {
            assert_eq!(brakes(falling, appointed, percent), expected, "{falling} of {appointed}, {percent} %");
        }
    }

    #[test]
    fn a_stamp_fits_one_change_only() {
        let policy = shipped_policy().unwrap();
        let season = SeasonId::new();
        let told = changed(&[compared((TroopState::Appointed, [true; 3]), (TroopState::Lapsed, [true; 3]))]);
        let first = stamp(season, 1, &policy, &told).unwrap();
        assert_eq!(first.len(), 64);
        assert_eq!(first, stamp(season, 1, &policy, &told).unwrap());
        let other = Policy { grace_days: 1, ..policy.clone() };
        for another in [
            stamp(season, 2, &policy, &told),
            stamp(season, 1, &other, &told),
            stamp(season, 1, &policy, &[]),
            stamp(SeasonId::new(), 1, &policy, &told),
        ] {
            assert_ne!(first, another.unwrap());
        }
    }
}
