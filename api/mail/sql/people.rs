//! What of mail follows a person into another row, and what is taken away with one.

use crate::auth::permission::{PeopleChange, PeopleErase};
use crate::auth::{Permit, Tx};
use crate::one_person::{Eraser, Erasure, OnePerson, Work};

/// What was written to one row was written to the person.
pub(in crate::mail) fn follow<'a>(tx: &'a mut Tx, by: &'a Permit<PeopleChange>, one: &'a OnePerson) -> Work<'a> {
    Box::pin(async move {
        let log_seq = tx.seq().await?;
        sqlx::query!(
            "update message set person_id = $3, log_seq = $4 where unit_id = $1 and person_id = $2",
            by.unit()?.0,
            one.from.0,
            one.into.0,
            log_seq
        )
        .execute(tx.db())
        .await?;
        Ok(())
    })
}

/// What mail takes away: everything that was written to the person, and every text that names them. Nothing more goes out.
pub(in crate::mail) const ERASER: Eraser = Eraser {
    columns: &["message.person_id", "message.to_address", "message.subject", "message.body", "message.last_answer"],
    erase: |tx, by, erasure| erase(tx, by, erasure),
};

fn erase<'a>(tx: &'a mut Tx, by: &'a Permit<PeopleErase>, erasure: &'a Erasure) -> Work<'a> {
    Box::pin(async move {
        let (unit, now) = (by.unit()?.0, tx.real_now());
        sqlx::query!(
            "update message set to_address = null, subject = '', body = '', last_answer = null, link_sealed = null, due_at = null,
                    claimed_at = null, state = case when state in ('draft', 'waiting', 'sending') then 'discarded' else state end,
                    ended_at = coalesce(ended_at, $4), version = version + 1
             where unit_id = $1 and (person_id = any ($2) or exists (select from unnest($3::text[]) as word
                 where position(word in lower(concat_ws(' ', to_address, subject, body, last_answer))) > 0))",
            unit,
            &erasure.people,
            &erasure.words,
            now
        )
        .execute(tx.db())
        .await?;
        Ok(())
    })
}
