//! The figures of performance.md: what a request costs, beside pgbench running the program's own statements.
//!
//! Run it by `deploy/bench`, inside a throwaway cluster with every safety setting on. It fills a database, traces one
//! request of each kind to know its statements, then lets the program (a release build, its own process, every check on)
//! and pgbench take turns, with the same clients against the same cluster, and prints a table. Figures, no verdict.
//!
//! W1: a troop coordinator reads the own troop's standing. W2: the unit manager lists 30 troops with their standings.
//! W3: the unit manager records one fact (log row, version and standing included).

#![expect(
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::as_conversions,
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a measuring tool: it stops at the first surprise, and its figures are rounded anyway"
)]

mod database;
mod lists;
mod load;
mod pgbench;
mod proc;
mod program;
mod trace;

use std::rc::Rc;
use std::time::Duration;

use pgbench::Pgbench;
use program::{Program, Tokens};

/// Units, and troops in each.
pub const SIZE: (u32, u32) = (40, 30);
/// Clients at once.
const CLIENTS: usize = 32;

/// The kinds of work.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Work {
    W1,
    W2,
    W3,
}

impl Work {
    const ALL: [Self; 3] = [Self::W1, Self::W2, Self::W3];

    const fn status(self) -> u16 {
        match self {
            Self::W1 | Self::W2 => 200,
            Self::W3 => 201,
        }
    }

    const fn name(self) -> &'static str {
        match self {
            Self::W1 => "W1 own troop's standing",
            Self::W2 => "W2 list of 30 troops",
            Self::W3 => "W3 one fact recorded",
        }
    }

    /// The request about this unit and troop; a key makes it a change.
    fn request(self, tokens: &Tokens, (unit, troop): (u32, u32), key: &str) -> Vec<u8> {
        let at = format!("/v1/units/{}", program::id(1, unit, 0));
        let who = if self == Self::W1 { troop } else { 0 };
        let head = |method: &str, path: &str, more: &str| {
            let token = tokens.of(unit, who);
            format!("{method} {path} HTTP/1.1\r\nhost: bench\r\nauthorization: Bearer {token}\r\n{more}\r\n")
        };
        match self {
            Self::W1 => head("GET", &format!("{at}/standings/{}", program::id(3, unit, troop)), "").into_bytes(),
            Self::W2 => head("GET", &format!("{at}/standings"), "").into_bytes(),
            Self::W3 => {
                let body = format!(
                    r#"{{"requirement":"yearly_training","person_id":"{}","outcome":"met","observed_on":"{}"}}"#,
                    program::id(4, unit, troop),
                    tokens.day
                );
                let more = format!(
                    "content-type: application/json\r\ncontent-length: {}\r\nidempotency-key: {key}\r\n",
                    body.len()
                );
                (head("POST", &format!("{at}/evidence"), &more) + &body).into_bytes()
            }
        }
    }
}

/// One turn of the program or of pgbench.
#[derive(Clone, Debug, Default)]
struct Turn {
    per_second: f64,
    median_micros: u64,
    p99_micros: u64,
    server_cpu: f64,
    database_cpu: f64,
    /// Share of the machine that neither server, database nor clients used.
    others: f64,
}

fn main() {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime");
    runtime.block_on(measure());
}

