//! Texts inside lists, for the API's document: a bound that stands on a list does not bound the texts in it.
//!
//! These types describe, they hold nothing: `#[schema(value_type = Vec<ShortText>)]` on a list of texts. What is sent is held
//! to the same bound by `#[garde(inner(length(max = 80)))]` or by the feature's own rules.

use std::borrow::Cow;

use utoipa::openapi::schema::{ObjectBuilder, Type};
use utoipa::openapi::{RefOr, Schema};
use utoipa::{PartialSchema, ToSchema};

/// A text of at most 80 characters.
#[derive(Debug)]
pub struct ShortText;

impl PartialSchema for ShortText {
    fn schema() -> RefOr<Schema> {
        ObjectBuilder::new().schema_type(Type::String).max_length(Some(80)).build().into()
    }
}

impl ToSchema for ShortText {
    fn name() -> Cow<'static, str> {
        Cow::Borrowed("ShortText")
    }
}

/// The lasting code of a requirement, group or milestone: at most 40 small letters, digits and underscores.
#[derive(Debug)]
pub struct CodeInList;

impl PartialSchema for CodeInList {
    fn schema() -> RefOr<Schema> {
        let text = ObjectBuilder::new().schema_type(Type::String).pattern(Some("^[a-z][a-z0-9_]*$"));
        text.min_length(Some(1)).max_length(Some(40)).build().into()
    }
}

impl ToSchema for CodeInList {
    fn name() -> Cow<'static, str> {
        Cow::Borrowed("CodeInList")
    }
}

/// A text as a cell of an uploaded file holds it: at most 2,000 characters.
#[derive(Debug)]
pub struct CellText;

impl PartialSchema for CellText {
    fn schema() -> RefOr<Schema> {
        ObjectBuilder::new().schema_type(Type::String).max_length(Some(2_000)).build().into()
    }
}

impl ToSchema for CellText {
    fn name() -> Cow<'static, str> {
        Cow::Borrowed("CellText")
    }
}
