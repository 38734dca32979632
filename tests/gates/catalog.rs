//! The database's own catalog, read for what must never be there (R16, R44).

use sqlx::postgres::PgConnection;

use crate::support::built::built;
use crate::support::scenario;

/// What must not be there: what it is, and a query that finds it.
const NEVER: &[(&str, &str)] = &[
    (
        "a function that runs with its owner's rights",
        "select proname::text from pg_proc where pronamespace = 'public'::regnamespace and prosecdef",
    ),
    (
        "a materialized view, which row security does not reach",
        "select relname::text from pg_class where relkind = 'm' and relnamespace = 'public'::regnamespace",
    ),
    (
        "a view that runs with its owner's rights",
        "select relname::text from pg_class where relkind = 'v' and relnamespace = 'public'::regnamespace
         and not coalesce(reloptions @> array['security_invoker=true'], false)",
    ),
    (
        "a table with a unit and without forced row security, beside those that belong to the server",
        "select c.relname::text from pg_class c join pg_attribute a on a.attrelid = c.oid and a.attname = 'unit_id' and not a.attisdropped
         where c.relkind in ('r', 'p') and c.relnamespace = 'public'::regnamespace and not (c.relrowsecurity and c.relforcerowsecurity)
         and c.relname not in ('unit', 'membership', 'access_key', 'invitation', 'job')",
    ),
    (
        "row security that is switched on and not forced",
        "select relname::text from pg_class where relnamespace = 'public'::regnamespace and relrowsecurity <> relforcerowsecurity",
    ),
    (
        "a fenced table whose policies are not exactly by unit and for the owner",
        "select c.relname::text from pg_class c where c.relrowsecurity and c.relnamespace = 'public'::regnamespace and
         (select array_agg(polname::text || ' ' || polcmd::text || ' ' || polroles::regrole[]::text || ' ' ||
                 pg_get_expr(polqual, polrelid) || ' ' || pg_get_expr(polwithcheck, polrelid) order by polname)
          from pg_policy where polrelid = c.oid)
         is distinct from array['by_unit * {caselot_runtime} (unit_id = current_unit()) (unit_id = current_unit())',
                                'for_owner * {caselot_owner} true true']",
    ),
    (
        "a foreign key that deletes or changes rows by itself",
        "select conname::text from pg_constraint where contype = 'f' and (confdeltype <> 'a' or confupdtype <> 'a')",
    ),
    (
        "a foreign key between unit tables that does not carry the unit",
        "select con.conname::text from pg_constraint con join pg_class here on here.oid = con.conrelid
         join pg_class there on there.oid = con.confrelid
         where con.contype = 'f' and here.relrowsecurity and there.relrowsecurity and not exists (
             select from pg_attribute a where a.attrelid = con.conrelid and a.attnum = any (con.conkey) and a.attname = 'unit_id')",
    ),
    (
        "a unit table whose key does not begin with the unit",
        "select c.relname::text from pg_class c join pg_index i on i.indrelid = c.oid and i.indisprimary
         join pg_attribute a on a.attrelid = c.oid and a.attnum = i.indkey[0]
         where c.relrowsecurity and c.relnamespace = 'public'::regnamespace and a.attname <> 'unit_id'",
    ),
    (
        "a check or uniqueness without a name of its own, by which its violation could be told to people",
        "select conname::text from pg_constraint where connamespace = 'public'::regnamespace and contype in ('c', 'u', 'x')
         and conname ~ '_(check|key|excl)[0-9]*$' and conname <> 'job_unique_key'
         and conrelid is distinct from to_regclass('_sqlx_migrations')",
    ),
    (
        "an enum type, whose comparison keeps indexes out of fenced queries",
        "select typname::text from pg_type where typtype = 'e' and typnamespace = 'public'::regnamespace",
    ),
    (
        "a column default that reads the clock",
        "select adrelid::regclass::text from pg_attrdef where adrelid::regclass::text !~ '_sqlx_migrations'
         and pg_get_expr(adbin, adrelid) ~* '(now\\(|current_timestamp|current_date|clock_timestamp)'",
    ),
    (
        "a function that reads the clock",
        "select proname::text from pg_proc where pronamespace = 'public'::regnamespace and prosrc ~* '(now\\(\\)|current_timestamp|current_date|clock_timestamp)'",
    ),
    (
        "something that the program's role owns",
        "select relname::text from pg_class where relowner = 'caselot_runtime'::regrole
         union all select proname::text from pg_proc where proowner = 'caselot_runtime'::regrole
         union all select datname::text from pg_database where datdba = 'caselot_runtime'::regrole",
    ),
    (
        "a role of the program with too much power",
        "select rolname::text from pg_roles where rolname in ('caselot_runtime', 'caselot_owner', 'caselot_backup')
         and (rolsuper or rolcreatedb or rolcreaterole or rolreplication or (rolbypassrls and rolname <> 'caselot_backup'))",
    ),
    (
        "a place where the program's role may create or truncate",
        "select nspname::text from pg_namespace where nspname !~ '^pg_' and has_schema_privilege('caselot_runtime', oid, 'create')
         union all select relname::text from pg_class where relkind in ('r', 'p') and relnamespace = 'public'::regnamespace
         and has_table_privilege('caselot_runtime', oid, 'truncate')
         union all select current_database()::text where has_database_privilege('caselot_runtime', current_database(), 'create, temporary')",
    ),
    (
        "a log that the program's role may rewrite",
        "select relname::text from pg_class where relname in ('unit_log', 'server_log', 'policy_version')
         and (has_any_column_privilege('caselot_runtime', oid, 'update') or has_table_privilege('caselot_runtime', oid, 'delete'))",
    ),
    (
        "a function that everybody may call",
        "select proname::text from pg_proc p where pronamespace = 'public'::regnamespace
         and exists (select from aclexplode(coalesce(p.proacl, acldefault('f', p.proowner))) acl where acl.grantee = 0)",
    ),
    (
        "a column for what must not be kept of minors or of a screening",
        "select table_name || '.' || column_name from information_schema.columns where table_schema = 'public'
         and column_name ~ '(birth|born|street|postcode|home_address|screening_note|allerg)'",
    ),
];

