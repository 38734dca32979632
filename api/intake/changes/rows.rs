//! The rows of a list in order, each against what is known and what the rows above it would change.

use super::clashes::Clashes;
use super::facts::{FactBook, proven_by};
use super::troops::TroopBook;
use super::{
    Change, CurrentPerson, CurrentTroop, PersonRef, Preview, ReadList, Resolution, RowPreview, RowState, Subject, World,
};
use crate::common::fold;
use crate::common::ids::{PersonId, TroopId};
use crate::intake::columns::fields::ListRow;
use crate::intake::kinds::{ListColumn, ListKind};
use crate::intake::matching::{Lines, Listed, MatchOutcome, MatchReason, ReasonCode, RowMatch, match_rows};
use crate::intake::parse::table::CellProblem;
use crate::seasons::policy::Requirement;
use std::collections::{BTreeSet, HashMap, HashSet};

/// The rows of a preview: whom each is taken for, why, what it would change and what is wrong with it.
#[must_use]
pub fn preview(list: &ReadList<'_>, world: &World<'_>) -> Vec<RowPreview> {
    look(list, world).rows
}

/// The whole preview of a list: its rows, who is not on it, and how much of the roster it touches.
#[must_use]
pub fn look(list: &ReadList<'_>, world: &World<'_>) -> Preview {
    let numbers = TroopNumbers::new(world);
    let troops: Vec<TroopFound> = list.rows.iter().map(|row| numbers.find(row.troop_number.as_deref())).collect();
    let matches = if list.kind.is_about_troops() { Vec::new() } else { matched(list, world, &troops) };
    let mut work = Work::new(list, world);
    if list.kind == ListKind::TroopList {
        work.troops = TroopBook::new(list, world, &troops);
    }
    if list.kind == ListKind::RoleList {
        work.settle(&matches, &troops);
    }
    let rows = list.rows.iter().zip(&troops).enumerate();
    let rows: Vec<RowPreview> = rows.map(|(place, (row, troop))| work.row(row, troop, matches.get(place))).collect();
    let absences = work.absences(&rows, &matches, &troops, &world.current.facts);
    let touched = work.touched(&rows, &absences, &world.current.facts);
    let unfamiliar_rows = work.unfamiliar(&rows, &matches, &troops);
    Preview { rows, absences, touched, unfamiliar_rows }
}

/// What is known while the rows are gone through, and what the present row brings. Everything is found by key: a list and
/// a roster of 20,000 each are gone through in one pass.
pub(super) struct Work<'a> {
    pub list: &'a ReadList<'a>,
    pub world: &'a World<'a>,
    pub people: HashMap<PersonId, CurrentPerson>,
    pub numbers_taken: HashSet<String>,
    pub facts: FactBook,
    pub led: BTreeSet<TroopId>,
    pub proposed: BTreeSet<(TroopId, PersonRef)>,
    pub proven: Vec<Requirement>,
    pub problems_of: HashMap<u32, Vec<&'a CellProblem>>,
    pub troops_by_id: HashMap<TroopId, &'a CurrentTroop>,
    pub troops: TroopBook,
    /// What each row of a role list is taken for.
    settled: HashMap<u32, RowState>,
    pub new_people: HashMap<u32, ListRow>,
    pub clashes: Clashes,
    pub changes: Vec<Change>,
    pub problems: Vec<CellProblem>,
}

impl<'a> Work<'a> {
    fn new(list: &'a ReadList<'a>, world: &'a World<'a>) -> Self {
        let people = &world.current.people;
        let mut problems_of: HashMap<u32, Vec<&CellProblem>> = HashMap::new();
        for problem in list.problems {
            problems_of.entry(problem.row_number).or_default().push(problem);
        }
        let proven = world.policy.requirements.iter().filter(|asked| proven_by(asked, list.kind)).cloned().collect();
        Self {
            list,
            world,
            people: people.iter().map(|person| (person.known.person_id, person.clone())).collect(),
            numbers_taken: people
                .iter()
                .filter_map(|person| person.known.membership_number.as_deref().map(fold::number))
                .collect(),
            facts: FactBook::new(&world.current.facts),
            led: world.current.led.clone(),
            proposed: BTreeSet::new(),
            proven,
            problems_of,
            troops_by_id: world.current.troops.iter().map(|troop| (troop.troop_id, troop)).collect(),
            troops: TroopBook::default(),
            settled: HashMap::new(),
            new_people: HashMap::new(),
            clashes: Clashes::default(),
            changes: Vec::new(),
            problems: Vec::new(),
        }
    }
}

