//! The `OpenAPI` document, made from the routes themselves.

use std::sync::LazyLock;

use actix_web::App;
use utoipa::OpenApi;
use utoipa::openapi::OpenApi as Document;
use utoipa_actix_web::AppExt as _;

use super::finish::finish;
use crate::auth::operations::Operations;

#[derive(OpenApi)]
#[openapi(
    info(
        title = "Caselot",
        description = "A single source of truth for one youth unit's seasonal product sale.\n\nSign in with `sign_in`, then send `Authorization: Bearer <access token>`. Every change may carry an `Idempotency-Key`, so that a request sent twice is done once; every edit of a thing carries the `ETag` that was read in `If-Match`. Every answer that is not a success is a problem document (RFC 9457) whose `detail` says what to do next. Head office's figures prevail until reconciled.\n\nOn the reference page: try out `sign_in`, copy its `access_token` (without the quotation marks), press Authorize and paste it; it lasts ten minutes.",
        contact(name = "The server's administrator", email = "administrator@example.org"),
        license(name = "MIT OR Apache-2.0", identifier = "MIT OR Apache-2.0"),
    ),
    servers((url = "/", description = "This server")),
    components(schemas(crate::error::Problem, crate::error::FieldError, crate::exports::ExportFormat, crate::returns::ReturnFormat, crate::returns::ReturnPaper, crate::intake::TemplateFormat)),
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
pub static TEXT: LazyLock<String> = LazyLock::new(|| {
    let value = serde_json::to_value(&*DOCUMENT).unwrap_or_default();
    serde_json::to_string_pretty(&value).unwrap_or_default() + "\n"
});
