//! Who coordinates the troop at an instant, where each of them stands, and which state that makes for the troop.

use chrono::{DateTime, Utc};

use super::{
    AssignmentFact, BeginsLater, CoordinatorStanding, CoordinatorState, DecisionFact, DecisionKind,
    RequirementStanding, TroopState, World, evidence,
};
use crate::common::ids::AssignmentId;
use crate::seasons::policy::CountedCoordinators;

/// The coordinators at this instant, the lead first, each with own requirements and state.
pub(super) fn coordinators(world: &World<'_>, troop: &[RequirementStanding]) -> Vec<CoordinatorStanding> {
    let mut active: Vec<_> = active(world).collect();
    active.sort_by_key(|(assignment, _)| (!assignment.led_at(world.at), assignment.assignment_id));
    active.into_iter().map(|(assignment, decided)| coordinator(world, assignment, &decided, troop)).collect()
}

/// Whether one of the coordinators is appointed, so that the grace has something to keep.
pub(super) fn somebody_is_appointed(world: &World<'_>) -> bool {
    active(world).any(|(_, decided)| decided.appointed_at.is_some())
}

/// The assignments that hold at this instant, with what was decided about each.
fn active<'a>(world: &'a World<'a>) -> impl Iterator<Item = (&'a AssignmentFact, Decided)> {
    let held = world.facts.assignments.iter().filter(|assignment| is_active(world, assignment));
    let decided = held.map(|assignment| (assignment, decided(world, assignment.assignment_id)));
    decided.filter(|(_, decided)| !decided.stood_down)
}

/// Whether a list's proposal of a coordinator waits for a person to confirm it.
pub(super) fn proposal_waits(world: &World<'_>) -> bool {
    let happened = |instant: Option<DateTime<Utc>>| instant.is_some_and(|instant| instant <= world.at);
    world.facts.assignments.iter().any(|assignment| {
        happened(assignment.proposed_at)
            && !happened(assignment.confirmed_at)
            && !happened(assignment.declined_at)
            && !happened(assignment.ended_at)
            && assignment.until_at.is_none_or(|until| world.at < until)
    })
}

/// Confirmed, begun, and not over.
fn is_active(world: &World<'_>, assignment: &AssignmentFact) -> bool {
    let happened = |instant: Option<DateTime<Utc>>| instant.is_some_and(|instant| instant <= world.at);
    happened(assignment.confirmed_at)
        && assignment.from_at <= world.at
        && !happened(assignment.until_at)
        && !happened(assignment.ended_at)
        && !happened(assignment.declined_at)
}

/// Who is confirmed and begins later, the first one first.
pub(super) fn begins_later(world: &World<'_>) -> Vec<BeginsLater> {
    let happened = |instant: Option<DateTime<Utc>>| instant.is_some_and(|instant| instant <= world.at);
    let later = world.facts.assignments.iter().filter(|assignment| {
        happened(assignment.confirmed_at)
            && world.at < assignment.from_at
            && !happened(assignment.ended_at)
            && !happened(assignment.declined_at)
            && !decided(world, assignment.assignment_id).stood_down
    });
    let mut later: Vec<BeginsLater> = later
        .map(|assignment| BeginsLater {
            assignment_id: assignment.assignment_id,
            person_id: assignment.person_id,
            lead: assignment.led_at(world.at),
            from_at: assignment.from_at,
        })
        .collect();
    later.sort_by_key(|one| (one.from_at, one.assignment_id));
    later
}

/// What was decided about an assignment up to this instant.
#[derive(Default)]
struct Decided {
    appointed_at: Option<DateTime<Utc>>,
    suspended_at: Option<DateTime<Utc>>,
    stood_down: bool,
}

/// The decisions known at this instant that concern an assignment (none: the troop's season), oldest first.
fn decisions<'a>(world: &World<'a>, assignment: Option<AssignmentId>) -> Vec<&'a DecisionFact> {
    let World { facts, at, .. } = *world;
    let mut known: Vec<_> = facts
        .decisions
        .iter()
        .filter(|decision| decision.assignment_id == assignment && decision.decided_at <= at)
        .collect();
    known.sort_by_key(|decision| (decision.decided_at, decision.seq, decision.decision_id));
    known
}

