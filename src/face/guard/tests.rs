use axum::body::Body;

use super::*;

fn guard() -> (tempfile::TempDir, Guard) {
    let temp = tempfile::tempdir().unwrap();
    let token = Token::make(&temp.path().join("token")).unwrap();
    (temp, Guard::new(token, 8177, &["/", "/key"]))
}

fn status(guard: &Guard, method: &str, uri: &str, headers: &[(&str, &str)]) -> u16 {
    let mut request = Request::builder().method(method).uri(uri);
    for (name, value) in headers {
        request = request.header(*name, *value);
    }
    match guard.look(&request.body(Body::empty()).unwrap()) {
        Ok(()) => 200,
        Err(No(status, _)) => status.as_u16(),
    }
}

const HOST: (&str, &str) = ("host", "127.0.0.1:8177");
const OWN: (&str, &str) = ("origin", "http://127.0.0.1:8177");
const JSON: (&str, &str) = ("content-type", "application/json");

#[test]
fn programs_with_the_token_and_the_own_page_pass() {
    let (_temp, guard) = guard();
    let bearer = format!("Bearer {}", guard.token.secret());
    let bearer = ("authorization", bearer.as_str());
    for host in ["127.0.0.1:8177", "[::1]:8177", "LocalHost:8177"] {
        assert_eq!(status(&guard, "GET", "/v1/status", &[("host", host), bearer]), 200, "{host}");
    }
    assert_eq!(status(&guard, "POST", "/v1/scan", &[HOST, bearer, JSON]), 200);
    let cookie = format!("other=1; tapline_8177={}", guard.token.cookie());
    let (cookie, key) = (("cookie", cookie.as_str()), guard.token.key());
    let key = ("x-tapline-key", key.as_str());
    let same = ("sec-fetch-site", "same-origin");
    assert_eq!(status(&guard, "GET", "/bench", &[HOST, cookie, same]), 200);
    assert_eq!(status(&guard, "POST", "/v1/scan", &[HOST, cookie, key, OWN, same, JSON]), 200);
    assert_eq!(status(&guard, "GET", "/", &[HOST]), 200, "nothing of the station's is there");
}

#[test]
fn a_cookie_alone_looks_and_does_not_act() {
    let (_temp, guard) = guard();
    let cookie = format!("tapline_8177={}", guard.token.cookie());
    let cookie = ("cookie", cookie.as_str());
    let key = guard.token.key();
    let key = ("x-tapline-key", key.as_str());
    assert_eq!(status(&guard, "GET", "/v1/status", &[HOST, cookie]), 200);
    assert_eq!(status(&guard, "POST", "/v1/scan", &[HOST, cookie, OWN, JSON]), 401, "no key");
    assert_eq!(status(&guard, "POST", "/v1/scan", &[HOST, cookie, key, JSON]), 401, "no origin");
    assert_eq!(status(&guard, "POST", "/v1/scan", &[HOST, key, OWN, JSON]), 401, "no cookie");
    let form = ("content-type", "application/x-www-form-urlencoded");
    assert_eq!(status(&guard, "POST", "/v1/scan", &[HOST, cookie, key, OWN, form]), 415);
    assert_eq!(status(&guard, "POST", "/v1/scan", &[HOST, cookie, key, OWN]), 415);
    assert_eq!(status(&guard, "PUT", "/v1/scan", &[HOST, cookie, key, OWN, JSON]), 405);
    let wrong = ("cookie", "tapline_8177=0000");
    assert_eq!(status(&guard, "GET", "/v1/status", &[HOST, wrong]), 401);
}

#[test]
fn another_host_is_told_so_before_anything_else() {
    let (_temp, guard) = guard();
    let bearer = format!("Bearer {}", guard.token.secret());
    let bearer = ("authorization", bearer.as_str());
    let hosts = ["evil.example:8177", "127.0.0.1", "127.0.0.1:80", "[::1]", "127.0.0.1.evil:8177"];
    for host in hosts.into_iter().chain(["localhost.:8177", "user@127.0.0.1:8177", ""]) {
        assert_eq!(status(&guard, "GET", "/", &[("host", host), bearer]), 421, "{host}");
    }
    assert_eq!(status(&guard, "GET", "/", &[bearer]), 421, "none");
    assert_eq!(status(&guard, "GET", "/", &[HOST, HOST, bearer]), 421, "two");
    let absolute = "http://evil.example/v1/status";
    assert_eq!(status(&guard, "GET", absolute, &[HOST, bearer]), 421, "absolute");
    let long = "x".repeat(HEAD_BYTES_MAX);
    assert_eq!(status(&guard, "GET", "/", &[HOST, ("x-long", &long)]), 431);
}
