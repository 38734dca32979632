//! Where every troop must stand once the demo is loaded, typed by hand, compared with what the server computes.

use std::collections::BTreeMap;

use serde_json::Value;

use crate::client::{Caller, text};

/// After everything that the demo loads.
pub const STANDINGS: &str = include_str!("expectations/standings.csv");

/// Troop, state and open requirements, as one line a troop.
pub type Standings = BTreeMap<String, (String, Vec<String>)>;

/// Reads a file of expectations: troop, state, open requirements with spaces between them, and why.
pub fn typed(file: &str) -> Result<Standings, String> {
    let mut standings = Standings::new();
    for line in file.lines().skip(1) {
        let mut parts = line.splitn(4, ',');
        let mut part = || parts.next().map(str::to_owned).ok_or_else(|| format!("a line with too few parts: {line}"));
        let (troop, state, open) = (part()?, part()?, part()?);
        standings.insert(troop, (state, open.split_whitespace().map(str::to_owned).collect()));
    }
    Ok(standings)
}

/// Asks the server where every troop stands. Open requirements are told for troops that have a coordinator to meet them.
pub async fn computed(manager: &Caller, unit: &str) -> Result<Standings, String> {
    let mut standings = Standings::new();
    for line in manager.all(&format!("/v1/units/{unit}/standings")).await? {
        let (number, state) = (text(&line, "number")?.to_owned(), text(&line, "state")?.to_owned());
        let open = if matches!(&*state, "vacant" | "sitting_out") {
            Vec::new()
        } else {
            let troop = manager.get(&format!("/v1/units/{unit}/standings/{}", text(&line, "troop_id")?)).await?;
            open(troop.get("standing").unwrap_or(&Value::Null))
        };
        standings.insert(number, (state, open));
    }
    Ok(standings)
}

/// The open requirements of the troop and of its counted coordinators.
fn open(standing: &Value) -> Vec<String> {
    let list = |value: &Value, name: &str| value.get(name).and_then(Value::as_array).cloned().unwrap_or_default();
    let counted = list(standing, "coordinators").into_iter().filter(|c| c.get("counted") == Some(&Value::Bool(true)));
    let all = list(standing, "requirements").into_iter().chain(counted.flat_map(|c| list(&c, "requirements")));
    all.filter(|requirement| requirement.get("closed") == Some(&Value::Bool(false)))
        .filter_map(|requirement| requirement.get("requirement").and_then(Value::as_str).map(str::to_owned))
        .collect()
}

/// Every difference, one a line; empty if there is none.
pub fn differences(expected: &Standings, found: &Standings) -> Vec<String> {
    let mut lines = Vec::new();
    for (troop, want) in expected {
        match found.get(troop) {
            Some(have) if have == want => {}
            Some(have) => lines.push(format!("troop {troop} stands as {have:?}, expected {want:?}")),
            None => lines.push(format!("troop {troop} is missing")),
        }
    }
    lines.extend(
        found
            .keys()
            .filter(|troop| !expected.contains_key(*troop))
            .map(|troop| format!("troop {troop} is not expected")),
    );
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_state_occurs_at_least_twice() {
        let typed = typed(STANDINGS).unwrap();
        assert_eq!(typed.len(), 24);
        for (state, troops) in [
            ("appointed", 5),
            ("ready", 2),
            ("gathering", 7),
            ("lapsed", 2),
            ("suspended", 2),
            ("vacant", 4),
            ("sitting_out", 2),
        ] {
            assert_eq!(typed.values().filter(|(s, _)| s == state).count(), troops, "{state}");
        }
    }

    #[test]
    fn a_difference_is_told_by_troop() {
        let one = typed("troop,state,open,why\n104,ready,,x\n108,lapsed,membership screening,y\n").unwrap();
        assert_eq!(one["108"].1, ["membership", "screening"]);
        let other = typed("troop,state,open,why\n104,appointed,,x\n112,ready,,z\n").unwrap();
        assert_eq!(differences(&one, &other).len(), 3);
        assert!(differences(&one, &one).is_empty());
    }
}
