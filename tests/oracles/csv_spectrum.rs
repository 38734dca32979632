//! The CSV reader against csv-spectrum 2 (npm): twelve files with what they mean as JSON.

use caselot::intake::parse::split_csv;
use std::collections::BTreeMap;

/// The files of csv-spectrum 2 (check-values.md 10.13), less one.
const FILES: usize = 11;
/// Its JSON holds another telephone number and other places than its CSV, so the pair says nothing about a reader.
const PAIR_THAT_DIFFERS: &str = "location_coordinates";

#[test]
fn every_file_of_csv_spectrum_reads_as_its_json_says() {
    let Some(folder) = super::fetched("csv-spectrum") else { return };
    let mut checked = 0;
    for entry in std::fs::read_dir(folder.join("csvs")).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_stem().unwrap().to_str().unwrap().to_owned();
        if name == PAIR_THAT_DIFFERS {
            continue;
        }
        let text = std::fs::read_to_string(&path).unwrap();
        let json = std::fs::read(folder.join("json").join(format!("{name}.json"))).unwrap();
        let expected: Vec<BTreeMap<String, String>> = serde_json::from_slice(&json).unwrap();
        let records = split_csv(&text, ',').unwrap();
        let headings = &records[0].fields;
        let got: Vec<BTreeMap<String, String>> = records[1..]
            .iter()
            .map(|record| headings.iter().cloned().zip(record.fields.iter().cloned()).collect())
            .collect();
        assert_eq!(got, expected, "{name}");
        checked += 1;
    }
    assert_eq!(checked, FILES);
    println!("csv-spectrum: {checked} files read as their JSON says");
}
