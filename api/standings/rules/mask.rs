//! What others than the unit manager and the overseer see of a standing.

use super::{ReasonCode, RequirementOutcome, RequirementStanding, Standing, wording};
use crate::seasons::policy::RequirementKind;

impl Standing {
    /// The standing as everybody but the unit manager and the overseer sees it: a screening that is not met reads "not
    /// confirmed", without a date, a source, or a word that would tell why.
    #[must_use]
    pub fn masked(mut self) -> Self {
        let mut hidden = Vec::new();
        let people = self.coordinators.iter_mut().map(|one| (Some(one.person_id), &mut one.requirements));
        for (person, rows) in people.chain([(None, &mut self.requirements)]) {
            for row in rows.iter_mut().filter(|row| is_hidden(row)) {
                hidden.push((row.requirement.clone(), person, row.title.clone()));
                hide(row);
            }
        }
        for reason in &mut self.reasons {
            let title = hidden
                .iter()
                .find(|(code, person, _)| Some(code) == reason.requirement.as_ref() && *person == reason.person_id);
            if let Some((_, _, title)) = title {
                reason.code = ReasonCode::RequirementOpen;
                reason.sentence = wording::not_confirmed(title);
            }
        }
        self.lapses.retain(|lapse| {
            !hidden.iter().any(|(code, person, _)| *code == lapse.requirement && *person == lapse.person_id)
        });
        self
    }

    /// The standing as a viewer sees it: states and gates, no requirement, reason or step of anybody.
    #[must_use]
    pub fn states_only(mut self) -> Self {
        self.reasons.clear();
        self.next_step = None;
        self.requirements.clear();
        self.begins.clear();
        for coordinator in &mut self.coordinators {
            coordinator.requirements.clear();
            coordinator.next_step = None;
        }
        for gate in &mut self.gates {
            gate.reasons.clear();
            gate.ahead.clear();
            gate.let_through.clear();
        }
        self.lapses.clear();
        self
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
