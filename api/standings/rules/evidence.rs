//! How one requirement stands for one subject: what proves it, what speaks against it, and for how long it holds.

use chrono::{DateTime, Days, Months, NaiveDate, Utc};

use super::{
    EvidenceFact, EvidenceOutcome, EvidenceSource, RequirementOutcome, RequirementStanding, WaiverFact, World, wording,
};
use crate::common::ids::PersonId;
use crate::seasons::policy::{Requirement, ValidityKind, WaivableBy, Whose};

/// Every requirement of a person, or of the troop (no person), in the policy's order.
///
/// `graced` says whether a proof that vanished from a list is tolerated for the days of grace.
pub(super) fn rows(world: &World<'_>, person: Option<PersonId>, graced: bool) -> Vec<RequirementStanding> {
    let whose = if person.is_some() { Whose::Coordinator } else { Whose::Troop };
    let asked = world.policy.requirements.iter();
    let asked = asked.filter(|asked| asked.whose == whose && asked.applies(world.facts.first_season));
    let mut rows: Vec<_> = asked.clone().map(|asked| row(world, asked, person, graced)).collect();
    cover_groups(world, &mut rows);
    let holding: Vec<String> = rows.iter().filter(|row| row.holds()).map(|row| row.requirement.clone()).collect();
    let listed: Vec<String> = rows.iter().map(|row| row.requirement.clone()).collect();
    for (row, asked) in rows.iter_mut().zip(asked) {
        // A requirement that this troop is not asked for cannot stand in the way of one that it is.
        let earlier_done = asked.after.iter().all(|code| holding.contains(code) || !listed.contains(code));
        row.can_be_done_now = !row.closed && earlier_done;
        if !row.closed {
            row.who_can_close = wording::who_can_close(asked, row.outcome);
            row.how = Some(wording::how(asked, row.outcome));
        }
    }
    rows
}

/// A group of which one is enough: the others are covered by one that is closed, and tolerated with one in its grace.
fn cover_groups(world: &World<'_>, rows: &mut [RequirementStanding]) {
    for group in &world.policy.any_of {
        let members = |row: &RequirementStanding| group.requirements.contains(&row.requirement);
        let closed = rows.iter().any(|row| members(row) && row.closed);
        let grace = rows.iter().filter(|row| members(row)).filter_map(|row| row.grace_until_at).max();
        for row in rows.iter_mut().filter(|row| members(row) && !row.closed) {
            if closed {
                row.outcome = RequirementOutcome::Covered;
                row.closed = true;
                row.grace_until_at = None;
            } else {
                row.grace_until_at = grace;
            }
        }
    }
}

/// A fact that could close a requirement, with the last day for which it does.
struct ProofFact<'a> {
    fact: &'a EvidenceFact,
    last_day: Option<NaiveDate>,
}

impl ProofFact<'_> {
    fn ends(&self, world: &World<'_>) -> Option<DateTime<Utc>> {
        self.last_day.map(|day| world.calendar.end_of_day(day))
    }

    fn holds(&self, world: &World<'_>) -> bool {
        self.ends(world).is_none_or(|end| world.at < end)
    }
}

fn row(world: &World<'_>, asked: &Requirement, person: Option<PersonId>, graced: bool) -> RequirementStanding {
    let known: Vec<_> = known(world, asked, person).collect();
    let proofs = known.iter().filter_map(|&fact| proof(asked, fact));
    let proofs: Vec<_> = proofs.filter(|one| !known.iter().any(|later| restates(asked, later, one.fact))).collect();
    let against: Vec<_> = known.iter().copied().filter(|fact| speaks_against(fact)).collect();
    let mut row = blank(asked);
    let standing = proofs.iter().filter(|proof| proof.holds(world) && !against.iter().any(|no| beats(no, proof.fact)));
    if let Some(best) = standing.max_by_key(|proof| lasting(proof)) {
        row.outcome = RequirementOutcome::Met;
        row.closed = true;
        describe(&mut row, best.fact);
        row.valid_until_on = best.last_day;
    } else if let Some(waiver) = waiver(world, asked, person) {
        row.outcome = RequirementOutcome::Waived;
        row.closed = true;
        row.valid_until_on = Some(waiver.until_on);
        row.waiver_id = Some(waiver.waiver_id);
    } else {
        let newest =
            known.iter().max_by_key(|fact| (fact.observed_on, weight(asked, fact), fact.seq, fact.evidence_id));
        if let Some(newest) = newest {
            row.outcome = open_outcome(asked, newest);
            describe(&mut row, newest);
            row.valid_until_on = proof(asked, newest).and_then(|proof| proof.last_day);
        }
        row.grace_until_at = if graced { grace(world, &proofs, &against) } else { None };
    }
    row
}

fn blank(asked: &Requirement) -> RequirementStanding {
    RequirementStanding {
        requirement: asked.code.clone(),
        title: asked.title.clone(),
        kind: asked.kind,
        outcome: RequirementOutcome::Missing,
        closed: false,
        source: None,
        observed_on: None,
        valid_until_on: None,
        score_percent: None,
        grace_until_at: None,
        waiver_id: None,
        can_be_done_now: false,
        who_can_close: Vec::new(),
        how: None,
        waivable_by: asked.who_may_waive(),
    }
}

fn describe(row: &mut RequirementStanding, fact: &EvidenceFact) {
    row.source = Some(fact.source);
    row.observed_on = Some(fact.observed_on);
    row.score_percent = fact.score_percent;
}

