//! Every query by which lists name the row that stays, or lose what they hold of a person.

use uuid::Uuid;

use crate::auth::permission::{PeopleChange, PeopleErase};
use crate::auth::{Permit, Tx};
use crate::error::ApiError;
use crate::one_person::{Erasure, OnePerson};

/// Previews and decisions about rows name the row that stays.
pub(in crate::intake) async fn rename(tx: &mut Tx, by: &Permit<PeopleChange>, one: &OnePerson) -> Result<(), ApiError> {
    let (from, into) = (one.from.to_string(), one.into.to_string());
    sqlx::query!(
        "update intake_row
         set resolution = replace(resolution::text, $2, $3)::jsonb, preview = replace(preview::text, $2, $3)::json
         where unit_id = $1 and (position($2 in preview::text) > 0 or position($2 in resolution::text) > 0)",
        by.unit()?.0,
        from,
        into
    )
    .execute(tx.db())
    .await?;
    sqlx::query!(
        "update row_decision set resolution = replace(resolution::text, $2, $3)::jsonb
         where unit_id = $1 and position($2 in resolution::text) > 0",
        by.unit()?.0,
        from,
        into
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Forgets decisions that name a person who is erased.
pub(in crate::intake) async fn forget_decisions(
    tx: &mut Tx,
    by: &Permit<PeopleErase>,
    erasure: &Erasure,
) -> Result<(), ApiError> {
    sqlx::query!(
        "delete from row_decision where unit_id = $1
           and exists (select from unnest($2::text[]) as id where position(id in resolution::text) > 0)",
        by.unit()?.0,
        &erasure.ids()
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// The rows of lists that name a person: by id, by words, by first and last name together.
pub(in crate::intake) async fn rows_that_name(
    tx: &mut Tx,
    by: &Permit<PeopleErase>,
    erasure: &Erasure,
) -> Result<(Vec<Uuid>, Vec<i32>), ApiError> {
    let ids = erasure.ids();
    let rows = sqlx::query!(
        r#"select distinct intake_id as "intake_id!", row_number as "row_number!" from (
               select r.intake_id, r.row_number from intake_row r
               where r.unit_id = $1 and exists (select from unnest($2::text[] || $3::text[]) as word
                   where position(word in lower(concat(r.preview, r.resolution))) > 0)
               union all
               select i.intake_id, (listed ->> 'row_number')::int
               from intake i, jsonb_array_elements(i.parsed -> 'rows') as listed
               where i.unit_id = $1 and (
                   exists (select from unnest($3::text[]) as word where position(word in lower(listed::text)) > 0)
                   or exists (select from unnest($4::text[], $5::text[]) as name (first, last)
                       where position(name.first in lower(listed::text)) > 0 and position(name.last in lower(listed::text)) > 0))
           ) named order by 1, 2"#,
        by.unit()?.0,
        &ids,
        &erasure.words,
        &erasure.first_names,
        &erasure.last_names
    );
    Ok(rows.fetch_all(tx.db()).await?.into_iter().map(|row| (row.intake_id, row.row_number)).unzip())
}

/// The lists whose stored file may hold a person: those with a row that names the person, those with the words elsewhere
/// (in the file's name, a title, among the absent), and those whose file is a workbook, is UTF-16 or could not be read,
/// since nobody here can say that it does not.
pub(in crate::intake) async fn files_that_may_hold(
    tx: &mut Tx,
    by: &Permit<PeopleErase>,
    erasure: &Erasure,
    named: &[Uuid],
) -> Result<Vec<Uuid>, ApiError> {
    let ids = erasure.ids();
    let lists = sqlx::query_scalar!(
        r#"select i.intake_id as "intake_id!" from intake i
           left join blob b on b.unit_id = i.unit_id and b.sha256 = i.file_sha256
           where i.unit_id = $1 and (
               i.intake_id = any ($4) or i.state = 'unreadable' or substring(b.content from 1 for 2) = 'PK'
               or position('\x00'::bytea in b.content) > 0
               or exists (select from unnest($2::text[] || $3::text[]) as word
                   where position(word in lower(concat_ws(' ', i.file_name, i.parsed, i.absences, i.fault, i.sheet, i.sheets))) > 0)
               or exists (select from unnest($3::text[]) as word
                   where position(convert_to(word, 'UTF8') in b.content) > 0
                      or position(word in lower(encode(b.content, 'escape'))) > 0)
               or (i.parsed is null and exists (select from unnest($5::text[], $6::text[]) as name (first, last)
                   where position(name.first in lower(encode(b.content, 'escape'))) > 0
                     and position(name.last in lower(encode(b.content, 'escape'))) > 0)))
           order by 1 for no key update of i"#,
        by.unit()?.0,
        &ids,
        &erasure.words,
        named,
        &erasure.first_names,
        &erasure.last_names
    );
    Ok(lists.fetch_all(tx.db()).await?)
}

/// Takes the rows that name a person out of lists, and whatever else of a list names the person. What was counted stays; a
/// list under way that lost a row is put away, since its preview is no longer whole.
pub(in crate::intake) async fn take_rows(
    tx: &mut Tx,
    by: &Permit<PeopleErase>,
    erasure: &Erasure,
    (lists, rows): (&[Uuid], &[i32]),
) -> Result<(), ApiError> {
    let unit = by.unit()?.0;
    let ids = erasure.ids();
    // A file is called by one name alone, with whatever stands between the words.
    let names: Vec<String> = erasure.first_names.iter().chain(&erasure.last_names).cloned().collect();
    sqlx::query!(
        "delete from intake_row r using unnest($2::uuid[], $3::int[]) as gone (intake_id, row_number)
         where r.unit_id = $1 and r.intake_id = gone.intake_id and r.row_number = gone.row_number",
        unit,
        lists,
        rows
    )
    .execute(tx.db())
    .await?;
    sqlx::query!(
        "update intake i
         set parsed = jsonb_set(parsed, '{rows}', coalesce((
                 select jsonb_agg(listed order by place) from jsonb_array_elements(parsed -> 'rows') with ordinality as x (listed, place)
                 where not exists (select from unnest($2::uuid[], $3::int[]) as gone (intake_id, row_number)
                     where gone.intake_id = i.intake_id and gone.row_number = (listed ->> 'row_number')::int)), '[]')),
             state = case when state in ('applied', 'reversed', 'discarded') then state else 'discarded' end,
             version = version + 1
         where unit_id = $1 and intake_id = any ($2) and parsed is not null",
        unit,
        lists,
        rows
    )
    .execute(tx.db())
    .await?;
    sqlx::query!(
        "update intake
         set absences = coalesce((select jsonb_agg(absent) from jsonb_array_elements(absences) as absent
                 where not exists (select from unnest($2::text[] || $3::text[]) as word where position(word in lower(absent::text)) > 0)), '[]'),
             file_name = case when exists (select from unnest($3::text[] || $4::text[]) as word
                 where length(word) > 2 and position(word in lower(file_name)) > 0)
                 then 'erased' else file_name end
         where unit_id = $1",
        unit,
        &ids,
        &erasure.words,
        &names
    )
    .execute(tx.db())
    .await?;
    // Titles, closing lines and headings are no rows: a list that still names the person there loses all that was read of it.
    sqlx::query!(
        "update intake
         set parsed = null, fault = null, columns = null, sheet = null, sheets = '[]', version = version + 1,
             state = case when state in ('applied', 'reversed', 'discarded') then state else 'discarded' end
         where unit_id = $1 and exists (select from unnest($2::text[]) as word
             where position(word in lower(concat_ws(' ', parsed, fault, columns, sheet, sheets))) > 0)",
        unit,
        &erasure.words
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Takes the stored files of these lists away; the same file, uploaded again, is read again.
pub(in crate::intake) async fn take_files(
    tx: &mut Tx,
    by: &Permit<PeopleErase>,
    lists: &[Uuid],
) -> Result<(), ApiError> {
    let (unit, now) = (by.unit()?.0, tx.now());
    sqlx::query!(
        "update blob set content = 'erased' where unit_id = $1
           and sha256 in (select file_sha256 from intake where unit_id = $1 and intake_id = any ($2))",
        unit,
        lists
    )
    .execute(tx.db())
    .await?;
    sqlx::query!(
        "update intake set erased_at = $3 where unit_id = $1 and intake_id = any ($2) and erased_at is null",
        unit,
        lists,
        now
    )
    .execute(tx.db())
    .await?;
    Ok(())
}
