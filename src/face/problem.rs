//! Problems as RFC 9457 `application/problem+json`.

use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde_json::json;

use crate::station::event::Problem;

/// A problem on its way out.
#[derive(Debug)]
pub(crate) struct Refused(pub(crate) Problem);

impl Refused {
    /// A problem with the usual advice for its code.
    pub(crate) fn new(code: &str, detail: impl Into<String>) -> Refused {
        Refused(Problem::new(code, detail))
    }
}

impl From<Problem> for Refused {
    fn from(problem: Problem) -> Refused {
        Refused(problem)
    }
}

impl IntoResponse for Refused {
    fn into_response(self) -> Response {
        let status = status(&self.0.code);
        self.under(status)
    }
}

impl Refused {
    /// The answer under a status that is not the usual one of its code.
    pub(crate) fn under(self, status: StatusCode) -> Response {
        let Problem { code, detail, next } = self.0;
        let title = status.canonical_reason().unwrap_or("Problem");
        let body = json!({
            "type": "about:blank",
            "title": title,
            "status": status.as_u16(),
            "code": code,
            "detail": detail,
            "next": next,
        });
        let kind = [(header::CONTENT_TYPE, "application/problem+json")];
        (status, kind, body.to_string()).into_response()
    }
}

/// The reasons of a verdict stand in the way of an act: a conflict.
fn status(code: &str) -> StatusCode {
    match code {
        "bad_input" => StatusCode::BAD_REQUEST,
        "not_found" => StatusCode::NOT_FOUND,
        "forbidden" => StatusCode::FORBIDDEN,
        "not_allowed" => StatusCode::METHOD_NOT_ALLOWED,
        "halted" | "busy" | "starting" => StatusCode::SERVICE_UNAVAILABLE,
        _ => StatusCode::CONFLICT,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_have_their_status_and_reasons_are_conflicts() {
        assert_eq!(status("bad_input"), StatusCode::BAD_REQUEST);
        assert_eq!(status("halted"), StatusCode::SERVICE_UNAVAILABLE);
        assert_eq!(status("gate_closed"), StatusCode::CONFLICT);
    }
}
