//! The rules of standing: one pure function from facts to an answer, the only place that computes it.
//!
//! Nothing here reads a clock, a database or a request. A fact recorded after the instant asked about is not known at
//! it, so the same function answers for any past instant. The order in which facts are handed in never matters.
//!
//! One look at an instant (`look`) is piecewise constant in time: it can only change where a day that some fact names
//! begins or ends, where an assignment, a waiver or a grace begins or ends, or at a milestone. `ahead` collects those
//! instants, looks again at each, and from that tells what will lapse, which gate will change, and when the answer does.

mod ahead;
mod answer;
mod answer_why;
mod coordinators;
mod evidence;
mod facts;
mod gates;
mod mask;
mod steps;
mod wording;

#[cfg(test)]
mod any_facts;
#[cfg(test)]
mod by_the_second;
#[cfg(test)]
mod properties;
#[cfg(test)]
mod table;
#[cfg(test)]
mod table_of_gates;
#[cfg(test)]
mod worlds;

pub use answer::*;
pub use answer_why::*;
pub use facts::*;

use chrono::{DateTime, Utc};

use crate::common::ids::AssignmentId;
use crate::seasons::calendar::Calendar;
use crate::seasons::policy::Policy;

/// The version of these rules. Raise it whenever the same facts would get another answer or another shape of answer:
/// cached answers of an older version are computed again.
pub const RULES_VERSION: i32 = 5;

/// Where a troop stands at an instant, with the reasons, the next step, its gates, what will lapse, and when the
/// answer changes by itself.
#[must_use]
pub fn standing(policy: &Policy, calendar: &Calendar, facts: &Facts, at: DateTime<Utc>) -> Standing {
    ahead::with_outlook(&World { policy, calendar, facts, at })
}

/// What is still open for one coordinator of a troop, own and the troop's, in the policy's order; empty when the person
/// may be appointed. Grace does not count here: nobody is appointed on a proof that has vanished.
#[must_use]
pub fn open_requirements(standing: &Standing, assignment: AssignmentId) -> Vec<&RequirementStanding> {
    let own = standing.coordinators.iter().find(|one| one.assignment_id == assignment);
    own.into_iter()
        .flat_map(|coordinator| &coordinator.requirements)
        .chain(&standing.requirements)
        .filter(|row| !row.closed)
        .collect()
}

/// Everything that a look at one instant needs.
#[derive(Clone, Copy)]
struct World<'a> {
    policy: &'a Policy,
    calendar: &'a Calendar,
    facts: &'a Facts,
    at: DateTime<Utc>,
}

/// The answer at one instant without its outlook: what will lapse and change is left empty.
fn look(world: &World<'_>) -> Standing {
    let requirements = evidence::rows(world, None, coordinators::somebody_is_appointed(world));
    let mut coordinators = coordinators::coordinators(world, &requirements);
    let state = coordinators::troop_state(world, &coordinators);
    let gates = gates::gates(world, state, &requirements, &coordinators);
    for coordinator in &mut coordinators {
        coordinator.next_step = steps::for_coordinator(world, coordinator, &requirements, &gates);
    }
    Standing {
        state,
        reasons: wording::troop_reasons(world, state, &requirements, &coordinators),
        next_step: steps::for_troop(world, state, &coordinators, &gates),
        requirements,
        coordinators,
        begins: coordinators::begins_later(world),
        gates,
        lapses: Vec::new(),
        changes_at: None,
    }
}
