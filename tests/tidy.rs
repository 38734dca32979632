//! Style that no tool knows: lengths, module docs, the permit first, SQL and the clock in their places.
//!
//! Each rule is a pure function of one file's text, tried on a sample that breaks it before it is trusted.

#[cfg(test)]
mod tidy {
    use std::path::{Path, PathBuf};

    /// A source file: its path from the root of the repository, and its text.
    type Source = (String, String);

    /// Longer than 300 lines and without a good seam so far, each with the length that it may not pass. The list may only
    /// shrink.
    const LONG_FILES: &[(&str, usize)] = &[("api/postgres/cluster.rs", 340)];

    fn gather(folder: &str, end: &str) -> Vec<Source> {
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        let mut folders: Vec<PathBuf> = vec![root.join(folder)];
        let mut found = Vec::new();
        while let Some(folder) = folders.pop() {
            for entry in std::fs::read_dir(&folder).expect("a folder of the repository") {
                let path = entry.expect("an entry").path();
                if path.is_dir() {
                    folders.push(path);
                } else if path.extension().is_some_and(|extension| extension == end) {
                    let name = path.strip_prefix(root).expect("inside").display().to_string();
                    found.push((name, std::fs::read_to_string(&path).expect("a readable file")));
                }
            }
        }
        assert!(found.len() > 3, "{folder} has files");
        found.sort();
        found
    }

    /// The text before the tests at a file's foot.
    fn code(text: &str) -> &str {
        text.split("\n#[cfg(test)]\nmod ").next().unwrap_or_default()
    }

    fn too_long((name, text): &Source) -> Option<String> {
        let lines = code(text).lines().count();
        let most = LONG_FILES.iter().find(|(long, _)| *long == name.as_str()).map_or(300, |(_, most)| *most);
        (lines > most).then(|| format!("{name}: {lines} lines, {most} at most; split it where it has a seam"))
    }

    /// Functions are found by their indentation, which rustfmt guarantees.
    fn long_functions((name, text): &Source) -> Vec<String> {
        let lines: Vec<&str> = text.lines().collect();
        let mut faults = Vec::new();
        for (start, line) in lines.iter().enumerate() {
            let head = line.trim_start();
            let words =
                head.trim_start_matches("pub ").trim_start_matches("pub(super) ").trim_start_matches("pub(crate) ");
            let words = words.trim_start_matches("const ").trim_start_matches("async ");
            if !words.starts_with("fn ") || line.ends_with(';') {
                continue;
            }
            let close = format!("{}}}", " ".repeat(line.len() - head.len()));
            let length = lines[start..].iter().position(|line| *line == close).map_or(1, |end| end + 1);
            if length > 70 {
                faults.push(format!("{name}:{}: a function of {length} lines, 70 at most", start + 1));
            }
        }
        faults
    }

    fn without_doc((name, text): &Source) -> Option<String> {
        (!text.starts_with("//! ")).then(|| format!("{name} does not say what it is (`//!`)"))
    }

    /// The first argument of every handler is its permit: actix asks extractors in order, and a body before the permit
    /// would be judged before its sender is.
    fn permit_not_first((name, text): &Source) -> Vec<String> {
        let mut faults = Vec::new();
        let route = |line: &str| {
            ["get", "post", "put", "patch", "delete"].iter().any(|verb| line.starts_with(&format!("#[{verb}(\"")))
        };
        for (number, line) in text.lines().enumerate().filter(|(_, line)| route(line)) {
            let rest: String = text.lines().skip(number + 1).take(4).collect::<Vec<_>>().join(" ");
            let first =
                rest.split_once('(').map(|(_, arguments)| arguments.split([',', ')']).next().unwrap_or_default());
            let kind =
                first.and_then(|argument| argument.split_once(':')).map(|(_, kind)| kind.trim()).unwrap_or_default();
            if !(kind.starts_with("Permit<") || kind == "SignedIn" || kind == "Public") {
                faults.push(format!("{name}: {line} begins with `{kind}` and not with its permit"));
            }
        }
        faults
    }

    fn sql_out_of_place((name, text): &Source) -> Option<String> {
        let place = name.ends_with("/sql.rs")
            || name.contains("/sql/")
            || name.starts_with("api/auth/")
            || name.starts_with("api/postgres/");
        (!place && code(text).contains("sqlx::query")).then(|| format!("{name}: a query outside sql.rs"))
    }

    fn words((name, text): &Source) -> Vec<String> {
        let mut banned = vec![("select *", "names no columns"), ("TODO", "is unfinished"), ("FIXME", "is unfinished")];
        if name != "api/common/clock.rs" {
            banned.extend([
                ("Utc::now", "reads the clock"),
                ("Local::now", "reads the clock"),
                ("SystemTime::now", "reads the clock"),
            ]);
        }
        let lower = text.to_lowercase();
        let found =
            banned.into_iter().filter(|(word, _)| text.contains(word) || (*word == "select *" && lower.contains(word)));
        found.map(|(word, why)| format!("{name}: `{word}` {why}")).collect()
    }

    #[test]
    fn the_programs_source_is_tidy() {
        let mut faults = Vec::new();
        for source in gather("api", "rs").iter().chain(&gather("seed-demo", "rs")) {
            faults.extend(too_long(source));
            faults.extend(long_functions(source));
            faults.extend(without_doc(source));
            faults.extend(permit_not_first(source));
            faults.extend(sql_out_of_place(source));
            faults.extend(words(source));
        }
        assert!(faults.is_empty(), "\n{}", faults.join("\n"));
    }

    #[test]
    fn the_tests_are_tidy() {
        let mut faults = Vec::new();
        for source in gather("tests", "rs").iter().filter(|(name, _)| name != "tests/tidy.rs") {
            faults.extend(without_doc(source));
            for word in ["#[ignore", "#[should_panic", "thread::sleep(", "TODO", "FIXME"] {
                if source.1.contains(word) {
                    faults.push(format!("{}: `{word}`", source.0));
                }
            }
        }
        assert!(faults.is_empty(), "\n{}", faults.join("\n"));
    }

    #[test]
    fn no_migration_reads_the_clock_or_deletes_across_tables() {
        for (name, text) in gather("migrations", "sql") {
            let statements: String =
                text.lines().filter(|line| !line.trim_start().starts_with("--")).collect::<Vec<_>>().join("\n");
            for word in ["now()", "current_timestamp", "on delete cascade", "security definer", "select *"] {
                assert!(!statements.to_lowercase().contains(word), "{name}: `{word}`");
            }
        }
    }

    #[test]
    fn each_rule_notices_what_breaks_it() {
        let source = |text: String| ("api/sample/find.rs".to_owned(), text);
        assert!(too_long(&source("x\n".repeat(301))).is_some() && too_long(&source("x\n".repeat(300))).is_none());
        let function = |lines: usize| format!("fn long() {{\n{}}}\n", "    x();\n".repeat(lines - 2));
        assert_eq!((long_functions(&source(function(71))).len(), long_functions(&source(function(70))).len()), (1, 0));
        assert!(without_doc(&source("use x;".to_owned())).is_some());
        let handler = |first: &str| format!("#[get(\"/v1/x\")]\npub async fn find_x({first}, body: Json<X>) -> X {{}}");
        assert_eq!(permit_not_first(&source(handler("body: Json<Y>"))).len(), 1);
        assert_eq!(permit_not_first(&source(handler("permit: Permit<XRead>"))).len(), 0);
        assert!(sql_out_of_place(&source("sqlx::query!(\"\")".to_owned())).is_some());
        assert_eq!(words(&source("SELECT * from x; Utc::now()".to_owned())).len(), 2);
    }
}
