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
         set resolution = replace(resolution::text, $2, $3)::jsonb, preview = replace(preview::text, $2, $3)::jsonb
         where unit_id = $1 and (position($2 in preview::text) > 0 or position($2 in resolution::text) > 0)",
        by.unit()?.0,
        from,
        into
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// The lists that hold a person: by id, by words, by first and last name in one row; and those whose file is a workbook,
/// is UTF-16 or could not be read, since nobody here can say that it does not.
pub(in crate::intake) async fn lists_that_hold(
    tx: &mut Tx,
    by: &Permit<PeopleErase>,
    erasure: &Erasure,
) -> Result<Vec<Uuid>, ApiError> {
    let ids: Vec<String> = erasure.people.iter().map(ToString::to_string).collect();
    let lists = sqlx::query_scalar!(
        r#"select i.intake_id as "intake_id!" from intake i
           left join blob b on b.unit_id = i.unit_id and b.sha256 = i.file_sha256
           where i.unit_id = $1 and (
               i.state = 'unreadable' or substring(b.content from 1 for 2) = 'PK' or position('\x00'::bytea in b.content) > 0
               or exists (select from intake_row r, unnest($2::text[] || $3::text[]) as word
                   where r.unit_id = i.unit_id and r.intake_id = i.intake_id
                     and position(word in lower(concat(r.preview, r.resolution))) > 0)
               or exists (select from unnest($2::text[]) as id where position(id in i.absences::text) > 0)
               or exists (select from unnest($3::text[]) as word
                   where position(word in lower(concat_ws(' ', i.file_name, i.parsed, i.absences, i.sheet, i.sheets))) > 0
                      or position(convert_to(word, 'UTF8') in b.content) > 0
                      or position(word in lower(encode(b.content, 'escape'))) > 0)
               or exists (select from jsonb_path_query(i.parsed, '$.rows[*]') as listed,
                       unnest($4::text[], $5::text[]) as name (first, last)
                   where position(name.first in lower(listed::text)) > 0 and position(name.last in lower(listed::text)) > 0)
               or (i.parsed is null and exists (select from unnest($4::text[], $5::text[]) as name (first, last)
                   where (position(name.first in lower(encode(b.content, 'escape'))) > 0
                          or position(convert_to(name.first, 'UTF8') in b.content) > 0)
                     and (position(name.last in lower(encode(b.content, 'escape'))) > 0
                          or position(convert_to(name.last, 'UTF8') in b.content) > 0))))
           order by 1 for no key update of i"#,
        by.unit()?.0,
        &ids,
        &erasure.words,
        &erasure.first_names,
        &erasure.last_names
    );
    Ok(lists.fetch_all(tx.db()).await?)
}

/// Takes rows, table, name and file of lists away. What was counted stays; a list that waited is put away.
pub(in crate::intake) async fn empty(tx: &mut Tx, by: &Permit<PeopleErase>, lists: &[Uuid]) -> Result<(), ApiError> {
    let unit = by.unit()?.0;
    sqlx::query!("delete from intake_row where unit_id = $1 and intake_id = any ($2)", unit, lists)
        .execute(tx.db())
        .await?;
    sqlx::query!(
        "update blob set content = 'erased' where unit_id = $1
           and sha256 in (select file_sha256 from intake where unit_id = $1 and intake_id = any ($2))",
        unit,
        lists
    )
    .execute(tx.db())
    .await?;
    sqlx::query!(
        "update intake
         set parsed = null, fault = null, columns = null, file_name = 'erased', absences = '[]', made = null, sheet = null,
             sheets = '[]', version = version + 1,
             state = case when state in ('applied', 'reversed', 'discarded') then state else 'discarded' end
         where unit_id = $1 and intake_id = any ($2)",
        unit,
        lists
    )
    .execute(tx.db())
    .await?;
    Ok(())
}
