//! Accounts of two rows that are one person, and of a person who is erased.

use super::sql::one_person as sql;
use crate::auth::permission::{PeopleChange, PeopleErase};
use crate::auth::{Permit, Tx, forget_answers};
use crate::one_person::{Eraser, Erasure, OnePerson, Work};

/// The account follows, unless the row that stays has one: then that one is kept. Open invitations of the row that goes
/// end, since whoever holds the link must not take a place that is somebody's.
pub(super) fn follow<'a>(tx: &'a mut Tx, by: &'a Permit<PeopleChange>, one: &'a OnePerson) -> Work<'a> {
    Box::pin(async move {
        let unit = by.unit()?;
        sql::move_membership(tx, unit, one).await?;
        super::void_invitations(tx, unit, one.from).await
    })
}

/// What accounts take away.
pub(super) const ERASER: Eraser = Eraser {
    columns: &[
        "membership.person_id",
        "invitation.email",
        "email_change.email",
        "second_factor.secret_sealed",
        "account.email",
        "account.email_key",
        "account.password_phc",
        "access_key.name",
        "session.opened_from",
        "session.opened_with",
        "idempotency.headers",
        "idempotency.path",
        "idempotency.body",
        "server_idempotency.headers",
        "server_idempotency.body",
    ],
    erase: |tx, by, erasure| erase(tx, by, erasure),
};

/// Takes the account's link away. An account that has a place in no other unit and administers nothing goes with it:
/// nobody signs in with it any more. Stored answers that name the person are emptied; a repeated request learns only that
/// it was done before.
fn erase<'a>(tx: &'a mut Tx, by: &'a Permit<PeopleErase>, erasure: &'a Erasure) -> Work<'a> {
    Box::pin(async move {
        let unit = by.unit()?;
        for account in sql::unlink(tx, unit, &erasure.people).await? {
            sql::end_account(tx, account).await?;
        }
        sql::empty_invitations(tx, unit, &erasure.people).await?;
        forget_answers(tx, unit, &erasure.people, &erasure.words).await
    })
}
