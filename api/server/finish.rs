//! The document is finished here, in one place: what every operation of a kind has in common (who may do it, safe
//! retries, versions, cheap polling, examples) is written by rule and cannot be forgotten.

use utoipa::openapi::extensions::ExtensionsBuilder;
use utoipa::openapi::path::{Operation, ParameterBuilder, ParameterIn, PathItem};
use utoipa::openapi::schema::{KnownFormat, ObjectBuilder, SchemaFormat, Type};
use utoipa::openapi::security::{HttpAuthScheme, HttpBuilder, SecurityRequirement, SecurityScheme};
use utoipa::openapi::{Components, Content, OpenApi as Document, Ref, RefOr, Required, ResponseBuilder, Schema};

use super::groups;
use crate::auth::permission;

#[cfg(test)]
mod tests;

const JSON: &str = "application/json";
const MERGE_PATCH: &str = "application/merge-patch+json";

pub(super) fn finish(document: &mut Document) {
    let scheme = HttpBuilder::new()
        .scheme(HttpAuthScheme::Bearer)
        .description(Some("The access token of `sign_in`, or a key for scripts."))
        .build();
    let components = document.components.get_or_insert_default();
    components.add_security_scheme("bearer", SecurityScheme::Http(scheme));
    document.tags = Some(groups::tags());
    for item in document.paths.paths.values_mut() {
        finish_item(item, components);
    }
}

fn finish_item(item: &mut PathItem, components: &Components) {
    for (method, operation) in [
        ("get", &mut item.get),
        ("post", &mut item.post),
        ("put", &mut item.put),
        ("patch", &mut item.patch),
        ("delete", &mut item.delete),
    ] {
        if let Some(operation) = operation {
            finish_operation(method, operation);
            finish_body(method, operation, components);
            finish_files(operation);
        }
    }
}

fn finish_operation(method: &str, operation: &mut Operation) {
    groups::place(operation);
    let permission = operation
        .extensions
        .as_ref()
        .and_then(|all| all.get("x-permission")?.as_str().map(str::to_owned))
        .unwrap_or_default();
    let signed_in = permission != "public";
    operation.security =
        Some(if signed_in { vec![SecurityRequirement::new("bearer", Vec::<String>::new())] } else { vec![] });
    if permission::steps_up(&permission) {
        let extensions = ExtensionsBuilder::new().add("x-stepup", true).build();
        operation.extensions.get_or_insert_default().merge(extensions);
    }
    say_who(operation, &permission);
    match method {
        "get" if !goes_on(operation) => {
            can_be_polled(operation);
            says_what_is_new(operation);
        }
        "post" if signed_in => header(operation, &SAFE_RETRY, permission::needs_safe_retry(&permission)),
        "put" | "patch" | "delete" => header(operation, &VERSION_READ, true),
        _ => {}
    }
    // What cannot be taken back asks for it too: whoever does it has read what it is done to.
    let said = |name: &str| operation.extensions.as_ref().is_some_and(|all| all.contains_key(name));
    if method == "post" && said("x-version-read") {
        header(operation, &VERSION_READ, true);
    }
}

/// Ends the description with who may do it.
fn say_who(operation: &mut Operation, permission: &str) {
    let who = match permission {
        "public" => "Anybody may ask this.".to_owned(),
        "signed_in" => "Whoever is signed in may do this.".to_owned(),
        name => format!("Needs the permission `{name}`."),
    };
    let said = operation.description.take().filter(|text| !text.is_empty());
    operation.description = Some(said.map_or_else(|| who.clone(), |text| format!("{text}\n\n{who}")));
}

