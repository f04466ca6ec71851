//! The guard of the loopback face: other pages in the same browser, and other users of this
//! machine, must not reach the station.
//!
//! A name that points to loopback is kept out by `Host`, a page of another origin by `Origin` and
//! `Sec-Fetch-Site`, another user by the token. All of it is looked at before any path is. Who
//! has the token in `Authorization` is a program; a browser trades it once for a cookie, which
//! opens what can be looked at, and a key, which it sends with each act.
//!
//! What stays open: a cookie goes to every port of this machine. Whoever opens another user's
//! port in the same browser shows it that cookie, with which that user could look, not act.

use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::extract::Request;
use axum::http::header::{self, HeaderName};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode};
use axum::middleware::{Next, from_fn};
use axum::response::Response;
use tokio::time::timeout;

use super::page::door;
use super::problem::Refused;
use super::token::{Token, same};

/// The longest head of a request, bytes.
const HEAD_BYTES_MAX: usize = 8 << 10;

/// How long a request with a body may take: the station answers within ten seconds.
const ACT_S_MAX: Duration = Duration::from_secs(20);

/// The header of a page's acts.
const KEY: HeaderName = HeaderName::from_static("x-tapline-key");

const FETCH_SITE: HeaderName = HeaderName::from_static("sec-fetch-site");

/// Sent with every answer. No script, style or picture but our own, in no frame, kept nowhere.
const HEADERS: &[(&str, &str)] = &[
    (
        "content-security-policy",
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; \
         connect-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'",
    ),
    ("x-content-type-options", "nosniff"),
    ("referrer-policy", "no-referrer"),
    ("x-frame-options", "DENY"),
    ("cross-origin-opener-policy", "same-origin"),
    ("cross-origin-resource-policy", "same-origin"),
    ("permissions-policy", "camera=(), microphone=(), geolocation=()"),
    ("cache-control", "no-store"),
];

const NO_KEY: &str = "the key is missing or wrong: `tapline page` tells the address with a new one";

/// What the guard knows.
#[derive(Debug, Clone)]
pub(super) struct Guard {
    token: Token,
    port: u16,
    /// Paths that hold nothing of the station's and need no token.
    open: &'static [&'static str],
}

