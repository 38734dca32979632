//! The book of the season: its policy, its calendar and its events, in the order in which they happened.

use caselot::common::ids::{AssignmentId, DecisionId, EvidenceId, PersonId, WaiverId};
use caselot::seasons::calendar::{Calendar, Milestone, When};
use caselot::seasons::policy::Policy;
use caselot::standings::rules::{
    AssignmentFact, DecisionFact, DecisionKind, EvidenceFact, EvidenceOutcome, EvidenceSource, Facts, WaiverFact,
};
use chrono::{DateTime, NaiveDate, Utc};
use uuid::Uuid;

pub const TROOPS: usize = 12;
pub const ANA: u128 = 1;
pub const BO: u128 = 2;
pub const CHIDI: u128 = 3;
pub const DITA: u128 = 4;
pub const EMRE: u128 = 5;
pub const FAY: u128 = 6;
pub const GUS: u128 = 7;
const HANA: u128 = 8;
const IVO: u128 = 9;
const JUN: u128 = 10;
const KAI: u128 = 11;
const LEO: u128 = 12;
const MAY: u128 = 13;
const NIA: u128 = 14;
const OTTO: u128 = 15;

pub fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

pub fn at(text: &str) -> DateTime<Utc> {
    text.parse().unwrap()
}

pub fn policy() -> Policy {
    serde_json::from_str(include_str!("common_practice.json")).unwrap()
}

/// Opening orders on Friday 22 January, the return a week before, delivery on Saturday 13 February.
pub fn calendar() -> Calendar {
    let milestone = |code: &str, on: &str| Milestone {
        code: code.to_owned(),
        title: code.to_owned(),
        ours: Some(When::Day(day(on))),
        head_office: None,
    };
    Calendar {
        zone: chrono_tz::America::New_York,
        starts_on: day("2026-10-01"),
        milestones: vec![
            milestone("return_due", "2027-01-15"),
            milestone("opening_orders_due", "2027-01-22"),
            milestone("delivery_day", "2027-02-13"),
            milestone("sale_closes", "2027-03-21"),
        ],
    }
}

/// The unit's book: the facts of each troop. A fact about a person goes into every troop; only those of that person use it.
pub struct Book {
    pub troops: [Facts; TROOPS],
    seq: i64,
}

impl Book {
    fn next(&mut self) -> (i64, Uuid) {
        self.seq += 1;
        (self.seq, Uuid::from_u128(self.seq.unsigned_abs().into()))
    }

    fn coordinator(&mut self, troop: usize, who: u128, proposed: Option<&str>, confirmed: &str) {
        self.troops[troop - 1].assignments.push(AssignmentFact {
            assignment_id: place(troop, who),
            person_id: PersonId(Uuid::from_u128(who)),
            lead: true,
            lead_changed_at: vec![],
            from_at: proposed.map_or_else(|| at(confirmed), at),
            until_at: None,
            proposed_at: proposed.map(at),
            confirmed_at: Some(at(confirmed)),
            declined_at: None,
            ended_at: None,
        });
    }

    /// The assignment of a troop that was written last.
    fn last(&mut self, troop: usize) -> &mut AssignmentFact {
        self.troops[troop - 1].assignments.last_mut().unwrap()
    }

    fn waived(&mut self, troop: usize, who: u128, requirement: &str, granted_at: &str, until_on: &str) {
        let waiver_id = WaiverId(self.next().1);
        self.troops[troop - 1].waivers.push(WaiverFact {
            waiver_id,
            requirement: requirement.to_owned(),
            person_id: Some(PersonId(Uuid::from_u128(who))),
            granted_at: at(granted_at),
            until_on: day(until_on),
            revoked_at: None,
        });
    }

    fn fact(
        &mut self,
        on: &str,
        requirement: &str,
        outcome: EvidenceOutcome,
        more: impl Fn(&mut EvidenceFact),
        troop: Option<usize>,
    ) {
        let (seq, id) = self.next();
        let mut fact = EvidenceFact {
            evidence_id: EvidenceId(id),
            requirement: requirement.to_owned(),
            person_id: None,
            outcome,
            observed_on: day(on),
            valid_until_on: None,
            score_percent: None,
            source: EvidenceSource::List,
            recorded_at: at(&format!("{on}T18:00:00Z")),
            seq,
            restates: false,
        };
        more(&mut fact);
        for (number, facts) in self.troops.iter_mut().enumerate() {
            if troop.is_none_or(|troop| troop == number + 1) {
                facts.evidence.push(fact.clone());
            }
        }
    }

    /// A person on the role list: registered, with membership and (where it shows one) screening valid until a day.
    fn listed(&mut self, on: &str, who: u128, membership: &str, screening: Option<&str>) {
        let person = |fact: &mut EvidenceFact| fact.person_id = Some(PersonId(Uuid::from_u128(who)));
        self.fact(on, "registered", EvidenceOutcome::Met, person, None);
        for (code, until) in [("membership", Some(membership)), ("screening", screening)] {
            let Some(until) = until else { continue };
            self.fact(
                on,
                code,
                EvidenceOutcome::Met,
                |fact| {
                    person(fact);
                    fact.valid_until_on = Some(day(until));
                },
                None,
            );
        }
    }

