//! A list to be filled in: the headings of a kind, and what is known of the season.

use std::collections::BTreeSet;

use actix_web::get;
use chrono::{DateTime, NaiveDate, Utc};
use garde::Validate;
use serde::Deserialize;
use utoipa::{IntoParams, ToSchema};

use super::changes::{Current, CurrentPerson, CurrentTroop, PersonRef, Subject};
use super::find::IntakesPath;
use super::kinds::ListKind;
use super::work;
use crate::auth::Permit;
use crate::auth::permission::{IntakesUpload, PeopleRead, Permission as _};
use crate::common::answer::File;
use crate::common::body::{Path, Query};
use crate::common::csv_out::{CsvCell, to_csv};
use crate::common::ids::PersonId;
use crate::error::{ApiError, Problems};
use crate::frozen;
use crate::frozen::sheet::{Column, Sheet};
use crate::seasons;
use crate::seasons::policy::{ListColumn, Policy};
use crate::standings::rules::EvidenceOutcome;

/// The type of a workbook.
const XLSX: &str = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet";

/// Which template, as what.
#[derive(Debug, Deserialize, Validate, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct TemplateQuery {
    /// What the list is about.
    #[garde(skip)]
    #[param(inline = false)]
    kind: ListKind,
    /// The kind of file.
    #[garde(skip)]
    #[serde(default)]
    #[param(default = "csv")]
    format: TemplateFormat,
}

/// The kinds of file. New values may come.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum TemplateFormat {
    /// A table of text.
    #[default]
    Csv,
    /// A workbook.
    Xlsx,
}

/// Download a list to be filled in: the headings of its kind, with the current season's troops and people as far as they
/// are known.
///
/// Uploaded as it came it is understood without a question and changes nothing. A role list names whoever is registered
/// already, and each troop that nobody is registered for; a list of certificates names every coordinator. Whoever may not
/// read people gets no names and no meeting places.
#[utoipa::path(tag = "intake", params(IntakesPath, TemplateQuery), extensions(("x-permission" = json!(IntakesUpload::NAME))), responses((status = 200, description = "The file.", content((String = "text/csv"), (Vec<u8> = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"))), Problems))]
#[get("/v1/units/{unit_id}/list-template")]
pub async fn download_list_template(
    permit: Permit<IntakesUpload>,
    _path: Path<IntakesPath>,
    query: Query<TemplateQuery>,
) -> Result<File, ApiError> {
    let unit = permit.unit()?;
    let mut tx = permit.tx()?;
    let season = seasons::current(&mut tx, unit).await?;
    let policy = seasons::policy_of(&mut tx, unit, season.season_id).await?;
    let mut current = work::current(&mut tx, unit, season.season_id).await?;
    if !permit.holds::<PeopleRead>() {
        current.assigned.clear();
        for troop in &mut current.troops {
            troop.meeting_place = None;
        }
    }
    let kind = query.0.kind;
    let rows = rows(kind, &current, &policy);
    let today: NaiveDate = work::today(&tx, &season);
    let name = format!("{}_{today}", kind.name());
    Ok(match query.0.format {
        TemplateFormat::Csv => {
            let cells = rows.iter().map(|row| row.iter().map(|text| CsvCell::Text(text)).collect());
            File::attachment("text/csv; charset=utf-8", &format!("{name}.csv"), to_csv(headings(kind), cells))
        }
        TemplateFormat::Xlsx => {
            let book = frozen::xlsx(&sheet(kind, rows, tx.now()))?;
            File::attachment(XLSX, &format!("{name}.xlsx"), book)
        }
    })
}

/// The headings of a kind in plain words, each of which is recognised.
const fn headings(kind: ListKind) -> &'static [&'static str] {
    match kind {
        ListKind::RoleList => &[
            "Troop number",
            "First name",
            "Last name",
            "E-mail",
            "Phone",
            "Membership number",
            "Membership valid until",
            "Screening",
            "Screening valid until",
        ],
        ListKind::BankDetails => &["Troop number", "Received on"],
        ListKind::Certificates => {
            &["First name", "Last name", "Troop number", "Membership number", "Course", "Completed on", "Score"]
        }
        ListKind::TroopList => &["Troop number", "Name", "Age band", "Meeting place", "Selling youths", "First season"],
    }
}

