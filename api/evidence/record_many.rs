//! Record one fact about many people or troops at once.

use std::collections::BTreeSet;

use actix_web::post;
use chrono::{DateTime, NaiveDate, Utc};
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::record::{EvidencePath, HandOutcome};
use super::rules::{self, Claim};
use crate::auth::Permit;
use crate::auth::permission::{EvidenceRecord, Permission as _};
use crate::change::{self, Touched};
use crate::common::answer::Created;
use crate::common::body::{Json, Path};
use crate::common::ids::{EvidenceId, PersonId, SeasonId, TroopId};
use crate::error::{ApiError, Code, FieldError, Problems};
use crate::seasons;
use crate::seasons::calendar::Calendar;
use crate::seasons::policy::{Fault, Policy};
use crate::standings::rules::{EvidenceOutcome, EvidenceSource};
use crate::standings::{self, NewEvidence, Subject};

/// One fact about many people, or about many troops, that the unit manager has seen: the sign-in sheet of an evening.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"requirement": "agreement", "about": [{"person_id": "0198c0de-0000-7000-8000-000000000021"}], "outcome": "met", "note": "Signed at the kick-off evening."}))]
pub struct EvidenceAboutMany {
    /// The code of the requirement.
    #[garde(length(min = 1, max = 40))]
    #[schema(min_length = 1, max_length = 40)]
    requirement: String,
    /// Whom it is about, each once: coordinators, or troops for a requirement of the troop.
    #[garde(length(min = 1, max = 300), dive)]
    #[schema(min_items = 1, max_items = 300)]
    about: Vec<OneOfMany>,
    /// What was seen.
    #[garde(skip)]
    outcome: HandOutcome,
    /// The day for which it is true: today or earlier, and in this season. Leave it out for today.
    #[garde(skip)]
    observed_on: Option<NaiveDate>,
    /// The last day for which it holds, where the proof names one.
    #[garde(skip)]
    valid_until_on: Option<NaiveDate>,
    /// How it was seen. Not for a screening, of which only outcome and dates are kept.
    #[garde(length(chars, min = 1, max = 400))]
    #[schema(min_length = 1, max_length = 400)]
    note: Option<String>,
}

/// One of those whom a fact is about.
#[derive(Clone, Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct OneOfMany {
    /// The coordinator; leave it out for a troop.
    #[garde(skip)]
    person_id: Option<PersonId>,
    /// The troop; leave it out for a coordinator.
    #[garde(skip)]
    troop_id: Option<TroopId>,
    /// The own score in whole percent, where there is one.
    #[garde(inner(range(max = 100)))]
    #[schema(maximum = 100)]
    score_percent: Option<u8>,
}

impl OneOfMany {
    fn subject(&self) -> Option<Subject> {
        match (self.person_id, self.troop_id) {
            (Some(person), None) => Some(Subject::Person(person)),
            (None, Some(troop)) => Some(Subject::Troop(troop)),
            _ => None,
        }
    }
}

/// What was recorded: one fact for each whom it is about, in the order in which they were sent.
#[derive(Debug, Serialize, ToSchema)]
pub struct EvidenceOfMany {
    /// The season.
    pub season_id: SeasonId,
    /// The code of the requirement.
    #[schema(max_length = 40)]
    pub requirement: String,
    /// What each of them says.
    pub outcome: EvidenceOutcome,
    /// The day for which they say so.
    pub observed_on: NaiveDate,
    /// When they were recorded.
    pub recorded_at: DateTime<Utc>,
    /// The facts.
    #[schema(max_items = 300)]
    pub evidence_ids: Vec<EvidenceId>,
}

