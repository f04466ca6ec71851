//! The guard of the loopback face: other pages in the same browser must not reach the station.
//!
//! A page of another origin is kept out by `Origin`, a name that points to loopback by `Host`,
//! and other users of this machine by the token, which only the station's group can read.

use std::fs::OpenOptions;
use std::io::{self, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::Path;
use std::sync::Arc;

use axum::Router;
use axum::extract::Request;
use axum::http::{HeaderMap, header};
use axum::middleware::{Next, from_fn};
use axum::response::{IntoResponse, Response};
use data_encoding::HEXLOWER;
use rustix::rand::{GetRandomFlags, getrandom};

use super::problem::Refused;

/// A secret of this run, hex.
#[derive(Debug, Clone)]
pub(crate) struct Token(Arc<str>);

impl Token {
    /// Makes a fresh token and leaves it beside the socket for the station's group.
    pub(crate) fn make(path: &Path) -> Result<Token, String> {
        let failed = |error: io::Error| format!("can't write {}: {error}", path.display());
        let mut bytes = [0; 16];
        getrandom(&mut bytes, GetRandomFlags::empty()).map_err(|e| failed(e.into()))?;
        let text = HEXLOWER.encode(&bytes);
        match std::fs::remove_file(path) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(failed(error)),
            _ => {}
        }
        let file = OpenOptions::new().write(true).create_new(true).mode(0o640).open(path);
        file.and_then(|mut file| writeln!(file, "{text}")).map_err(failed)?;
        Ok(Token(text.into()))
    }
}

/// Puts the guard before all routes.
pub(crate) fn guarded(routes: Router, token: Token) -> Router {
    routes.layer(from_fn(move |request: Request, next: Next| {
        let token = token.clone();
        async move { pass(&token, request, next).await }
    }))
}

async fn pass(token: &Token, request: Request, next: Next) -> Response {
    match refusal(request.headers(), token) {
        Some(why) => Refused::new("forbidden", why).into_response(),
        None => next.run(request).await,
    }
}

/// Why a request does not pass.
fn refusal(headers: &HeaderMap, token: &Token) -> Option<&'static str> {
    let text = |name| headers.get(name).and_then(|value| value.to_str().ok());
    let Some(host) = text(header::HOST).filter(|host| is_loopback(host)) else {
        return Some("the host is not this machine's loopback");
    };
    if let Some(origin) = headers.get(header::ORIGIN) {
        let same = origin.to_str().ok().and_then(|o| o.strip_prefix("http://"));
        if same != Some(host) {
            return Some("the request comes from another page");
        }
    }
    let given = text(header::AUTHORIZATION).and_then(|value| value.strip_prefix("Bearer "));
    if given.is_some_and(|given| same(given.as_bytes(), token.0.as_bytes())) {
        return None;
    }
    Some("the token is missing or wrong; it lies beside the socket")
}

fn is_loopback(host: &str) -> bool {
    let name = match host.strip_prefix('[').and_then(|rest| rest.split_once(']')) {
        Some((address, _)) => address,
        None => host.rsplit_once(':').map_or(host, |(name, _)| name),
    };
    matches!(name, "127.0.0.1" | "::1" | "localhost")
}

/// Compares without telling by its time how much was right.
fn same(a: &[u8], b: &[u8]) -> bool {
    a.len() == b.len() && a.iter().zip(b).fold(0, |diff, (a, b)| diff | (a ^ b)) == 0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(pairs: &[(header::HeaderName, &str)]) -> Option<&'static str> {
        let mut headers = HeaderMap::new();
        for (name, value) in pairs {
            headers.insert(name, value.parse().unwrap());
        }
        refusal(&headers, &Token("abc".into()))
    }

    const HOST: (header::HeaderName, &str) = (header::HOST, "127.0.0.1:8177");
    const RIGHT: (header::HeaderName, &str) = (header::AUTHORIZATION, "Bearer abc");

    #[test]
    fn the_own_page_passes() {
        assert_eq!(check(&[HOST, RIGHT]), None);
        assert_eq!(check(&[HOST, RIGHT, (header::ORIGIN, "http://127.0.0.1:8177")]), None);
        assert_eq!(check(&[(header::HOST, "[::1]:8177"), RIGHT]), None);
    }

    #[test]
    fn others_do_not() {
        assert!(check(&[RIGHT]).unwrap().contains("host"));
        assert!(check(&[(header::HOST, "evil.example:8177"), RIGHT]).unwrap().contains("host"));
        let elsewhere = (header::ORIGIN, "http://evil.example");
        assert!(check(&[HOST, RIGHT, elsewhere]).unwrap().contains("another page"));
        assert!(check(&[HOST]).unwrap().contains("token"));
        assert!(check(&[HOST, (header::AUTHORIZATION, "Bearer abd")]).unwrap().contains("token"));
    }
}
