//! Facts of two rows that are one person, and the words in the facts of a person who is erased.

use super::sql::one_person as sql;
use crate::auth::permission::{PeopleChange, PeopleErase};
use crate::auth::{Permit, Tx};
use crate::one_person::{Eraser, Erasure, OnePerson, Work};

/// Evidence, screenings and waivers follow.
pub(super) fn follow<'a>(tx: &'a mut Tx, by: &'a Permit<PeopleChange>, one: &'a OnePerson) -> Work<'a> {
    Box::pin(sql::hand_over(tx, by, one))
}

/// What facts lose: their words. What they say of a requirement stays, under an id that says nothing.
pub(super) const ERASER: Eraser = Eraser {
    columns: &["evidence.note", "waiver.reason", "gate_override.reason", "decision.reason"],
    erase: |tx, by, erasure| erase(tx, by, erasure),
};

fn erase<'a>(tx: &'a mut Tx, by: &'a Permit<PeopleErase>, erasure: &'a Erasure) -> Work<'a> {
    Box::pin(sql::erase_words(tx, by, erasure))
}