async fn measure() {
    let seconds: u64 = std::env::var("BENCH_SECONDS").ok().and_then(|text| text.parse().ok()).unwrap_or(5);
    let rounds: usize = std::env::var("BENCH_ROUNDS").ok().and_then(|text| text.parse().ok()).unwrap_or(3);
    let lasting = Duration::from_secs(seconds);
    let conditions = proc::conditions();
    eprintln!("filling: {} units of {} troops", SIZE.0, SIZE.1);
    let database = database::Database::filled().await;
    let scripts = traced(&database).await;
    let start = start_time(&database).await;
    let program = Program::start(&database).await;
    let idle = proc::memory_kib(program.pid());
    let mut turns: Vec<Vec<(Turn, Turn)>> = vec![Vec::new(); 3];
    let mut bare = Vec::new();
    let mut loaded = 0;
    for round in 0..rounds {
        eprintln!("round {} of {rounds}", round + 1);
        for (place, work) in Work::ALL.into_iter().enumerate() {
            let pgbench = Pgbench::new(&database.runtime, &scripts[place], CLIENTS);
            // Turn about, so that neither always has the warmer cache.
            let (ours, limit) = if round % 2 == 0 {
                let ours = program_turn(&program, &database, work, lasting).await;
                (ours, pgbench_turn(&database, &pgbench, lasting).await)
            } else {
                let limit = pgbench_turn(&database, &pgbench, lasting).await;
                (program_turn(&program, &database, work, lasting).await, limit)
            };
            loaded = loaded.max(proc::memory_kib(program.pid()));
            turns[place].push((ours, limit));
        }
        let one = Pgbench::new(&database.superuser, &pgbench::bare(), CLIENTS);
        bare.push(pgbench_turn(&database, &one, lasting).await.per_second);
    }
    eprintln!("a large list");
    let tokens = Tokens::new(&program.key);
    let large = lists::previewed(&program, &database, &tokens).await;
    program.stop().await;
    println!("\n{conditions}; {CLIENTS} clients, {rounds} rounds of {seconds} s each, program and pgbench in turns.");
    println!("PostgreSQL {}; fsync {}; data on {}.", database.version, database.fsync, database.disk);
    if rounds > 0 {
        report(&turns, &scripts);
        let w1 = median(turns[0].iter().map(|(ours, _)| ours.per_second));
        println!(
            "W1 over pgbench's one bare statement (no session, no row security): {:.2}",
            w1 / median(bare.into_iter())
        );
    }
    println!("Start to first answered /readyz, migrated database: {start} ms (median of 5).");
    println!(
        "A list of 20,000 rows against 20,000 people: previewed in {:.2} s, memory +{:.0} MiB at most; {}",
        large.took.as_secs_f64(),
        mib(large.grown_kib),
        large.counts
    );
    println!("Memory of the server's processes: {:.1} MiB idle, {:.1} MiB at most after load.", mib(idle), mib(loaded));
}

fn mib(kib: u64) -> f64 {
    kib as f64 / 1_024.0
}

