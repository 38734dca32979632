//! `changes_at` is exact: worlds in which everything begins and ends within seconds, walked through second by second.
//!
//! Days begin and end at midnight, so the walk goes over one: from 15 seconds before 10 January 2027 in New York to 30
//! seconds after. Assignments and milestones, which have instants of their own, begin and end around it.

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use proptest::prelude::*;

use super::any_facts::*;
use super::worlds::*;
use super::*;
use crate::seasons::calendar::When;

/// The first second of the walk, and how many it has.
const FROM: i64 = -15;
const SECONDS: i64 = 46;

fn second(number: i64) -> DateTime<Utc> {
    start() + TimeDelta::seconds(number)
}

fn seconds(range: std::ops::Range<i64>) -> impl Strategy<Value = DateTime<Utc>> {
    range.prop_map(second)
}

/// Orders due and delivery at a second of the walk, the sale's closing at the midnight in it or weeks later.
fn a_calendar() -> impl Strategy<Value = Calendar> {
    (-20_i64..40, -20_i64..40, prop::sample::select(vec!["2027-01-09", "2027-03-20", "2027-03-20", "2027-03-20"]))
        .prop_map(|(due, delivery, closes)| {
            let mut calendar = calendar();
            let local =
                |number| When::Hour(day("2027-01-10").and_hms_opt(0, 0, 0).unwrap() + TimeDelta::seconds(number));
            for milestone in &mut calendar.milestones {
                milestone.ours = match &*milestone.code {
                    "opening_orders_due" => Some(local(due)),
                    "delivery_day" => Some(local(delivery)),
                    "sale_closes" => Some(When::Day(day(closes))),
                    _ => None,
                };
            }
            calendar
        })
}

/// A place that begins and perhaps ends around the walk; the lead's mostly began before it.
fn a_place(number: u128) -> impl Strategy<Value = AssignmentFact> {
    (an_assignment(number), seconds(-60..20), prop::option::of(seconds(-10..40)), any::<bool>()).prop_map(
        |(place, from_at, until_at, long_ago)| AssignmentFact {
            from_at: if long_ago { second(-600) } else { from_at },
            until_at,
            confirmed_at: place.confirmed_at.map(|_| second(-700)),
            ..place
        },
    )
}

/// The days around the midnight of the walk: most proofs begin before it, and about half of them end at it.
fn a_last_day() -> impl Strategy<Value = NaiveDate> {
    prop::sample::select(vec![-2_i64, -1, -1, 0, 3]).prop_map(|days| day("2027-01-10") + TimeDelta::days(days))
}

/// A fact whose days and instants are around the walk: known before it or recorded in its course, and ending by the date
/// that it names, after so many months, or with the grace.
fn a_tight_fact() -> impl Strategy<Value = EvidenceFact> {
    // What vanished from a list on 4 or 7 January is tolerated up to the midnight, by a grace of five days or of two.
    let observed = prop::sample::select(vec![-6_i64, -6, -3, -3, -1, 0]);
    (a_fact(), seconds(-80..10), observed, a_last_day(), any::<bool>()).prop_map(
        |(fact, recorded_at, observed, last, vanished)| {
            let observed_on = day("2027-01-10") + TimeDelta::days(observed);
            let outcome = if vanished { EvidenceOutcome::Absent } else { fact.outcome };
            let valid_until_on = fact.valid_until_on.map(|_| last);
            EvidenceFact { outcome, observed_on, valid_until_on, recorded_at, ..fact }
        },
    )
}

/// Facts around the walk, on top of proofs and appointments from before.
fn tight_facts() -> impl Strategy<Value = Facts> {
    let evidence = prop::collection::vec(a_tight_fact(), 0..5);
    let waivers = prop::collection::vec((a_waiver(), seconds(-60..10), a_last_day()), 0..2);
    let overrides = prop::collection::vec((an_override(), seconds(-60..10), a_last_day()), 0..2);
    let decisions = prop::collection::vec((a_decision(), seconds(-60..10)), 0..3);
    let course = prop::sample::select(vec!["2025-01-08", "2025-01-09", "2027-01-02"]);
    (some_facts(), (a_place(1), a_place(2)), (a_last_day(), course), evidence, waivers, overrides, decisions).prop_map(
        |(facts, (one, two), (last, course), mut evidence, waivers, overrides, decisions)| {
            // The proofs from before: those that name a last day end on one day, a course after 24 months.
            evidence.extend(facts.evidence.into_iter().filter(|fact| fact.seq < 0).map(|fact| EvidenceFact {
                observed_on: if fact.requirement == "first_season_course" { day(course) } else { fact.observed_on },
                valid_until_on: fact.valid_until_on.map(|_| last),
                ..fact
            }));
            let waivers = waivers.into_iter();
            let overrides = overrides.into_iter();
            let decisions = decisions.into_iter().map(|(one, decided_at)| DecisionFact { decided_at, ..one });
            Facts {
                first_season: facts.first_season,
                assignments: vec![one, two],
                evidence,
                waivers: waivers
                    .map(|(one, granted_at, until_on)| WaiverFact { granted_at, until_on, ..one })
                    .collect(),
                overrides: overrides
                    .map(|(one, granted_at, until_on)| OverrideFact { granted_at, until_on, ..one })
                    .collect(),
                decisions: decisions.chain(facts.decisions.into_iter().filter(|one| one.seq < 0)).collect(),
            }
        },
    )
}

/// Whether an instant that was foretold is the one that came: the first of these seconds, or none before the walk's end.
fn came_true(foretold: Option<DateTime<Utc>>, came: Option<i64>) -> bool {
    match came {
        Some(number) => foretold == Some(second(number)),
        None => foretold.is_none_or(|instant| instant >= second(FROM + SECONDS)),
    }
}

proptest! {
    #![proptest_config(config(256))]

    /// With what is known at the first second, each second's answer and each gate change exactly when the answers of all
    /// the seconds before said that they would, and never earlier.
    #[test]
    fn stepping_the_clock_finds_no_earlier_change(policy in some_policy(), calendar in a_calendar(), facts in tight_facts()) {
        let known = facts.known_at(second(FROM));
        let walk: Vec<(i64, Standing)> =
            (FROM..FROM + SECONDS).map(|number| (number, standing(&policy, &calendar, &known, second(number)))).collect();
        for (place, (number, seen)) in walk.iter().enumerate() {
            let later = &walk[place + 1..];
            let other = later.iter().find(|(_, then)| content(then.clone()) != content(seen.clone()));
            prop_assert!(came_true(seen.changes_at, other.map(|(number, _)| *number)), "at {}: {:?}", number, seen.changes_at);
            for gate in &seen.gates {
                let turned = |then: &Standing| then.gates.iter().any(|one| one.gate == gate.gate && one.open != gate.open);
                let turns = later.iter().find(|(_, then)| turned(then));
                prop_assert!(came_true(gate.changes_at, turns.map(|(number, _)| *number)), "{:?} at {}", gate.gate, number);
            }
        }
    }
}
