//! What happens to a list between its operations: it is read outside any transaction, and its preview is made anew
//! whenever something that it depends on has changed.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use chrono::{NaiveDate, TimeDelta};

use super::changes::{
    Current, CurrentFact, CurrentPerson, CurrentTroop, PersonRef, Preview, Resolution, SeasonPlace, Statement, Subject,
};
use super::columns::fields::read_rows;
use super::columns::memory::ColumnMemory;
use super::columns::plan::{ColumnChoices, ColumnPlan, plan_remembering};
use super::counts::{Counts, counted};
use super::kinds::ListKind;
use super::matching::Known;
use super::material::Material;
use super::parse::{FaultCode, ParseFault, ParsedTable, parse_in_child};
use super::remembered::Identity;
use super::shown::{AbsentOne, IntakeRow};
use super::sql::rows::{self, NewPreview, RowRecord};
use super::sql::{self, IntakeRecord, LockedIntake, decisions, lists};
use crate::auth::{System, Tx};
use crate::common::ids::{IntakeId, PersonId, SeasonId, TroopId, UnitId};
use crate::error::ApiError;
use crate::parser_door::ParserDoor;
use crate::seasons::policy::Policy;
use crate::standings::rules::EvidenceSource;
use crate::{roster, seasons, standings};

/// How long a reader may be silent before its list is given up: longer than any reading takes.
const SILENCE: TimeDelta = TimeDelta::minutes(2);

/// Reads an uploaded list and leaves its preview, or the fault. Runs by itself, after the upload was answered.
pub(super) async fn read_list(system: System, door: ParserDoor, unit: UnitId, intake: IntakeId, kind: ListKind) {
    if let Err(error) = try_to_read(&system, &door, unit, intake, kind).await {
        tracing::warn!(%error, %intake, "a list was not read; it is given up by the ticker");
    }
}

async fn try_to_read(
    system: &System,
    door: &ParserDoor,
    unit: UnitId,
    intake: IntakeId,
    kind: ListKind,
) -> Result<(), ApiError> {
    let mut tx = system.open(Some(unit), "read_list").await?;
    let content = sql::content(&mut tx, unit, intake).await?;
    drop(tx);
    let Some(content) = content else { return Ok(()) };
    // What is known is looked up while the file is read.
    let (read, early) = tokio::join!(
        parse_in_child(door, &content.content, kind, content.sheet.as_deref()),
        looked_up(system, unit, SeasonId(content.season_id))
    );
    let (seq, early) = early?;
    let mut tx = system.open(Some(unit), "read_list").await?;
    let locked = sql::lock_by_system(&mut tx, unit, intake).await?;
    if locked.0.state != "reading" {
        return Ok(());
    }
    match read {
        Ok(table) => {
            let season = SeasonId(locked.0.season_id);
            // Whatever changes in a unit stands in its log: where the log is as it was, so is what was looked up.
            let current = if tx.log_seq().await? == seq { early } else { current(&mut tx, unit, season).await? };
            let said = (&ColumnChoices::default(), &BTreeMap::new());
            let made = make_from(&mut tx, unit, &locked.0, &table, said, current).await?;
            made.keep(&mut tx, unit, &locked, Some(&table), &ColumnChoices::default()).await?;
        }
        Err(fault) => {
            let (choices, counts) = (ColumnChoices::default(), Counts::default());
            // a workbook of several lists is no fault of anybody's: it is asked which is meant
            let asks = fault.code == FaultCode::WhichSheet;
            let sheets = if asks { fault.sheets.clone() } else { locked.0.sheets.0.clone() };
            let (state, fault) = if asks { ("needs_sheet", None) } else { ("unreadable", Some(&fault)) };
            let new = NewPreview {
                state,
                fault,
                parsed: None,
                choices: &choices,
                columns: None,
                counts: &counts,
                absences: &[],
                sheets: &sheets,
                rows: &[],
            };
            rows::keep_preview(&mut tx, unit, &locked, &new).await?;
        }
    }
    // The upload stands in the log; what was read of it is derived from it.
    tx.commit_unlogged().await
}

