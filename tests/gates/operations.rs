//! The operations as the document has them.

use std::sync::LazyLock;

use reqwest::Method;
use serde_json::Value;

use crate::support::promise::DOCUMENT_JSON;

/// One operation of the document.
#[derive(Clone, Debug)]
pub struct Operation {
    pub id: String,
    pub method: Method,
    pub pattern: String,
    /// The value of `x-permission`; empty if there is none.
    pub permission: String,
    /// The whole of it.
    pub value: &'static Value,
}

/// All of them.
pub static OPERATIONS: LazyLock<Vec<Operation>> = LazyLock::new(|| {
    let paths = DOCUMENT_JSON["paths"].as_object().expect("paths");
    let each = paths.iter().flat_map(|(pattern, item)| {
        let methods = item.as_object().expect("a path item").iter();
        methods.filter(|(method, _)| matches!(method.as_str(), "get" | "post" | "put" | "patch" | "delete")).map(
            move |(method, value)| Operation {
                id: value["operationId"].as_str().unwrap_or_default().to_owned(),
                method: method.to_uppercase().parse().expect("a method"),
                pattern: pattern.clone(),
                permission: value["x-permission"].as_str().unwrap_or_default().to_owned(),
                value,
            },
        )
    });
    each.collect()
});

impl Operation {
    /// The names in `{..}`, in order.
    pub fn path_parameters(&self) -> Vec<String> {
        let parts = self.pattern.split('{').skip(1);
        parts.map(|part| part.split('}').next().unwrap_or_default().to_owned()).collect()
    }

    /// Whether it is of a unit.
    pub fn in_unit(&self) -> bool {
        self.pattern.starts_with("/v1/units/{unit_id}")
    }

    /// Whether anybody may.
    pub fn is_public(&self) -> bool {
        self.permission == "public"
    }

    /// Whether it changes something.
    pub fn changes(&self) -> bool {
        self.method != Method::GET
    }

    /// Whether it asks which version was read.
    pub fn asks_for_a_version(&self) -> bool {
        self.value["parameters"].as_array().into_iter().flatten().any(|one| one["name"] == "If-Match")
    }

    /// The types of its body, if it takes one.
    pub fn body_types(&self) -> Vec<&'static str> {
        let content = self.value["requestBody"]["content"].as_object();
        content.map(|content| content.keys().map(String::as_str).collect()).unwrap_or_default()
    }

    /// The schema of its JSON body.
    pub fn json_schema(&self) -> Option<&'static Value> {
        let content = self.value["requestBody"]["content"].as_object()?;
        content.iter().find(|(kind, _)| kind.ends_with("json")).map(|(_, media)| &media["schema"])
    }

    /// The example of its JSON body: of the media type, or of the schema that it names.
    pub fn json_example(&self) -> Option<Value> {
        let content = self.value["requestBody"]["content"].as_object()?;
        let (_, media) = content.iter().find(|(kind, _)| kind.ends_with("json"))?;
        let own = media.get("example").or_else(|| media["schema"].get("example"));
        let of_type = media["schema"]["$ref"].as_str().and_then(|name| resolve(name)?.get("example"));
        own.or(of_type).cloned()
    }
}

/// What a reference into the document names.
pub fn resolve(reference: &str) -> Option<&'static Value> {
    DOCUMENT_JSON.pointer(reference.trim_start_matches('#'))
}
