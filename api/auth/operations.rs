//! The table of operations, read from the generated document, so that the document, the middleware and the answers to
//! wrong methods can never tell different stories.

use std::collections::{BTreeMap, HashMap};

use actix_web::http::Method;
use utoipa::openapi::path::ParameterIn;
use utoipa::openapi::{OpenApi, RefOr};

/// What an operation asks of its caller.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Access {
    /// Anybody.
    Public,
    /// Whoever is signed in.
    SignedIn,
    /// Whoever holds this permission.
    Permission(String),
}

/// One operation of the document.
#[derive(Clone, Debug)]
#[expect(clippy::struct_excessive_bools, reason = "four independent marks of the document")]
pub struct Operation {
    /// Its operationId.
    pub id: String,
    /// What it asks of its caller.
    pub access: Access,
    /// Whether its body is a file (5 MiB) rather than JSON (256 KiB).
    pub takes_file: bool,
    /// Whether it asks for a proof that is at most ten minutes old that it is the account's owner who asks.
    pub steps_up: bool,
    /// Whether it is open to who must have a second factor and has none yet.
    pub without_second_factor: bool,
    /// Whether its path names a unit.
    pub in_unit: bool,
    /// The names of its query parameters.
    pub parameters: Vec<String>,
}

/// All operations by path pattern and method.
#[derive(Debug, Default)]
pub struct Operations {
    by_pattern: HashMap<String, HashMap<Method, Operation>>,
}

impl Operations {
    /// The operations of this document.
    #[must_use]
    pub fn of(document: &OpenApi) -> Self {
        let mut by_pattern: HashMap<String, HashMap<Method, Operation>> = HashMap::new();
        for (pattern, item) in &document.paths.paths {
            let methods = by_pattern.entry(pattern.clone()).or_default();
            let listed = [
                (Method::GET, &item.get),
                (Method::POST, &item.post),
                (Method::PUT, &item.put),
                (Method::PATCH, &item.patch),
                (Method::DELETE, &item.delete),
            ];
            for (method, operation) in listed {
                if let Some(operation) = operation {
                    methods.insert(method, Operation::read(pattern, operation));
                }
            }
        }
        Self { by_pattern }
    }

    /// The operation at this pattern and method.
    #[must_use]
    pub fn find(&self, pattern: &str, method: &Method) -> Option<&Operation> {
        self.by_pattern.get(pattern)?.get(method)
    }

    /// Whether the document has this pattern, with whatever methods.
    #[must_use]
    pub fn has(&self, pattern: &str) -> bool {
        self.by_pattern.contains_key(pattern)
    }

    /// The value of `Allow` for a path that exists, or none for one that does not. A path that is written out counts before
    /// one in which an id could stand at its place.
    #[must_use]
    pub fn allow(&self, path: &str) -> Option<String> {
        let fitting = self.by_pattern.iter().filter(|(pattern, _)| fits(pattern, path));
        let (_, found) = fitting.min_by_key(|(pattern, _)| pattern.matches('{').count())?;
        let mut methods: Vec<&str> = found.keys().map(Method::as_str).collect();
        if methods.contains(&"GET") {
            methods.push("HEAD");
        }
        methods.push("OPTIONS");
        methods.sort_unstable();
        Some(methods.join(", "))
    }

    /// Every operation, by id.
    #[must_use]
    pub fn all(&self) -> BTreeMap<&str, &Operation> {
        let each = self.by_pattern.values().flat_map(HashMap::values);
        each.map(|operation| (operation.id.as_str(), operation)).collect()
    }
}

impl Operation {
    fn read(pattern: &str, operation: &utoipa::openapi::path::Operation) -> Self {
        let extension = |name: &str| operation.extensions.as_ref().and_then(|all| all.get(name)).cloned();
        let permission = extension("x-permission").and_then(|value| value.as_str().map(str::to_owned));
        let access = match permission.as_deref() {
            Some("public") => Access::Public,
            Some("signed_in") => Access::SignedIn,
            // A route without a permission is a mistake that a gate finds; until then nobody may use it.
            None => Access::Permission(String::new()),
            Some(name) => Access::Permission(name.to_owned()),
        };
        let takes_file = operation.request_body.as_ref().is_some_and(
            |body| matches!(body, RefOr::T(body) if body.content.keys().any(|kind| !kind.contains("json"))),
        );
        Self {
            id: operation.operation_id.clone().unwrap_or_default(),
            access,
            takes_file,
            steps_up: extension("x-stepup").is_some_and(|value| value == true),
            without_second_factor: extension("x-without-second-factor").is_some(),
            in_unit: pattern.starts_with("/v1/units/{unit_id}"),
            parameters: operation
                .parameters
                .iter()
                .flatten()
                .filter_map(|parameter| match parameter {
                    RefOr::T(parameter) if parameter.parameter_in == ParameterIn::Query => Some(parameter.name.clone()),
                    _ => None,
                })
                .collect(),
        }
    }

    /// The first query parameter that this operation does not have.
    #[must_use]
    pub fn unknown_parameter(&self, query: &str) -> Option<String> {
        let names =
            query.split('&').filter(|pair| !pair.is_empty()).map(|pair| pair.split('=').next().unwrap_or_default());
        names
            .into_iter()
            .find(|name| !self.parameters.iter().any(|known| known == name))
            .map(|name| name.chars().take(60).collect())
    }
}

fn fits(pattern: &str, path: &str) -> bool {
    let (mut pattern, mut path) = (pattern.split('/'), path.split('/'));
    loop {
        match (pattern.next(), path.next()) {
            (None, None) => return true,
            (Some(part), Some(given)) if part == given || (part.starts_with('{') && !given.is_empty()) => {}
            _ => return false,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::fits;

    #[test]
    fn a_path_fits_its_pattern_part_by_part() {
        assert!(fits("/v1/units/{unit_id}/troops", "/v1/units/x/troops"));
        assert!(!fits("/v1/units/{unit_id}/troops", "/v1/units//troops"));
        assert!(!fits("/v1/units/{unit_id}/troops", "/v1/units/x/troops/y"));
        assert!(!fits("/v1/units/{unit_id}", "/v1/units"));
    }
}
