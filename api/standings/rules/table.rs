//! The table of states, what counts as met, waivers and grace: cases typed by hand.
//!
//! The rules tested are this project's own (domain.md section 3); there is no outside source for them.

use super::worlds::*;
use super::*;
use crate::seasons::policy::{AnyOf, WaivableBy};
use DecisionKind::{Appoint, Rejoin, Restore, SitOut, StandDown, Suspend};
use EvidenceOutcome::{Absent, Met, NotMet, Reported};

const NOVEMBER: &str = "2026-11-01T17:00:00Z";

#[test]
fn the_first_state_that_applies_is_taken() {
    let appointed = Told::all_met().decided(Appoint, Some(LEAD), "2026-10-05T12:00:00Z");
    let table: Vec<(&str, Told, TroopState)> = vec![
        ("nobody", Told::default(), TroopState::Vacant),
        ("nothing known", Told::with_lead(), TroopState::Gathering),
        ("a second, but no lead", Told::default().coordinator(SECOND, false), TroopState::Vacant),
        ("all met", Told::all_met(), TroopState::Ready),
        ("appointed", appointed.clone(), TroopState::Appointed),
        (
            "appointed, then something found not met",
            appointed.clone().evidence("registration", Some(LEAD), NotMet, "2026-10-20", |_| {}),
            TroopState::Lapsed,
        ),
        (
            "appointed though nothing is met",
            Told::with_lead().decided(Appoint, Some(LEAD), "2026-10-05T12:00:00Z"),
            TroopState::Lapsed,
        ),
        ("suspended", appointed.clone().decided(Suspend, Some(LEAD), "2026-10-20T12:00:00Z"), TroopState::Suspended),
        (
            "suspended and open at once",
            Told::with_lead().decided(Suspend, Some(LEAD), "2026-10-20T12:00:00Z"),
            TroopState::Suspended,
        ),
        (
            "restored",
            appointed.clone().decided(Suspend, Some(LEAD), "2026-10-20T12:00:00Z").decided(
                Restore,
                Some(LEAD),
                "2026-10-21T12:00:00Z",
            ),
            TroopState::Appointed,
        ),
        ("stood down", appointed.clone().decided(StandDown, Some(LEAD), "2026-10-20T12:00:00Z"), TroopState::Vacant),
        ("sits out", appointed.clone().decided(SitOut, None, "2026-10-20T12:00:00Z"), TroopState::SittingOut),
        (
            "sits out without anybody",
            Told::default().decided(SitOut, None, "2026-10-20T12:00:00Z"),
            TroopState::SittingOut,
        ),
        (
            "rejoined",
            appointed.decided(SitOut, None, "2026-10-20T12:00:00Z").decided(Rejoin, None, "2026-10-22T12:00:00Z"),
            TroopState::Appointed,
        ),
    ];
    for (name, told, expected) in table {
        assert_eq!(told.at(NOVEMBER).state, expected, "{name}");
    }
}

#[test]
fn a_proof_is_beaten_by_a_later_word_and_by_not_met_of_the_same_day() {
    let registration = |outcome, on: &str| {
        Told::with_lead().met("registration", Some(LEAD), "2026-10-10").evidence(
            "registration",
            Some(LEAD),
            outcome,
            on,
            |_| {},
        )
    };
    for (outcome, on, expected) in [
        (NotMet, "2026-10-09", RequirementOutcome::Met),
        (NotMet, "2026-10-10", RequirementOutcome::NotMet),
        (NotMet, "2026-10-11", RequirementOutcome::NotMet),
        (Absent, "2026-10-09", RequirementOutcome::Met),
        (Absent, "2026-10-10", RequirementOutcome::Met),
        (Absent, "2026-10-11", RequirementOutcome::Absent),
        (Reported, "2026-10-11", RequirementOutcome::Met),
    ] {
        let standing = registration(outcome, on).at(NOVEMBER);
        assert_eq!(row(&standing, "registration").outcome, expected, "{outcome:?} on {on}");
    }
    let again = registration(Absent, "2026-10-11").met("registration", Some(LEAD), "2026-10-12");
    assert!(row(&again.at(NOVEMBER), "registration").closed);
}

