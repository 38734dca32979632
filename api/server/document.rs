//! The `OpenAPI` document, made from the routes themselves, and finished here in one place: what every operation of a
//! kind has in common (sign-in, safe retries, versions) is written by rule and cannot be forgotten.

use std::sync::LazyLock;

use actix_web::App;
use utoipa::OpenApi;
use utoipa::openapi::extensions::ExtensionsBuilder;
use utoipa::openapi::path::{Operation, ParameterBuilder, ParameterIn, PathItem};
use utoipa::openapi::schema::{ObjectBuilder, Type};
use utoipa::openapi::security::{HttpAuthScheme, HttpBuilder, SecurityRequirement, SecurityScheme};
use utoipa::openapi::{OpenApi as Document, Required};
use utoipa_actix_web::AppExt as _;

use crate::auth::operations::Operations;
use crate::auth::permission;

#[derive(OpenApi)]
#[openapi(
    info(
        title = "Caselot",
        description = "A single source of truth for one youth unit's seasonal product sale.\n\nSign in with `sign_in`, then send `Authorization: Bearer <access token>`. Every change may carry an `Idempotency-Key`, so that a request sent twice is done once; every edit of a thing carries the `ETag` that was read in `If-Match`. Every answer that is not a success is a problem document (RFC 9457) whose `detail` says what to do next. Head office's figures prevail until reconciled.",
        contact(name = "The server's administrator", email = "administrator@example.org"),
        license(name = "MIT OR Apache-2.0", identifier = "MIT OR Apache-2.0"),
    ),
    servers((url = "/", description = "This server")),
    components(schemas(crate::error::Problem, crate::error::FieldError)),
)]
struct Base;

/// The document of the whole program.
pub static DOCUMENT: LazyLock<Document> = LazyLock::new(|| {
    let mut app = App::new().into_utoipa_app().openapi(Base::openapi());
    for feature in crate::FEATURES {
        app = app.configure(feature.routes);
    }
    let (_, mut document) = app.split_for_parts();
    finish(&mut document);
    document
});

/// The table of operations of the whole program.
pub static OPERATIONS: LazyLock<std::sync::Arc<Operations>> =
    LazyLock::new(|| std::sync::Arc::new(Operations::of(&DOCUMENT)));

/// The document as the committed file has it: sorted by path, indented, with a line feed at the end.
#[must_use]
pub fn text() -> String {
    let value = serde_json::to_value(&*DOCUMENT).unwrap_or_default();
    serde_json::to_string_pretty(&value).unwrap_or_default() + "\n"
}

fn finish(document: &mut Document) {
    let scheme = HttpBuilder::new()
        .scheme(HttpAuthScheme::Bearer)
        .description(Some("The access token of `sign_in`, or a key for scripts."))
        .build();
    let components = document.components.get_or_insert_default();
    components.add_security_scheme("bearer", SecurityScheme::Http(scheme));
    document.tags = Some(
        crate::FEATURES
            .iter()
            .map(|feature| {
                utoipa::openapi::tag::TagBuilder::new().name(feature.name).description(Some(feature.about)).build()
            })
            .collect(),
    );
    for item in document.paths.paths.values_mut() {
        finish_item(item);
    }
}

fn finish_item(item: &mut PathItem) {
    for (method, operation) in [
        ("get", &mut item.get),
        ("post", &mut item.post),
        ("put", &mut item.put),
        ("patch", &mut item.patch),
        ("delete", &mut item.delete),
    ] {
        if let Some(operation) = operation {
            finish_operation(method, operation);
        }
    }
}

fn finish_operation(method: &str, operation: &mut Operation) {
    let extension =
        |operation: &Operation, name: &str| operation.extensions.as_ref().and_then(|all| all.get(name)).cloned();
    let permission =
        extension(operation, "x-permission").and_then(|value| value.as_str().map(str::to_owned)).unwrap_or_default();
    let signed_in = permission != "public";
    if signed_in {
        operation.security = Some(vec![SecurityRequirement::new("bearer", Vec::<String>::new())]);
    } else {
        operation.security = Some(vec![]);
    }
    if permission::steps_up(&permission) {
        let extensions = ExtensionsBuilder::new().add("x-stepup", true).build();
        operation.extensions.get_or_insert_default().merge(extensions);
    }
    let mut header = |name: &str, description: &str, required: bool, pattern: &str, lengths: (usize, usize)| {
        let schema = ObjectBuilder::new()
            .schema_type(Type::String)
            .pattern(Some(pattern))
            .min_length(Some(lengths.0))
            .max_length(Some(lengths.1))
            .build();
        let parameter = ParameterBuilder::new()
            .name(name)
            .parameter_in(ParameterIn::Header)
            .description(Some(description))
            .required(if required { Required::True } else { Required::False })
            .schema(Some(schema))
            .build();
        operation.parameters.get_or_insert_default().push(parameter.into());
    };
    if method == "post" && signed_in {
        let needed = permission::needs_safe_retry(&permission);
        let text = "Any new unique text; the same one when the request is repeated, so that it is done once. Kept for 72 hours.";
        header("Idempotency-Key", text, needed, "^[!-~]+$", (8, 100));
    }
    if matches!(method, "put" | "patch" | "delete") {
        header(
            "If-Match",
            "The `etag` that you have read: nobody's change is overwritten unseen.",
            true,
            "^\"v[0-9]+\"$",
            (4, 30),
        );
    }
}
