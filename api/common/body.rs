//! What a request brings: body, query and path, read without waiting (the middleware has the bytes already) and checked
//! in full, so that every fault is named at once.

use std::future::{Ready, ready};

use actix_web::dev::Payload;
use actix_web::http::{Method, header};
use actix_web::web::Bytes;
use actix_web::{FromRequest, HttpMessage as _, HttpRequest};
use serde::de::DeserializeOwned;

use super::{every_fault, shape, words};
use crate::error::{ApiError, Code, FieldError};

/// The whole body, read by the middleware under its deadline and limit.
#[derive(Clone, Debug)]
pub struct RawBody(pub Bytes);

/// A JSON body of type `T`, valid by all of its rules.
#[derive(Debug)]
pub struct Json<T>(pub T);

/// A query string of type `T`: an unknown parameter is refused, since a typing error must not list everything.
#[derive(Debug)]
pub struct Query<T>(pub T);

/// The parameters in the path. One that cannot be read names nothing that exists: 404.
#[derive(Debug)]
pub struct Path<T>(pub T);

impl<T> std::ops::Deref for Path<T> {
    type Target = T;

    fn deref(&self) -> &T {
        &self.0
    }
}

impl<T: DeserializeOwned + garde::Validate<Context = ()>> FromRequest for Json<T> {
    type Error = ApiError;
    type Future = Ready<Result<Self, ApiError>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        ready(read_json(request).map(Json))
    }
}

impl<T: DeserializeOwned + garde::Validate<Context = ()>> FromRequest for Query<T> {
    type Error = ApiError;
    type Future = Ready<Result<Self, ApiError>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        ready(read_query(request.query_string()).map(Query))
    }
}

impl<T: DeserializeOwned + 'static> FromRequest for Path<T> {
    type Error = ApiError;
    type Future = Ready<Result<Self, ApiError>>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let read = actix_web::web::Path::<T>::from_request(request, payload).into_inner();
        ready(read.map(|path| Path(path.into_inner())).map_err(|_| ApiError::new(Code::NotFound)))
    }
}

/// The bytes of the body, for operations that take a file.
#[derive(Debug)]
pub struct Upload {
    /// The file.
    pub bytes: Bytes,
    /// Its declared type, without parameters; empty when none was sent.
    pub content_type: String,
}

impl FromRequest for Upload {
    type Error = ApiError;
    type Future = Ready<Result<Self, ApiError>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let content_type = content_type(request);
        ready(raw(request).map(|bytes| Self { bytes, content_type }))
    }
}

fn raw(request: &HttpRequest) -> Result<Bytes, ApiError> {
    let body = request.extensions().get::<RawBody>().cloned();
    body.map(|RawBody(bytes)| bytes).ok_or_else(|| ApiError::broken("a handler asked for a body that was not read"))
}

fn content_type(request: &HttpRequest) -> String {
    let value = request.headers().get(header::CONTENT_TYPE).and_then(|value| value.to_str().ok()).unwrap_or_default();
    value.split(';').next().unwrap_or_default().trim().to_ascii_lowercase()
}

fn read_json<T: DeserializeOwned + garde::Validate<Context = ()>>(request: &HttpRequest) -> Result<T, ApiError> {
    let patch = request.method() == Method::PATCH;
    let body = raw(request)?;
    // Nothing at all says what `{}` says, where that is enough.
    if body.is_empty()
        && !patch
        && let Ok(value) = parse_json(b"{}")
    {
        return Ok(value);
    }
    match content_type(request).as_str() {
        "application/json" => {}
        "application/merge-patch+json" if patch => {}
        _ => return Err(ApiError::new(Code::WrongContentType)),
    }
    parse_json(&body)
}

