//! The gates: which rules are in force, which of them hold, and what will hold a gate shut from a later milestone on.

use chrono::{DateTime, Utc};

use super::{
    Closer, CoordinatorStanding, CoordinatorState, Deadline, GateReason, GateStanding, OverrideFact, OverrideInForce,
    ReasonCode, RequirementStanding, TroopState, World, wording,
};
use crate::common::ids::PersonId;
use crate::seasons::policy::{CountedCoordinators, GateName, GateRule, OverrideBy, Requirement, Whose};

/// Every gate at this instant; when it will change is left for the outlook.
pub(super) fn gates(
    world: &World<'_>,
    state: TroopState,
    troop: &[RequirementStanding],
    coordinators: &[CoordinatorStanding],
) -> Vec<GateStanding> {
    let look = Look { world, state, troop, coordinators };
    GateName::ALL
        .into_iter()
        .map(|gate| {
            let rules = || world.policy.gates.iter().filter(|one| one.gate == gate).flat_map(|one| &one.rules);
            let leave = leave(world, gate);
            let mut let_through = Vec::new();
            let mut reasons = Vec::new();
            for rule in rules().filter(|rule| in_force(world, rule)) {
                let passed = leave.as_ref().is_some_and(|leave| reaches(leave, rule));
                if passed { &mut let_through } else { &mut reasons }.extend(look.unmet(rule));
            }
            let mut ahead = Vec::new();
            for rule in rules().filter(|rule| comes_later(world, rule)) {
                // It lets the troop through from that milestone on if it still lasts then.
                let from = rule.from.as_ref().and_then(|code| world.calendar.instant(code));
                let lasts = |leave: &OverrideInForce| from.is_some_and(|from| from < leave.ends_at);
                let passed = leave.as_ref().is_some_and(|leave| reaches(leave, rule) && lasts(leave));
                if passed { &mut let_through } else { &mut ahead }.extend(look.unmet(rule));
            }
            let open = reasons.is_empty();
            GateStanding { gate, open, reasons, ahead, let_through, overridden_by: leave, changes_at: None }
        })
        .collect()
}

/// The override of a gate that is in force: of several the one by two people, then the one that lasts longest.
fn leave(world: &World<'_>, gate: GateName) -> Option<OverrideInForce> {
    let World { calendar, facts, at, .. } = *world;
    let in_force = facts.overrides.iter().filter(|one| {
        one.gate == gate
            && one.granted_at <= at
            && one.revoked_at.is_none_or(|revoked| at < revoked)
            && at < calendar.end_of_day(one.until_on)
    });
    let best = in_force.max_by_key(|one| (one.two_people, one.until_on, one.override_id))?;
    let OverrideFact { override_id, two_people, until_on, .. } = *best;
    Some(OverrideInForce { override_id, two_people, until_on, ends_at: calendar.end_of_day(until_on) })
}

/// Whether an override lets a troop through a rule: as the policy says who may.
fn reaches(leave: &OverrideInForce, rule: &GateRule) -> bool {
    match rule.override_by {
        OverrideBy::Never => false,
        OverrideBy::Manager => true,
        OverrideBy::TwoPeople => leave.two_people,
    }
}

/// In force from its first milestone (never while that has no date) until its last (for ever while that has none).
fn in_force(world: &World<'_>, rule: &GateRule) -> bool {
    let begun = match &rule.from {
        None => true,
        Some(code) => world.calendar.instant(code).is_some_and(|from| from <= world.at),
    };
    begun && end(world, rule).is_none_or(|until| world.at < until)
}

/// Whether a rule will come into force at a dated milestone.
fn comes_later(world: &World<'_>, rule: &GateRule) -> bool {
    let from = rule.from.as_ref().and_then(|code| world.calendar.instant(code));
    from.is_some_and(|from| world.at < from && end(world, rule).is_none_or(|until| from < until))
}

fn end(world: &World<'_>, rule: &GateRule) -> Option<DateTime<Utc>> {
    rule.until.as_ref().and_then(|code| world.calendar.instant(code))
}

