-- For a PostgreSQL server that you run yourself (15 or later): the three roles and the database, once, as its superuser.
-- Choose three passwords first (head -c 32 /dev/urandom | base64 | tr '+/' '-_'), then:
--
--   psql -v owner=... -v runtime=... -v backup=... -f deploy/roles.sql postgres
--
-- and put the three addresses into files of mode 0600, named in the settings (deploy/caselot.example.toml, [database]).
\set ON_ERROR_STOP on
set password_encryption = 'scram-sha-256';
create role caselot_owner   login nosuperuser nocreatedb nocreaterole noreplication nobypassrls password :'owner';
create role caselot_runtime login nosuperuser nocreatedb nocreaterole noreplication nobypassrls password :'runtime';
create role caselot_backup  login nosuperuser nocreatedb nocreaterole noreplication bypassrls   password :'backup';
alter role caselot_backup set default_transaction_read_only = on;
grant pg_read_all_data to caselot_backup;
create database caselot owner caselot_owner encoding 'UTF8' template template0;
revoke all on database caselot from public;
grant connect on database caselot to caselot_runtime, caselot_backup;
