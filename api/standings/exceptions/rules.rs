//! Who may let go of what, until when, and how far an exception has come.

use chrono::{DateTime, NaiveDate, Utc};
use uuid::Uuid;

use super::ExceptionState;
use crate::common::ids::{PersonId, TroopId};
use crate::error::{ApiError, Code, FieldError};
use crate::seasons::calendar::Calendar;
use crate::seasons::policy::{Fault, OverrideBy, Policy, WaivableBy, Whose};
use crate::standings::rules::{GateStanding, RequirementOutcome, RequirementStanding};

/// What an exception's state depends on.
#[derive(Clone, Copy, Debug)]
pub(super) struct Course {
    pub until_on: NaiveDate,
    pub granted_at: Option<DateTime<Utc>>,
    pub revoked_at: Option<DateTime<Utc>>,
}

/// How far an exception has come at an instant.
pub(super) fn state(course: Course, calendar: &Calendar, at: DateTime<Utc>) -> ExceptionState {
    if course.revoked_at.is_some() {
        ExceptionState::TakenBack
    } else if at >= calendar.end_of_day(course.until_on) {
        ExceptionState::Over
    } else if course.granted_at.is_none() {
        ExceptionState::Waiting
    } else {
        ExceptionState::InForce
    }
}

/// What is wrong with a last day: it must come, and it cannot outlast the season.
pub(super) fn until_fault(until_on: NaiveDate, today: NaiveDate, season_ends_on: NaiveDate) -> Option<Fault> {
    let fault = |code, detail| Some(Fault { pointer: "/until_on".to_owned(), code, detail });
    if until_on < today {
        return fault("in_past", format!("Today or later: at least {today}."));
    }
    if until_on > season_ends_on {
        return fault("after_season", format!("Within the season: at most {season_ends_on}."));
    }
    None
}

/// What is wrong with the requirement that is to be waived, if anything.
pub(super) fn requirement_fault(policy: &Policy, code: &str, of_person: bool) -> Option<Fault> {
    let fault = |key: &str, code, detail| Some(Fault { pointer: format!("/{key}"), code, detail });
    let Some(asked) = policy.requirements.iter().find(|asked| asked.code == code) else {
        let codes: Vec<&str> = policy.requirements.iter().map(|asked| &*asked.code).collect();
        return fault("requirement", "unknown_requirement", format!("The policy asks for: {}.", codes.join(", ")));
    };
    let title = &asked.title;
    match (asked.whose, of_person) {
        (Whose::UnitRole, _) => {
            let detail = format!("\"{title}\" is asked of people with a unit role; no troop waits for it.");
            fault("requirement", "not_in_standing", detail)
        }
        (Whose::Troop, true) => {
            fault("person_id", "other_subject", format!("\"{title}\" is the troop's; send troop_id instead."))
        }
        (Whose::Coordinator, false) => {
            fault("troop_id", "other_subject", format!("\"{title}\" is a coordinator's; send person_id instead."))
        }
        _ => None,
    }
}

/// Whether a waiver of this requirement needs two people.
///
/// # Errors
/// 409 if the policy lets nobody waive it.
pub(super) fn waiver_needs_two(policy: &Policy, code: &str) -> Result<bool, ApiError> {
    let asked = policy.requirements.iter().find(|asked| asked.code == code);
    match asked.map(|asked| (asked.who_may_waive(), asked)) {
        Some((WaivableBy::Manager, _)) => Ok(false),
        Some((WaivableBy::TwoPeople, _)) => Ok(true),
        Some((WaivableBy::Never, asked)) => {
            let detail = format!(
                "The unit's policy says that \"{}\" is waived by nobody. It must be met; only a change of the policy could allow a waiver.",
                asked.title
            );
            let named = FieldError::matter(&asked.code, format!("{}: waivable_by is never.", asked.title));
            Err(ApiError::new(Code::NobodyMay).detail(detail).errors(vec![named]))
        }
        None => {
            let detail = "The policy does not ask for this any more, so there is nothing to waive.";
            Err(ApiError::new(Code::WrongState).detail(detail))
        }
    }
}

