//! pgbench: the limit. It comes with PostgreSQL.

use std::path::PathBuf;
use std::time::Duration;

use super::SIZE;
use super::trace::Script;

/// A script that is ready to run.
#[derive(Debug)]
pub struct Pgbench {
    program: PathBuf,
    arguments: Vec<String>,
    _script: tempfile::NamedTempFile,
}

/// What a run told.
#[derive(Debug)]
pub struct Told {
    /// Transactions done.
    pub transactions: u64,
    /// Transactions a second.
    pub per_second: f64,
}

/// The one best bare statement of W1: the kept answer, with no session, no context and no row security.
pub fn bare() -> Script {
    let id = |kind: u32, variable: &str| {
        format!("('0198be00-{kind:04}-7000-8000-' || lpad({variable}::bigint::text, 12, '0'))::uuid")
    };
    let text = format!(
        "\\set u random(1, {})\n\\set t random(1, {})\n\\set ut :u * 10000000 + :t\n\\set u0 :u * 10000000\n\
         select answer from standing where unit_id = {} and season_id = {} and troop_id = {};\n",
        SIZE.0,
        SIZE.1,
        id(1, ":u0"),
        id(2, ":u0"),
        id(3, ":ut")
    );
    Script { text, bound: Vec::new(), statements: 1 }
}

/// Where pgbench is: `PG_BIN`, the newest of Debian's folders, or the path.
fn program() -> PathBuf {
    if let Ok(folder) = std::env::var("PG_BIN") {
        return PathBuf::from(folder).join("pgbench");
    }
    let folders = std::fs::read_dir("/usr/lib/postgresql").into_iter().flatten().flatten();
    let mut found: Vec<PathBuf> =
        folders.map(|folder| folder.path().join("bin/pgbench")).filter(|file| file.exists()).collect();
    found.sort();
    found.pop().unwrap_or_else(|| PathBuf::from("pgbench"))
}

impl Pgbench {
    /// Makes it ready for so many clients.
    pub fn new(address: &str, script: &Script, clients: usize) -> Self {
        use std::io::Write as _;
        let mut file = tempfile::NamedTempFile::new().expect("a file");
        file.write_all(script.text.as_bytes()).expect("a written file");
        let mut arguments: Vec<String> = ["-n", "-M", "prepared", "-j", "2", "-c"].map(str::to_owned).to_vec();
        arguments.push(clients.to_string());
        arguments.extend(["-f".to_owned(), file.path().display().to_string()]);
        for (name, value) in &script.bound {
            arguments.extend(["-D".to_owned(), format!("{name}={value}")]);
        }
        arguments.push(address.to_owned());
        Self { program: program(), arguments, _script: file }
    }

    /// Runs it. Failed transactions end it all.
    pub async fn run(&self, lasting: Duration) -> Told {
        let mut command = tokio::process::Command::new(&self.program);
        command.arg("-T").arg(lasting.as_secs().max(1).to_string()).args(&self.arguments);
        let output = command.output().await.expect("pgbench");
        let (text, errors) = (String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
        assert!(output.status.success() && !errors.contains("ERROR"), "{text}\n{errors}");
        let after =
            |lead: &str| text.lines().find_map(|line| line.strip_prefix(lead)).unwrap_or_default().trim().to_owned();
        let number =
            |text: &str| text.split([' ', '/']).next().and_then(|text| text.parse::<f64>().ok()).expect("a number");
        Told {
            transactions: number(&after("number of transactions actually processed:")) as u64,
            per_second: number(&after("tps =")),
        }
    }
}