/// Reads and checks a JSON text.
///
/// # Errors
/// 400 if it is not JSON, 422 with every fault if it is not valid.
pub fn parse_json<T: DeserializeOwned + garde::Validate<Context = ()>>(text: &[u8]) -> Result<T, ApiError> {
    let faults = shape::faults(text).map_err(|error| {
        let place = format!("line {}, column {}", error.line(), error.column());
        ApiError::new(Code::BadJson).errors(vec![FieldError::matter("not_json", format!("{place}: {error}"))])
    })?;
    if !faults.is_empty() {
        return Err(ApiError::new(Code::Invalid).errors(faults));
    }
    if text.trim_ascii_start().first().is_some_and(|first| *first != b'{') {
        // serde would take an array for an object, field by field.
        let fault = FieldError::at("", "not_as_documented", "an object: { ... }");
        return Err(ApiError::new(Code::Invalid).errors(vec![fault]));
    }
    every_fault::read(text).map_err(|errors| ApiError::new(Code::Invalid).errors(errors))
}

fn read_query<T: DeserializeOwned + garde::Validate<Context = ()>>(text: &str) -> Result<T, ApiError> {
    // A cursor is decoded and refused as a whole by whoever gave it out.
    let unstorable =
        |(name, value): &(String, String)| name != "cursor" && (name.contains('\0') || value.contains('\0'));
    // Only a query with this escape can hold one: the others are not taken apart twice.
    if text.contains("%00")
        && let Some((name, _)) = form_pairs(text).find(unstorable)
    {
        let fault =
            FieldError::parameter(name.replace('\0', ""), "unstorable_character", "leave out the NUL character");
        return Err(ApiError::new(Code::Invalid).errors(vec![fault]));
    }
    let bare = |pair: &str| !pair.is_empty() && pair.split_once('=').is_none_or(|(_, value)| value.is_empty());
    if text.split('&').any(bare)
        && let Some((name, _)) = form_pairs(text).find(|(name, value)| value.is_empty() && name != "cursor")
    {
        // It would be taken for a parameter that was left out, and so for all instead of none; an empty cursor is the first page.
        let fault = FieldError::parameter(name, "empty", "a value; leave the parameter out where there is none");
        return Err(ApiError::new(Code::BadParameter).errors(vec![fault]));
    }
    let reader = serde_html_form::Deserializer::from_bytes(text.as_bytes());
    let value: T = serde_path_to_error::deserialize(reader).map_err(|error| {
        let name = pointer_of(error.path()).split('/').nth(1).unwrap_or("query").to_owned();
        let said = error.inner().to_string();
        if said.contains("unsupported value") && form_pairs(text).filter(|(sent, _)| *sent == name).count() > 1 {
            let detail = "only once: it stands more than once in the address, and which one is meant cannot be told";
            return ApiError::new(Code::BadParameter).errors(vec![FieldError::parameter(name, "twice", detail)]);
        }
        let detail = words::plain(&said, &name);
        ApiError::new(Code::BadParameter).errors(vec![FieldError::parameter(name, "unreadable", detail)])
    })?;
    check(&value).map_err(|errors| {
        let errors = errors.into_iter().map(|fault| {
            let name = fault.pointer.unwrap_or_default().trim_start_matches('/').to_owned();
            FieldError::parameter(name, fault.code, fault.detail)
        });
        ApiError::new(Code::Invalid).errors(errors.collect())
    })?;
    Ok(value)
}

/// The names and values of a query string.
fn form_pairs(text: &str) -> impl Iterator<Item = (String, String)> {
    serde_html_form::from_str::<Vec<(String, String)>>(text).unwrap_or_default().into_iter()
}

/// Every broken rule, in the order of their places, so that the same body always gets the same answer.
pub(super) fn check<T: garde::Validate<Context = ()>>(value: &T) -> Result<(), Vec<FieldError>> {
    let Err(report) = value.validate() else { return Ok(()) };
    let faults =
        report.iter().map(|(path, error)| (dotted_pointer(&path.to_string()), words::bound(&error.to_string())));
    let mut faults: Vec<_> = faults.map(|(place, detail)| FieldError::at(place, "not_valid", detail)).collect();
    faults.sort_by(|one, other| one.pointer.cmp(&other.pointer));
    Err(faults)
}