    fn about(&mut self, on: &str, who: u128, requirement: &str, outcome: EvidenceOutcome, source: EvidenceSource) {
        let person = PersonId(Uuid::from_u128(who));
        self.fact(
            on,
            requirement,
            outcome,
            |fact| {
                fact.person_id = Some(person);
                fact.source = source;
            },
            None,
        );
    }

    fn certificate(&mut self, on: &str, who: u128, requirement: &str, score: u8) {
        let person = PersonId(Uuid::from_u128(who));
        let more = |fact: &mut EvidenceFact| {
            fact.person_id = Some(person);
            fact.source = EvidenceSource::Certificate;
            fact.score_percent = Some(score);
        };
        self.fact(on, requirement, EvidenceOutcome::Met, more, None);
    }

    fn bank_form(&mut self, on: &str, troops: &[usize]) {
        for troop in troops {
            self.fact(on, "bank_form", EvidenceOutcome::Met, |_| {}, Some(*troop));
        }
    }

    fn decided(&mut self, when: &str, troop: usize, who: Option<u128>, kind: DecisionKind) {
        let (seq, id) = self.next();
        self.troops[troop - 1].decisions.push(DecisionFact {
            decision_id: DecisionId(id),
            kind,
            assignment_id: who.map(|who| place(troop, who)),
            decided_at: at(when),
            seq,
        });
    }
}

pub fn place(troop: usize, who: u128) -> AssignmentId {
    AssignmentId(Uuid::from_u128(u128::try_from(troop).unwrap() * 1000 + who))
}

/// The whole season, in the order in which it happened.
pub fn season() -> Book {
    use DecisionKind::{Appoint, Rejoin, Restore, SitOut, StandDown, Suspend};
    let mut book = Book { troops: std::array::from_fn(|_| Facts::default()), seq: 0 };
    book.troops[1].first_season = true;
    for (troop, who) in [(1, ANA), (2, BO), (3, CHIDI), (5, EMRE), (6, GUS), (7, ANA)] {
        book.coordinator(troop, who, None, "2026-10-05T12:00:00Z");
    }
    book.listed("2026-11-03", ANA, "2027-08-31", Some("2028-05-01"));
    book.listed("2026-11-03", BO, "2027-08-31", None);
    book.listed("2026-11-03", CHIDI, "2027-09-30", Some("2027-02-01"));
    book.listed("2026-11-03", EMRE, "2027-08-31", Some("2027-12-31"));
    book.listed("2026-11-03", GUS, "2027-08-31", Some("2027-12-31"));
    for (who, score) in [(ANA, 95), (CHIDI, 90), (EMRE, 89), (GUS, 97)] {
        book.certificate("2026-11-10", who, "training", score);
    }
    book.certificate("2026-11-12", BO, "training", 84);
    book.bank_form("2026-11-17", &[1, 3, 5]);
    book.decided("2026-11-18T12:00:00Z", 1, Some(ANA), Appoint);
    book.decided("2026-11-18T12:00:00Z", 3, Some(CHIDI), Appoint);
    book.decided("2026-11-20T12:00:00Z", 6, None, SitOut);
    book.certificate("2026-11-24", EMRE, "training", 91);
    book.decided("2026-11-25T12:00:00Z", 5, Some(EMRE), Appoint);
    book.listed("2026-12-01", BO, "2027-08-31", Some("2028-12-01"));
    book.certificate("2026-12-01", BO, "training", 92);
    book.about("2026-12-03", BO, "first_course", EvidenceOutcome::Reported, EvidenceSource::Person);
    book.bank_form("2026-12-08", &[7]);
    book.decided("2026-12-15T12:00:00Z", 5, Some(EMRE), StandDown);
    book.coordinator(5, FAY, None, "2026-12-20T12:00:00Z");
    book.coordinator(4, DITA, Some("2027-01-05T12:00:00Z"), "2027-01-08T12:00:00Z");
    book.listed("2027-01-05", DITA, "2027-08-31", Some("2028-01-01"));
    book.certificate("2027-01-09", BO, "first_course", 100);
    book.bank_form("2027-01-09", &[2]);
    book.decided("2027-01-10T12:00:00Z", 6, None, Rejoin);
    book.listed("2027-01-12", FAY, "2027-08-31", Some("2028-01-31"));
    book.certificate("2027-01-13", FAY, "training", 93);
    for (troop, who) in [(2, BO), (5, FAY), (7, ANA)] {
        book.decided("2027-01-14T12:00:00Z", troop, Some(who), Appoint);
    }
    book.decided("2027-01-24T12:00:00Z", 4, Some(DITA), Suspend);
    book.decided("2027-01-24T12:00:00Z", 6, Some(GUS), Suspend);
    book.about("2027-01-26", ANA, "registered", EvidenceOutcome::Absent, EvidenceSource::List);
    book.certificate("2027-01-28", DITA, "training", 96);
    book.bank_form("2027-01-28", &[4]);
    book.decided("2027-01-29T18:00:00Z", 4, Some(DITA), Restore);
    book.decided("2027-01-29T21:00:00Z", 4, Some(DITA), Appoint);
    book.about("2027-02-04", ANA, "registered", EvidenceOutcome::Met, EvidenceSource::List);
    book.listed("2027-02-09", CHIDI, "2027-09-30", Some("2029-02-01"));
    book.bank_form("2027-02-10", &[6]);
    book.decided("2027-02-11T12:00:00Z", 6, Some(GUS), Restore);
    book.decided("2027-02-11T13:00:00Z", 6, Some(GUS), Appoint);
    book.about("2027-02-16", FAY, "membership", EvidenceOutcome::NotMet, EvidenceSource::Manager);
    book.waived(5, FAY, "membership", "2027-02-18T12:00:00Z", "2027-03-31");
    book.listed("2027-02-20", FAY, "2027-08-31", None);
    the_other_five(&mut book);
    book
}