/// Which troop a row names.
pub(super) enum TroopFound {
    Unnamed,
    InSeason(TroopId),
    /// Known, but without a place in this season.
    NotThisSeason(TroopId),
    Unknown(String),
}

impl TroopFound {
    pub(super) const fn id(&self) -> Option<TroopId> {
        match self {
            Self::InSeason(id) | Self::NotThisSeason(id) => Some(*id),
            Self::Unnamed | Self::Unknown(_) => None,
        }
    }
}

/// The unit's troops by number, without the leading zeros that spreadsheets drop.
struct TroopNumbers<'a>(HashMap<String, &'a CurrentTroop>);

impl<'a> TroopNumbers<'a> {
    fn new(world: &World<'a>) -> Self {
        let troops = world.current.troops.iter().rev();
        Self(troops.map(|troop| (fold::number(&troop.number), troop)).collect())
    }

    fn find(&self, number: Option<&str>) -> TroopFound {
        let Some(number) = number else { return TroopFound::Unnamed };
        match self.0.get(&fold::number(number)) {
            Some(troop) if troop.place.is_some() => TroopFound::InSeason(troop.troop_id),
            Some(troop) => TroopFound::NotThisSeason(troop.troop_id),
            None => TroopFound::Unknown(number.to_owned()),
        }
    }
}

fn matched(list: &ReadList<'_>, world: &World<'_>, troops: &[TroopFound]) -> Vec<RowMatch> {
    let known = world.current.people.iter().map(|person| &person.known);
    let listed: Vec<Listed> = list.rows.iter().zip(troops).map(|(row, troop)| listed(row, troop)).collect();
    let lines = Lines::from_percent(world.policy.intake.match_accept_percent, world.policy.intake.match_review_percent);
    match_rows(&listed, known, lines, list.kind == ListKind::RoleList)
}

fn listed(row: &ListRow, troop: &TroopFound) -> Listed {
    Listed {
        row_number: row.row_number,
        troop: troop.id(),
        first_name: row.first_name.clone(),
        last_name: row.last_name.clone(),
        email: row.email.clone(),
        membership_number: row.membership_number.clone(),
    }
}