fn rows(kind: ListKind, current: &Current, policy: &Policy) -> Vec<Vec<String>> {
    let mut troops: Vec<&CurrentTroop> = current.troops.iter().filter(|troop| troop.place.is_some()).collect();
    troops.sort_by_key(|troop| (troop.number.chars().count(), troop.number.clone()));
    let width = headings(kind).len();
    let row = |cells: &[(usize, &str)]| {
        let mut row = vec![String::new(); width];
        for (place, text) in cells {
            if let Some(cell) = row.get_mut(*place) {
                (*text).clone_into(cell);
            }
        }
        row
    };
    let number = |person: &CurrentPerson| person.known.membership_number.clone().unwrap_or_default();
    match kind {
        ListKind::BankDetails => troops.iter().map(|troop| row(&[(0, &troop.number)])).collect(),
        ListKind::TroopList => troops.iter().filter_map(|troop| described(troop)).collect(),
        ListKind::RoleList => {
            let registered = registered(current, policy);
            let of_troop = |troop: &CurrentTroop| {
                let people = people_of(current, troop).into_iter();
                let people: Vec<_> = people.filter(|one| registered.contains(&one.known.person_id)).collect();
                let names = people.iter().map(|one| {
                    let (first, last) = (&one.known.first_name, &one.known.last_name);
                    row(&[(0, &troop.number), (1, first), (2, last), (5, &number(one))])
                });
                if people.is_empty() { vec![row(&[(0, &troop.number)])] } else { names.collect() }
            };
            troops.iter().flat_map(|troop| of_troop(troop)).collect()
        }
        ListKind::Certificates => {
            let mut seen = BTreeSet::new();
            let people =
                troops.iter().flat_map(|troop| people_of(current, troop).into_iter().map(move |one| (troop, one)));
            let once = people.filter(|(_, one)| seen.insert(one.known.person_id));
            once.map(|(troop, one)| {
                let (first, last) = (&one.known.first_name, &one.known.last_name);
                row(&[(0, first), (1, last), (2, &troop.number), (3, &number(one))])
            })
            .collect()
        }
    }
}

fn described(troop: &CurrentTroop) -> Option<Vec<String>> {
    let place = troop.place.as_ref()?;
    let first = if place.first_season { "yes" } else { "no" };
    Some(vec![
        troop.number.clone(),
        troop.name.clone(),
        place.age_band.clone(),
        troop.meeting_place.clone().unwrap_or_default(),
        place.selling_youths.to_string(),
        first.to_owned(),
    ])
}

/// Whoever has a place in a troop this season, by name. Somebody with one name cannot stand on a list of two.
fn people_of<'a>(current: &'a Current, troop: &CurrentTroop) -> Vec<&'a CurrentPerson> {
    let placed = |one: &&CurrentPerson| {
        current.assigned.contains(&(troop.troop_id, one.known.person_id)) && !one.known.last_name.is_empty()
    };
    let mut people: Vec<&CurrentPerson> = current.people.iter().filter(placed).collect();
    people.sort_by_key(|one| (one.known.last_name.clone(), one.known.first_name.clone(), one.known.person_id));
    people
}

/// Those about whom being on a role list would say nothing new: whatever it proves is met by the newest fact.
fn registered(current: &Current, policy: &Policy) -> BTreeSet<PersonId> {
    let proven: Vec<&str> = policy
        .requirements
        .iter()
        .filter(|asked| asked.proof.column == Some(ListColumn::Listed))
        .map(|asked| asked.code.as_str())
        .collect();
    let met = |person: PersonId, code: &str| {
        let about = Subject::Person(PersonRef::Known(person));
        let facts = current.facts.iter().filter(|fact| fact.requirement == code && fact.subject == about);
        let newest = facts.max_by_key(|fact| (fact.statement.observed_on, fact.order));
        newest.is_some_and(|fact| {
            fact.statement.outcome == EvidenceOutcome::Met && fact.statement.valid_until_on.is_none()
        })
    };
    let people = current.people.iter().map(|one| one.known.person_id);
    people.filter(|person| proven.iter().all(|code| met(*person, code))).collect()
}

fn sheet(kind: ListKind, rows: Vec<Vec<String>>, made_at: DateTime<Utc>) -> Sheet {
    let title = format!("Template of a {}", kind.called());
    Sheet {
        title: title.clone(),
        facts: Vec::new(),
        note:
            "Fill in the table on the first sheet and upload this file. Rows that you leave as they are change nothing."
                .into(),
        foot: title,
        made_at,
        columns: headings(kind).iter().map(|heading| Column { heading, share: 20 }).collect(),
        rows,
    }
}