/// Troops 8 to 12: the lead passed on and back, a proposal declined, a deputy, a waiver that ends, a troop that comes late.
fn the_other_five(book: &mut Book) {
    use DecisionKind::{Appoint, Restore, StandDown, Suspend};
    for (troop, who) in [(8, HANA), (8, IVO), (10, LEO), (11, NIA)] {
        book.coordinator(troop, who, None, "2026-10-05T12:00:00Z");
    }
    for (place, leads_at_last) in [(0, true), (1, false)] {
        let held = &mut book.troops[7].assignments[place];
        held.lead = leads_at_last;
        held.lead_changed_at = vec![at("2026-12-12T12:00:00Z"), at("2027-02-20T12:00:00Z")];
    }
    book.troops[9].assignments[0].until_at = Some(at("2026-12-20T05:00:00Z"));
    for who in [HANA, LEO, NIA] {
        book.listed("2026-11-03", who, "2027-08-31", Some("2027-12-31"));
    }
    book.listed("2026-11-03", IVO, "2027-08-31", None);
    book.coordinator(9, JUN, Some("2026-11-03T18:00:00Z"), "2026-11-03T18:00:00Z");
    book.last(9).confirmed_at = None;
    book.last(9).declined_at = Some(at("2026-11-05T12:00:00Z"));
    book.certificate("2026-11-10", HANA, "training", 92);
    book.certificate("2026-11-10", LEO, "training", 93);
    book.bank_form("2026-11-17", &[8, 10, 11]);
    book.decided("2026-11-18T12:00:00Z", 8, Some(HANA), Appoint);
    book.decided("2026-11-19T12:00:00Z", 10, Some(LEO), Appoint);
    book.waived(11, NIA, "training", "2026-11-20T12:00:00Z", "2027-01-10");
    book.decided("2026-11-23T12:00:00Z", 11, Some(NIA), Appoint);
    book.coordinator(9, KAI, None, "2026-11-25T12:00:00Z");
    book.listed("2026-12-01", KAI, "2027-01-31", Some("2028-01-01"));
    book.certificate("2026-12-04", KAI, "training", 99);
    book.bank_form("2026-12-08", &[9]);
    book.decided("2026-12-10T12:00:00Z", 9, Some(KAI), Appoint);
    book.listed("2026-12-15", IVO, "2027-08-31", Some("2028-01-01"));
    book.certificate("2026-12-16", IVO, "training", 90);
    book.decided("2026-12-18T12:00:00Z", 8, Some(IVO), Appoint);
    book.coordinator(10, MAY, None, "2026-12-28T12:00:00Z");
    book.listed("2027-01-05", MAY, "2027-08-31", Some("2028-06-30"));
    book.certificate("2027-01-06", MAY, "training", 90);
    book.decided("2027-01-11T12:00:00Z", 10, Some(MAY), Appoint);
    book.certificate("2027-01-14", NIA, "training", 100);
    book.coordinator(12, OTTO, None, "2027-01-18T12:00:00Z");
    book.decided("2027-01-24T12:00:00Z", 12, Some(OTTO), Suspend);
    book.listed("2027-01-26", OTTO, "2027-08-31", Some("2028-01-01"));
    book.certificate("2027-01-27", OTTO, "training", 91);
    book.bank_form("2027-01-28", &[12]);
    book.decided("2027-02-01T12:00:00Z", 12, Some(OTTO), Restore);
    book.decided("2027-02-02T12:00:00Z", 12, Some(OTTO), Appoint);
    book.listed("2027-02-05", KAI, "2027-08-31", None);
    book.decided("2027-03-01T12:00:00Z", 12, Some(OTTO), StandDown);
}