/// Record one fact about up to 300 people or troops in one request: all of it or nothing.
///
/// Whatever is wrong with anybody on the list (unknown, named twice, not the one whom the requirement asks) is told at
/// once, with the place in the list. One row of the unit's log stands for the whole; the standings of every troop it
/// touches are computed again at once.
#[utoipa::path(tag = "evidence", params(EvidencePath), request_body = EvidenceAboutMany, extensions(("x-permission" = json!(EvidenceRecord::NAME))), responses((status = 201, description = "The facts.", body = EvidenceOfMany), Problems))]
#[post("/v1/units/{unit_id}/evidence/about-many")]
pub async fn record_evidence_about_many(
    permit: Permit<EvidenceRecord>,
    _path: Path<EvidencePath>,
    body: Json<EvidenceAboutMany>,
) -> Result<Created<EvidenceOfMany>, ApiError> {
    let sent = body.0;
    let (people, troops) = sent.subjects();
    let (mut tx, unit) = (permit.tx()?, permit.unit()?);
    let season = seasons::hold_current(&mut tx, unit).await?;
    let touched = Touched::some(season.season_id, people.clone(), troops.clone());
    change::hold(&mut tx, unit, &touched).await?;
    let of_season = (unit, season.season_id);
    let known = standings::known_subjects(&mut tx, of_season, (&people, &troops), permit.scope()).await?;
    let unknown = sent.unknown(&known);
    if unknown.is_empty() {
        tx.replay().await?;
        season.open()?;
    }
    let policy = seasons::policy_of(&mut tx, unit, season.season_id).await?;
    let calendar = seasons::calendar_of(&mut tx, unit, &season).await?;
    let observed_on = sent.observed_on.unwrap_or_else(|| calendar.date(permit.now()));
    let invalid = sent.faults(observed_on, (&policy, &calendar), permit.now());
    if !(unknown.is_empty() && invalid.is_empty()) {
        let code = if invalid.is_empty() { Code::UnknownReference } else { Code::Invalid };
        return Err(ApiError::new(code).errors([unknown, invalid].concat()));
    }
    let facts = sent.facts(observed_on);
    let evidence_ids = standings::record_evidence(&mut tx, &permit, season.season_id, &policy, &facts).await?;
    change::refresh(&mut tx, unit, &touched).await?;
    for person in people {
        tx.about("person", person);
    }
    for troop in troops {
        tx.about("troop", troop);
    }
    let made = EvidenceOfMany {
        season_id: season.season_id,
        requirement: sent.requirement,
        outcome: sent.outcome.into(),
        observed_on,
        recorded_at: tx.logged_at(),
        evidence_ids,
    };
    tx.commit_with(Created::new(&made)?).await
}

impl EvidenceAboutMany {
    /// Whom it is about, as far as that is said: people and troops.
    fn subjects(&self) -> (Vec<PersonId>, Vec<TroopId>) {
        let people = self.about.iter().filter_map(|one| one.person_id);
        let troops = self.about.iter().filter_map(|one| one.troop_id);
        (people.collect(), troops.collect())
    }

    /// Those whom the season does not know, or whom the permit does not reach: one cannot be told from the other.
    fn unknown(&self, known: &[Subject]) -> Vec<FieldError> {
        let named = self.about.iter().enumerate().filter_map(|(place, one)| Some((place, one.subject()?)));
        let unknown = named.filter(|(_, subject)| !known.contains(subject));
        let told = unknown.map(|(place, subject)| {
            let (key, detail) = match subject {
                Subject::Person(_) => ("person_id", "somebody who coordinates a troop in this season"),
                Subject::Troop(_) => ("troop_id", "a troop of this season"),
            };
            FieldError::at(format!("/about/{place}/{key}"), "unknown", detail)
        });
        told.collect()
    }

    /// Everything else that is wrong with it; what all of them share is told once.
    fn faults(
        &self,
        observed_on: NaiveDate,
        (policy, calendar): (&Policy, &Calendar),
        now: DateTime<Utc>,
    ) -> Vec<FieldError> {
        let mut seen = BTreeSet::new();
        let mut faults: Vec<FieldError> = Vec::new();
        for (place, one) in self.about.iter().enumerate() {
            let here = format!("/about/{place}");
            let Some(subject) = one.subject() else {
                faults.push(FieldError::at(here, "one_subject", "Send either person_id or troop_id."));
                continue;
            };
            if !seen.insert((one.person_id, one.troop_id)) {
                faults.push(FieldError::at(here, "twice", "It stands above already; once is enough."));
                continue;
            }
            let claim = Claim {
                requirement: &self.requirement,
                of_person: matches!(subject, Subject::Person(_)),
                outcome: self.outcome.into(),
                source: EvidenceSource::Manager,
                observed_on,
                day_key: "observed_on",
                valid_until_on: self.valid_until_on,
                score_percent: one.score_percent,
                note: self.note.as_deref(),
            };
            for Fault { pointer, code, detail } in rules::faults(policy, calendar, now, &claim) {
                let own = ["/person_id", "/troop_id", "/score_percent"].contains(&&*pointer);
                let fault = FieldError::at(if own { here.clone() + &pointer } else { pointer }, code, detail);
                if !faults.contains(&fault) {
                    faults.push(fault);
                }
            }
        }
        faults
    }

    /// The facts, one for each whom it is about.
    fn facts(&self, observed_on: NaiveDate) -> Vec<NewEvidence> {
        let subjects = self.about.iter().filter_map(|one| Some((one.subject()?, one.score_percent)));
        let facts = subjects.map(|(subject, score_percent)| NewEvidence {
            requirement: self.requirement.clone(),
            subject,
            outcome: self.outcome.into(),
            observed_on,
            valid_until_on: self.valid_until_on,
            score_percent,
            source: EvidenceSource::Manager,
            list_row: None,
            note: self.note.clone(),
        });
        facts.collect()
    }
}