/// Why a request does not pass.
#[derive(Debug, PartialEq, Eq)]
struct No(StatusCode, &'static str);

impl Guard {
    pub(super) fn new(token: Token, port: u16, open: &'static [&'static str]) -> Guard {
        Guard { token, port, open }
    }

    /// Name of the browser's cookie: two stations of one machine have two.
    pub(super) fn cookie_name(port: u16) -> String {
        format!("tapline_{port}")
    }

    /// Puts the guard before all routes.
    pub(super) fn before(self, routes: Router) -> Router {
        let guard = Arc::new(self);
        routes.layer(from_fn(move |request: Request, next: Next| {
            let guard = guard.clone();
            async move {
                let mut response = guard.pass(request, next).await;
                for (name, value) in HEADERS {
                    let name = HeaderName::from_static(name);
                    response.headers_mut().insert(name, HeaderValue::from_static(value));
                }
                response
            }
        }))
    }

    async fn pass(&self, request: Request, next: Next) -> Response {
        match self.look(&request) {
            Ok(()) => {}
            Err(No(_, NO_KEY)) if shows(&request) => return door(),
            Err(No(status, why)) => return refused(status, why),
        }
        if request.method() != Method::POST {
            return next.run(request).await;
        }
        let late = || refused(StatusCode::REQUEST_TIMEOUT, "the request took too long");
        timeout(ACT_S_MAX, next.run(request)).await.unwrap_or_else(|_| late())
    }

    fn look(&self, request: &Request) -> Result<(), No> {
        let headers = request.headers();
        let head: usize =
            headers.iter().map(|(name, value)| name.as_str().len() + value.len()).sum();
        if head + request.uri().to_string().len() > HEAD_BYTES_MAX {
            return Err(No(StatusCode::REQUEST_HEADER_FIELDS_TOO_LARGE, "the head is too long"));
        }
        let authority = request.uri().authority().map(|authority| authority.as_str());
        let host = self.host(headers, authority)?;
        if !matches!(*request.method(), Method::GET | Method::HEAD | Method::POST) {
            return Err(No(StatusCode::METHOD_NOT_ALLOWED, "nothing here is asked that way"));
        }
        let browser = elsewhere(headers, host)?;
        let acts = *request.method() == Method::POST;
        if acts && !is_json(headers) {
            return Err(No(StatusCode::UNSUPPORTED_MEDIA_TYPE, "the body must be JSON"));
        }
        if acts && !browser && bearer(headers).is_none() {
            return Err(No(StatusCode::UNAUTHORIZED, "the request does not say where it is from"));
        }
        let known = self.open.contains(&request.uri().path()) || self.known(headers, acts);
        if known { Ok(()) } else { Err(No(StatusCode::UNAUTHORIZED, NO_KEY)) }
    }

    /// The one host that is named, if it is this machine's loopback at our port.
    fn host<'h>(&self, headers: &'h HeaderMap, authority: Option<&str>) -> Result<&'h str, No> {
        let no = || No(StatusCode::MISDIRECTED_REQUEST, "the host is not this machine's loopback");
        let ours = |host: &str| {
            let (name, port) = host.rsplit_once(':').unwrap_or((host, "80"));
            let named = ["127.0.0.1", "[::1]", "localhost"].iter();
            named.into_iter().any(|known| name.eq_ignore_ascii_case(known))
                && port == self.port.to_string()
        };
        let host = only(headers, &header::HOST).map_err(|()| no())?.ok_or_else(no)?;
        let same_name = authority.is_none_or(|authority| authority.eq_ignore_ascii_case(host));
        if ours(host) && same_name { Ok(host) } else { Err(no()) }
    }

    fn known(&self, headers: &HeaderMap, acts: bool) -> bool {
        if let Some(given) = bearer(headers) {
            return same(given, self.token.secret());
        }
        let name = Guard::cookie_name(self.port);
        let mut cookies = headers.get_all(header::COOKIE).iter();
        let wanted = self.token.cookie();
        let cookie = cookies.any(|line| {
            let pairs = line.to_str().unwrap_or_default().split(';');
            let mut pairs = pairs.filter_map(|pair| pair.trim().split_once('='));
            pairs.any(|(given, value)| given == name && same(value, &wanted))
        });
        let key = only(headers, &KEY).ok().flatten();
        cookie && (!acts || key.is_some_and(|given| same(given, &self.token.key())))
    }
}

/// A person would see the answer.
fn shows(request: &Request) -> bool {
    *request.method() == Method::GET && !request.uri().path().starts_with("/v1/")
}

/// Refuses what comes from another page; says whether a browser told where it comes from.
fn elsewhere(headers: &HeaderMap, host: &str) -> Result<bool, No> {
    let no = || No(StatusCode::FORBIDDEN, "the request comes from another page");
    let site = only(headers, &FETCH_SITE).map_err(|()| no())?;
    if !matches!(site, None | Some("same-origin" | "none")) {
        return Err(no());
    }
    let Some(origin) = only(headers, &header::ORIGIN).map_err(|()| no())? else {
        return Ok(false);
    };
    let from = origin.strip_prefix("http://");
    if from.is_some_and(|from| from.eq_ignore_ascii_case(host)) { Ok(true) } else { Err(no()) }
}

/// The text of a header that stands there once at most.
fn only<'h>(headers: &'h HeaderMap, name: &HeaderName) -> Result<Option<&'h str>, ()> {
    let mut all = headers.get_all(name).iter();
    match (all.next(), all.next()) {
        (None, _) => Ok(None),
        (Some(one), None) => one.to_str().map(Some).map_err(drop),
        _ => Err(()),
    }
}

fn bearer(headers: &HeaderMap) -> Option<&str> {
    only(headers, &header::AUTHORIZATION).ok()??.strip_prefix("Bearer ")
}

fn is_json(headers: &HeaderMap) -> bool {
    let kind = only(headers, &header::CONTENT_TYPE).ok().flatten().unwrap_or_default();
    kind.split(';').next().is_some_and(|kind| kind.trim().eq_ignore_ascii_case("application/json"))
}

fn refused(status: StatusCode, why: &str) -> Response {
    let mut response = Refused::new("forbidden", why).under(status);
    if status == StatusCode::UNAUTHORIZED {
        // RFC 9110, section 15.5.2; of this kind no browser asks its user.
        let how = HeaderValue::from_static("Bearer");
        response.headers_mut().insert(header::WWW_AUTHENTICATE, how);
    }
    response
}

#[cfg(test)]
mod tests;