fn decided(world: &World<'_>, assignment: AssignmentId) -> Decided {
    let mut decided = Decided::default();
    for decision in decisions(world, Some(assignment)) {
        match decision.kind {
            DecisionKind::Appoint => decided.appointed_at = Some(decision.decided_at),
            DecisionKind::Suspend => decided.suspended_at = Some(decision.decided_at),
            DecisionKind::Restore => decided.suspended_at = None,
            DecisionKind::StandDown => decided.stood_down = true,
            DecisionKind::SitOut | DecisionKind::Rejoin => {}
        }
    }
    decided
}

fn coordinator(
    world: &World<'_>,
    assignment: &AssignmentFact,
    decided: &Decided,
    troop: &[RequirementStanding],
) -> CoordinatorStanding {
    // The grace keeps an appointed coordinator appointed; it appoints nobody.
    let requirements = evidence::rows(world, Some(assignment.person_id), decided.appointed_at.is_some());
    let all = || requirements.iter().chain(troop);
    let state = if decided.suspended_at.is_some() {
        CoordinatorState::Suspended
    } else if decided.appointed_at.is_some() {
        if all().all(RequirementStanding::holds) { CoordinatorState::Appointed } else { CoordinatorState::Lapsed }
    } else if all().all(|row| row.closed) {
        CoordinatorState::Ready
    } else {
        CoordinatorState::Gathering
    };
    let lead = assignment.led_at(world.at);
    CoordinatorStanding {
        assignment_id: assignment.assignment_id,
        person_id: assignment.person_id,
        lead,
        counted: lead || world.policy.counted_coordinators != CountedCoordinators::Lead,
        state,
        appointed_at: decided.appointed_at,
        suspended_at: decided.suspended_at,
        requirements,
        next_step: None,
    }
}

/// The troop's state: sitting out, vacant, or what its counted coordinators make of it.
///
/// With `any`, the coordinator who is furthest on speaks for the troop, and one who was appointed and lapsed is told
/// before one who only gathers; with `all`, the one who holds it back.
pub(super) fn troop_state(world: &World<'_>, coordinators: &[CoordinatorStanding]) -> TroopState {
    let sitting_out = decisions(world, None).iter().rev().find_map(|decision| match decision.kind {
        DecisionKind::SitOut => Some(true),
        DecisionKind::Rejoin => Some(false),
        DecisionKind::Appoint | DecisionKind::Suspend | DecisionKind::Restore | DecisionKind::StandDown => None,
    }) == Some(true);
    if sitting_out {
        return TroopState::SittingOut;
    }
    let states = coordinators.iter().filter(|one| one.counted).map(|one| one.state);
    let spoken = match world.policy.counted_coordinators {
        CountedCoordinators::Lead | CountedCoordinators::All => states.max_by_key(|state| match state {
            CoordinatorState::Suspended => 5_u8,
            CoordinatorState::Lapsed => 4,
            CoordinatorState::Gathering => 3,
            CoordinatorState::Ready => 2,
            CoordinatorState::Appointed => 1,
        }),
        CountedCoordinators::Any => states.max_by_key(|state| match state {
            CoordinatorState::Appointed => 5_u8,
            CoordinatorState::Ready => 4,
            CoordinatorState::Lapsed => 3,
            CoordinatorState::Gathering => 2,
            CoordinatorState::Suspended => 1,
        }),
    };
    match spoken {
        None => TroopState::Vacant,
        Some(CoordinatorState::Suspended) => TroopState::Suspended,
        Some(CoordinatorState::Lapsed) => TroopState::Lapsed,
        Some(CoordinatorState::Appointed) => TroopState::Appointed,
        Some(CoordinatorState::Ready) => TroopState::Ready,
        Some(CoordinatorState::Gathering) => TroopState::Gathering,
    }
}
