//! What to do next with an uploaded list, for a volunteer.

use chrono::{DateTime, NaiveDate, Utc};

use super::columns::plan::{ColumnPlan, UnusedColumn};
use super::counts::Counts;
use super::kinds::ListKind;
use super::shown::IntakeState;

/// Of so many columns at most the heading is told; the rest is counted.
const COLUMNS_NAMED: usize = 6;

/// A list, as far as the next step depends on it.
pub(super) struct OfList<'a> {
    pub kind: ListKind,
    pub state: IntakeState,
    pub counts: &'a Counts,
    pub columns: Option<&'a ColumnPlan>,
    /// Whether this very file was applied before.
    pub seen_before: bool,
    /// The day for which a newer list of the kind speaks that was applied already.
    pub newer_of: Option<NaiveDate>,
    /// When the file was deleted, if it was.
    pub deleted_at: Option<DateTime<Utc>>,
}

/// What to do next with a list, in a sentence or two.
pub(super) fn next_step(list: &OfList<'_>) -> String {
    let mut step = step_of(list);
    if list.state == IntakeState::Ready && list.seen_before && recorded(list) > 0 {
        step = format!(
            "This very file was applied before, for another day. Make sure that it is not last time's file and that the day is right. {step}"
        );
    }
    if list.state == IntakeState::Ready && list.counts.unfamiliar_rows > 0 {
        let (unknown, rows) = (list.counts.unfamiliar_rows, list.counts.rows.saturating_sub(list.counts.left_out));
        step = format!(
            "Hardly anything on this list is known here: {unknown} of its {rows} rows name nobody and no troop of this unit. Make sure that it is not another unit's list. {step}"
        );
    }
    if list.state == IntakeState::Ready
        && let Some(older) = list.newer_of.and_then(|day| older(list.kind, day))
    {
        step = format!("{older} {step}");
    }
    if let Some(at) = list.deleted_at {
        let day = at.format("%Y-%m-%d");
        step = format!("{step} The file was deleted on {day}, and what was read of it; what it has changed stays.");
    }
    let unused = list.columns.map(|plan| plan.unused_columns.as_slice()).unwrap_or_default();
    let open = matches!(list.state, IntakeState::Ready | IntakeState::NeedsColumns);
    if open && !unused.is_empty() {
        step = format!("{step} Columns not used: {}.", named(unused));
    }
    step
}

/// What it means that a newer list was applied. A certificate counts from its own day, whichever list names it.
fn older(kind: ListKind, newer_of: NaiveDate) -> Option<String> {
    let means = match kind {
        ListKind::RoleList => "where the two differ the newer one holds, and whoever is not on this one is not missed",
        ListKind::BankDetails => "each form counts from its own day, and whoever is not on this one is not missed",
        ListKind::TroopList => {
            "what this older one says otherwise of a troop would take the place of what that one said"
        }
        ListKind::Certificates => return None,
    };
    Some(format!("A newer {}, of {newer_of}, was applied already: {means}.", kind.called()))
}

/// `G "Valid until", H without a heading`.
fn named(unused: &[UnusedColumn]) -> String {
    let mut words: Vec<String> = unused
        .iter()
        .take(COLUMNS_NAMED)
        .map(|column| match column.heading.chars().take(40).collect::<String>() {
            heading if heading.is_empty() => format!("{} without a heading", column.letter),
            heading => format!("{} \"{heading}\"", column.letter),
        })
        .collect();
    if let Some(more) = unused.len().checked_sub(COLUMNS_NAMED).filter(|more| *more > 0) {
        words.push(format!("and {more} more"));
    }
    words.join(", ")
}