/// A header field of a request.
struct Field {
    name: &'static str,
    description: &'static str,
    /// Its shape and its least length; none where anything may be sent, since what is not understood is passed over.
    shape: Option<(&'static str, usize)>,
    longest: usize,
}

const SAFE_RETRY: Field = Field {
    name: "Idempotency-Key",
    description: "Any new unique text; the same one when the request is repeated, so that it is done once. Kept for 72 hours.",
    shape: Some(("^[!-~]+$", 8)),
    longest: 100,
};

const VERSION_READ: Field = Field {
    name: "If-Match",
    description: "The `etag` that you have read: nobody's change is overwritten unseen.",
    shape: Some(("^\"v[0-9]+\"$", 4)),
    longest: 30,
};

const TAG_READ: Field = Field {
    name: "If-None-Match",
    description: "The `ETag` of the answer that you have: if it would be the same again, the answer is 304 without a body.",
    shape: None,
    longest: 8_192,
};

fn header(operation: &mut Operation, field: &Field, required: bool) {
    let schema = ObjectBuilder::new().schema_type(Type::String).max_length(Some(field.longest));
    let schema = match field.shape {
        Some((pattern, least)) => schema.pattern(Some(pattern)).min_length(Some(least)),
        None => schema,
    };
    let schema = schema.build();
    let parameter = ParameterBuilder::new()
        .name(field.name)
        .parameter_in(ParameterIn::Header)
        .description(Some(field.description))
        .required(if required { Required::True } else { Required::False })
        .schema(Some(schema))
        .build();
    operation.parameters.get_or_insert_default().push(parameter.into());
}

/// Whether the answer is a stream, which nobody has already.
fn goes_on(operation: &Operation) -> bool {
    let is_stream = |response: &RefOr<utoipa::openapi::Response>| matches!(response, RefOr::T(response) if response.content.contains_key("text/event-stream"));
    operation.responses.responses.values().any(is_stream)
}

/// Every read carries a tag of its bytes (`common::answer`), so every read may answer that nothing has changed.
fn can_be_polled(operation: &mut Operation) {
    header(operation, &TAG_READ, false);
    let unchanged = ResponseBuilder::new().description("It has not changed since you read it.").build();
    operation.responses.responses.insert("304".to_owned(), RefOr::T(unchanged));
}

/// What `updated_since` means, on every list that has it (`common::since`).
const UPDATED_SINCE: &str = "Only rows that changed after this number of the unit's log: send the `log_seq` of the first page \
    that you got last time. A row may come twice, none is missed. What is not told: rows that are gone (a person who was merged \
    or erased, a thing out of your reach now), which `list_log` names, and what time alone changes (a last day that is over).";

fn says_what_is_new(operation: &mut Operation) {
    for parameter in operation.parameters.iter_mut().flatten() {
        if let RefOr::T(parameter) = parameter
            && parameter.name == "updated_since"
        {
            parameter.description = Some(UPDATED_SINCE.to_owned());
        }
    }
}

/// A body shows the example of its type; a merge patch may be sent under its own name as well as plain JSON.
fn finish_body(method: &str, operation: &mut Operation, components: &Components) {
    let Some(RefOr::T(body)) = &mut operation.request_body else { return };
    if method == "patch"
        && let Some(content) = body.content.get(JSON).cloned()
    {
        body.content.entry(MERGE_PATCH.to_owned()).or_insert(content);
    }
    if body.content.get(JSON).is_some_and(|content| asks_for_nothing(content, components)) {
        body.required = Some(Required::False);
    }
    for content in body.content.values_mut() {
        let RefOr::T(content) = content else { continue };
        if content.example.is_none()
            && content.examples.is_empty()
            && let Some(RefOr::Ref(named)) = &content.schema
        {
            content.example = example_of(named, components);
        }
    }
}

/// A file is bytes, in one text: the derive writes it as a list of numbers, and a generator of clients makes one of it.
fn finish_files(operation: &mut Operation) {
    let sent = operation.request_body.iter_mut().filter_map(|body| match body {
        RefOr::T(body) => Some(body.content.iter_mut()),
        RefOr::Ref(_) => None,
    });
    let answered = operation.responses.responses.values_mut().filter_map(|response| match response {
        RefOr::T(response) => Some(response.content.iter_mut()),
        RefOr::Ref(_) => None,
    });
    for (kind, content) in sent.flatten().chain(answered.flatten()) {
        if let RefOr::T(content) = content
            && !kind.starts_with("text/")
            && !kind.ends_with("json")
        {
            let bytes = ObjectBuilder::new().schema_type(Type::String);
            content.schema = Some(bytes.format(Some(SchemaFormat::KnownFormat(KnownFormat::Binary))).build().into());
        }
    }
}

/// Whether `{}` is enough, so that no body is too (`common::body`).
fn asks_for_nothing(content: &RefOr<Content>, components: &Components) -> bool {
    let RefOr::T(Content { schema: Some(RefOr::Ref(named)), .. }) = content else { return false };
    matches!(object_of(named, components), Some(object) if object.required.is_empty())
}

fn example_of(named: &Ref, components: &Components) -> Option<serde_json::Value> {
    object_of(named, components)?.example.clone()
}

fn object_of<'a>(named: &Ref, components: &'a Components) -> Option<&'a utoipa::openapi::Object> {
    match components.schemas.get(named.ref_location.rsplit('/').next()?)? {
        RefOr::T(Schema::Object(object)) => Some(object),
        _ => None,
    }
}
