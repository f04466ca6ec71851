//! The page as the rest of the machine meets it: other pages in the same browser, names that point
//! to loopback, other users. The real program, real sockets.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

#[path = "page/exports.rs"]
mod exports;
#[path = "page/life.rs"]
mod life;
mod support;

use std::fs::{self, Permissions};
use std::io::{Read, Write};
use std::net::TcpStream;
use std::os::unix::fs::PermissionsExt;
use std::process::Command;

use serde_json::{Value, json};
use support::station::{Builder, Station, TAPLINE};

/// A page by hand, with everything that its own browser would send.
struct Page {
    port: u16,
    secret: String,
    cookie: String,
    key: String,
}

/// What came back.
struct Answer {
    status: u16,
    head: String,
    body: String,
}

/// One request, written as it stands.
fn raw(port: u16, request: &str) -> Answer {
    let mut stream = TcpStream::connect(("127.0.0.1", port)).unwrap();
    stream.write_all(request.as_bytes()).unwrap();
    let mut text = String::new();
    stream.read_to_string(&mut text).unwrap();
    let (head, body) = text.split_once("\r\n\r\n").unwrap_or((&text, ""));
    let status = head.split(' ').nth(1).and_then(|word| word.parse().ok());
    Answer { status: status.unwrap_or(0), head: head.to_lowercase(), body: body.to_owned() }
}

/// A POST with these headers, a line each.
fn post(port: u16, path: &str, headers: &str, body: &Value) -> Answer {
    let (body, end) = (body.to_string(), "Connection: close\r\n");
    let headers: String = headers.lines().map(|line| format!("{}\r\n", line.trim())).collect();
    let length = body.len();
    let head = format!("POST {path} HTTP/1.1\r\n{headers}Content-Length: {length}\r\n{end}\r\n");
    raw(port, &(head + &body))
}

impl Page {
    /// Trades the secret of the address, as a browser does.
    fn open(station: &Station) -> Page {
        let address = station.done(&["page"]);
        let (place, secret) = address.trim().split_once("/#").unwrap();
        let port: u16 = place.strip_prefix("http://127.0.0.1:").unwrap().parse().unwrap();
        let own = format!(
            "Host: 127.0.0.1:{port}\nOrigin: http://127.0.0.1:{port}\n\
             Sec-Fetch-Site: same-origin\nContent-Type: application/json"
        );
        let wrong = post(port, "/key", &own, &json!({ "secret": "0".repeat(64) }));
        assert_eq!(wrong.status, 403, "{}", wrong.body);
        assert!(!wrong.head.contains("set-cookie"), "{}", wrong.head);
        let traded = post(port, "/key", &own, &json!({ "secret": secret }));
        assert_eq!(traded.status, 200, "{}", traded.body);
        let cookie = traded.head.lines().find_map(|line| line.strip_prefix("set-cookie: "));
        let cookie = cookie.unwrap();
        for word in ["; httponly", "; samesite=strict", "; path=/"] {
            assert!(cookie.contains(word), "{cookie}");
        }
        let cookie = cookie.split(';').next().unwrap().to_owned();
        let body: Value = serde_json::from_str(&traded.body).unwrap();
        let key = body["key"].as_str().unwrap().to_owned();
        Page { port, secret: secret.to_owned(), cookie, key }
    }

    /// A scan with these headers in place of `Host`, `Origin` and `Sec-Fetch-Site`; cookie, key
    /// and kind of body are right.
    fn scan(&self, place: &str) -> Answer {
        let own = format!(
            "Content-Type: application/json\nCookie: {}\nX-Tapline-Key: {}",
            self.cookie, self.key
        );
        let place = place.replace("PORT", &self.port.to_string());
        post(self.port, "/v1/scan", &format!("{place}\n{own}"), &json!({ "code": "T-0201" }))
    }

    /// An act at the bench, as the page itself sends it.
    fn act(&self, act: &str, body: &Value) -> Answer {
        self.send(&format!("/bench/b1/{act}"), body)
    }

