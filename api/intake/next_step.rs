//! What to do next with an uploaded list, for a volunteer.

use super::counts::Counts;
use super::shown::IntakeState;

/// What to do next with a list, in a sentence.
pub(super) fn next_step(state: IntakeState, counts: &Counts, seen_before: bool) -> String {
    let step = step_of(state, counts);
    let says_something = counts.changes > 0 || counts.absences > 0;
    if seen_before && state == IntakeState::Ready && says_something {
        return format!(
            "This very file was applied before, for another day. Make sure that it is not last time's file and that the day is right. {step}"
        );
    }
    step
}

fn step_of(state: IntakeState, counts: &Counts) -> String {
    match state {
        IntakeState::Reading => "The file is being read. Ask again in a second.".into(),
        IntakeState::Unreadable => "Mend the file as the fault says and upload it again.".into(),
        IntakeState::NeedsSheet => "Several sheets could be the list: say which is meant (choose_sheet).".into(),
        IntakeState::NeedsColumns => "Say which columns are meant, or in which order their days are written.".into(),
        IntakeState::Ready if counts.waiting > 0 => {
            format!("Decide about the {} a person must look at, then apply the list.", amount(counts.waiting, "row"))
        }
        IntakeState::Ready => ready_step(counts),
        IntakeState::Reversed => "It was taken back. Upload it again if it is right after all.".into(),
        IntakeState::Applied => applied_step(counts),
        IntakeState::Discarded => "It was put away and changed nothing.".into(),
    }
}

/// What to look at before a list is applied.
fn ready_step(counts: &Counts) -> String {
    let all = counts.changes.saturating_add(counts.absences);
    match (all, counts.problems) {
        (0, 0) => return "Everything on this list is known: applying it changes nothing.".into(),
        (0, problems) => {
            let cells = amount(problems, "cell");
            return format!(
                "Applying it changes nothing, and {cells} could not be used: look at the rows, mend the file and upload it again."
            );
        }
        _ => {}
    }
    let look = [
        (counts.changes, format!("the {}", amount(counts.changes, "change"))),
        (counts.absences, format!("the {} who are not on this complete list", counts.absences)),
        (counts.problems, format!("{} that could not be used", amount(counts.problems, "cell"))),
    ];
    let look: Vec<String> = look.into_iter().filter(|(number, _)| *number > 0).map(|(_, words)| words).collect();
    format!("Look at {}, then apply the list.", look.join(" and at "))
}

/// What came of an applied list.
fn applied_step(counts: &Counts) -> String {
    let changes = counts.changes.saturating_add(counts.absences);
    match (changes, counts.problems) {
        (0, 0) => "It was applied and changed nothing.".into(),
        (_, 0) => format!("It was applied with {}. Nothing more is to be done.", amount(changes, "change")),
        (_, problems) => format!(
            "It was applied with {}; {} could not be used and said nothing.",
            amount(changes, "change"),
            amount(problems, "cell")
        ),
    }
}

/// `1 row`, `3 rows`.
fn amount(number: u32, noun: &str) -> String {
    format!("{number} {noun}{}", if number == 1 { "" } else { "s" })
}