/// A milestone by its code, where it is dated.
pub(super) fn deadline(world: &World<'_>, code: Option<&String>) -> Option<Deadline> {
    let milestone = world.calendar.milestones.iter().find(|milestone| Some(&milestone.code) == code)?;
    let at = world.calendar.instant(&milestone.code)?;
    Some(Deadline { milestone: milestone.code.clone(), title: milestone.title.clone(), at })
}

/// What the rules of a gate are held against.
struct Look<'a> {
    world: &'a World<'a>,
    state: TroopState,
    troop: &'a [RequirementStanding],
    coordinators: &'a [CoordinatorStanding],
}

impl Look<'_> {
    /// What of a rule does not hold; nothing when all of it does.
    fn unmet(&self, rule: &GateRule) -> Vec<GateReason> {
        let policy = self.world.policy;
        let mut unmet = Vec::new();
        for asked in policy.requirements.iter().filter(|asked| rule.needs_requirements.contains(&asked.code)) {
            if !asked.applies(self.world.facts.first_season) {
                continue;
            }
            match asked.whose {
                Whose::Troop => unmet.extend(self.open_row(rule, asked, self.troop, None)),
                Whose::Coordinator => unmet.extend(self.unmet_by_coordinators(rule, asked)),
                Whose::UnitRole => {}
            }
        }
        if rule.needs_appointment && self.state != TroopState::Appointed {
            let code = ReasonCode::NotAppointed;
            let reason = self.reason(rule, code, None, None, wording::gate_not_appointed(self.state));
            unmet.push(GateReason { who_can_open: vec![Closer::UnitManager], ..reason });
        }
        unmet
    }

    /// The policy says which coordinators must meet it: each that counts, or any one who is not suspended.
    fn unmet_by_coordinators(&self, rule: &GateRule, asked: &Requirement) -> Vec<GateReason> {
        let counted: Vec<_> = self.coordinators.iter().filter(|one| one.counted).collect();
        if counted.is_empty() {
            let sentence = wording::gate_no_coordinator(asked);
            let reason = self.reason(rule, ReasonCode::NoCoordinator, Some(asked), None, sentence);
            return vec![GateReason { who_can_open: vec![Closer::UnitManager, Closer::TroopContact], ..reason }];
        }
        let open = |one: &&CoordinatorStanding| self.open_row(rule, asked, &one.requirements, Some(one.person_id));
        let suspended = |one: &&CoordinatorStanding| one.state == CoordinatorState::Suspended;
        if self.world.policy.counted_coordinators == CountedCoordinators::Any {
            let active: Vec<_> = counted.iter().copied().filter(|one| !suspended(one)).collect();
            let asked_of = if active.is_empty() { counted } else { active };
            if asked_of.iter().any(|one| open(one).is_none()) {
                return Vec::new();
            }
            return asked_of.iter().filter_map(open).collect();
        }
        counted.iter().filter_map(open).collect()
    }

    /// The reason that a requirement gives when its row does not hold.
    fn open_row(
        &self,
        rule: &GateRule,
        asked: &Requirement,
        rows: &[RequirementStanding],
        person: Option<PersonId>,
    ) -> Option<GateReason> {
        let row = rows.iter().find(|row| row.requirement == asked.code && !row.holds())?;
        let sentence = wording::requirement_open(asked, row.outcome);
        let reason = self.reason(rule, ReasonCode::RequirementOpen, Some(asked), person, sentence);
        Some(GateReason { who_can_open: row.who_can_close.clone(), ..reason })
    }

    fn reason(
        &self,
        rule: &GateRule,
        code: ReasonCode,
        asked: Option<&Requirement>,
        person_id: Option<PersonId>,
        sentence: String,
    ) -> GateReason {
        GateReason {
            code,
            requirement: asked.map(|asked| asked.code.clone()),
            person_id,
            sentence,
            who_can_open: Vec::new(),
            override_by: rule.override_by,
            from: deadline(self.world, rule.from.as_ref()),
            until: deadline(self.world, rule.until.as_ref()),
        }
    }
}