    /// A view, as a browser that has the cookie loads it.
    fn view(&self, path: &str) -> Answer {
        let (port, cookie) = (self.port, &self.cookie);
        let head = format!("Host: 127.0.0.1:{port}\r\nCookie: {cookie}\r\n");
        raw(port, &format!("GET {path} HTTP/1.0\r\n{head}\r\n"))
    }

    /// The body of a view that is no text.
    fn bytes(&self, path: &str) -> Vec<u8> {
        let (port, cookie) = (self.port, &self.cookie);
        let mut stream = TcpStream::connect(("127.0.0.1", port)).unwrap();
        let head = format!("Host: 127.0.0.1:{port}\r\nCookie: {cookie}\r\n");
        stream.write_all(format!("GET {path} HTTP/1.0\r\n{head}\r\n").as_bytes()).unwrap();
        let mut all = Vec::new();
        stream.read_to_end(&mut all).unwrap();
        let end = all.windows(4).position(|four| four == b"\r\n\r\n").unwrap();
        all.split_off(end + 4)
    }

    /// What the page's script sends.
    fn send(&self, path: &str, body: &Value) -> Answer {
        let port = self.port;
        let own = format!(
            "Host: 127.0.0.1:{port}\nOrigin: http://127.0.0.1:{port}\n\
             Content-Type: application/json\nCookie: {}\nX-Tapline-Key: {}",
            self.cookie, self.key
        );
        post(port, path, &own, body)
    }
}

/// Where a request may claim to be from and to go to, and must not get to anything. RFC 9110,
/// sections 7.2 and 15.5.20 (Host, 421); Fetch, 3.2 (Origin); Fetch Metadata, 2.3 (Sec-Fetch-Site).
const BAD: &[&str] = &[
    "Origin: http://127.0.0.1:PORT",
    "Host: evil.example\nOrigin: http://evil.example",
    "Host: evil.example:PORT\nOrigin: http://evil.example:PORT",
    "Host: evil.example:PORT\nOrigin: http://127.0.0.1:PORT",
    "Host: 127.0.0.1:1\nOrigin: http://127.0.0.1:1",
    "Host: 127.0.0.1\nOrigin: http://127.0.0.1",
    "Host: 127.0.0.1.evil.example:PORT\nOrigin: http://127.0.0.1.evil.example:PORT",
    "Host: localhost.evil.example:PORT\nOrigin: http://localhost.evil.example:PORT",
    "Host: 127.0.0.1:PORT\nHost: evil.example\nOrigin: http://127.0.0.1:PORT",
    "Host: 127.0.0.1:PORT\nOrigin: http://evil.example",
    "Host: 127.0.0.1:PORT\nOrigin: https://127.0.0.1:PORT",
    "Host: 127.0.0.1:PORT\nOrigin: http://127.0.0.1:1",
    "Host: 127.0.0.1:PORT\nOrigin: http://localhost:PORT",
    "Host: 127.0.0.1:PORT\nOrigin: null",
    "Host: 127.0.0.1:PORT\nOrigin: http://127.0.0.1:PORT\nOrigin: http://evil.example",
    "Host: 127.0.0.1:PORT\nOrigin: http://127.0.0.1:PORT\nSec-Fetch-Site: cross-site",
    "Host: 127.0.0.1:PORT\nOrigin: http://127.0.0.1:PORT\nSec-Fetch-Site: same-site",
    "Host: 127.0.0.1:PORT\nSec-Fetch-Site: same-origin",
];

#[test]
fn a_bad_host_or_origin_reaches_nothing() {
    let station = Builder::new().page().start();
    let page = Page::open(&station);
    let before = station.get("/v1/status")["seq"].clone();
    for place in BAD {
        let answer = page.scan(place);
        assert!(matches!(answer.status, 401 | 403 | 421), "{place}: {}", answer.status);
        assert!(!answer.head.contains("access-control"), "{place}: {}", answer.head);
        assert!(!answer.head.contains("set-cookie"), "{place}: {}", answer.head);
    }
    assert_eq!(station.get("/v1/status")["seq"], before, "nothing was written");
    assert_eq!(station.bench()["selected"], Value::Null);
    // What was refused above was nothing but the place.
    for host in ["127.0.0.1:PORT", "localhost:PORT", "[::1]:PORT"] {
        let good = format!("Host: {host}\nOrigin: http://{host}\nSec-Fetch-Site: same-origin");
        let answer = page.scan(&good);
        assert_eq!(answer.status, 200, "{host}: {}", answer.body);
    }
    assert_eq!(station.bench()["selected"]["asset"], "T-0201");
    assert_ne!(station.get("/v1/status")["seq"], before);
}

