//! The roster of a season as a file.

use std::collections::BTreeMap;

use actix_web::get;
use garde::Validate;
use serde::Deserialize;
use utoipa::{IntoParams, ToSchema};

use super::table::Roster;
use crate::auth::permission::{Permission as _, StandingsRead, TroopsRead};
use crate::auth::{Permit, Scope};
use crate::common::answer::File;
use crate::common::body::{Path, Query};
use crate::common::ids::{SeasonId, UnitId};
use crate::error::{ApiError, Problems};
use crate::{frozen, roster, seasons, standings, units};

/// The type of a workbook.
const XLSX: &str = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet";

/// Which unit.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct ExportPath {
    /// The unit.
    #[param(value_type = uuid::Uuid)]
    #[expect(dead_code, reason = "the middleware reads it from the path, before any handler")]
    unit_id: UnitId,
}

/// As what, and of which season.
#[derive(Debug, Deserialize, Validate, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct ExportQuery {
    /// The kind of file.
    #[garde(skip)]
    #[serde(default)]
    #[param(default = "csv")]
    format: ExportFormat,
    /// The season meant; without it, the current one.
    #[garde(skip)]
    #[param(value_type = Option<uuid::Uuid>)]
    season: Option<SeasonId>,
}

/// The kinds of file. New values may come.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ExportFormat {
    /// A table as text.
    #[default]
    Csv,
    /// A workbook.
    Xlsx,
}

/// Download the roster of a season as a table: its troops by number, each with its state and, one row a person, its
/// coordinators and contacts.
///
/// It has what you may see and nothing more: without people's names where you may not see them (a viewer), without phone
/// numbers and e-mail addresses where you may not see those, and of the own troops only for a coordinator. A troop without
/// people has one row. Who begins later is there with the day.
#[utoipa::path(tag = "exports", params(ExportPath, ExportQuery), extensions(("x-permission" = json!(TroopsRead::NAME))), responses((status = 200, description = "The file.", content((String = "text/csv"), (Vec<u8> = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"))), Problems))]
#[get("/v1/units/{unit_id}/roster-export")]
pub async fn export_roster(
    permit: Permit<TroopsRead>,
    _path: Path<ExportPath>,
    query: Query<ExportQuery>,
) -> Result<File, ApiError> {
    let (mut tx, unit) = (permit.tx()?, permit.unit()?);
    let season = seasons::resolve(&mut tx, unit, query.0.season).await?;
    let troops = roster::directory(&mut tx, &permit, season.season_id).await?;
    let scope = permit.actor().scope::<StandingsRead>();
    let then = standings::all(&mut tx, unit, &season, None, &scope).await?;
    let states = then.troops.into_iter().map(|troop| (troop.troop_id, troop.standing.state));
    let states: BTreeMap<_, _> = states.collect();
    let calendar = seasons::calendar_of(&mut tx, unit, &season).await?;
    let unit_name = units::name(&mut tx, unit).await?;
    let table = Roster {
        unit: unit_name.unwrap_or_default(),
        season: season.label.clone(),
        stands_at: then.at,
        sight: roster::sight(&permit),
        states: (scope != Scope::Nothing).then_some(states),
        troops,
        calendar,
    };
    // The same roster a second later is the same one.
    let tag = table.timeless();
    let file = match query.0.format {
        ExportFormat::Csv => File::attachment("text/csv; charset=utf-8", "roster.csv", table.csv()),
        ExportFormat::Xlsx => File::attachment(XLSX, "roster.xlsx", frozen::xlsx(&table.sheet())?),
    };
    Ok(file.tagged_by(&tag))
}
