//! The outlook: looking again at every instant at which something could change by itself.
//!
//! Exact, not sampled: between two neighbouring instants of the list nothing that a look depends on begins or ends.

use std::collections::BTreeSet;

use chrono::{DateTime, Days, Months, Utc};

use super::{
    Deadline, EvidenceOutcome, Lapse, LapseCause, RequirementOutcome, RequirementStanding, Standing, World, look, steps,
};
use crate::common::ids::PersonId;
use crate::seasons::policy::ValidityKind;

/// The answer at the world's instant, with what will lapse, when each gate and when the answer changes by itself.
///
/// Only what is known at that instant counts, at every later look too.
pub(super) fn with_outlook(world: &World<'_>) -> Standing {
    let known = world.facts.known_at(world.at);
    let world = World { facts: &known, ..*world };
    let instants: Vec<_> = std::iter::once(world.at).chain(turning_points(&world)).collect();
    let looks: Vec<_> = instants.iter().map(|&at| (at, look(&World { at, ..world }))).collect();
    let mut answer = outlook(&world, &looks);
    let later = (1..looks.len()).filter_map(|from| looks.get(from..));
    answer.changes_at =
        later.filter(|rest| outlook(&world, rest) != answer).find_map(|rest| rest.first().map(|first| first.0));
    answer
}

/// Every later instant at which a look could differ from the one before, earliest first.
fn turning_points(world: &World<'_>) -> BTreeSet<DateTime<Utc>> {
    let World { policy, calendar, facts, at } = *world;
    let mut points: BTreeSet<_> = calendar.dated().into_iter().map(|(_, instant)| instant).collect();
    for assignment in &facts.assignments {
        points.insert(assignment.from_at);
        points.extend(assignment.until_at);
    }
    points.extend(facts.waivers.iter().map(|waiver| calendar.end_of_day(waiver.until_on)));
    points.extend(facts.overrides.iter().map(|one| calendar.end_of_day(one.until_on)));
    for fact in &facts.evidence {
        points.insert(calendar.start_of_day(fact.observed_on));
        let asked = policy.requirements.iter().find(|asked| asked.code == fact.requirement);
        let last_day = match asked.map(|asked| asked.validity) {
            Some(validity) if validity.kind == ValidityKind::Months => {
                fact.observed_on.checked_add_months(Months::new(validity.months.unwrap_or_default().into()))
            }
            _ => fact.valid_until_on,
        };
        points.extend(last_day.map(|day| calendar.end_of_day(day)));
        if matches!(fact.outcome, EvidenceOutcome::Absent) {
            let last_day = fact.observed_on.checked_add_days(Days::new(policy.grace_days.into()));
            points.extend(last_day.map(|day| calendar.end_of_day(day)));
        }
    }
    points.retain(|&point| point > at);
    points
}

/// The first of several looks, with what the later ones tell.
fn outlook(world: &World<'_>, looks: &[(DateTime<Utc>, Standing)]) -> Standing {
    let Some(((at, now), later)) = looks.split_first() else { return look(world) };
    let mut answer = now.clone();
    for gate in &mut answer.gates {
        let turned = |seen: &Standing| seen.gates.iter().any(|one| one.gate == gate.gate && one.open != gate.open);
        gate.changes_at = later.iter().find(|(_, seen)| turned(seen)).map(|(instant, _)| *instant);
    }
    answer.lapses = lapses(world, *at, now, later);
    let world = World { at: *at, ..*world };
    for lapse in &answer.lapses {
        // The lapses come soonest first, so the first one that concerns somebody with nothing else to do is the step.
        for coordinator in answer.coordinators.iter_mut().filter(|one| one.next_step.is_none()) {
            if lapse.person_id.is_none_or(|person| person == coordinator.person_id) {
                coordinator.next_step = steps::renew(&world, lapse, &answer.gates);
            }
        }
    }
    if answer.next_step.is_none() {
        answer.next_step = steps::for_troop(&world, answer.state, &answer.coordinators, &answer.gates);
    }
    answer
}

/// What holds now and stops holding by itself before some dated milestone, soonest first.
fn lapses(world: &World<'_>, at: DateTime<Utc>, now: &Standing, later: &[(DateTime<Utc>, Standing)]) -> Vec<Lapse> {
    let mut lapses: Vec<_> = all_rows(now)
        .filter(|(_, row)| row.holds())
        .filter_map(|(person, row)| lapse(world, at, person, row, later))
        .collect();
    lapses.sort_by(|a, b| (a.lapses_at, &a.requirement, a.person_id).cmp(&(b.lapses_at, &b.requirement, b.person_id)));
    lapses
}

fn lapse(
    world: &World<'_>,
    at: DateTime<Utc>,
    person: Option<PersonId>,
    row: &RequirementStanding,
    later: &[(DateTime<Utc>, Standing)],
) -> Option<Lapse> {
    let mut last = row;
    let mut lapses_at = None;
    for (instant, seen) in later {
        let (_, next) = all_rows(seen).find(|(who, next)| *who == person && next.requirement == row.requirement)?;
        if !next.holds() {
            lapses_at = Some(*instant);
            break;
        }
        last = next;
    }
    let lapses_at = lapses_at?;
    debug_assert!(lapses_at > at, "what holds now lapses later");
    let cause = match last.outcome {
        RequirementOutcome::Waived => LapseCause::WaiverEnds,
        _ if !last.closed => LapseCause::GraceEnds,
        _ => LapseCause::Expires,
    };
    let (milestone, instant) = world.calendar.dated().into_iter().find(|(_, instant)| *instant >= lapses_at)?;
    let before = Deadline { milestone: milestone.code.clone(), title: milestone.title.clone(), at: instant };
    Some(Lapse { requirement: row.requirement.clone(), person_id: person, lapses_at, cause, before })
}

/// Every requirement of the answer with whose it is.
fn all_rows(standing: &Standing) -> impl Iterator<Item = (Option<PersonId>, &RequirementStanding)> {
    let troop = standing.requirements.iter().map(|row| (None, row));
    let people = standing.coordinators.iter();
    troop.chain(people.flat_map(|one| one.requirements.iter().map(|row| (Some(one.person_id), row))))
}
