//! The way in: an address with the secret behind `#`, which no server ever sees, traded once for
//! a cookie and a key.

use std::net::SocketAddr;

use axum::Router;
use axum::body::Bytes;
use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Json, Response};
use axum::routing::{get, post};
use serde_json::json;

use super::acts::object;
use super::guard::Guard;
use super::problem::Refused;
use super::token::{Token, same};

/// Where a browser trades its secret.
pub(super) const PATH: &str = "/key";

/// `GET /v1/page`, over the unix socket alone: who may open that may open the page.
pub(super) fn address(page: Option<(SocketAddr, Token)>) -> Router {
    let told = page.map(|(address, token)| format!("http://{address}/#{}", token.secret()));
    let answer = async || match told {
        Some(address) => Ok(Json(json!({ "address": address }))),
        None => Err(Refused::new("not_found", "this station has no page")),
    };
    Router::new().route("/v1/page", get(answer))
}

/// `POST /key`: `{"secret"}`; answers `{"key"}` and sets the cookie.
pub(super) fn trade(port: u16, token: Token) -> Router {
    Router::new().route(PATH, post(traded)).with_state((port, token))
}

async fn traded(
    State((port, token)): State<(u16, Token)>,
    body: Bytes,
) -> Result<Response, Refused> {
    let body = object(&body)?;
    let given = body.get("secret").and_then(|secret| secret.as_str()).unwrap_or_default();
    if !same(given, token.secret()) {
        let why = "the key is wrong: `tapline page` tells the address with a new one";
        return Err(Refused::new("forbidden", why));
    }
    let name = Guard::cookie_name(port);
    let cookie = format!("{name}={}; Path=/; HttpOnly; SameSite=Strict", token.cookie());
    Ok(([(header::SET_COOKIE, cookie)], Json(json!({ "key": token.key() }))).into_response())
}