fn step_of(list: &OfList<'_>) -> String {
    let counts = list.counts;
    match list.state {
        IntakeState::Reading => "The file is being read. Ask again in a second.".into(),
        IntakeState::Unreadable => "Mend the file as the fault says and upload it again.".into(),
        IntakeState::NeedsSheet => "Several sheets could be the list: say which is meant (choose_sheet).".into(),
        IntakeState::NeedsColumns => "Say which columns are meant, or in which order their days are written.".into(),
        IntakeState::Ready if counts.waiting > 0 => {
            format!("Decide about the {} a person must look at, then apply the list.", amount(counts.waiting, "row"))
        }
        IntakeState::Ready => ready_step(list),
        IntakeState::Reversed => "It was taken back. Upload it again if it is right after all.".into(),
        IntakeState::Applied => applied_step(list),
        IntakeState::Discarded => "It was put away and changed nothing.".into(),
    }
}

/// What applying the list records: a troop that a complete troop list leaves out is only shown.
fn recorded(list: &OfList<'_>) -> u32 {
    let absences = if list.kind == ListKind::TroopList { 0 } else { list.counts.absences };
    list.counts.changes.saturating_add(absences)
}

/// What to look at before a list is applied.
fn ready_step(list: &OfList<'_>) -> String {
    let counts = list.counts;
    let left_out_troops = if list.kind == ListKind::TroopList { counts.absences } else { 0 };
    let shown = match left_out_troops {
        0 => String::new(),
        1 => " 1 troop of the season is not on this complete list; nothing ends by that.".into(),
        troops => format!(" {troops} troops of the season are not on this complete list; nothing ends by that."),
    };
    if recorded(list) == 0 {
        return format!("{}{shown}", nothing(counts));
    }
    let absences = counts.absences.saturating_sub(left_out_troops);
    let look = [
        (counts.changes, format!("the {}", amount(counts.changes, "change"))),
        (absences, format!("the {absences} who {} not on this complete list", are(absences))),
        (counts.problems, format!("{} that could not be used", amount(counts.problems, "cell"))),
    ];
    let look: Vec<String> = look.into_iter().filter(|(number, _)| *number > 0).map(|(_, words)| words).collect();
    format!("Look at {}, then apply the list.{shown}", look.join(" and at "))
}

/// Why applying a list changes nothing.
fn nothing(counts: &Counts) -> String {
    let cells = amount(counts.problems, "cell");
    match (counts.left_out, counts.problems) {
        (0, 0) => "Everything on this list is known: applying it changes nothing.".into(),
        (0, _) => format!(
            "Applying it changes nothing, and {cells} could not be used: look at the rows, mend the file and upload it again."
        ),
        (left_out, _) if left_out == counts.rows => {
            let all = if left_out == 1 { "its one row was".into() } else { format!("all of its {left_out} rows were") };
            format!(
                "Nothing is taken from this list: {all} left out. Put it away (discard_intake), or take a decision back (resolve_intake_row)."
            )
        }
        (left_out, problems) => {
            let were = if left_out == 1 { "was" } else { "were" };
            let unused = if problems > 0 { format!(", {cells} could not be used") } else { String::new() };
            format!(
                "Applying it changes nothing: {} {were} left out{unused}, and what else is on it is known.",
                amount(left_out, "row")
            )
        }
    }
}

/// What came of an applied list.
fn applied_step(list: &OfList<'_>) -> String {
    let (recorded, counts) = (recorded(list), list.counts);
    let missing = recorded.saturating_sub(counts.changes);
    let missing = (missing > 0).then(|| format!("the {missing} who {} not on it", are(missing)));
    let changes = (counts.changes > 0 || missing.is_none()).then(|| amount(counts.changes, "change"));
    let with = format!("with {}", changes.into_iter().chain(missing).collect::<Vec<_>>().join(" and "));
    match (recorded, counts.problems) {
        (0, 0) if counts.left_out > 0 && counts.left_out == counts.rows => {
            "It was applied and changed nothing: every row was left out.".into()
        }
        (0, 0) => "It was applied and changed nothing.".into(),
        (_, 0) => format!("It was applied {with}. Nothing more is to be done."),
        (_, problems) => {
            format!("It was applied {with}; {} could not be used and said nothing.", amount(problems, "cell"))
        }
    }
}

const fn are(number: u32) -> &'static str {
    if number == 1 { "is" } else { "are" }
}