/// What is known, and how far the log had come before it was looked up.
async fn looked_up(system: &System, unit: UnitId, season: SeasonId) -> Result<(i64, Current), ApiError> {
    let mut tx = system.open(Some(unit), "read_list").await?;
    let seq = tx.log_seq().await?;
    Ok((seq, current(&mut tx, unit, season).await?))
}

/// Gives up lists whose reader vanished with its server, so that nobody waits for them for ever.
pub(super) async fn give_up_silent(system: &System, unit: UnitId) -> Result<(), ApiError> {
    let mut tx = system.open(Some(unit), "give_up_reading").await?;
    let fault =
        ParseFault::whole(FaultCode::ReaderFailed, "the server stopped while the list was read; upload it again");
    let before = tx.real_now() - SILENCE;
    sql::give_up(&mut tx, unit, before, &fault).await?;
    tx.commit_unlogged().await
}

/// A preview made from a table, what people said, and what is known now.
pub(super) struct Made {
    pub columns: ColumnPlan,
    pub preview: Preview,
    pub shown: Vec<IntakeRow>,
    pub absences: Vec<AbsentOne>,
    /// What people said about rows of this very list.
    pub resolutions: BTreeMap<u32, Resolution>,
    /// What is to be remembered of it once the list is applied.
    pub to_remember: BTreeMap<Identity, Option<(u32, Resolution, String)>>,
    pub policy: Policy,
}

/// Makes the preview. While a column is missing or undecided no row can be read, so there are none.
pub(super) async fn make(
    tx: &mut Tx,
    unit: UnitId,
    intake: &IntakeRecord,
    table: &ParsedTable,
    choices: &ColumnChoices,
    resolutions: &BTreeMap<u32, Resolution>,
) -> Result<Made, ApiError> {
    let current = current(tx, unit, SeasonId(intake.season_id)).await?;
    make_from(tx, unit, intake, table, (choices, resolutions), current).await
}

/// As [`make`], from what is known.
async fn make_from(
    tx: &mut Tx,
    unit: UnitId,
    intake: &IntakeRecord,
    table: &ParsedTable,
    (choices, resolutions): (&ColumnChoices, &BTreeMap<u32, Resolution>),
    current: Current,
) -> Result<Made, ApiError> {
    let kind = ListKind::from_name(&intake.kind).ok_or_else(|| ApiError::broken("a list of no known kind"))?;
    let season = seasons::resolve(tx, unit, Some(SeasonId(intake.season_id))).await?;
    let policy = seasons::policy_of(tx, unit, season.season_id).await?;
    let columns = plan_remembering(table, kind, choices, &memory(tx, unit, kind).await?);
    let readable = columns.missing.is_empty() && columns.undecided_dates.is_empty();
    let (rows, problems) = if readable { read_rows(table, &columns) } else { (Vec::new(), Vec::new()) };
    let today = tx.now().with_timezone(&season.zone).date_naive();
    let remembered = if rows.is_empty() { HashMap::new() } else { decisions::of_kind(tx, unit, kind).await? };
    let material = Material {
        kind,
        listed_on: intake.listed_on,
        outdated: intake.superseded_by.is_some(),
        complete: intake.complete && readable, // while no row can be read, everybody would be missing
        season_begins_on: season.starts_on,
        today,
        columns,
        rows,
        problems,
        policy,
        current,
        remembered,
        resolutions: resolutions.clone(),
    };
    // A long list against a large unit takes seconds, in which nobody else's request may wait.
    tokio::task::spawn_blocking(move || material.compared()).await.map_err(|error| ApiError::internal(&error))
}

