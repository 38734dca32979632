//! What may come in as a dependency: licences that fit MIT OR Apache-2.0, and no version with a known hole of our class.
//! cargo-deny looks deeper (deploy/deny.toml); this needs no tool and runs with every test.

use std::process::Command;

/// Versions below which a crate has a weakness of our class (reliability bar R49), as in deploy/deny.toml.
const FLOORS: [(&str, [u64; 3]); 6] = [
    ("jsonwebtoken", [10, 3, 0]),
    ("actix-http", [3, 12, 1]),
    ("actix-multipart", [0, 8, 0]),
    ("lettre", [0, 11, 22]),
    ("quick-xml", [0, 41, 0]),
    ("tracing-subscriber", [0, 3, 20]),
];
const BANNED: [&str; 3] = ["rsa", "actix-governor", "openssl-sys"];
const LICENCES: [&str; 14] = [
    "MIT",
    "Apache-2.0",
    "Apache-2.0 WITH LLVM-exception",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "ISC",
    "Zlib",
    "0BSD",
    "Unicode-3.0",
    "CDLA-Permissive-2.0",
    "CC0-1.0",
    "MIT-0",
    "BSL-1.0",
    "Unlicense",
];

fn locked() -> Vec<(String, [u64; 3])> {
    packages(include_str!("../../Cargo.lock"))
}

fn packages(lock: &str) -> Vec<(String, [u64; 3])> {
    let field = |block: &str, name: &str| {
        block
            .lines()
            .find_map(|line| line.strip_prefix(name)?.strip_prefix(" = \"")?.strip_suffix('"').map(str::to_owned))
    };
    lock.split("[[package]]")
        .skip(1)
        .map(|block| (field(block, "name").expect("a name"), version(&field(block, "version").expect("a version"))))
        .collect()
}

fn version(text: &str) -> [u64; 3] {
    let mut numbers = text.split(['.', '-', '+']).map(|part| part.parse().unwrap_or(0));
    std::array::from_fn(|_| numbers.next().unwrap_or(0))
}

fn faults(locked: &[(String, [u64; 3])]) -> Vec<String> {
    let mut found = Vec::new();
    for (name, version) in locked {
        if BANNED.contains(&name.as_str()) {
            found.push(format!("{name} is banned"));
        }
        if FLOORS.iter().any(|(known, floor)| known == name && version < floor) {
            found.push(format!("{name} {version:?} is below the floor"));
        }
    }
    found
}

#[test]
fn no_locked_version_is_below_its_floor_and_nothing_banned_is_locked() {
    let locked = locked();
    assert!(locked.len() > 100 && locked.iter().any(|(name, _)| name == "actix-http"), "the lock file was read");
    assert_eq!(faults(&locked), Vec::<String>::new());
}

/// `tests/fuzz` is a workspace of its own, so that nobody who builds the program builds it; what it tries is the program as it is.
#[test]
fn the_fuzz_targets_are_built_with_the_versions_of_the_program() {
    let (ours, theirs) = (locked(), packages(include_str!("../fuzz/Cargo.lock")));
    let others: Vec<&str> = theirs.iter().filter(|one| !ours.contains(one)).map(|(name, _)| name.as_str()).collect();
    assert_eq!(others, ["arbitrary", "caselot-fuzz", "libfuzzer-sys"], "copy Cargo.lock over tests/fuzz/Cargo.lock");
    assert!(theirs.len() > 300, "the lock file was read");
}

#[test]
fn a_version_below_its_floor_would_be_noticed() {
    assert_eq!(faults(&[("actix-http".to_owned(), version("3.12.0"))]).len(), 1);
    assert_eq!(
        faults(&[("actix-http".to_owned(), version("3.12.1")), ("rsa".to_owned(), version("0.9.8"))]),
        ["rsa is banned"]
    );
}

/// Each "AND" part needs one "OR" alternative that is allowed. Expressions are short; this reads them left to right.
fn fits(expression: &str) -> bool {
    let expression = expression.replace(['(', ')'], "").replace('/', " OR ");
    expression.split(" AND ").all(|part| part.split(" OR ").any(|licence| LICENCES.contains(&licence.trim())))
}

#[test]
fn every_licence_fits_a_permissive_project() {
    assert!(fits("MIT OR GPL-3.0-or-later") && fits("(Apache-2.0 OR MIT) AND BSD-3-Clause") && fits("MIT/Apache-2.0"));
    assert!(!fits("GPL-3.0-or-later") && !fits("MIT AND LGPL-2.1"));
    let output = Command::new(env!("CARGO"))
        .args([
            "metadata",
            "--format-version",
            "1",
            "--locked",
            "--offline",
            "--filter-platform",
            "x86_64-unknown-linux-gnu",
        ])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .expect("cargo runs");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let metadata: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
    let packages = metadata["packages"].as_array().expect("packages");
    assert!(packages.len() > 100);
    let bad: Vec<String> = packages
        .iter()
        .filter(|package| !package["license"].as_str().is_some_and(fits))
        .map(|package| format!("{} {}", package["name"], package["license"]))
        .collect();
    assert_eq!(bad, Vec::<String>::new());
}