/// `lines[2].packages` as a JSON pointer: `/lines/2/packages`.
fn dotted_pointer(path: &str) -> String {
    let plain = path.replace('[', ".").replace(']', "");
    plain.split('.').filter(|part| !part.is_empty()).fold(String::new(), |pointer, part| pointer + "/" + part)
}

pub(super) fn pointer_of(path: &serde_path_to_error::Path) -> String {
    use serde_path_to_error::Segment;
    path.iter().fold(String::new(), |pointer, segment| match segment {
        Segment::Seq { index } => format!("{pointer}/{index}"),
        Segment::Map { key } => format!("{pointer}/{}", key.replace('~', "~0").replace('/', "~1")),
        Segment::Enum { variant } => format!("{pointer}/{variant}"),
        Segment::Unknown => pointer,
    })
}

/// A field of a merge patch (RFC 7396): absent leaves it, null clears it, a value sets it.
/// Use with `#[serde(default)]`, and `#[schema(value_type = Option<..>)]`.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum Patch<T> {
    /// The field was not sent.
    #[default]
    Leave,
    /// The field was null.
    Clear,
    /// The field has this value.
    Set(T),
}

impl<'de, T: serde::Deserialize<'de>> serde::Deserialize<'de> for Patch<T> {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        Ok(Option::<T>::deserialize(deserializer)?.map_or(Self::Clear, Self::Set))
    }
}

impl<T: Clone> Patch<T> {
    /// The field after the patch.
    #[must_use]
    pub fn apply(&self, present: Option<T>) -> Option<T> {
        match self {
            Self::Leave => present,
            Self::Clear => None,
            Self::Set(value) => Some(value.clone()),
        }
    }

