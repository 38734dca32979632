//! A few plain pages for whoever opens a link of ours on a phone: accept an invitation, choose a new password,
//! confirm a new address, sign in and see the own steps.
//!
//! They can do nothing that the API cannot: each is a form whose script sends the operation named in it. What stands after
//! `#` in a link never reaches the server's own logs or a proxy's, since browsers keep it to themselves; the script sends it
//! in the body. No page loads anything from elsewhere, and none works without its stylesheet or script being ours.

use actix_web::get;
use utoipa_actix_web::service_config::ServiceConfig;

use crate::Feature;
use crate::auth::Public;
use crate::common::answer::File;

/// The feature's value.
#[must_use]
pub const fn feature() -> Feature {
    Feature::new("pages", "Plain pages behind the links that people are sent.", routes)
}

fn routes(config: &mut ServiceConfig<'_>) {
    config
        .service(open_invitation)
        .service(open_reset)
        .service(open_email)
        .service(open_sign_in)
        .service(read_style)
        .service(read_script);
}

/// Show the form by which an invited person chooses a password (`accept_invitation`), or takes the invitation with an
/// account that exists (`join_unit`).
#[utoipa::path(tag = "pages", extensions(("x-permission" = json!("public"))), responses((status = 200, description = "A page.", body = String, content_type = "text/html"), crate::error::Problems))]
#[get("/invitation")]
pub async fn open_invitation(_public: Public) -> File {
    File::html(include_str!("invitation.html"))
}

/// Show the form by which a new password is chosen (`accept_reset`).
#[utoipa::path(tag = "pages", extensions(("x-permission" = json!("public"))), responses((status = 200, description = "A page.", body = String, content_type = "text/html"), crate::error::Problems))]
#[get("/reset")]
pub async fn open_reset(_public: Public) -> File {
    File::html(include_str!("reset.html"))
}

/// Show the form by which a new e-mail address is confirmed (`accept_email`).
#[utoipa::path(tag = "pages", extensions(("x-permission" = json!("public"))), responses((status = 200, description = "A page.", body = String, content_type = "text/html"), crate::error::Problems))]
#[get("/email")]
pub async fn open_email(_public: Public) -> File {
    File::html(include_str!("email.html"))
}

/// Show the page on which somebody signs in, by a link or by a password, and sees the own steps (`list_my_steps`), the next one
/// first; each can be reported as done (`report_step`).
#[utoipa::path(tag = "pages", extensions(("x-permission" = json!("public"))), responses((status = 200, description = "A page.", body = String, content_type = "text/html"), crate::error::Problems))]
#[get("/sign-in")]
pub async fn open_sign_in(_public: Public) -> File {
    File::html(include_str!("sign-in.html"))
}

/// Give the pages' stylesheet.
#[utoipa::path(tag = "pages", extensions(("x-permission" = json!("public"))), responses((status = 200, description = "The stylesheet.", body = String, content_type = "text/css"), crate::error::Problems))]
#[get("/pages/plain.css")]
pub async fn read_style(_public: Public) -> File {
    File::page("text/css; charset=utf-8", include_str!("plain.css"))
}

/// Give the pages' script.
#[utoipa::path(tag = "pages", extensions(("x-permission" = json!("public"))), responses((status = 200, description = "The script.", body = String, content_type = "text/javascript"), crate::error::Problems))]
#[get("/pages/plain.js")]
pub async fn read_script(_public: Public) -> File {
    File::page("text/javascript; charset=utf-8", include_str!("plain.js"))
}
