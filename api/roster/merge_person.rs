//! Make two rows one person.

use std::collections::BTreeMap;

use actix_web::post;
use garde::Validate;
use serde::Deserialize;
use utoipa::ToSchema;

use super::find_person::{Person, PersonPath};
use super::rules;
use super::sql::{one_person as sql, people};
use crate::auth::permission::{AssignmentsChange, ContactsChange, GrantsChange, PeopleChange, Permission as _};
use crate::auth::{Permit, Tx};
use crate::change::{self, Touched};
use crate::common::answer::Answer;
use crate::common::body::{Json, Path};
use crate::common::etag::IfMatch;
use crate::common::ids::{PersonId, SeasonId, TroopId};
use crate::common::text;
use crate::error::{ApiError, Code, FieldError, Problems};
use crate::one_person::{self, OnePerson, Work};
use crate::seasons;

/// The row that stays.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"into_person_id": "0198c0de-0000-7000-8000-0000000005ff", "membership_number": "T-40771"}))]
pub struct PersonMerger {
    /// The row that stays, with its names.
    #[garde(skip)]
    into_person_id: PersonId,
    /// Which membership number is right, where the two rows have different ones: one of the two.
    #[garde(length(chars, min = 1, max = 40), inner(custom(text::line)))]
    #[schema(min_length = 1, max_length = 40)]
    membership_number: Option<String>,
}

/// Make two rows one person: everything of the row in the address goes to the row that stays.
///
/// It cannot be taken back: `If-Match` carries the `etag` of the row that goes, read just before. Assignments, roles, duties, evidence and waivers follow; contact details fill in what the other row lacks; where both
/// can sign in, the account of the row that stays is kept. Names and day of leaving are those of the row that stays. It
/// says that the two always were one person, so an answer as of an earlier instant says so too; filed returns stay as they
/// were filed. Refused while both coordinate one troop.
#[utoipa::path(tag = "roster", params(PersonPath), request_body = PersonMerger, extensions(("x-permission" = json!(PeopleChange::NAME)), ("x-stepup" = json!(true)), ("x-version-read" = json!(true))), responses((status = 200, description = "The person, one row now.", body = Person), Problems))]
#[post("/v1/units/{unit_id}/people/{person_id}/merge")]
pub async fn merge_person(
    permit: Permit<PeopleChange>,
    path: Path<PersonPath>,
    body: Json<PersonMerger>,
    if_match: IfMatch,
) -> Result<Answer<Person>, ApiError> {
    permit.also::<AssignmentsChange>()?;
    permit.also::<GrantsChange>()?;
    permit.also::<ContactsChange>()?;
    let PersonMerger { into_person_id: into, membership_number } = body.0;
    let (unit, one) = (permit.unit()?, OnePerson { from: path.person_id, into });
    let mut tx = permit.tx()?;
    people::reach(&mut tx, &permit, one.from).await?;
    let fault = |code: &'static str, wanted: &str| FieldError::at("/into_person_id", code, wanted);
    if people::reach(&mut tx, &permit, one.into).await.is_err() || !people::lock(&mut tx, &permit, one.into).await? {
        let fault = fault("unknown", "the id of a person of this unit (list_people)");
        return Err(ApiError::new(Code::UnknownReference).errors(vec![fault]));
    }
    let touched = hold(&mut tx, &permit, &one).await?;
    let from = people::reach(&mut tx, &permit, one.from).await?;
    let mut row = people::reach(&mut tx, &permit, one.into).await?;
    tx.replay().await?;
    if_match.require(from.version)?;
    if one.from == one.into {
        return Err(ApiError::new(Code::Invalid)
            .errors(vec![fault("same_person", "another person than the one in the address")]));
    }
    if permit.person()? == one.from {
        let detail = "This is your own row: what you may do here hangs on it. Merge the other row into yours.";
        return Err(ApiError::new(Code::WrongState).detail(detail));
    }
    if sql::roles_change_hands(&mut tx, unit, &one).await? {
        let detail = "Both rows have an account of their own, and the one that goes has a role. Decide first who keeps it: end the role (end_grant), and give it to the other row if it is to go on (give_role). Then merge.";
        return Err(ApiError::new(Code::WrongState).detail(detail));
    }
    let numbers = (from.membership_number.as_deref(), row.membership_number.as_deref());
    row.membership_number = rules::one_number(numbers, membership_number.as_deref())?;
    let both = sql::both_in(&mut tx, unit, &one).await?;
    if !both.is_empty() {
        let detail = format!(
            "Both rows coordinate troop {} at once. Let one of the two assignments stand down (stand_down_coordinator), then merge.",
            both.join(", ")
        );
        return Err(ApiError::new(Code::WrongState).detail(detail));
    }
    let log_seq = tx.seq().await?;
    one_person::merge(&mut tx, &permit, &one).await?;
    sql::retire(&mut tx, &permit, &one, log_seq).await?;
    row.left_on = row.left_on.filter(|_| from.left_on.is_some());
    people::update(&mut tx, &permit, &row, log_seq).await?;
    row.version += 1;
    tx.about("person", one.into);
    tx.about("merged_person", one.from);
    for touched in &touched {
        change::refresh(&mut tx, unit, touched).await?;
    }
    let version = row.version;
    tx.commit_with(Answer::new(&Person::from(row))?.version(version)).await
}

/// Holds both people and every troop's season in which one of them has or had a place, whatever became of it.
async fn hold(tx: &mut Tx, by: &Permit<PeopleChange>, one: &OnePerson) -> Result<Vec<Touched>, ApiError> {
    let unit = by.unit()?;
    let mut of_season: BTreeMap<SeasonId, Vec<TroopId>> = BTreeMap::new();
    for (season, troop) in sql::places(tx, unit, one).await? {
        of_season.entry(season).or_default().push(troop);
    }
    let mut touched = Vec::new();
    for (season, troops) in of_season {
        seasons::hold(tx, unit, season).await?;
        let held = Touched::some(season, vec![one.from, one.into], troops);
        change::hold(tx, unit, &held).await?;
        touched.push(held);
    }
    let (first, second) = (one.from.min(one.into), one.from.max(one.into));
    let both = people::lock(tx, by, first).await? & people::lock(tx, by, second).await?;
    if both { Ok(touched) } else { Err(Code::NotFound.into()) }
}

/// What the roster itself hands over.
pub(super) fn follow<'a>(tx: &'a mut Tx, by: &'a Permit<PeopleChange>, one: &'a OnePerson) -> Work<'a> {
    Box::pin(async move {
        let log_seq = tx.seq().await?;
        let stamp = (tx.logged_at(), log_seq);
        sql::decline_doubles(tx, by, one, stamp).await?;
        sql::hand_over(tx, by, one, stamp).await?;
        sql::hand_over_contacts(tx, by, one, stamp.1).await
    })
}