/// `1 row`, `3 rows`.
fn amount(number: u32, noun: &str) -> String {
    format!("{number} {noun}{}", if number == 1 { "" } else { "s" })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn step(kind: ListKind, counts: &Counts) -> String {
        next_step(&OfList {
            kind,
            state: IntakeState::Ready,
            counts,
            columns: None,
            seen_before: false,
            newer_of: None,
            deleted_at: None,
        })
    }

    #[test]
    fn a_list_of_which_nothing_is_taken_says_why() {
        let of = |rows: u32, left_out: u32, problems: u32| Counts { rows, left_out, problems, ..Counts::default() };
        for (counts, want) in [
            (of(3, 0, 0), "Everything on this list is known: applying it changes nothing."),
            (
                of(3, 3, 0),
                "Nothing is taken from this list: all of its 3 rows were left out. Put it away (discard_intake), or take a decision back (resolve_intake_row).",
            ),
            (
                of(1, 1, 0),
                "Nothing is taken from this list: its one row was left out. Put it away (discard_intake), or take a decision back (resolve_intake_row).",
            ),
            (of(3, 1, 0), "Applying it changes nothing: 1 row was left out, and what else is on it is known."),
            (
                of(3, 2, 1),
                "Applying it changes nothing: 2 rows were left out, 1 cell could not be used, and what else is on it is known.",
            ),
            (
                of(3, 0, 2),
                "Applying it changes nothing, and 2 cells could not be used: look at the rows, mend the file and upload it again.",
            ),
        ] {
            assert_eq!(step(ListKind::RoleList, &counts), want);
        }
    }

    #[test]
    fn one_is_one_and_what_a_troop_list_leaves_out_is_no_change() {
        let one = Counts { rows: 3, absences: 1, ..Counts::default() };
        assert_eq!(
            step(ListKind::RoleList, &one),
            "Look at the 1 who is not on this complete list, then apply the list."
        );
        assert_eq!(
            step(ListKind::TroopList, &one),
            "Everything on this list is known: applying it changes nothing. 1 troop of the season is not on this complete list; nothing ends by that."
        );
    }

    #[test]
    fn an_applied_list_counts_what_its_preview_counted() {
        let of = |changes: u32, absences: u32, problems: u32, kind: ListKind, state: IntakeState| {
            let counts = &Counts { rows: 9, changes, absences, problems, ..Counts::default() };
            next_step(&OfList {
                kind,
                state,
                counts,
                columns: None,
                seen_before: false,
                newer_of: None,
                deleted_at: None,
            })
        };
        for (changes, absences, problems, kind, ready, applied) in [
            (
                1,
                3,
                0,
                ListKind::RoleList,
                "Look at the 1 change and at the 3 who are not on this complete list, then apply the list.",
                "It was applied with 1 change and the 3 who are not on it. Nothing more is to be done.",
            ),
            (
                0,
                1,
                2,
                ListKind::BankDetails,
                "Look at the 1 who is not on this complete list and at 2 cells that could not be used, then apply the list.",
                "It was applied with the 1 who is not on it; 2 cells could not be used and said nothing.",
            ),
            (
                4,
                1,
                0,
                ListKind::TroopList,
                "Look at the 4 changes, then apply the list. 1 troop of the season is not on this complete list; nothing ends by that.",
                "It was applied with 4 changes. Nothing more is to be done.",
            ),
        ] {
            assert_eq!(of(changes, absences, problems, kind, IntakeState::Ready), ready);
            assert_eq!(of(changes, absences, problems, kind, IntakeState::Applied), applied);
        }
    }

    #[test]
    fn columns_that_are_not_used_are_named() {
        let column = |letter: &str, heading: &str| UnusedColumn { letter: letter.into(), heading: heading.into() };
        assert_eq!(named(&[column("G", "Valid until"), column("H", "")]), "G \"Valid until\", H without a heading");
        let many: Vec<UnusedColumn> = ["A", "B", "C", "D", "E", "F", "G", "H"].map(|letter| column(letter, "x")).into();
        assert!(named(&many).ends_with("F \"x\", and 2 more"));
    }
}