#[test]
fn only_what_the_policy_accepts_is_a_proof() {
    for (requirement, source, expected) in [
        ("registration", EvidenceSource::List, RequirementOutcome::Met),
        ("registration", EvidenceSource::Manager, RequirementOutcome::Met),
        ("registration", EvidenceSource::Person, RequirementOutcome::Reported),
        ("agreement", EvidenceSource::Person, RequirementOutcome::Reported),
        ("screening", EvidenceSource::List, RequirementOutcome::Met),
        ("screening", EvidenceSource::Manager, RequirementOutcome::Reported),
    ] {
        let told = Told::with_lead().evidence(requirement, Some(LEAD), Met, "2026-10-01", |fact| fact.source = source);
        assert_eq!(row(&told.at(NOVEMBER), requirement).outcome, expected, "{requirement} from {source:?}");
    }
}

#[test]
fn a_score_counts_only_where_there_is_one() {
    for (score, expected) in [
        (None, RequirementOutcome::Met),
        (Some(79), RequirementOutcome::BelowMinimum),
        (Some(80), RequirementOutcome::Met),
    ] {
        let told = Told::with_lead().evidence("yearly_training", Some(LEAD), Met, "2026-10-01", |fact| {
            fact.score_percent = score;
            fact.source = EvidenceSource::Certificate;
        });
        assert_eq!(row(&told.at(NOVEMBER), "yearly_training").outcome, expected, "{score:?}");
    }
}

#[test]
fn a_proof_holds_to_the_end_of_its_last_local_day() {
    let told = Told::with_lead()
        .evidence("membership", Some(LEAD), Met, "2026-10-01", |fact| fact.valid_until_on = Some(day("2026-10-31")));
    for (when, expected) in
        [("2026-11-01T03:59:59Z", RequirementOutcome::Met), ("2026-11-01T04:00:00Z", RequirementOutcome::Expired)]
    {
        assert_eq!(row(&told.at(when), "membership").outcome, expected, "{when}");
    }
    let standing = told.at("2026-10-15T12:00:00Z");
    assert_eq!(standing.changes_at, Some(at("2026-11-01T04:00:00Z")));
    let [lapse] = &standing.lapses[..] else { panic!("{:?}", standing.lapses) };
    assert_eq!((&*lapse.requirement, lapse.cause), ("membership", LapseCause::Expires));
    assert_eq!(lapse.lapses_at, at("2026-11-01T04:00:00Z"));
    assert_eq!(lapse.before.milestone, "opening_orders_due");
}

/// Who looks again and names a day has the last word on it, sooner or later than before; a fact from before it has not.
#[test]
fn a_day_that_is_said_anew_replaces_the_one_before() {
    let until = |last: &'static str, restates: bool| {
        move |fact: &mut EvidenceFact| {
            fact.valid_until_on = Some(day(last));
            fact.restates = restates;
        }
    };
    let told = Told::with_lead().evidence("screening", Some(LEAD), Met, "2026-10-01", until("2027-09-30", true));
    for (later, restates, expected) in
        [("2026-10-15", true, "2026-10-20"), ("2026-10-15", false, "2027-09-30"), ("2026-09-15", true, "2027-09-30")]
    {
        let more = told.clone().evidence("screening", Some(LEAD), Met, later, until("2026-10-20", restates));
        let at = more.at("2026-10-16T12:00:00Z");
        assert_eq!(row(&at, "screening").valid_until_on, Some(day(expected)), "{later} {restates}");
    }
    let over = told.evidence("screening", Some(LEAD), Met, "2026-10-15", until("2026-10-20", true)).at(NOVEMBER);
    assert_eq!(row(&over, "screening").outcome, RequirementOutcome::Expired);
}

#[test]
fn months_count_from_the_day_of_the_proof_and_a_season_from_its_start() {
    let mut told = Told::with_lead();
    told.facts.first_season = true;
    let told = told.evidence("first_season_course", Some(LEAD), Met, "2024-11-30", |_| {}).evidence(
        "registration",
        Some(LEAD),
        Met,
        "2026-08-31",
        |_| {},
    );
    assert_eq!(row(&told.at("2026-12-01T04:59:59Z"), "first_season_course").outcome, RequirementOutcome::Met);
    assert_eq!(row(&told.at("2026-12-01T05:00:00Z"), "first_season_course").outcome, RequirementOutcome::Expired);
    assert_eq!(row(&told.at(NOVEMBER), "registration").outcome, RequirementOutcome::Missing);
}

