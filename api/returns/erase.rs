//! A person is erased: the name goes from every filed return, and every figure stays.

use crate::auth::Tx;
use crate::common::ids::{PersonId, UnitId};
use crate::error::ApiError;
use crate::frozen;

/// The eraser of this feature (design.md): the person's name in every filed return, of every season. Figures, numbers and
/// digests stay as they were, since they name nobody. To whom a return was sent is an office by its description; it is no
/// person of the unit.
///
/// # Errors
/// Database faults.
pub async fn erase_person(tx: &mut Tx, unit: UnitId, person: PersonId) -> Result<(), ApiError> {
    frozen::erase_names(tx, unit, person).await.map(drop)
}
