//! The people of a unit.

use actix_web::{HttpRequest, get};
use garde::Validate;
use serde::Deserialize;
use utoipa::IntoParams;

use super::find_person::Person;
use super::list_troops::RosterPath;
use super::sql::people::{self, Wanted};
use crate::auth::Permit;
use crate::auth::permission::{PeopleRead, Permission as _};
use crate::common::answer::Answer;
use crate::common::body::{Path, Query};
use crate::common::ids::{AccountId, PersonId};
use crate::common::names::NameSearch;
use crate::common::page;
use crate::common::since::Since;
use crate::error::{ApiError, Problems};

/// Which people.
#[derive(Debug, Deserialize, Validate, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct PeopleQuery {
    /// People whose name has these words or their beginnings. Accents, letter case and apostrophes do not matter, and a
    /// short form finds the name (`liz` finds Elizabeth).
    #[garde(length(chars, min = 1, max = 160))]
    #[param(min_length = 1, max_length = 160)]
    search: Option<String>,
    /// The person who signs in with this account: what stands behind `account:` wherever it is said who did something.
    #[garde(skip)]
    #[param(value_type = Option<uuid::Uuid>)]
    account: Option<AccountId>,
    /// The person with this membership number; spaces and capitals make no difference.
    #[garde(length(chars, min = 1, max = 40))]
    #[param(min_length = 1, max_length = 40)]
    membership_number: Option<String>,
    /// What changed after this number of the unit's log.
    #[garde(dive)]
    #[param(value_type = Option<i64>, minimum = 0)]
    updated_since: Option<Since>,
    /// How many rows a page has.
    #[garde(range(min = 1, max = 200))]
    #[serde(default = "page::default_limit")]
    #[param(minimum = 1, maximum = 200, default = 50)]
    limit: u16,
    /// Where the page begins: `next_cursor` of the page before.
    #[garde(length(max = 1000))]
    #[param(max_length = 1000)]
    cursor: Option<String>,
}

crate::page!(
    /// People, by last name.
    PersonPage of Person, since
);

/// List the people whom you may see, by last name.
///
/// A coordinator sees the people of the own troops: coordinators, those proposed, and contacts.
#[utoipa::path(tag = "roster", params(RosterPath, PeopleQuery), extensions(("x-permission" = json!(PeopleRead::NAME))), responses((status = 200, description = "The people.", body = PersonPage), Problems))]
#[get("/v1/units/{unit_id}/people")]
pub async fn list_people(
    permit: Permit<PeopleRead>,
    request: HttpRequest,
    _path: Path<RosterPath>,
    query: Query<PeopleQuery>,
) -> Result<Answer<PersonPage>, ApiError> {
    let PeopleQuery { search, account, membership_number, updated_since, limit, cursor } = query.0;
    let unit = permit.unit()?;
    let filters = ("people", unit, &search, account, &membership_number, updated_since);
    let after: Option<PersonId> = page::decode(cursor.as_deref(), &filters)?;
    let mut tx = permit.tx()?;
    let log_seq = tx.log_seq().await?;
    let wanted = Wanted {
        membership_number: membership_number.as_deref().map(str::trim),
        account,
        since: updated_since.map(Since::seq),
        after,
        limit: search.is_none().then(|| i64::from(limit) + 1),
    };
    let mut rows = people::list(&mut tx, unit, (permit.read_scope(), permit.person()?), wanted).await?;
    if let Some(search) = search.as_deref().map(NameSearch::new) {
        rows.retain(|row| search.finds(&format!("{} {}", row.first_name, row.last_name)));
    }
    let more = page::cut(&mut rows, limit);
    let items: Vec<Person> = rows.into_iter().map(Person::from).collect();
    let next_cursor = items.last().filter(|_| more).map(|row| page::encode(&row.person_id, &filters)).transpose()?;
    let page = PersonPage { log_seq, items, next_cursor };
    Ok(Answer::new(&page)?.tag_without(&["log_seq"]).next_page(&request, page.next_cursor.as_deref()))
}
