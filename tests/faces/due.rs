//! The worklist of a running station: from its index, and the same as its books give.

use serde_json::Value;

use super::support::station::Builder;
use super::support::{http, wait};

#[test]
fn the_worklist_of_the_station_is_that_of_its_books() {
    let station = Builder::new().page().start();
    let example = concat!(env!("CARGO_MANIFEST_DIR"), "/contrib/example/assets.csv");
    station.done(&["asset", "import", example]);
    wait::until("the index has the register", || {
        let (status, text) = http::ask(&station.socket(), "GET", "/v1/due", "").unwrap();
        (status == 200 && text.contains("P-0109")).then_some(())
    });
    let data = station.data().display().to_string();
    for args in [
        &["due", "--json", "--on", "2027-06-01"][..],
        &["due", "--on", "2027-06-01"],
        &["due", "--under", "North", "--limit", "2", "--month-end"],
        &["due", "--asset", "P-0109", "--from-due"],
        &["due", "--asset", "P-9999"],
        &["due", "--under", "Nowhere"],
    ] {
        let (asked, read) = (station.run(args), station.run(&[args, &[data.as_str()]].concat()));
        assert_eq!(asked, read, "{args:?}");
    }
    let all = station.get("/v1/due?on=2027-06-01");
    let ids = |page: &Value| -> Vec<String> {
        let items = page["items"].as_array().unwrap().iter();
        items.map(|item| item["asset"].as_str().unwrap().to_owned()).collect()
    };
    let (mut found, mut after) = (Vec::new(), String::new());
    loop {
        let page = station.get(&format!("/v1/due?on=2027-06-01&limit=2{after}"));
        assert_eq!(page["count"], all["count"]);
        found.extend(ids(&page));
        match page["next"].as_str() {
            Some(next) => after = format!("&after={next}"),
            None => break,
        }
    }
    assert_eq!(found, ids(&all));
    assert!(found.len() > 2, "{all}");
    let refused = station.run(&["due", "--on", "2027-02-29"]);
    assert_eq!(refused.code, 2, "{refused:?}");
    let month: Value = serde_json::from_str(&station.done(&["month", "--json"])).unwrap();
    assert_eq!(month["numbers"]["on_time"]["all"], 0, "nothing was registered before: {month}");
    assert_eq!(month["as_of"], station.get("/v1/due")["today"]);
    let told = station.done(&["month", "2027-01", "--grace", "7"]);
    assert!(told.starts_with("2027-01, as of "), "{told}");
    assert!(
        told.contains("found: nothing to count\n  Of the assets that were looked for"),
        "{told}"
    );
    assert_eq!(station.run(&["month", "2027-13"]).code, 2);
    let told = station.done(&["summary", "2027-W02", "--grace", "3", "--as", "json"]);
    let told: Value = serde_json::from_str(&told).unwrap();
    assert_eq!((&told["first"], &told["grace"]), (&"2027-01-11".into(), &3.into()), "{told}");
    let text = station.done(&["summary", "2027-01", "--as", "csv"]);
    assert!(text.starts_with("table,station,period,"), "{text}");
}
