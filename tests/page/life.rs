//! The life of a sealed record on the page: whose badge signs, what was seen, and that no badge is
//! told to anybody.

use std::fs;
use std::io::{BufRead, BufReader};
use std::process::{Command, Stdio};

use serde_json::{Value, json};

use super::support::look::{self, inspected};
use super::support::station::{Builder, Station, TAPLINE};
use super::support::wait;
use super::{Answer, Page};

struct House {
    station: Station,
    page: Page,
    id: String,
}

impl House {
    /// A station that reviews everything, with an inspection by `op-7`.
    fn open(answers: [&str; 2]) -> House {
        let station = look::station(Builder::new().page().policy("review = \"all\""));
        let page = Page::open(&station);
        let id = inspected(&station, "T-0201", answers);
        House { station, page, id }
    }

    fn record(&self) -> Value {
        self.station.get(&format!("/v1/inspections/{}", self.id))
    }

    /// The head of its newest book, as the view has it in its forms.
    fn head(&self) -> String {
        let html = self.page.view(&format!("/inspection/{}", self.id)).body;
        let (_, rest) = html.split_once("name=\"expect\" value=\"").expect("there is a form");
        rest.split('"').next().unwrap().to_owned()
    }

    /// An act with what was seen just now.
    fn act(&self, act: &str, mut body: Value) -> Answer {
        if body.get("expect").is_none() {
            body["expect"] = self.head().into();
        }
        self.page.send(&format!("/inspection/{}/{act}", self.id), &body)
    }

    #[track_caller]
    fn refused(&self, (act, body): (&str, Value), status: u16, why: &str) {
        let answer = self.act(act, body);
        assert_eq!(answer.status, status, "{why}: {}", answer.body);
        assert!(answer.body.contains(why), "{why}: {}", answer.body);
        let told: Value = serde_json::from_str(&answer.body).unwrap();
        assert!(told["next"].as_str().is_some_and(|next| !next.is_empty()), "{told}");
    }

    #[track_caller]
    fn done(&self, act: &str, body: Value, say: &str) {
        let answer = self.act(act, body);
        assert_eq!(answer.status, 200, "{}", answer.body);
        assert!(answer.body.contains(say), "{say}: {}", answer.body);
    }
}

/// 21 CFR 11.200 (from memory): a signature is made by its owner. Review by somebody else: EU GMP
/// Annex 11, 9 and 12.4 (from memory).
#[test]
fn a_record_is_reviewed_on_the_page_by_the_badge_of_somebody_else() {
    let house = House::open(["pass", "pass"]);
    assert!(house.page.view("/reviews").body.contains(&house.id), "it waits");
    let badge = "needs the badge of who signs";
    house.refused(("review", json!({})), 409, badge);
    for nobody in ["op-3", "OP-9999", "Anna Berg"] {
        house.refused(("review", json!({ "by": nobody })), 409, badge);
    }
    house.refused(("review", json!({ "by": "OP-0007" })), 409, "took part in");
    house.refused(("review", json!({ "by": "OP-0004" })), 409, "may be one person");
    house.refused(("review", json!({ "by": "OP-0003", "reject": "bad" })), 400, "10 to 500");
    house.refused(("release", json!({ "by": "OP-0003" })), 409, "waits for its review");
    house.refused(("erase", json!({ "by": "OP-0003" })), 404, "no act of an inspection");
    assert_eq!(house.record()["addenda"], json!([]), "nothing was added");
    house.done("review", json!({ "by": "OP-0003", "remark": "looked" }), "is reviewed");
    let now = house.record();
    assert_eq!((&now["state"], &now["addenda"][0]["by"]), (&"reviewed".into(), &"op-3".into()));
    assert_eq!(now["addenda"][0]["auth"], "badge");
    assert!(!house.page.view("/reviews").body.contains(&house.id), "nothing waits");
    let html = house.page.view(&format!("/inspection/{}", house.id)).body;
    for word in ["Anna Berg (op-3)", "looked", "R. Feld (op-7)", "Nothing was set aside"] {
        assert!(html.contains(word), "{word}: {html}");
    }
    house.done("release", json!({ "by": "OP-0003" }), "is released");
    assert_eq!(house.record()["state"], "released");
}

#[test]
fn what_was_added_meanwhile_is_looked_at_before_anybody_signs() {
    let house = House::open(["pass", "pass"]);
    let seen = house.head();
    let path = format!("/inspection/{}/review", house.id);
    let unseen = house.page.send(&path, &json!({ "by": "OP-0003" }));
    assert_eq!(unseen.status, 400, "{}", unseen.body);
    assert!(unseen.body.contains("what was seen"), "{}", unseen.body);
    let amend = ["--reason", "wrong_data", "--text", "the ward has moved"];
    house.station.done(&[&["amend", &house.id, "location=W3"][..], &amend].concat());
    let stale = json!({ "by": "OP-0003", "expect": seen });
    for act in ["review", "release"] {
        house.refused((act, stale.clone()), 409, "something was added to");
    }
    assert_eq!(house.record()["addenda"].as_array().unwrap().len(), 1);
    house.done("review", json!({ "by": "OP-0003" }), "is reviewed");
}

