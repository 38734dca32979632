//! What evidence must look like before it is taken in.

use chrono::{DateTime, Months, NaiveDate, Utc};

use crate::seasons::calendar::Calendar;
use crate::seasons::policy::{Fault, Policy, ProofKind, Requirement, RequirementKind, ValidityKind, Whose};
use crate::standings::rules::{EvidenceOutcome, EvidenceSource};

/// Evidence as somebody sent it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Claim<'a> {
    pub requirement: &'a str,
    /// Whether it is about a person; a troop otherwise.
    pub of_person: bool,
    pub outcome: EvidenceOutcome,
    pub source: EvidenceSource,
    pub observed_on: NaiveDate,
    /// The key under which the day was sent.
    pub day_key: &'static str,
    pub valid_until_on: Option<NaiveDate>,
    pub score_percent: Option<u8>,
    pub note: Option<&'a str>,
}

/// Everything that is wrong with it, with its place in the body.
pub(super) fn faults(policy: &Policy, calendar: &Calendar, now: DateTime<Utc>, claim: &Claim<'_>) -> Vec<Fault> {
    let mut faults = Vec::new();
    let mut add = |key: &str, code: &'static str, detail: String| {
        faults.push(Fault { pointer: format!("/{key}"), code, detail });
    };
    let Some(asked) = policy.requirements.iter().find(|asked| asked.code == claim.requirement) else {
        let codes: Vec<&str> = policy.requirements.iter().map(|asked| &*asked.code).collect();
        add("requirement", "unknown_requirement", format!("The policy asks for: {}.", codes.join(", ")));
        return faults;
    };
    if (asked.whose == Whose::Troop) == claim.of_person {
        let (key, right) = if claim.of_person { ("person_id", "troop_id") } else { ("troop_id", "person_id") };
        add(key, "other_subject", format!("\"{}\" is met by somebody else; send {right} instead.", asked.title));
    }
    if claim.observed_on > calendar.date(now) {
        add(claim.day_key, "in_future", format!("A day that has come: at most {}.", calendar.date(now)));
    } else if let Some(first) = first_day(asked, calendar, claim.observed_on) {
        add(claim.day_key, "before_season", format!("A day of this season: {first} or later."));
    }
    let by_hand = claim.source == EvidenceSource::Manager && claim.outcome == EvidenceOutcome::Met;
    if by_hand && !asked.manager_may_enter {
        add(
            "requirement",
            "proven_by_list_only",
            "The policy lets only a posted list or certificate prove it.".to_owned(),
        );
    }
    match claim.valid_until_on {
        Some(last) if last < claim.observed_on => {
            add("valid_until_on", "before_proof", format!("Not before {}.", claim.observed_on));
        }
        None if by_hand && asked.validity.kind == ValidityKind::UntilEvidenceDate => {
            add("valid_until_on", "missing", "It holds until a day that the proof names: say which.".to_owned());
        }
        _ => {}
    }
    if claim.score_percent.is_some() && asked.proof.kind == ProofKind::PostedList {
        add("score_percent", "no_score", "What a posted list proves carries no score.".to_owned());
    }
    if claim.note.is_some() && asked.kind == RequirementKind::Screening {
        add("note", "not_kept", "Of a screening only outcome and dates are kept: leave the note out.".to_owned());
    }
    faults
}

/// The first day on which a proof could have been given for this season, if the day is before it.
///
/// What holds for some months may have been proven before the season, as long as it still holds when that starts.
fn first_day(asked: &Requirement, calendar: &Calendar, day: NaiveDate) -> Option<NaiveDate> {
    let start = calendar.starts_on;
    let first = match (asked.validity.kind, asked.validity.months) {
        (ValidityKind::Months, Some(months)) => start.checked_sub_months(Months::new(months.into())).unwrap_or(start),
        _ => start,
    };
    (day < first).then_some(first)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::seasons::policy::shipped_policy;

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn claim(requirement: &str) -> Claim<'_> {
        Claim {
            requirement,
            of_person: true,
            outcome: EvidenceOutcome::Met,
            source: EvidenceSource::Manager,
            observed_on: day("2026-10-01"),
            day_key: "observed_on",
            valid_until_on: None,
            score_percent: None,
            note: None,
        }
    }

    /// A season in New York; it is the evening of 31 October there and already November in UTC.
    fn told(claim: &Claim<'_>) -> Vec<(String, &'static str)> {
        let calendar =
            Calendar { zone: chrono_tz::America::New_York, starts_on: day("2026-09-01"), milestones: vec![] };
        let now = "2026-11-01T01:00:00Z".parse().unwrap();
        let faults = faults(&shipped_policy().unwrap(), &calendar, now, claim);
        faults.into_iter().map(|fault| (fault.pointer, fault.code)).collect()
    }

    #[test]
    fn each_fault_is_told_at_its_place() {
        let none: [(&str, &str); 0] = [];
        let pairs = |told: Vec<(String, &'static str)>| told;
        let table: Vec<(Claim<'_>, Vec<(&str, &str)>)> = vec![
            (claim("agreement"), none.to_vec()),
            (claim("moon"), vec![("/requirement", "unknown_requirement")]),
            (claim("bank_details"), vec![("/person_id", "other_subject")]),
            (Claim { of_person: false, ..claim("agreement") }, vec![("/troop_id", "other_subject")]),
            (Claim { observed_on: day("2026-10-31"), ..claim("agreement") }, none.to_vec()),
            (Claim { observed_on: day("2026-11-01"), ..claim("agreement") }, vec![("/observed_on", "in_future")]),
            (Claim { observed_on: day("2026-08-31"), ..claim("agreement") }, vec![("/observed_on", "before_season")]),
            (Claim { observed_on: day("2024-09-01"), ..claim("first_season_course") }, none.to_vec()),
            (
                Claim { observed_on: day("2024-08-31"), ..claim("first_season_course") },
                vec![("/observed_on", "before_season")],
            ),
            (claim("membership"), vec![("/valid_until_on", "missing")]),
            (Claim { valid_until_on: Some(day("2027-06-30")), ..claim("membership") }, none.to_vec()),
            (
                Claim { valid_until_on: Some(day("2026-09-30")), ..claim("membership") },
                vec![("/valid_until_on", "before_proof")],
            ),
            (
                Claim { valid_until_on: Some(day("2027-06-30")), ..claim("screening") },
                vec![("/requirement", "proven_by_list_only")],
            ),
            (Claim { outcome: EvidenceOutcome::NotMet, ..claim("screening") }, none.to_vec()),
            (
                Claim { outcome: EvidenceOutcome::NotMet, note: Some("heard"), ..claim("screening") },
                vec![("/note", "not_kept")],
            ),
            (Claim { score_percent: Some(90), ..claim("registration") }, vec![("/score_percent", "no_score")]),
        ];
        for (claim, expected) in table {
            let expected: Vec<_> = expected.into_iter().map(|(pointer, code)| (pointer.to_owned(), code)).collect();
            let told = pairs(told(&claim));
            assert_eq!(told.iter().map(|(p, c)| (p.clone(), *c)).collect::<Vec<_>>(), expected, "{claim:?}");
        }
    }
}