#[test]
fn only_a_first_season_is_asked_for_the_first_season_course() {
    let mut told = Told::all_met();
    assert_eq!(told.at(NOVEMBER).state, TroopState::Ready);
    told.facts.first_season = true;
    assert_eq!(told.at(NOVEMBER).state, TroopState::Gathering);
    let standing = told.met("first_season_course", Some(LEAD), "2026-10-02").at(NOVEMBER);
    assert_eq!(standing.state, TroopState::Ready);
}

#[test]
fn the_grace_keeps_an_appointed_coordinator_and_is_not_stretched() {
    let told = Told::all_met()
        .decided(Appoint, Some(LEAD), "2026-10-05T12:00:00Z")
        .evidence("registration", Some(LEAD), Absent, "2026-10-10", |_| {})
        .evidence("registration", Some(LEAD), Absent, "2026-10-14", |_| {});
    // Five days after the tenth: tolerated to the end of the fifteenth, local.
    for (when, state) in [
        ("2026-10-12T12:00:00Z", TroopState::Appointed),
        ("2026-10-16T03:59:59Z", TroopState::Appointed),
        ("2026-10-16T04:00:00Z", TroopState::Lapsed),
    ] {
        assert_eq!(told.at(when).state, state, "{when}");
    }
    let within = told.at("2026-10-12T12:00:00Z");
    assert_eq!(row(&within, "registration").grace_until_at, Some(at("2026-10-16T04:00:00Z")));
    assert_eq!(within.changes_at, Some(at("2026-10-16T04:00:00Z")));
    assert_eq!(within.next_step.unwrap().code, StepCode::CloseRequirement);
    assert_eq!(open_requirements(&told.at("2026-10-12T12:00:00Z"), place(LEAD)).len(), 1);
    let refuted = told.evidence("registration", Some(LEAD), NotMet, "2026-10-11", |_| {});
    assert_eq!(refuted.at("2026-10-12T12:00:00Z").state, TroopState::Lapsed);
}

#[test]
fn without_grace_or_appointment_nothing_is_tolerated() {
    let told = Told::all_met().evidence("registration", Some(LEAD), Absent, "2026-10-10", |_| {});
    assert_eq!(told.at("2026-10-12T12:00:00Z").state, TroopState::Gathering);
    let appointed = told.decided(Appoint, Some(LEAD), "2026-10-05T12:00:00Z");
    let strict = Policy { grace_days: 0, ..policy() };
    assert_eq!(appointed.under(&strict, "2026-10-10T22:00:00Z").state, TroopState::Lapsed);
}

#[test]
fn a_waiver_never_reads_as_met_and_ends() {
    let told = ["membership", "registration", "screening", "yearly_training"]
        .iter()
        .fold(Told::with_lead(), |told, code| told.met(code, Some(LEAD), "2026-10-01"))
        .met("bank_details", None, "2026-10-01")
        .waived("agreement", Some(LEAD), "2026-10-02T12:00:00Z", "2026-11-30");
    let standing = told.at(NOVEMBER);
    assert_eq!((standing.state, row(&standing, "agreement").outcome), (TroopState::Ready, RequirementOutcome::Waived));
    assert_eq!(standing.changes_at, Some(at("2026-12-01T05:00:00Z")));
    assert_eq!(told.at("2026-12-01T05:00:00Z").state, TroopState::Gathering);
    let never = told.waived("screening", Some(LEAD), "2026-10-02T12:00:00Z", "2026-11-30");
    let mut without = never;
    without.facts.evidence.clear();
    assert_eq!(row(&without.at(NOVEMBER), "screening").outcome, RequirementOutcome::Missing);
    let mut lenient = policy();
    lenient.requirements[2].waivable_by = Some(WaivableBy::TwoPeople);
    assert_eq!(row(&without.under(&lenient, NOVEMBER), "screening").outcome, RequirementOutcome::Waived);
}

#[test]
fn one_of_a_group_covers_the_others() {
    let mut either = policy();
    either.any_of = vec![AnyOf {
        code: "signed".to_owned(),
        requirements: vec!["agreement".to_owned(), "yearly_training".to_owned()],
    }];
    let told = Told::with_lead().met("agreement", Some(LEAD), "2026-10-01");
    let standing = told.under(&either, NOVEMBER);
    let covered = row(&standing, "yearly_training");
    assert_eq!((covered.outcome, covered.closed), (RequirementOutcome::Covered, true));
    assert_eq!(row(&told.at(NOVEMBER), "yearly_training").outcome, RequirementOutcome::Missing);
}
