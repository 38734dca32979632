//! The throwaway cluster, and with it the code that makes and runs a server's own.

use std::process::Stdio;
use std::time::Duration;

use crate::support::{folder, only_folder, postgres_in, program, runs, said, wait_until};

fn in_cluster(script: &str) -> std::process::Output {
    let folder = folder();
    let output = program()
        .args(["cluster", "--throwaway", "--dir"])
        .arg(folder.path())
        .args(["--", "sh", "-c", script])
        .output()
        .expect("the program runs");
    assert_eq!(only_folder(folder.path()), None, "nothing of a throwaway cluster is left");
    output
}

#[test]
fn the_commands_exit_code_is_the_programs() {
    assert_eq!(in_cluster("exit 7").status.code(), Some(7));
    assert_eq!(in_cluster("true").status.code(), Some(0));
}

#[test]
fn three_roles_have_what_they_need_and_nothing_more() {
    let roles = in_cluster(
        r#"psql -XAt "$CASELOT_TEST_CLUSTER" -c "select rolname, rolsuper, rolbypassrls, rolcreatedb, rolcreaterole, rolreplication from pg_roles where rolname ~ '^caselot' order by 1""#,
    );
    assert_eq!(said(&roles), "caselot_backup|f|t|f|f|f\ncaselot_owner|f|f|f|f|f\ncaselot_runtime|f|f|f|f|f\n");
    let runtime = in_cluster(r#"psql -XAt "$CASELOT_TEST_RUNTIME" -c "create table x (y int)""#);
    assert!(said(&runtime).contains("permission denied for schema public"), "{}", said(&runtime));
    let backup = in_cluster(r#"psql -XAt "$CASELOT_TEST_BACKUP" -c "create temp table x (y int)""#);
    assert!(said(&backup).contains("read-only transaction"), "{}", said(&backup));
    let stranger =
        in_cluster(r#"psql -XAt "$(echo "$CASELOT_TEST_RUNTIME" | sed 's/:[^:@]*@/:wrong@/')" -c "select 1""#);
    assert!(said(&stranger).contains("password authentication failed"), "{}", said(&stranger));
}

#[test]
fn every_safety_setting_is_on_and_only_a_socket_listens() {
    let settings = in_cluster(
        r#"psql -XAt "$CASELOT_TEST_CLUSTER" -c "select name, setting from pg_settings where name in
           ('fsync', 'full_page_writes', 'synchronous_commit', 'data_checksums', 'listen_addresses', 'log_statement', 'password_encryption') order by 1""#,
    );
    assert_eq!(
        said(&settings),
        "data_checksums|on\nfsync|on\nfull_page_writes|on\nlisten_addresses|\nlog_statement|none\npassword_encryption|scram-sha-256\nsynchronous_commit|on\n"
    );
}

#[test]
fn postgresql_never_runs_as_root() {
    let who =
        in_cluster(r#"psql -XAt "$CASELOT_TEST_CLUSTER" -c "select pg_read_file('/proc/self/status')" | grep ^Uid"#);
    let uid = said(&who).split_whitespace().nth(1).and_then(|uid| uid.parse::<u32>().ok());
    assert!(uid.is_some_and(|uid| uid != 0), "{}", said(&who));
}

#[test]
fn a_killed_program_takes_its_cluster_along() {
    let folder = folder();
    let mut child = program()
        .args(["cluster", "--throwaway", "--dir"])
        .arg(folder.path())
        .args(["--", "sh", "-c", "echo ready; exec cat"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("the program starts");
    wait_until("the cluster runs", Duration::from_secs(30), || {
        only_folder(folder.path()).is_some_and(|inner| postgres_in(&inner).is_some())
    });
    let postgres = only_folder(folder.path()).and_then(|inner| postgres_in(&inner)).expect("its process");
    child.kill().expect("SIGKILL");
    child.wait().expect("its end");
    wait_until("PostgreSQL ended by itself", Duration::from_secs(10), || !runs(postgres, "postgres"));
    let log =
        only_folder(folder.path()).map(|inner| std::fs::read_to_string(inner.join("cluster.log")).expect("its log"));
    assert!(log.is_some_and(|log| log.contains("database system is shut down")), "a clean end, not a crash");
}