impl Work<'_> {
    /// Looks at the rows of a role list together, before any of them is taken.
    fn settle(&mut self, matches: &[RowMatch], troops: &[TroopFound]) {
        let rows = self.list.rows.iter().zip(troops).enumerate();
        let resolution = |row: &ListRow| self.list.resolutions.get(&row.row_number).copied();
        let states: Vec<RowState> =
            rows.map(|(place, (row, troop))| self.state_of(row, troop, matches.get(place), resolution(row))).collect();
        let states = self.settled(states, matches);
        self.new_people = self.cells_of_new(&states);
        self.clashes = self.clashes(&states, troops);
        self.problems.clear(); // they are noted again with each row
        self.settled = self.list.rows.iter().map(|row| row.row_number).zip(states).collect();
    }

    fn row(&mut self, row: &ListRow, troop: &TroopFound, found: Option<&RowMatch>) -> RowPreview {
        self.changes.clear();
        let of_row = self.problems_of.get(&row.row_number);
        self.problems = of_row.into_iter().flatten().map(|problem| (*problem).clone()).collect();
        let resolution = self.list.resolutions.get(&row.row_number).copied();
        let state = self.state_of(row, troop, found, resolution);
        let state = self.settled.remove(&row.row_number).unwrap_or(state);
        let (state, clash) =
            self.clashes.waits(row.row_number, &state).map_or((state, None), |(ask, why)| (ask, Some(why)));
        match &state {
            RowState::Person(person_id) => self.take(row, troop, PersonRef::Known(*person_id)),
            RowState::NewPerson(first_row) => self.take(row, troop, PersonRef::New(*first_row)),
            RowState::Troop(troop_id) if self.list.kind == ListKind::TroopList => self.describe(row, *troop_id),
            // a troop of which a role list names nobody: nothing is stated
            RowState::Troop(_) if self.list.kind == ListKind::RoleList => {}
            RowState::Troop(troop_id) => self.state_facts(row, Subject::Troop(*troop_id)),
            RowState::NewTroop => self.make_troop_known(row),
            RowState::Ask(_) | RowState::Unusable | RowState::Skipped => {}
        }
        if let (RowState::Person(person_id), Some(ReasonCode::MembershipNumber), None) =
            (&state, found.map(|found| found.reason.code), resolution)
        {
            self.note_name(row, *person_id);
        }
        let reason = match (clash, resolution) {
            (Some(clash), _) => Some(clash),
            (None, Some(_)) => Some(MatchReason::by_person()),
            (None, None) => {
                found.map(|found| self.told_by_number(row, &found.reason, &state)).or_else(|| self.doubt_about(row))
            }
        };
        RowPreview {
            row_number: row.row_number,
            state,
            reason,
            also_on_rows: found.map(|found| found.also_on_rows.clone()).unwrap_or_default(),
            contradictions: self.clashes.take(row.row_number),
            changes: std::mem::take(&mut self.changes),
            problems: std::mem::take(&mut self.problems),
        }
    }

    fn take(&mut self, row: &ListRow, troop: &TroopFound, person: PersonRef) {
        if self.list.kind == ListKind::RoleList {
            match person {
                PersonRef::New(first_row) => self.make_known(row, first_row),
                PersonRef::Known(person_id) => self.fill_in(row, person_id),
            }
            if let TroopFound::InSeason(troop_id) = troop {
                self.propose(person, *troop_id);
                self.state_facts(row, Subject::Troop(*troop_id));
            }
        }
        self.state_facts(row, Subject::Person(person));
    }

    fn state_of(
        &mut self,
        row: &ListRow,
        troop: &TroopFound,
        found: Option<&RowMatch>,
        resolution: Option<Resolution>,
    ) -> RowState {
        if resolution == Some(Resolution::Skip) {
            return RowState::Skipped;
        }
        if self.list.kind == ListKind::TroopList {
            return self.state_of_troop(row, troop, resolution == Some(Resolution::AsListed));
        }
        let needs_troop = self.list.kind != ListKind::Certificates;
        if needs_troop && let Some((code, read, mut expected)) = troop_problem(troop) {
            if self.list.kind == ListKind::RoleList && row.names_nobody() && matches!(troop, TroopFound::Unnamed) {
                expected = "a troop number, and a name or a membership number: the row has none of them; fill them in, or leave it out";
            }
            self.problem(row, ListColumn::TroopNumber, code, &read, expected);
            return RowState::Unusable;
        }
        if self.list.kind == ListKind::RoleList && resolution.is_none() && row.names_only_a_troop() {
            return troop.id().map_or(RowState::Unusable, RowState::Troop);
        }
        let has_name = row.first_name.is_some() && row.last_name.is_some();
        match (resolution, found.map(|found| &found.outcome)) {
            (Some(Resolution::Person { person_id, .. }), _) => RowState::Person(person_id),
            (Some(Resolution::NewPerson | Resolution::SameAsRow { .. }), _) if has_name => {
                RowState::NewPerson(row.row_number)
            }
            (_, Some(MatchOutcome::Taken { person_id })) => RowState::Person(*person_id),
            (_, Some(MatchOutcome::New { first_row })) if has_name => RowState::NewPerson(*first_row),
            (_, Some(MatchOutcome::Ask { candidates })) => RowState::Ask(candidates.clone()),
            (_, None) => troop.id().map_or(RowState::Unusable, RowState::Troop),
            _ => {
                self.row_problem(row, "no_name", "", "a first and a last name");
                RowState::Unusable
            }
        }
    }

    /// Notes a cell of the row whose content cannot be used.
    pub(super) fn problem(&mut self, row: &ListRow, column: ListColumn, code: &str, read: &str, expected: &str) {
        self.problems.push(CellProblem {
            row_number: row.row_number,
            column: None,
            heading: Some(column.name().to_owned()),
            code: code.to_owned(),
            read: read.to_owned(),
            expected: expected.to_owned(),
        });
    }

    /// Notes what is wrong with the row as a whole.
    pub(super) fn row_problem(&mut self, row: &ListRow, code: &str, read: &str, expected: &str) {
        let (row_number, code, read, expected) =
            (row.row_number, code.to_owned(), read.to_owned(), expected.to_owned());
        self.problems.push(CellProblem { row_number, column: None, heading: None, code, read, expected });
    }
}

fn troop_problem(troop: &TroopFound) -> Option<(&'static str, String, &'static str)> {
    match troop {
        TroopFound::InSeason(_) => None,
        TroopFound::Unnamed => Some(("no_troop", String::new(), "a troop number")),
        TroopFound::Unknown(number) => Some((
            "unknown_troop",
            number.clone(),
            "the number of a troop of this unit; add the troop, or leave the row out",
        )),
        TroopFound::NotThisSeason(_) => Some((
            "troop_not_in_season",
            String::new(),
            "a troop of this season; add the troop to the season, or leave the row out",
        )),
    }
}