impl Made {
    /// Keeps it in the place of the former preview, with the table where it was read just now; gives the new version.
    pub(super) async fn keep(
        &self,
        tx: &mut Tx,
        unit: UnitId,
        locked: &LockedIntake,
        table: Option<&ParsedTable>,
        choices: &ColumnChoices,
    ) -> Result<i64, ApiError> {
        let readable = self.columns.missing.is_empty() && self.columns.undecided_dates.is_empty();
        let rows: Vec<(&IntakeRow, Option<Resolution>)> =
            self.shown.iter().map(|row| (row, self.resolutions.get(&row.row_number).copied())).collect();
        let new = NewPreview {
            state: if readable { "ready" } else { "needs_columns" },
            fault: None,
            parsed: table,
            choices,
            columns: Some(&self.columns),
            counts: &counted(&self.shown, &self.absences, &self.preview),
            absences: &self.absences,
            sheets: &locked.0.sheets.0,
            rows: &rows,
        };
        rows::keep_preview(tx, unit, locked, &new).await
    }
}

/// What is known in the unit now, as far as lists can change it.
pub(super) async fn current(tx: &mut Tx, unit: UnitId, season: SeasonId) -> Result<Current, ApiError> {
    let known = roster::known(tx, unit, season).await?;
    let troops: Vec<TroopId> = known.troops.iter().map(|troop| troop.troop_id).collect();
    let people: Vec<PersonId> = known.people.iter().map(|person| person.person_id).collect();
    let facts = standings::recorded(tx, unit, season, (&troops, &people)).await?;
    let mut of_person: BTreeMap<PersonId, BTreeSet<TroopId>> = BTreeMap::new();
    for (troop, person) in &known.ties {
        of_person.entry(*person).or_default().insert(*troop);
    }
    let person = |person: roster::KnownPerson| CurrentPerson {
        known: Known {
            troops: of_person.get(&person.person_id).map(|troops| troops.iter().copied().collect()).unwrap_or_default(),
            person_id: person.person_id,
            first_name: person.first_name,
            last_name: person.last_name,
            emails: person.email.into_iter().collect(),
            membership_number: person.membership_number,
        },
        phone: person.phone,
    };
    let troop = |troop: roster::KnownTroop| CurrentTroop {
        troop_id: troop.troop_id,
        number: troop.number,
        name: troop.name,
        meeting_place: troop.meeting_place,
        place: troop.place.map(|place| SeasonPlace {
            age_band: place.age_band,
            selling_youths: u16::try_from(place.selling_youths).unwrap_or(0),
            first_season: place.first_season,
        }),
        ended: troop.ended,
    };
    Ok(Current {
        people: known.people.into_iter().map(person).collect(),
        troops: known.troops.into_iter().map(troop).collect(),
        assigned: known.assigned,
        led: known.led,
        facts: facts.into_iter().filter(|(_, fact)| fact.source != EvidenceSource::Person).map(known_fact).collect(),
    })
}

fn known_fact((subject, fact): (standings::Subject, standings::rules::EvidenceFact)) -> CurrentFact {
    let subject = match subject {
        standings::Subject::Person(person) => Subject::Person(PersonRef::Known(person)),
        standings::Subject::Troop(troop) => Subject::Troop(troop),
    };
    let (outcome, observed_on, valid_until_on) = (fact.outcome, fact.observed_on, fact.valid_until_on);
    let statement = Statement { outcome, observed_on, valid_until_on, score_percent: fact.score_percent };
    CurrentFact { requirement: fact.requirement, subject, statement, order: fact.seq }
}

/// What is remembered of the columns of this kind's lists.
pub(super) async fn memory(tx: &mut Tx, unit: UnitId, kind: ListKind) -> Result<ColumnMemory, ApiError> {
    Ok(lists::memory(tx, unit, kind.name()).await?.unwrap_or_default())
}

/// The decisions of people about the rows, as they are kept.
pub(super) fn resolutions(rows: &[RowRecord]) -> BTreeMap<u32, Resolution> {
    let decided = rows.iter().filter_map(|row| {
        let number = u32::try_from(row.row_number).ok()?;
        row.resolution.as_ref().map(|resolution| (number, resolution.0))
    });
    decided.collect()
}

/// The last day of which a list can speak: today, where the season is.
pub(super) fn today(tx: &Tx, season: &seasons::ThisSeason) -> NaiveDate {
    tx.now().with_timezone(&season.zone).date_naive()
}
