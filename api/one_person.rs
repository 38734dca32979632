//! Two rows that are one person, and a person who is erased: how both reach every feature.
//!
//! A feature that keeps a person's id says in its [`crate::Feature`] value what follows the person into another row
//! ([`PersonMerge`]) and what is taken away when the person is erased ([`Eraser`]). A gate asks for an eraser, or a written
//! reason, for every column that holds a person's id or free text.

use std::pin::Pin;

use uuid::Uuid;

use crate::auth::permission::{PeopleChange, PeopleErase};
use crate::auth::{Permit, Tx};
use crate::common::ids::PersonId;
use crate::error::ApiError;

/// Two rows that are one person.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct OnePerson {
    /// The row that goes.
    pub from: PersonId,
    /// The row that stays.
    pub into: PersonId,
}

/// Work of a feature in somebody's transaction.
pub type Work<'a> = Pin<Box<dyn Future<Output = Result<(), ApiError>> + 'a>>;

/// What a feature does when two rows become one person.
pub type PersonMerge = for<'a> fn(&'a mut Tx, &'a Permit<PeopleChange>, &'a OnePerson) -> Work<'a>;

/// Who is erased, and the words by which texts can name that person.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Erasure {
    /// The person's ids: the row itself, and every row that went into it.
    pub people: Vec<Uuid>,
    /// Full names, numbers and addresses, in small letters.
    pub words: Vec<String>,
    /// First names, in small letters; each belongs to the last name at the same place.
    pub first_names: Vec<String>,
    /// Last names, in small letters.
    pub last_names: Vec<String>,
}

impl Erasure {
    /// The ids as texts hold them.
    #[must_use]
    pub fn ids(&self) -> Vec<String> {
        self.people.iter().map(ToString::to_string).collect()
    }
}

/// What a feature takes away when a person is erased.
#[derive(Clone, Copy)]
pub struct Eraser {
    /// The columns that it sees to, as `table.column`.
    pub columns: &'static [&'static str],
    /// Takes it away.
    pub erase: for<'a> fn(&'a mut Tx, &'a Permit<PeopleErase>, &'a Erasure) -> Work<'a>,
}

/// Lets every feature follow, in the order of features.
///
/// # Errors
/// What a feature refuses.
pub async fn merge(tx: &mut Tx, by: &Permit<PeopleChange>, one: &OnePerson) -> Result<(), ApiError> {
    for follow in crate::FEATURES.iter().filter_map(|feature| feature.merge_people) {
        follow(tx, by, one).await?;
    }
    Ok(())
}

/// Lets every feature erase, in the order of features.
///
/// # Errors
/// Database faults.
pub async fn erase(tx: &mut Tx, by: &Permit<PeopleErase>, erasure: &Erasure) -> Result<(), ApiError> {
    for eraser in crate::FEATURES.iter().flat_map(|feature| feature.erasers) {
        (eraser.erase)(tx, by, erasure).await?;
    }
    Ok(())
}