#[test]
fn looking_changes_nothing_and_acting_needs_more_than_a_cookie() {
    let station = Builder::new().page().start();
    let page = Page::open(&station);
    let before = station.get("/v1/status")["seq"].clone();
    let host = format!("Host: 127.0.0.1:{}", page.port);
    let own = format!("{host}\nOrigin: http://127.0.0.1:{}", page.port);
    let (cookie, key) =
        (format!("Cookie: {}", page.cookie), format!("X-Tapline-Key: {}", page.key));
    let json = "Content-Type: application/json";
    let cases = [
        (format!("{own}\n{json}\n{cookie}"), 401),
        (format!("{own}\n{json}\n{key}"), 401),
        (format!("{own}\n{cookie}\n{key}"), 415),
        (format!("{own}\n{cookie}\n{key}\nContent-Type: text/plain"), 415),
        (format!("{own}\n{json}\nAuthorization: Bearer {}", page.key), 401),
        (format!("{own}\n{json}\n{cookie}x\n{key}"), 401),
    ];
    for (headers, status) in cases {
        let answer = post(page.port, "/v1/scan", &headers, &json!({ "code": "T-0201" }));
        assert_eq!(answer.status, status, "{headers}: {}", answer.body);
    }
    for path in ["/v1/scan", "/v1/benches/b1/note", "/key", "/v1/page"] {
        let get = format!("GET {path} HTTP/1.1\r\n{host}\r\n{cookie}\r\nConnection: close\r\n\r\n");
        let answer = raw(page.port, &get);
        assert!(matches!(answer.status, 404 | 405), "{path}: {}", answer.status);
        assert!(!answer.body.contains(&page.secret), "{path}: {}", answer.body);
    }
    let long = format!("{own}\n{json}\n{cookie}\n{key}\nX-Long: {}", "x".repeat(9_000));
    assert_eq!(post(page.port, "/v1/scan", &long, &json!({ "code": "T-0201" })).status, 431);
    let long = json!({ "code": "P".repeat(2 << 20) });
    assert_eq!(
        post(page.port, "/v1/scan", &format!("{own}\n{json}\n{cookie}\n{key}"), &long).status,
        413
    );
    assert_eq!(station.get("/v1/status")["seq"], before, "nothing was written");
}

/// A signature is its owner's alone (21 CFR 11.100 and 11.200, from memory): who finds a page open
/// has no badge.
#[test]
fn an_open_page_signs_for_nobody() {
    let station = Builder::new().page().start();
    let page = Page::open(&station);
    let other = "format = \"tapline-operators-1\"\n\
                 [[operator]]\nid = \"op-2\"\nname = \"M. Stern\"\nbadge = \"OP-0002\"\n";
    fs::write(station.folder().join("others.toml"), other).unwrap();
    let others = station.folder().join("others.toml").display().to_string();
    station.done(&["operator", "import", &others]);
    station.done(&["scan", "T-0201"]);
    station.done(&["begin"]);
    let before = station.get("/v1/status")["seq"].clone();
    let sign = |badge: Value| {
        page.act("sign", &json!({ "as": "performed", "tag": "attached", "badge": badge }))
    };
    // Nobody's, the name that stands on the screen, another person's.
    for (badge, said) in [
        (Value::Null, "needs the badge"),
        ("OP-9999".into(), "nothing was signed"),
        ("op-7".into(), "nothing was signed"),
        ("OP-0002".into(), "nothing was signed"),
    ] {
        let answer = sign(badge.clone());
        assert_eq!(answer.status, 409, "{badge}: {}", answer.body);
        assert!(answer.body.contains(said), "{badge}: {}", answer.body);
    }
    let second = json!({ "seq": 1, "cause": "lead_slipped", "second": "op-2" });
    let answer = page.act("discard", &second);
    assert!(answer.body.contains("no badge of a second person"), "{}", answer.body);
    assert_eq!(station.get("/v1/status")["seq"], before, "nothing was written");
    // With the badge it is refused for what is missing in the inspection alone.
    let answer = sign("OP-0007".into());
    assert!(!answer.body.contains("badge"), "{}", answer.body);
    assert_eq!(answer.status, 409, "{}", answer.body);
}