    /// The value that was sent, if one was.
    pub fn value(&self) -> Option<&T> {
        match self {
            Self::Set(value) => Some(value),
            Self::Leave | Self::Clear => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{Patch, dotted_pointer, parse_json};

    #[derive(Debug, serde::Deserialize, garde::Validate)]
    #[serde(deny_unknown_fields)]
    struct Sample {
        #[garde(length(min = 1, max = 5))]
        name: String,
        #[garde(skip)]
        #[serde(default)]
        place: Patch<String>,
        #[garde(dive)]
        #[serde(default)]
        lines: Vec<Line>,
    }

    #[derive(Debug, serde::Deserialize, garde::Validate)]
    struct Line {
        #[garde(range(min = 1))]
        packages: u32,
    }

    fn fault(text: &str) -> (u16, Vec<String>) {
        let crate::error::ApiError::Fault(fault) = parse_json::<Sample>(text.as_bytes()).unwrap_err() else { panic!() };
        let pointers = fault.errors.iter().map(|error| error.pointer.clone().unwrap_or_default());
        (fault.code.status().as_u16(), pointers.collect())
    }

    #[test]
    fn every_fault_is_named_with_its_place() {
        assert_eq!(
            fault(r#"{"name":"toolong","lines":[{"packages":1},{"packages":0}]}"#),
            (422, vec!["/lines/1/packages".into(), "/name".into()])
        );
        assert_eq!(fault(r#"{"name":"x","lines":[{"packages":"1"}]}"#), (422, vec!["/lines/0/packages".into()]));
        assert_eq!(fault(r#"{"name":"x","other":1}"#).0, 422);
        assert_eq!(fault(r#"{"name":"x""#).0, 400);
        assert_eq!(fault(r#"{"name":"x","name":"y"}"#).0, 422);
    }

    #[test]
    fn absent_null_and_value_are_three_things() {
        let read = |text: &str| parse_json::<Sample>(text.as_bytes()).unwrap().place;
        assert_eq!(read(r#"{"name":"x"}"#), Patch::Leave);
        assert_eq!(read(r#"{"name":"x","place":null}"#), Patch::Clear);
        assert_eq!(read(r#"{"name":"x","place":"hall"}"#), Patch::Set("hall".to_owned()));
        assert_eq!(Patch::Leave.apply(Some(1)), Some(1));
        assert_eq!(Patch::Clear.apply(Some(1)), None);
        assert_eq!(Patch::Set(2).apply(Some(1)), Some(2));
    }

    /// RFC 7396 appendix A, the rows whose target and patch are flat objects (ours are): target, patch, result.
    #[test]
    fn rfc_7396_appendix_a_flat_rows_hold() {
        #[derive(serde::Deserialize, garde::Validate)]
        #[serde(deny_unknown_fields)]
        #[garde(allow_unvalidated)]
        struct Change {
            #[serde(default)]
            a: Patch<serde_json::Value>,
            #[serde(default)]
            b: Patch<serde_json::Value>,
        }
        for (target, patch, result) in [
            (r#"{"a":"b"}"#, r#"{"a":"c"}"#, r#"{"a":"c"}"#),
            (r#"{"a":"b"}"#, r#"{"b":"c"}"#, r#"{"a":"b","b":"c"}"#),
            (r#"{"a":"b"}"#, r#"{"a":null}"#, r"{}"),
            (r#"{"a":"b","b":"c"}"#, r#"{"a":null}"#, r#"{"b":"c"}"#),
            (r#"{"a":["b"]}"#, r#"{"a":"c"}"#, r#"{"a":"c"}"#),
            (r#"{"a":"c"}"#, r#"{"a":["b"]}"#, r#"{"a":["b"]}"#),
            (r#"{"a":[{"b":"c"}]}"#, r#"{"a":[1]}"#, r#"{"a":[1]}"#),
        ] {
            let mut fields: serde_json::Map<String, serde_json::Value> = serde_json::from_str(target).unwrap();
            let change: Change = parse_json(patch.as_bytes()).unwrap();
            for (name, patch) in [("a", change.a), ("b", change.b)] {
                if let Some(value) = patch.apply(fields.remove(name)) {
                    fields.insert(name.to_owned(), value);
                }
            }
            let wanted: serde_json::Map<String, serde_json::Value> = serde_json::from_str(result).unwrap();
            assert_eq!(fields, wanted, "{target} with {patch}");
        }
    }

    /// RFC 6901 section 5: the keys of its example, and the pointers that name them.
    #[test]
    fn rfc_6901_section_5_pointers_are_the_ones_given() {
        #[derive(Debug, serde::Deserialize)]
        struct Keys(
            #[expect(dead_code, reason = "only its failure is looked at")] std::collections::BTreeMap<String, u8>,
        );
        impl garde::Validate for Keys {
            type Context = ();
            fn validate_into(&self, (): &(), _: &mut dyn FnMut() -> garde::Path, _: &mut garde::Report) {}
        }
        for (key, pointer) in [
            ("", "/"),
            ("a/b", "/a~1b"),
            ("c%d", "/c%d"),
            ("e^f", "/e^f"),
            ("g|h", "/g|h"),
            ("i\\j", "/i\\j"),
            ("k\"l", "/k\"l"),
            (" ", "/ "),
            ("m~n", "/m~0n"),
        ] {
            let body = serde_json::json!({ key: "not a number" }).to_string();
            let crate::error::ApiError::Fault(fault) = parse_json::<Keys>(body.as_bytes()).unwrap_err() else {
                panic!()
            };
            assert_eq!(fault.errors.first().unwrap().pointer.as_deref(), Some(pointer));
        }
    }

    #[test]
    fn paths_become_pointers() {
        assert_eq!(dotted_pointer("lines[2].packages"), "/lines/2/packages");
    }
}