/// Whether an override of this gate needs two people: as the strictest rule says that holds it shut now, or, while it
/// is open, that will hold it shut.
///
/// # Errors
/// 409 if nothing is in the way, or something that the policy lets nobody override.
pub(super) fn override_needs_two(gate: &GateStanding, calendar: &Calendar) -> Result<bool, ApiError> {
    let held = if gate.reasons.is_empty() { &gate.ahead } else { &gate.reasons };
    if held.is_empty() {
        let now = "The troop may pass this gate as things stand";
        let detail = match gate.changes_at {
            None => format!("{now}, and nothing will close it: there is nothing to override."),
            Some(at) => format!(
                "{now}. It will close when {} begins, because something runs out by then: have that renewed (list_lapses_ahead), or override the gate once it is closed.",
                calendar.date(at)
            ),
        };
        return Err(ApiError::new(Code::WrongState).detail(detail));
    }
    let never: Vec<FieldError> = held
        .iter()
        .filter(|reason| reason.override_by == OverrideBy::Never)
        .map(|reason| {
            let code = reason.requirement.clone().unwrap_or_else(|| "not_appointed".to_owned());
            FieldError::matter(code, &*reason.sentence)
        })
        .collect();
    if !never.is_empty() {
        let detail = "The unit's policy says that nobody may override what holds this gate shut. The list below names what must be met first.";
        return Err(ApiError::new(Code::NobodyMay).detail(detail).errors(never));
    }
    Ok(held.iter().any(|reason| reason.override_by == OverrideBy::TwoPeople))
}

/// Whether this actor may agree to what another asked for.
///
/// # Errors
/// 409 if nothing waits, or if it is the same person.
pub(super) fn may_agree(state: ExceptionState, asked_by: &str, actor: &str) -> Result<(), ApiError> {
    match state {
        ExceptionState::Waiting if asked_by == actor => Err(Code::SecondPersonNeeded.into()),
        ExceptionState::Waiting => Ok(()),
        ExceptionState::InForce => {
            Err(ApiError::new(Code::WrongState).detail("It is in force: nobody need agree any more."))
        }
        ExceptionState::Over | ExceptionState::TakenBack => Err(Code::AlreadyEnded.into()),
    }
}

/// Whether it is somebody else's matter: nobody gives the second word for themselves, or for a troop that they coordinate.
///
/// # Errors
/// 409 if it is one's own.
pub(super) fn not_for_oneself(
    (oneself, coordinates): (PersonId, &[TroopId]),
    (person, troop): (Option<Uuid>, Option<Uuid>),
) -> Result<(), ApiError> {
    if person != Some(oneself.0) && troop.is_none_or(|troop| !coordinates.contains(&TroopId(troop))) {
        return Ok(());
    }
    let detail = "This is about you, or about a troop that you coordinate, so the second word is somebody else's: another overseer must agree, or decline it.";
    Err(ApiError::new(Code::SecondPersonNeeded).detail(detail))
}

/// Whether a second person can still refuse it.
///
/// # Errors
/// 409 if it does not wait any more.
pub(super) fn may_decline(state: ExceptionState) -> Result<(), ApiError> {
    match state {
        ExceptionState::Waiting => Ok(()),
        ExceptionState::InForce => {
            let detail = "It is in force already. Whoever may give it can take it back (end_waiver, end_override).";
            Err(ApiError::new(Code::WrongState).detail(detail))
        }
        ExceptionState::Over | ExceptionState::TakenBack => Err(Code::AlreadyEnded.into()),
    }
}

