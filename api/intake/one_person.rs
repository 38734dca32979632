//! Lists that name two rows which are one person, and lists that hold a person who is erased.

use super::sql::one_person as sql;
use crate::auth::permission::{PeopleChange, PeopleErase};
use crate::auth::{Permit, Tx, forget_answers};
use crate::one_person::{Eraser, Erasure, OnePerson, Work};

/// What people decided about rows, and previews, name the row that stays.
pub(super) fn follow<'a>(tx: &'a mut Tx, by: &'a Permit<PeopleChange>, one: &'a OnePerson) -> Work<'a> {
    Box::pin(sql::rename(tx, by, one))
}

/// What lists lose.
pub(super) const ERASER: Eraser = Eraser {
    columns: &[
        "blob.content",
        "intake.file_name",
        "intake.parsed",
        "intake.columns",
        "intake.fault",
        "intake.absences",
        "intake.made",
        "intake.sheet",
        "intake.sheets",
        "intake_row.preview",
        "intake_row.resolution",
    ],
    erase: |tx, by, erasure| erase(tx, by, erasure),
};

/// A list that holds the person loses its rows and its file; one that waits is put away, since its preview cannot be made
/// again. A file that the program cannot look into (a workbook may hold further sheets; an unreadable one anything) is
/// taken to hold the person.
fn erase<'a>(tx: &'a mut Tx, by: &'a Permit<PeopleErase>, erasure: &'a Erasure) -> Work<'a> {
    Box::pin(async move {
        let lists = sql::lists_that_hold(tx, by, erasure).await?;
        sql::empty(tx, by, &lists).await?;
        // Stored answers about these lists hold their file names and rows.
        forget_answers(tx, by.unit()?, &lists, &[]).await
    })
}