fn median(values: impl Iterator<Item = f64>) -> f64 {
    let mut values: Vec<f64> = values.collect();
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

fn report(turns: &[Vec<(Turn, Turn)>], scripts: &[trace::Script]) {
    println!(
        "\n| work | requests/s | pgbench (its statements) | ratio | p50 / p99 ms | CPU us: server + PostgreSQL | pgbench's PostgreSQL | rest of the machine |"
    );
    println!("|---|---|---|---|---|---|---|---|");
    for ((work, turns), script) in Work::ALL.into_iter().zip(turns).zip(scripts) {
        let ours = |of: fn(&Turn) -> f64| median(turns.iter().map(|(ours, _)| of(ours)));
        let limit = |of: fn(&Turn) -> f64| median(turns.iter().map(|(_, limit)| of(limit)));
        println!(
            "| {} | {:.0} | {:.0} ({}) | {:.2} | {:.1} / {:.1} | {:.0} + {:.0} = {:.0} | {:.0} | {:.0} %, {:.0} % |",
            work.name(),
            ours(|turn| turn.per_second),
            limit(|turn| turn.per_second),
            script.statements,
            median(turns.iter().map(|(ours, limit)| ours.per_second / limit.per_second)),
            ours(|turn| turn.median_micros as f64) / 1_000.0,
            ours(|turn| turn.p99_micros as f64) / 1_000.0,
            ours(|turn| turn.server_cpu),
            ours(|turn| turn.database_cpu),
            ours(|turn| turn.server_cpu + turn.database_cpu),
            limit(|turn| turn.database_cpu),
            100.0 * ours(|turn| turn.others),
            100.0 * limit(|turn| turn.others),
        );
    }
    println!(
        "\nMedians over the rounds. \"Rest of the machine\": what neither the measured processes nor their clients used, in the program's and in pgbench's turns."
    );
}

/// Traces one request of each kind and writes its script.
async fn traced(database: &database::Database) -> Vec<trace::Script> {
    database.log_statements(true).await;
    let program = Program::start(database).await;
    let tokens = Tokens::new(&program.key);
    let mut scripts = Vec::new();
    for work in Work::ALL {
        // First in other units, so that every connection knows its statements; then once about the traced troop, so that
        // what is traced is the steady state.
        for n in 0..60 {
            program.ask(&work.request(&tokens, (8 + n % 20, 14), &format!("warm-up-{n}")), work.status()).await;
        }
        let about = (7, 13);
        program.ask(&work.request(&tokens, about, "before-the-trace"), work.status()).await;
        tokio::time::sleep(Duration::from_millis(300)).await;
        let from = database.log_length();
        let key = "traced-request";
        let body = program.ask(&work.request(&tokens, about, key), work.status()).await;
        tokio::time::sleep(Duration::from_millis(300)).await;
        let made = serde_json::from_slice::<serde_json::Value>(&body)
            .ok()
            .and_then(|body| body["evidence_id"].as_str().map(str::to_owned));
        let statements = trace::read(&database.log, from, &program::id(6, 7, if work == Work::W1 { 13 } else { 0 }));
        assert!(statements.len() > 2, "the log shows no statements: {statements:?}");
        let traced = trace::Traced { about, of: SIZE, key, made: made.as_deref() };
        scripts.push(trace::script(&statements, &traced));
    }
    program.stop().await;
    database.log_statements(false).await;
    for (work, script) in Work::ALL.into_iter().zip(&scripts) {
        let place = std::env::temp_dir().join(format!("caselot-bench-{work:?}.sql"));
        std::fs::write(&place, &script.text).expect("a script that is kept");
        eprintln!("{}: {} statements, script kept as {}", work.name(), script.statements, place.display());
    }
    scripts
}

async fn start_time(database: &database::Database) -> u128 {
    let mut took = Vec::new();
    for _ in 0..5 {
        let program = Program::start(database).await;
        took.push(program.started_in.as_millis());
        program.stop().await;
    }
    took.sort_unstable();
    took[2]
}

/// The accounts before and after something.
struct Accounts {
    server: u64,
    database: u64,
    own: u64,
    machine: (u64, u64),
}

fn accounts(server: Option<u32>, database: u32) -> Accounts {
    Accounts {
        server: server.map_or(0, proc::cpu_micros),
        database: proc::cpu_micros(database),
        own: proc::cpu_micros(std::process::id()),
        machine: proc::machine(),
    }
}

fn turn(before: &Accounts, after: &Accounts, answered: u64, per_second: f64, clients: u64) -> Turn {
    let (server, database) = (after.server - before.server, after.database - before.database);
    let (busy, all) = (after.machine.0 - before.machine.0, after.machine.1 - before.machine.1);
    let others = busy.saturating_sub(server + database + clients) as f64 / all as f64;
    let each = |micros: u64| micros as f64 / answered as f64;
    Turn { per_second, server_cpu: each(server), database_cpu: each(database), others, ..Turn::default() }
}

async fn program_turn(program: &Program, database: &database::Database, work: Work, lasting: Duration) -> Turn {
    let tokens = Tokens::new(&program.key);
    let request: Rc<dyn Fn() -> Vec<u8>> = Rc::new(move || {
        let unit = rand::random_range(1..=SIZE.0);
        let troop = rand::random_range(1..=SIZE.1);
        work.request(&tokens, (unit, troop), &format!("bench-{:032x}", rand::random::<u128>()))
    });
    load::run(&program.address, CLIENTS, Duration::from_secs(1), work.status(), Rc::clone(&request)).await;
    let before = accounts(Some(program.pid()), database.postmaster);
    let told = load::run(&program.address, CLIENTS, lasting, work.status(), request).await;
    let after = accounts(Some(program.pid()), database.postmaster);
    // The server is a child of this process: what is left of the own account is the clients'.
    let clients = (after.own - before.own).saturating_sub(after.server - before.server);
    let turn = turn(&before, &after, told.answered, told.per_second(), clients);
    Turn { median_micros: told.within(0.5), p99_micros: told.within(0.99), ..turn }
}

async fn pgbench_turn(database: &database::Database, pgbench: &Pgbench, lasting: Duration) -> Turn {
    pgbench.run(Duration::from_secs(1)).await;
    let before = accounts(None, database.postmaster);
    let told = pgbench.run(lasting).await;
    let after = accounts(None, database.postmaster);
    turn(&before, &after, told.transactions, told.per_second, after.own - before.own)
}