/// The facts that are known at this instant and are about this requirement, this subject and this season.
fn known<'a>(
    world: &World<'a>,
    asked: &'a Requirement,
    person: Option<PersonId>,
) -> impl Iterator<Item = &'a EvidenceFact> {
    let World { calendar, facts, at, .. } = *world;
    facts.evidence.iter().filter(move |fact| {
        fact.requirement == asked.code
            && fact.person_id == person
            && fact.recorded_at <= at
            && calendar.start_of_day(fact.observed_on) <= at
            && (asked.validity.kind != ValidityKind::Season || fact.observed_on >= calendar.starts_on)
    })
}

/// The fact as a proof, if it can be one: met, from a source that the policy accepts, with a score that is high enough.
fn proof<'a>(asked: &Requirement, fact: &'a EvidenceFact) -> Option<ProofFact<'a>> {
    let enough = match (asked.minimum_score, fact.score_percent) {
        (Some(least), Some(score)) => score >= least,
        _ => true,
    };
    (fact.outcome == EvidenceOutcome::Met && source_proves(asked, fact.source) && enough)
        .then(|| ProofFact { fact, last_day: last_day(asked, fact) })
}

/// Whether a later proof says anew how long the requirement holds, so that an earlier one counts no longer.
fn restates(asked: &Requirement, later: &EvidenceFact, earlier: &EvidenceFact) -> bool {
    let after =
        (later.observed_on, later.seq, later.evidence_id) > (earlier.observed_on, earlier.seq, earlier.evidence_id);
    later.restates && after && proof(asked, later).is_some()
}

fn source_proves(asked: &Requirement, source: EvidenceSource) -> bool {
    match source {
        EvidenceSource::List | EvidenceSource::Certificate => true,
        EvidenceSource::Manager => asked.manager_may_enter,
        EvidenceSource::Person => false,
    }
}

/// The last day for which a proof holds; none when nothing ends it.
fn last_day(asked: &Requirement, fact: &EvidenceFact) -> Option<NaiveDate> {
    match asked.validity.kind {
        ValidityKind::Season => None,
        ValidityKind::UntilEvidenceDate => fact.valid_until_on,
        ValidityKind::Months => {
            fact.observed_on.checked_add_months(Months::new(asked.validity.months.unwrap_or_default().into()))
        }
    }
}

/// Proofs in the order of how long they last: for ever, then by last day; the newer one of two that last alike.
fn lasting(proof: &ProofFact<'_>) -> impl Ord + use<> {
    let fact = proof.fact;
    (proof.last_day.is_none(), proof.last_day, fact.observed_on, fact.seq, fact.evidence_id)
}

fn speaks_against(fact: &EvidenceFact) -> bool {
    matches!(fact.outcome, EvidenceOutcome::NotMet | EvidenceOutcome::Absent) && fact.source != EvidenceSource::Person
}

/// Whether a fact against beats a proof: observed later, or on the same day when it says "not met".
fn beats(against: &EvidenceFact, proof: &EvidenceFact) -> bool {
    against.observed_on > proof.observed_on
        || (against.observed_on == proof.observed_on && against.outcome == EvidenceOutcome::NotMet)
}

fn waiver<'a>(world: &World<'a>, asked: &Requirement, person: Option<PersonId>) -> Option<&'a WaiverFact> {
    let World { calendar, facts, at, .. } = *world;
    if asked.who_may_waive() == WaivableBy::Never {
        return None;
    }
    let in_force = facts.waivers.iter().filter(|waiver| {
        waiver.requirement == asked.code
            && waiver.person_id == person
            && waiver.granted_at <= at
            && waiver.revoked_at.is_none_or(|revoked| at < revoked)
            && at < calendar.end_of_day(waiver.until_on)
    });
    in_force.max_by_key(|waiver| (waiver.until_on, waiver.waiver_id))
}

/// Which of several facts of one day has the last word while a requirement is open.
fn weight(asked: &Requirement, fact: &EvidenceFact) -> u8 {
    match fact.outcome {
        EvidenceOutcome::NotMet => 2,
        EvidenceOutcome::Met if proof(asked, fact).is_some() => 1,
        EvidenceOutcome::Met | EvidenceOutcome::Absent | EvidenceOutcome::Reported => 0,
    }
}

/// What an open requirement reads as, by the newest fact about it.
fn open_outcome(asked: &Requirement, newest: &EvidenceFact) -> RequirementOutcome {
    match newest.outcome {
        EvidenceOutcome::NotMet => RequirementOutcome::NotMet,
        EvidenceOutcome::Absent => RequirementOutcome::Absent,
        // A proof that was not taken is over; what is no proof has too low a score or a source that proves nothing.
        EvidenceOutcome::Met if proof(asked, newest).is_some() => RequirementOutcome::Expired,
        EvidenceOutcome::Met if source_proves(asked, newest.source) => RequirementOutcome::BelowMinimum,
        EvidenceOutcome::Met | EvidenceOutcome::Reported => RequirementOutcome::Reported,
    }
}

/// Until when a proof that has vanished from a list is tolerated; none when it is not.
///
/// The days run from the first list that lacked it: being absent again and again does not stretch them.
fn grace(world: &World<'_>, proofs: &[ProofFact<'_>], against: &[&EvidenceFact]) -> Option<DateTime<Utc>> {
    if world.policy.grace_days == 0 {
        return None;
    }
    let vanished = proofs.iter().filter(|proof| {
        let refuted = against.iter().any(|no| no.outcome == EvidenceOutcome::NotMet && beats(no, proof.fact));
        proof.holds(world) && !refuted
    });
    let ends = vanished.filter_map(|proof| {
        let first = against.iter().filter(|no| beats(no, proof.fact)).map(|no| no.observed_on).min()?;
        let last_day = first.checked_add_days(Days::new(world.policy.grace_days.into()))?;
        let end = world.calendar.end_of_day(last_day);
        Some(proof.ends(world).map_or(end, |proof_ends| proof_ends.min(end)))
    });
    ends.filter(|end| world.at < *end).max()
}
