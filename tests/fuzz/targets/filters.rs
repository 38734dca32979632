//! What a query and a body hold, and the markers of pages. Refused with every fault named where it is, or taken, and then it
//! is what another reader finds in the same text and within its bounds.
#![no_main]

use actix_web::dev::Payload;
use actix_web::http::Uri;
use actix_web::test::TestRequest;
use actix_web::{FromRequest, ResponseError};
use caselot::common::body::{Patch, Query, parse_json};
use caselot::common::etag::{etag, is_version};
use caselot::common::page;
use caselot::common::since::Since;
use caselot::error::ApiError;
use garde::Validate;
use libfuzzer_sys::fuzz_target;
use serde::Deserialize;
use serde_json::Value;

/// A query as lists take it.
#[derive(Deserialize, Validate)]
#[serde(deny_unknown_fields)]
struct Filters {
    #[garde(dive)]
    updated_since: Option<Since>,
    #[garde(range(min = 1, max = 200))]
    #[serde(default = "page::default_limit")]
    limit: u16,
    #[garde(length(max = 1000))]
    cursor: Option<String>,
    #[garde(length(max = 40))]
    state: Option<String>,
    #[garde(skip)]
    mine: Option<bool>,
}

/// A body as changes take it.
#[derive(Deserialize, Validate)]
#[serde(deny_unknown_fields)]
struct Change {
    #[garde(length(chars, min = 1, max = 20))]
    name: String,
    #[garde(skip)]
    #[serde(default)]
    place: Patch<String>,
    #[garde(dive, length(max = 3))]
    #[serde(default)]
    lines: Vec<Line>,
}

#[derive(Deserialize, Validate)]
#[serde(deny_unknown_fields)]
struct Line {
    #[garde(range(min = 1, max = 500))]
    packages: u16,
}

fuzz_target!(|text: &str| {
    query(text);
    body(text);
    marker(text);
    if is_version(text) {
        let number: Result<i64, _> = text.trim_matches(['"', 'v']).parse();
        assert!(number.is_err() || number.is_ok_and(|number| text.contains(&number.to_string())), "{text:?}");
    }
    let length = i64::try_from(text.len()).expect("a length");
    assert!(is_version(&etag(length)));
});

fn query(text: &str) {
    let Ok(address) = format!("/v1/troops?{text}").parse::<Uri>() else { return };
    let sent = address.query().unwrap_or_default().to_owned();
    let request = TestRequest::default().uri(&address.to_string()).to_http_request();
    let taken = Query::<Filters>::from_request(&request, &mut Payload::None).into_inner();
    let Query(filters) = match taken {
        Ok(taken) => taken,
        Err(refused) => return is_refused_well(&refused, &[400, 422]),
    };
    // another library's reading of the same text
    let pairs = actix_web::web::Query::<Vec<(String, String)>>::from_query(&sent).expect("pairs").into_inner();
    let found = |name: &str| pairs.iter().find(|(known, _)| known == name).map(|(_, value)| value.as_str());
    for (name, _) in &pairs {
        assert!(["updated_since", "limit", "cursor", "state", "mine"].contains(&name.as_str()), "{sent:?}: {name}");
        assert_eq!(pairs.iter().filter(|(other, _)| other == name).count(), 1, "{sent:?}: {name} twice");
    }
    assert!((1..=200).contains(&filters.limit), "{sent:?}");
    assert_eq!(found("limit").map_or(Ok(50), str::parse), Ok(filters.limit), "{sent:?}");
    assert_eq!(filters.cursor.as_deref().unwrap_or_default(), found("cursor").unwrap_or_default(), "{sent:?}");
    assert_eq!(filters.state.as_deref(), found("state"), "{sent:?}");
    assert!(filters.state.as_deref().is_none_or(|state| !state.contains('\0') && !state.is_empty()), "{sent:?}");
    assert_eq!(filters.mine, found("mine").map(|mine| mine == "true"), "{sent:?}");
    let since = filters.updated_since.map(Since::seq);
    assert_eq!(since, found("updated_since").and_then(|since| since.parse().ok()), "{sent:?}");
    assert!(since.is_none_or(|since| since >= 0), "{sent:?}");
}

fn body(text: &str) {
    let change = match parse_json::<Change>(text.as_bytes()) {
        Ok(change) => change,
        Err(refused) => return is_refused_well(&refused, &[400, 422]),
    };
    let value: Value = serde_json::from_str(text).expect("what was taken is JSON");
    let sent = value.as_object().expect("an object");
    assert!(sent.keys().all(|key| ["name", "place", "lines"].contains(&key.as_str())), "{text:?}");
    assert_eq!(sent["name"], change.name.as_str());
    assert!((1..=20).contains(&change.name.chars().count()) && !change.name.contains('\0'), "{text:?}");
    match (sent.get("place"), &change.place) {
        (None, Patch::Leave) | (Some(Value::Null), Patch::Clear) => {}
        (Some(Value::String(sent)), Patch::Set(taken)) => assert_eq!(sent, taken),
        other => panic!("{text:?}: {other:?}"),
    }
    let lines = sent.get("lines").and_then(Value::as_array).map(Vec::as_slice).unwrap_or_default();
    assert!(lines.len() == change.lines.len() && lines.len() <= 3, "{text:?}");
    for (sent, taken) in lines.iter().zip(&change.lines) {
        assert_eq!(sent["packages"], taken.packages);
        assert!((1..=500).contains(&taken.packages), "{text:?}");
    }
}

fn marker(text: &str) {
    let filters = ("troops", Some(text.len()));
    let read = |marker: Option<&str>, list: &str| page::decode::<(String, u32), _>(marker, &(list, Some(text.len())));
    match read(Some(text), "troops") {
        Ok(key) => {
            let again = page::encode(&key.clone().expect("a key"), &filters).expect("a marker");
            assert_eq!(read(Some(&again), "troops").expect("our own marker"), key, "{text:?}");
            assert!(read(Some(text), "people").is_err(), "{text:?} is good for two lists");
        }
        Err(refused) => is_refused_well(&refused, &[400]),
    }
    let ours = page::encode(&(text, 7_u32), &filters).expect("a marker");
    assert_eq!(read(Some(&ours), "troops").expect("our own marker"), Some((text.to_owned(), 7)));
    assert!(read(Some(&ours), "people").is_err(), "a marker is good for its own list alone");
    assert!(read(ours.get(..ours.len() - 1), "troops").is_err(), "cut off");
}

/// Never the server's fault, and where single faults are told, each says what it is and where.
fn is_refused_well(refused: &ApiError, expected: &[u16]) {
    let ApiError::Fault(fault) = refused else { panic!("an answer that was never given: {refused:?}") };
    assert!(expected.contains(&refused.status_code().as_u16()), "{refused:?}");
    let told = fault.problem("request-1");
    assert!((1..=2000).contains(&told.detail.chars().count()), "{told:?}");
    for single in &told.errors {
        assert!((1..=1000).contains(&single.detail.chars().count()), "{single:?}");
        assert!((1..=80).contains(&single.code.chars().count()), "{single:?}");
        assert!(single.pointer.as_deref().is_none_or(|place| place.is_empty() || place.starts_with('/')), "{single:?}");
        assert!(single.pointer.as_deref().is_none_or(|place| place.chars().count() <= 400), "{single:?}");
        assert!(single.parameter.as_deref().is_none_or(|name| name.chars().count() <= 100), "{single:?}");
    }
    assert!(told.errors.len() <= 1000, "{} faults", told.errors.len());
}
