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
        "intake.sheet",
        "intake.sheets",
        "intake_row.preview",
        "intake_row.resolution",
        "row_decision.resolution",
    ],
    erase: |tx, by, erasure| erase(tx, by, erasure),
};

/// A list loses the rows that name the person, and its stored file; a file that the program cannot look into (a workbook may
/// hold further sheets; an unreadable one anything) goes too, while the rows that were read of it stay. A list under way
/// that loses a row is put away.
fn erase<'a>(tx: &'a mut Tx, by: &'a Permit<PeopleErase>, erasure: &'a Erasure) -> Work<'a> {
    Box::pin(async move {
        let (lists, rows) = sql::rows_that_name(tx, by, erasure).await?;
        let files = sql::files_that_may_hold(tx, by, erasure, &lists).await?;
        sql::take_rows(tx, by, erasure, (&lists, &rows)).await?;
        sql::take_files(tx, by, &files).await?;
        sql::forget_decisions(tx, by, erasure).await?;
        // Stored answers about these lists hold their file names and rows.
        forget_answers(tx, by.unit()?, &files, &[]).await
    })
}