/// What is wrong with waiving something that is met, if anything: there is nothing to let go while it holds that long.
pub(super) fn nothing_to_waive(row: &RequirementStanding, until_on: NaiveDate) -> Result<(), ApiError> {
    if row.outcome != RequirementOutcome::Met || row.valid_until_on.is_some_and(|valid| valid < until_on) {
        return Ok(());
    }
    let until = row.valid_until_on.map(|day| format!(" until {day}")).unwrap_or_default();
    let detail = format!("\"{}\" is met{until}: there is nothing to waive.", row.title);
    Err(ApiError::new(Code::WrongState).detail(detail))
}

/// Whether it can still be taken back.
///
/// # Errors
/// 409 if it is over or was taken back.
pub(super) fn may_end(state: ExceptionState) -> Result<(), ApiError> {
    match state {
        ExceptionState::Waiting | ExceptionState::InForce => Ok(()),
        ExceptionState::Over | ExceptionState::TakenBack => Err(Code::AlreadyEnded.into()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::seasons::policy::{GateName, shipped_policy};
    use crate::standings::rules::{GateReason, ReasonCode};

    fn code(error: ApiError) -> (&'static str, Vec<String>) {
        let ApiError::Fault(fault) = error else { panic!("{error:?}") };
        (fault.code.name(), fault.errors.into_iter().map(|error| error.code).collect())
    }

    #[test]
    fn the_policy_says_who_may_waive() {
        let policy = shipped_policy().unwrap();
        assert!(!waiver_needs_two(&policy, "agreement").unwrap());
        assert!(waiver_needs_two(&policy, "yearly_training").unwrap());
        for never in ["membership", "registration", "screening"] {
            assert_eq!(code(waiver_needs_two(&policy, never).unwrap_err()), ("nobody_may", vec![never.to_owned()]));
        }
        assert_eq!(code(waiver_needs_two(&policy, "moon").unwrap_err()).0, "wrong_state");
    }

    #[test]
    fn a_waiver_names_a_requirement_and_whose_it_is() {
        let mut policy = shipped_policy().unwrap();
        policy.requirements[3].whose = Whose::UnitRole;
        let told = |code: &str, of_person| {
            requirement_fault(&policy, code, of_person).map(|fault| (fault.pointer, fault.code))
        };
        assert_eq!(told("yearly_training", true), None);
        assert_eq!(told("bank_details", false), None);
        assert_eq!(told("bank_details", true), Some(("/person_id".to_owned(), "other_subject")));
        assert_eq!(told("yearly_training", false), Some(("/troop_id".to_owned(), "other_subject")));
        assert_eq!(told("agreement", true), Some(("/requirement".to_owned(), "not_in_standing")));
        assert_eq!(told("moon", true), Some(("/requirement".to_owned(), "unknown_requirement")));
    }

    #[test]
    fn a_last_day_lies_between_today_and_the_seasons_end() {
        let day = |text: &str| text.parse::<NaiveDate>().unwrap();
        for (until, expected) in [
            ("2027-01-09", Some("in_past")),
            ("2027-01-10", None),
            ("2027-05-31", None),
            ("2027-06-01", Some("after_season")),
        ] {
            let told = until_fault(day(until), day("2027-01-10"), day("2027-05-31")).map(|fault| fault.code);
            assert_eq!(told, expected, "{until}");
        }
    }

    fn gate(reasons: &[OverrideBy], ahead: &[OverrideBy]) -> GateStanding {
        let reason = |by: &OverrideBy| GateReason {
            code: ReasonCode::NotAppointed,
            requirement: None,
            person_id: None,
            sentence: "Not appointed.".to_owned(),
            who_can_open: vec![],
            override_by: *by,
            from: None,
            until: None,
        };
        GateStanding {
            gate: GateName::Order,
            open: reasons.is_empty(),
            reasons: reasons.iter().map(reason).collect(),
            ahead: ahead.iter().map(reason).collect(),
            let_through: vec![],
            overridden_by: None,
            changes_at: None,
        }
    }

    /// What each gate needs: `Ok(two people?)`, or the code of the refusal.
    #[test]
    fn the_strictest_rule_in_the_way_says_how_many_people_an_override_needs() {
        use OverrideBy::{Manager, Never, TwoPeople};
        type Case<'a> = (&'a [OverrideBy], &'a [OverrideBy], Result<bool, &'a str>);
        let cases: [Case<'_>; 8] = [
            (&[Manager], &[], Ok(false)),
            (&[Manager, TwoPeople], &[], Ok(true)),
            (&[Manager, Never], &[], Err("nobody_may")),
            (&[], &[Manager], Ok(false)),
            (&[], &[TwoPeople], Ok(true)),
            (&[], &[Never], Err("nobody_may")),
            // What comes later does not stand in the way of what is asked for now.
            (&[Manager], &[Never], Ok(false)),
            (&[], &[], Err("wrong_state")),
        ];
        for (reasons, ahead, expected) in cases {
            let told = override_needs_two(&gate(reasons, ahead), &calendar()).map_err(|error| code(error).0);
            assert_eq!(told, expected, "{reasons:?} {ahead:?}");
        }
    }

    #[test]
    fn the_second_person_is_another_one() {
        use ExceptionState::{InForce, Over, TakenBack, Waiting};
        for (state, actor, expected) in [
            (Waiting, "account:a", Some("second_person_needed")),
            (Waiting, "account:b", None),
            (InForce, "account:b", Some("wrong_state")),
            (Over, "account:b", Some("already_ended")),
            (TakenBack, "account:b", Some("already_ended")),
        ] {
            let told = may_agree(state, "account:a", actor).err().map(|error| code(error).0);
            assert_eq!(told, expected, "{state:?} {actor}");
        }
        for (state, may) in [(Waiting, true), (InForce, true), (Over, false), (TakenBack, false)] {
            assert_eq!(may_end(state).is_ok(), may, "{state:?}");
            assert_eq!(may_decline(state).is_ok(), state == Waiting, "{state:?}");
        }
    }

    fn calendar() -> Calendar {
        Calendar { zone: chrono_tz::America::New_York, starts_on: "2026-09-01".parse().unwrap(), milestones: vec![] }
    }

    #[test]
    fn an_open_gate_that_will_close_is_not_said_to_stay_open() {
        let told = |changes_at: Option<&str>| {
            let gate = GateStanding { changes_at: changes_at.map(|at| at.parse().unwrap()), ..gate(&[], &[]) };
            let ApiError::Fault(fault) = override_needs_two(&gate, &calendar()).unwrap_err() else { panic!() };
            fault.detail.unwrap_or_default()
        };
        assert!(told(None).contains("nothing will close it"));
        let closes = told(Some("2027-02-01T05:00:00Z"));
        assert!(closes.contains("It will close when 2027-02-01 begins"), "{closes}");
    }

    #[test]
    fn an_exception_is_over_when_its_last_local_day_is() {
        let calendar = calendar();
        let at = |text: &str| text.parse::<DateTime<Utc>>().unwrap();
        let course = Course {
            until_on: "2027-01-15".parse().unwrap(),
            granted_at: Some(at("2027-01-01T12:00:00Z")),
            revoked_at: None,
        };
        assert_eq!(state(course, &calendar, at("2027-01-16T04:59:59Z")), ExceptionState::InForce);
        assert_eq!(state(course, &calendar, at("2027-01-16T05:00:00Z")), ExceptionState::Over);
        let waiting = Course { granted_at: None, ..course };
        assert_eq!(state(waiting, &calendar, at("2027-01-10T12:00:00Z")), ExceptionState::Waiting);
        let back = Course { revoked_at: Some(at("2027-01-02T12:00:00Z")), ..course };
        assert_eq!(state(back, &calendar, at("2027-01-20T12:00:00Z")), ExceptionState::TakenBack);
    }
}
