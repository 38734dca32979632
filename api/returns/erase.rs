//! A person is erased: the name goes from every filed return, and every figure stays.

use super::sql;
use crate::auth::permission::PeopleErase;
use crate::auth::{Permit, Tx};
use crate::common::ids::PersonId;
use crate::error::ApiError;
use crate::frozen;
use crate::one_person::Erasure;

/// The person's name in every filed return, of every season, and what was noted of a sending where it names the person.
/// Figures, numbers and digests stay as they were, since they name nobody.
pub(super) async fn erase(tx: &mut Tx, by: &Permit<PeopleErase>, erasure: &Erasure) -> Result<(), ApiError> {
    let unit = by.unit()?;
    for person in &erasure.people {
        frozen::erase_names(tx, unit, PersonId(*person)).await?;
    }
    sql::erase_words(tx, by, &erasure.words).await
}
