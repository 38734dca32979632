//! What others than the unit manager and the overseer see of a standing.

use chrono::{DateTime, Utc};

use super::{ReasonCode, RequirementOutcome, RequirementStanding, Standing, Step, StepCode, wording};
use crate::common::ids::PersonId;
use crate::seasons::policy::RequirementKind;

impl Standing {
    /// The standing as everybody but the unit manager and the overseer sees it: a screening that is not met reads "not
    /// confirmed", without a date, a source, or a word that would tell why; one that is met reads "met" and no more.
    #[must_use]
    pub fn masked(self) -> Self {
        self.masked_but_for(None)
    }

    /// Without whoever is not among these people: what is known of them, and every reason and lapse that names them.
    #[must_use]
    pub fn only_about(mut self, people: &[PersonId]) -> Self {
        let known = |person: &Option<PersonId>| person.is_none_or(|one| people.contains(&one));
        self.coordinators.retain(|one| people.contains(&one.person_id));
        self.begins.retain(|one| people.contains(&one.person_id));
        self.reasons.retain(|one| known(&one.person_id));
        self.lapses.retain(|one| known(&one.person_id));
        for gate in &mut self.gates {
            for reasons in [&mut gate.reasons, &mut gate.ahead, &mut gate.let_through] {
                reasons.retain(|one| known(&one.person_id));
            }
        }
        self.next_step = self.next_step.filter(|step| known(&step.person_id));
        self
    }

    /// As [`Standing::masked`], but somebody's own met screening keeps its dates: one may know when it runs out.
    #[must_use]
    pub fn masked_but_for(mut self, own: Option<PersonId>) -> Self {
        let mut hidden = Vec::new();
        let people = self.coordinators.iter_mut().map(|one| (Some(one.person_id), &mut one.requirements));
        for (person, rows) in people.chain([(None, &mut self.requirements)]) {
            for row in rows.iter_mut().filter(|row| is_hidden(row)) {
                hidden.push((row.requirement.clone(), person, row.title.clone()));
                hide(row);
            }
        }
        // Of a screening that is met, only that: when it was seen and how long it holds is read by who may read screenings.
        let others = self.coordinators.iter_mut().filter(|one| own != Some(one.person_id));
        let mut screenings = Vec::new();
        let rows =
            others.map(|one| (Some(one.person_id), &mut one.requirements)).chain([(None, &mut self.requirements)]);
        for (person, rows) in rows {
            for row in rows.iter_mut().filter(|row| row.kind == RequirementKind::Screening) {
                (row.source, row.observed_on, row.valid_until_on, row.score_percent) = (None, None, None, None);
                screenings.push((row.requirement.clone(), person));
            }
        }
        screenings.extend(hidden.iter().map(|(code, person, _)| (code.clone(), *person)));
        for reason in &mut self.reasons {
            let title = hidden
                .iter()
                .find(|(code, person, _)| Some(code) == reason.requirement.as_ref() && *person == reason.person_id);
            if let Some((_, _, title)) = title {
                reason.code = ReasonCode::RequirementOpen;
                reason.sentence = wording::not_confirmed(title);
            }
        }
        let told = |code: &String, person| screenings.iter().any(|(of, who)| of == code && *who == person);
        // When an answer changes would tell the day that a screening runs out.
        let days: Vec<_> = self
            .lapses
            .iter()
            .filter(|lapse| told(&lapse.requirement, lapse.person_id))
            .map(|one| one.lapses_at)
            .collect();
        let untold = |at: &DateTime<Utc>| !days.contains(at);
        self.changes_at = self.changes_at.filter(untold);
        for gate in &mut self.gates {
            gate.changes_at = gate.changes_at.filter(untold);
        }
        self.lapses.retain(|lapse| !told(&lapse.requirement, lapse.person_id));
        let tells = |step: &Step| {
            step.code == StepCode::Renew && step.requirement.as_ref().is_some_and(|code| told(code, step.person_id))
        };
        self.next_step = self.next_step.take().filter(|step| !tells(step));
        for coordinator in &mut self.coordinators {
            coordinator.next_step = coordinator.next_step.take().filter(|step| !tells(step));
        }
        self
    }

    /// The standing as a viewer sees it: states and gates, no requirement, reason or step of anybody.
    #[must_use]
    pub fn states_only(self) -> Self {
        let mut seen = self.masked();
        seen.reasons.clear();
        seen.next_step = None;
        seen.requirements.clear();
        seen.begins.clear();
        // Who coordinates is no total.
        seen.coordinators.clear();
        for gate in &mut seen.gates {
            gate.reasons.clear();
            gate.ahead.clear();
            gate.let_through.clear();
        }
        seen.lapses.clear();
        seen
    }
}

fn is_hidden(row: &RequirementStanding) -> bool {
    row.kind == RequirementKind::Screening && row.outcome != RequirementOutcome::Met
}

fn hide(row: &mut RequirementStanding) {
    row.outcome = RequirementOutcome::NotConfirmed;
    row.source = None;
    row.observed_on = None;
    row.valid_until_on = None;
    row.score_percent = None;
    row.grace_until_at = None;
    row.waiver_id = None;
}
