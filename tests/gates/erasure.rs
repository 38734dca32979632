//! Every column that holds a person's id or free text has an eraser, or a reason to stay that people can read.

use std::collections::{BTreeMap, BTreeSet};

use caselot::FEATURES;
use sqlx::postgres::PgConnection;

use crate::support::scenario;

/// Columns of text, of bytes, of JSON, and those that name a person or an account. A text that the database holds to a list
/// of known values says nothing about anybody.
const HELD: &str = "
    select c.relname || '.' || a.attname from pg_attribute a join pg_class c on c.oid = a.attrelid
    where c.relkind in ('r', 'p') and c.relnamespace = 'public'::regnamespace and c.relname <> '_sqlx_migrations'
      and a.attnum > 0 and not a.attisdropped
      and (a.atttypid in ('text'::regtype, 'varchar'::regtype, 'jsonb'::regtype, 'json'::regtype, 'bytea'::regtype,
                          'text[]'::regtype, 'jsonb[]'::regtype)
           or a.attname ~ '(person_id|account_id)$'
           or exists (select from pg_constraint f where f.conrelid = c.oid and f.contype = 'f' and a.attnum = any (f.conkey)
                      and a.attname <> 'unit_id' and f.confrelid in ('person'::regclass, 'account'::regclass)))
      and not exists (select from pg_constraint k where k.conrelid = c.oid and k.contype = 'c' and k.conkey = array[a.attnum]
                      and pg_get_constraintdef(k.oid) ~ '= ANY \\(ARRAY\\[')
    order by 1";

async fn held(owner: &mut PgConnection) -> BTreeSet<String> {
    let columns: Vec<String> = sqlx::query_scalar(HELD).fetch_all(owner).await.expect("the columns");
    columns.into_iter().collect()
}

fn erased() -> BTreeSet<String> {
    let erasers = FEATURES.iter().flat_map(|feature| feature.erasers);
    erasers.flat_map(|eraser| eraser.columns).map(|column| (*column).to_owned()).collect()
}

/// What stays, with the reason.
fn stays() -> BTreeMap<String, String> {
    let mut reader = csv::Reader::from_reader(include_str!("stays.csv").as_bytes());
    let rows = reader.records().map(|row| row.expect("a row of two cells"));
    rows.map(|row| (row[0].to_owned(), row[1].to_owned())).collect()
}

fn without_eraser(held: &BTreeSet<String>) -> Vec<String> {
    let (erased, stays) = (erased(), stays());
    held.iter().filter(|column| !erased.contains(*column) && !stays.contains_key(*column)).cloned().collect()
}

#[test]
fn every_column_that_can_hold_a_person_is_erased_or_says_why_it_stays() {
    scenario(async |world| {
        let held = held(&mut world.owner().await).await;
        let left = without_eraser(&held);
        assert!(
            left.is_empty(),
            "give these an eraser (a feature's `erasing`), or a line with a reason in tests/gates/stays.csv: {left:?}"
        );
        let (erased, stays) = (erased(), stays());
        let gone: Vec<&String> = erased.iter().chain(stays.keys()).filter(|column| !held.contains(*column)).collect();
        assert!(gone.is_empty(), "named, and no such column holds a person: {gone:?}");
        let both: Vec<&String> = erased.iter().filter(|column| stays.contains_key(*column)).collect();
        assert!(both.is_empty(), "erased and said to stay: {both:?}");
        assert!(stays.values().all(|why| why.len() > 6), "a reason is owed");
    });
}

/// Proof that the gate can find something.
#[test]
fn a_new_column_without_an_eraser_is_noticed() {
    scenario(async |world| {
        let mut owner = world.owner().await;
        for (statement, column) in [
            ("alter table troop add column remark text", "troop.remark"),
            (
                "alter table season add column chaired_by uuid, add constraint leak foreign key (unit_id, chaired_by) references person",
                "season.chaired_by",
            ),
            ("alter table unit add column settings jsonb", "unit.settings"),
        ] {
            let mut tx = sqlx::Connection::begin(&mut owner).await.expect("a transaction");
            sqlx::raw_sql(statement).execute(&mut *tx).await.unwrap_or_else(|error| panic!("{statement}: {error}"));
            assert_eq!(without_eraser(&held(&mut tx).await), [column]);
            tx.rollback().await.expect("a rollback");
        }
    });
}