#[test]
fn every_answer_forbids_what_is_not_ours() {
    let station = Builder::new().page().start();
    let page = Page::open(&station);
    for path in ["/v1/status", "/v1/nowhere/at/all", "/"] {
        for cookie in [&format!("Cookie: {}\r\n", page.cookie), ""] {
            let host = format!("Host: 127.0.0.1:{}\r\n{cookie}", page.port);
            let answer = raw(page.port, &format!("GET {path} HTTP/1.0\r\n{host}\r\n"));
            for header in [
                "content-security-policy: default-src 'none'; script-src 'self';",
                "frame-ancestors 'none'",
                "x-content-type-options: nosniff",
                "referrer-policy: no-referrer",
                "cache-control: no-store",
            ] {
                assert!(answer.head.contains(header), "{path}: {}", answer.head);
            }
            assert!(!answer.head.contains("unsafe-inline"), "{path}: {}", answer.head);
        }
    }
}

/// Runs a program as a user who is nobody here.
fn as_nobody(words: &[&str]) -> support::station::Output {
    let mut command = Command::new("setpriv");
    command.args(["--reuid=65534", "--regid=65534", "--clear-groups"]).args(words);
    support::station::Output::of(&mut command)
}

#[test]
fn another_user_of_this_machine_has_no_way_in() {
    let station = Builder::new().page().start();
    let page = Page::open(&station);
    // Only their own modes keep them from that user.
    let program = station.folder().join("tapline");
    fs::copy(TAPLINE, &program).unwrap();
    fs::set_permissions(station.folder(), Permissions::from_mode(0o755)).unwrap();
    fs::set_permissions(&program, Permissions::from_mode(0o755)).unwrap();
    let token = station.socket().with_extension("token");
    assert_eq!(fs::read_to_string(&token).unwrap().trim(), page.secret);
    let (token, socket) = (token.display().to_string(), station.socket().display().to_string());
    let cat = as_nobody(&["cat", &token]);
    assert_ne!(cat.code, 0, "{cat:?}");
    assert!(cat.stderr.contains("Permission denied"), "{cat:?}");
    let asked = as_nobody(&[program.to_str().unwrap(), "--socket", &socket, "page"]);
    assert_eq!(asked.code, 2, "{asked:?}");
    assert!(asked.stderr.contains("join its group"), "{asked:?}");
    let fetch = format!(
        "import urllib.request as u, urllib.error as e\n\
         try: print(u.urlopen('http://127.0.0.1:{}/v1/status').status)\n\
         except e.HTTPError as x: print(x.code)",
        page.port
    );
    let fetched = as_nobody(&["/usr/bin/python3", "-c", &fetch]);
    assert_eq!(fetched.stdout.trim(), "401", "{fetched:?}");
}

#[test]
fn the_secret_is_new_each_run_and_in_no_log_or_book() {
    let mut station = Builder::new().page().start();
    let page = Page::open(&station);
    station.done(&["scan", "T-0201"]);
    station.stop();
    station.restart();
    let again = Page::open(&station);
    assert_ne!(page.secret, again.secret);
    let old = format!("Host: 127.0.0.1:{}\r\nCookie: {}\r\n", again.port, page.cookie);
    let old = old.replace(&page.port.to_string(), &again.port.to_string());
    assert_eq!(raw(again.port, &format!("GET /v1/status HTTP/1.0\r\n{old}\r\n")).status, 401);
    let log = station.log();
    assert!(log.contains("Faces are open."), "{log}");
    for secret in [&page.secret, &page.key, &again.secret, &again.key] {
        assert!(!log.contains(secret.as_str()), "{log}");
        let found = Command::new("grep").args(["-rl", secret]).arg(station.data()).output();
        assert!(found.unwrap().stdout.is_empty(), "in no book");
    }
}