async fn found(owner: &mut PgConnection, query: &str) -> Vec<String> {
    let rows = sqlx::query_scalar(built(query)).fetch_all(owner).await;
    rows.unwrap_or_else(|error| panic!("{query}: {error}"))
}

#[test]
fn the_database_has_nothing_of_what_must_never_be_there() {
    scenario(async |world| {
        let mut owner = world.owner().await;
        for (what, query) in NEVER {
            assert_eq!(found(&mut owner, query).await, Vec::<String>::new(), "{what}");
        }
    });
}

/// Proof that the queries can find something: each thing is put there and must be found.
#[test]
fn what_must_never_be_there_would_be_found() {
    let planted = [
        "create function leak() returns int language sql security definer as 'select 1'",
        "create materialized view leak as select unit_id from person",
        "create view leak as select unit_id from person",
        "create table leak (unit_id uuid primary key)",
        "alter table person no force row level security",
        "create policy leak on person to caselot_runtime using (true)",
        "alter table person_contact drop constraint person_contact_person, add constraint person_contact_person foreign key (unit_id, person_id) references person on delete cascade",
        "alter table troop add column lead uuid constraint leak_unique unique, add constraint leak foreign key (lead) references troop (lead)",
        "create table leak (id uuid primary key, unit_id uuid); call fence('leak')",
        "alter table person add check (version > -5)",
        "create type leak as enum ('a')",
        "alter table person add column made_at timestamptz default now()",
        "create function leak() returns timestamptz language sql as 'select now()'",
    ];
    scenario(async |world| {
        let mut owner = world.owner().await;
        for (statement, (what, query)) in planted.iter().zip(NEVER) {
            let begun = format!("begin; {statement}");
            sqlx::raw_sql(built(begun))
                .execute(&mut owner)
                .await
                .unwrap_or_else(|error| panic!("{statement}: {error}"));
            assert_ne!(found(&mut owner, query).await, Vec::<String>::new(), "nobody notices {what}");
            sqlx::raw_sql("rollback").execute(&mut owner).await.expect("a rollback");
        }
    });
}
