//! What a list says otherwise than the last one of its kind.

use actix_web::{HttpRequest, get};
use chrono::NaiveDate;
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::columns::fields::{ListRow, read_rows};
use super::columns::plan::plan_remembering;
use super::difference::{DifferingRow, RowDifference, differing};
use super::find::IntakePath;
use super::kinds::{ListColumn, ListKind};
use super::mask::Sight;
use super::parse::ParsedTable;
use super::sql::{self, IntakeRecord, lists};
use super::work;
use crate::auth::permission::{IntakesRead, Permission as _};
use crate::auth::{Permit, Tx};
use crate::common::answer::Answer;
use crate::common::body::{Path, Query};
use crate::common::ids::{IntakeId, SeasonId, UnitId};
use crate::common::page;
use crate::error::{ApiError, Problems};

/// Which page of differing rows.
#[derive(Debug, Deserialize, Validate, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct DifferenceQuery {
    /// How many rows a page has.
    #[garde(range(min = 1, max = 200))]
    #[serde(default = "page::default_limit")]
    #[param(minimum = 1, maximum = 200, default = 50)]
    limit: u16,
    /// Where the page begins: `next_cursor` of the page before.
    #[garde(length(max = 1000))]
    #[param(max_length = 1000)]
    cursor: Option<String>,
}

/// What a list says otherwise than the last one of its kind that was applied before it.
#[derive(Debug, Serialize, ToSchema)]
pub struct ListDifference {
    /// The list with which it is compared; null where there is none, or where its file has been erased.
    #[schema(required = true)]
    pub earlier: Option<EarlierList>,
    /// Rows that this list has and the earlier one had not.
    pub came: u32,
    /// Rows that the earlier list had and this one has not.
    pub went: u32,
    /// Rows of both in which something else stands.
    pub changed: u32,
    /// The rows.
    #[schema(max_items = 200)]
    pub items: Vec<DifferingRow>,
    /// Where the next page begins; null on the last.
    #[schema(required = true, max_length = 1000)]
    pub next_cursor: Option<String>,
}

/// The list with which another is compared.
#[derive(Debug, Serialize, ToSchema)]
pub struct EarlierList {
    /// Which one.
    pub intake_id: IntakeId,
    /// The name of its file.
    #[schema(max_length = 200)]
    pub file_name: String,
    /// The day for which it speaks.
    pub listed_on: NaiveDate,
}

/// Show what a list says otherwise than the last one of its kind: rows that came, rows that went, cells that changed.
///
/// The files are compared as they were read, whatever people decided about their rows.
#[utoipa::path(tag = "intake", params(IntakePath, DifferenceQuery), extensions(("x-permission" = json!(IntakesRead::NAME))), responses((status = 200, description = "The difference.", body = ListDifference), Problems))]
#[get("/v1/units/{unit_id}/intakes/{intake_id}/difference")]
pub async fn compare_intake(
    permit: Permit<IntakesRead>,
    request: HttpRequest,
    path: Path<IntakePath>,
    query: Query<DifferenceQuery>,
) -> Result<Answer<ListDifference>, ApiError> {
    let DifferenceQuery { limit, cursor } = query.0;
    let unit = permit.unit()?;
    let filters = ("difference", path.intake_id);
    let start: usize = page::decode::<usize, _>(cursor.as_deref(), &filters)?.unwrap_or(0);
    let mut tx = permit.tx()?;
    let newer = sql::find(&mut tx, unit, path.intake_id).await?;
    let season = SeasonId(newer.season_id);
    let place = (path.intake_id, newer.listed_on);
    let earlier = match lists::last_before(&mut tx, unit, (season, &newer.kind), place).await? {
        Some(earlier) => Some(sql::find(&mut tx, unit, earlier).await?).filter(|earlier| earlier.how_read.is_some()),
        None => None,
    };
    let sight = Sight::of(&permit);
    let differ = match &earlier {
        Some(earlier) => difference(&mut tx, unit, (earlier, &newer), sight).await?,
        None => Vec::new(),
    };
    let count = |what: RowDifference| {
        u32::try_from(differ.iter().filter(|row| row.difference == what).count()).unwrap_or(u32::MAX)
    };
    let (came, went, changed) = (count(RowDifference::Came), count(RowDifference::Went), count(RowDifference::Changed));
    let mut items: Vec<DifferingRow> = differ.into_iter().skip(start).take(usize::from(limit) + 1).collect();
    let next = page::cut(&mut items, limit).then_some(start.saturating_add(usize::from(limit)));
    let next_cursor = next.map(|next| page::encode(&next, &filters)).transpose()?;
    let earlier = earlier.map(|earlier| EarlierList {
        intake_id: IntakeId(earlier.intake_id),
        file_name: earlier.file_name,
        listed_on: earlier.listed_on,
    });
    let answer = ListDifference { earlier, came, went, changed, items, next_cursor };
    Ok(Answer::new(&answer)?.next_page(&request, answer.next_cursor.as_deref()))
}

/// Both lists read again from what was kept of their files. Columns are compared that both have; what they say of a
/// screening or of meeting places is left out for readers who may not read it (a key without that permission).
async fn difference(
    tx: &mut Tx,
    unit: UnitId,
    (earlier, newer): (&IntakeRecord, &IntakeRecord),
    sight: Sight,
) -> Result<Vec<DifferingRow>, ApiError> {
    let kind = ListKind::from_name(&newer.kind).ok_or_else(|| ApiError::broken("a list of no known kind"))?;
    let memory = work::memory(tx, unit, kind).await?;
    let tables = [sql::table(tx, unit, earlier.intake_id).await?, sql::table(tx, unit, newer.intake_id).await?];
    let read = |record: &IntakeRecord, table: &Option<ParsedTable>| -> (Vec<ListRow>, Vec<ListColumn>) {
        let Some(table) = table else { return (Vec::new(), Vec::new()) };
        let columns = match &record.columns {
            Some(columns) => columns.0.clone(),
            None => plan_remembering(table, kind, &record.choices.0, &memory),
        };
        let has = columns.columns.iter().flat_map(|planned| match planned.column {
            ListColumn::FullName => vec![ListColumn::FirstName, ListColumn::LastName],
            column => vec![column],
        });
        (read_rows(table, &columns).0, has.collect())
    };
    let [table_before, table_after] = &tables;
    let ((before, had), (after, has)) = (read(earlier, table_before), read(newer, table_after));
    let both = |column: &ListColumn| had.contains(column) && has.contains(column);
    let shown = |column: &ListColumn| sight.shows(*column);
    let columns: Vec<ListColumn> =
        kind.columns().iter().copied().filter(|column| both(column) && shown(column)).collect();
    Ok(differing(kind, &before, &after, &columns))
}
