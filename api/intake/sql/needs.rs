//! Lists that wait for a person, and how often lists came.

use chrono::{DateTime, NaiveDate, Utc};
use sqlx::types::Json;
use uuid::Uuid;

use crate::auth::Tx;
use crate::common::ids::{SeasonId, UnitId};
use crate::error::ApiError;
use crate::intake::counts::Counts;
use crate::intake::parse::ParseFault;

/// A list that waits.
pub(in crate::intake) struct Waiting {
    pub intake_id: Uuid,
    pub kind: String,
    pub file_name: String,
    pub state: String,
    pub fault: Option<Json<ParseFault>>,
    pub counts: Json<Counts>,
    pub uploaded_at: DateTime<Utc>,
    pub version: i64,
    /// Its first row that a person must decide about.
    pub first_row: Option<i32>,
}

/// The lists of a season that are on their way, the oldest first.
pub(in crate::intake) async fn waiting(tx: &mut Tx, unit: UnitId, season: SeasonId) -> Result<Vec<Waiting>, ApiError> {
    let rows = sqlx::query_as!(
        Waiting,
        r#"select i.intake_id, i.kind, i.file_name, i.state, i.fault as "fault: Json<ParseFault>",
                  i.counts as "counts: Json<Counts>", i.uploaded_at, i.version,
                  (select min(r.row_number) from intake_row r
                   where r.unit_id = i.unit_id and r.intake_id = i.intake_id and r.needs_a_person) as first_row
           from intake i
           where i.unit_id = $1 and i.season_id = $2 and i.state in ('reading', 'unreadable', 'needs_sheet', 'needs_columns', 'ready')
           order by i.uploaded_at, i.intake_id limit 200"#,
        unit.0,
        season.0
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

/// The days for which applied lists of a season spoke, by kind, in order.
pub(in crate::intake) async fn days(
    tx: &mut Tx,
    unit: UnitId,
    season: SeasonId,
) -> Result<Vec<(String, NaiveDate)>, ApiError> {
    let rows = sqlx::query!(
        "select distinct kind, listed_on from intake where unit_id = $1 and season_id = $2 and state = 'applied'
         order by kind, listed_on",
        unit.0,
        season.0
    );
    Ok(rows.fetch_all(tx.db()).await?.into_iter().map(|row| (row.kind, row.listed_on)).collect())
}
