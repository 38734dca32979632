//! Whether an attack changed anything: a digest of every row of every table.

use std::collections::BTreeMap;

use sqlx::Row as _;
use sqlx::postgres::PgConnection;

use crate::support::built::built;

/// What counts refusals and failures, and so may change by being refused.
const COUNTERS: &[&str] = &["denial", "sign_in_delay"];

/// A digest of every table's rows.
pub async fn digest(owner: &mut PgConnection) -> BTreeMap<String, String> {
    let tables: Vec<String> = sqlx::query_scalar(
        "select relname::text from pg_class where relkind = 'r' and relnamespace = 'public'::regnamespace",
    )
    .fetch_all(&mut *owner)
    .await
    .expect("the tables");
    let counted = tables.iter().filter(|table| !COUNTERS.contains(&table.as_str()));
    let each = counted.map(|table| {
        format!("select '{table}' as name, md5(coalesce(string_agg(t::text, '|' order by t::text), '')) as digest from {table} t")
    });
    let all = each.collect::<Vec<_>>().join(" union all ");
    let rows = sqlx::query(built(all)).fetch_all(owner).await.expect("a digest of every table");
    rows.iter().map(|row| (row.get("name"), row.get("digest"))).collect()
}