#[test]
fn two_persons_are_two_badges_and_every_change_has_its_reason() {
    let house = House::open(["pass", "fail"]);
    let better = json!({ "answer/look/housing": "pass" });
    let text = "the wrong row was ticked";
    let amend = |fields: Value| {
        let mut body = json!({ "by": "OP-0007", "change": better, "reason": "wrong_answer" });
        body.as_object_mut().unwrap().extend(fields.as_object().unwrap().clone());
        ("amend", body)
    };
    house.refused(amend(json!({})), 400, "text");
    house.refused(amend(json!({ "text": "short" })), 400, "10 to 500");
    house.refused(amend(json!({ "text": text, "reason": "whim" })), 400, "is no reason");
    house.refused(amend(json!({ "text": text })), 409, "takes two persons");
    for second in ["op-3", "OP-9999"] {
        let by_name = json!({ "text": text, "second": second });
        house.refused(amend(by_name), 409, "no badge of a second person");
    }
    house.refused(amend(json!({ "text": text, "second": "OP-0007" })), 409, "are one person");
    assert_eq!(house.record()["outcome"], "fail");
    let (act, body) = amend(json!({ "text": text, "second": "OP-0003" }));
    house.done(act, body, "Print the label of");
    assert_eq!(house.record()["outcome"], "pass");
    let html = house.page.view(&format!("/inspection/{}", house.id)).body;
    for word in
        ["<del>Fail</del> → <ins>Pass</ins>", text, "print its label anew", "Signed first as"]
    {
        assert!(html.contains(word), "{word}: {html}");
    }
    let (head, row) = include_str!("../support/register/assets.csv").split_once('\n').unwrap();
    let other = row.replace("T-0201", "T-0202");
    fs::write(house.station.folder().join("more.csv"), format!("{head}\n{other}")).unwrap();
    let more = house.station.folder().join("more.csv").display().to_string();
    house.station.done(&["asset", "import", &more]);
    house.refused(("reattach", json!({ "by": "OP-0007", "to": "T-0202" })), 400, "text");
    let moved =
        json!({ "by": "OP-0007", "to": "T-0202", "text": "the other one stood on the bench" });
    house.done("reattach", moved, "Take the labels off");
    assert_eq!(house.record()["asset"], "T-0202");
}

/// A badge opens a signature: what is typed into its field is told to nobody, right or wrong.
#[test]
fn no_badge_is_in_the_feed_in_the_log_or_in_a_refusal() {
    let house = House::open(["pass", "pass"]);
    let mut feed = Command::new(TAPLINE)
        .args(["tail", "--json"])
        .env("TAPLINE_SOCKET", house.station.socket())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let told = house.station.folder().join("told");
    let mut lines = BufReader::new(feed.stdout.take().unwrap());
    let to = told.clone();
    let reader = std::thread::spawn(move || {
        let mut all = String::new();
        while lines.read_line(&mut all).is_ok_and(|read| read > 0) {
            fs::write(&to, &all).unwrap();
        }
    });
    let tries = [("OP-0007", None), ("OP-000x", None), ("OP-0003", Some("OP-000y"))];
    wait::until_true("refusals are in the feed", || {
        for (by, second) in tries {
            let text = "the owner has changed";
            let change = json!({ "owner": "x" });
            let body = match second {
                None => json!({ "by": by }),
                Some(second) => json!({ "by": by, "second": second, "change": change,
                                        "reason": "wrong_data", "text": text }),
            };
            let answer = house.act(if second.is_some() { "amend" } else { "review" }, body);
            assert_eq!(answer.status, 409, "{}", answer.body);
            for badge in ["OP-000", "op-000"] {
                assert!(!answer.body.contains(badge), "{}", answer.body);
            }
        }
        let feed = fs::read_to_string(&told).unwrap_or_default();
        feed.contains("took part") && feed.contains("second person")
    });
    let _ = feed.kill();
    let _ = feed.wait();
    reader.join().unwrap();
    let feed = fs::read_to_string(&told).unwrap();
    assert!(feed.contains("\"not_done\""), "{feed}");
    for badge in ["OP-0003", "OP-0007", "OP-000x", "OP-000y"] {
        let here: Vec<&str> = feed.lines().filter(|line| line.contains("not_done")).collect();
        assert!(!here.iter().any(|line| line.contains(badge)), "{badge}: {feed}");
        assert!(!house.station.log().contains(badge), "{badge}: {}", house.station.log());
    }
    for wrong in ["OP-000x", "OP-000y"] {
        let found = Command::new("grep").args(["-rl", wrong]).arg(house.station.data()).output();
        assert!(found.unwrap().stdout.is_empty(), "{wrong} is in no book");
    }
}
