//! What this interface is, as an OpenAPI 3.1 document: for programs of other makes, and for the
//! tests that hold the interface against it.

mod acts;
mod asks;

use axum::response::Json;
use serde_json::{Map, Value, json};

/// `GET /v1/openapi.json`.
pub(super) async fn openapi() -> Json<Value> {
    Json(document())
}

fn document() -> Value {
    let mut paths: Map<String, Value> = asks::paths();
    for (path, operations) in acts::paths() {
        // A list and the act that adds to it share a path.
        let known = paths.entry(path).or_insert_with(|| json!({}));
        if let (Value::Object(known), Value::Object(more)) = (known, operations) {
            known.extend(more);
        }
    }
    json!({
        "openapi": "3.1.0",
        "info": {
            "title": "Tapline",
            "version": env!("CARGO_PKG_VERSION"),
            "description": "The station of a workshop's benches. Over the unix socket without a \
                            secret, over loopback with it (`tapline page` tells it, behind the \
                            `#`). An act is answered when what it caused is on disk. Nothing here \
                            switches on a test voltage, a source or mains.",
            "license": { "name": "MIT OR Apache-2.0" },
        },
        "paths": paths,
        "security": [{ "secret": [] }],
        "components": {
            "schemas": schemas(),
            "securitySchemes": { "secret": { "type": "http", "scheme": "bearer" } },
        },
    })
}

/// Shapes that several answers and bodies have. Objects may hold more than is named.
fn schemas() -> Value {
    serde_json::from_str(include_str!("schemas.json")).expect("the file is read by a test")
}

/// An answer that is a problem, whatever its status: RFC 9457.
fn refused() -> Value {
    json!({
        "description": "Why not, and what to do next.",
        "content": { "application/problem+json": { "schema": schema("Problem") } },
    })
}

fn schema(name: &str) -> Value {
    json!({ "$ref": format!("#/components/schemas/{name}") })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every route of the router, with every act in its place, and those of every register are
    /// described, and nothing else is.
    #[test]
    fn every_path_is_described_and_no_other() {
        let router = include_str!("../router.rs");
        let routes = router.split(".route(\"").skip(1).filter_map(|rest| rest.split_once('"'));
        let mut routed: Vec<String> = Vec::new();
        for (path, rest) in routes {
            match path {
                "/v1/benches/{bench}/{act}" => {
                    routed.extend(
                        super::super::acts::ACTS
                            .iter()
                            .map(|act| format!("/v1/benches/{{bench}}/{act} post")),
                    );
                }
                _ => {
                    let verbs = rest.lines().next().unwrap();
                    for verb in ["get", "post"] {
                        if verbs.contains(&format!("{verb}(")) {
                            routed.push(format!("{path} {verb}"));
                        }
                    }
                }
            }
        }
        use super::super::registers::{IMPORTED, NAMES};
        routed.extend(NAMES.iter().map(|name| format!("/v1/{name} get")));
        routed.extend(NAMES.iter().map(|name| format!("/v1/{name}/{{id}} get")));
        routed.extend(IMPORTED.iter().map(|name| format!("/v1/{name} post")));
        let document = document();
        let mut described: Vec<String> = Vec::new();
        for (path, operations) in document["paths"].as_object().unwrap() {
            let verbs = operations.as_object().unwrap().keys();
            described.extend(verbs.map(|verb| format!("{path} {verb}")));
        }
        routed.sort();
        described.sort();
        assert_eq!(routed, described);
    }

    #[test]
    fn every_name_that_is_pointed_to_is_there() {
        let document = document();
        let text = document.to_string();
        let names = text.split("#/components/schemas/").skip(1);
        for name in names.filter_map(|rest| rest.split('"').next()) {
            assert!(!document["components"]["schemas"][name].is_null(), "{name}");
        }
    }
}
