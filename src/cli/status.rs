//! `status`: what is going on, and what to do now.

use serde_json::Value;

use super::args::Common;
use super::client::Client;
use super::{Exit, Trouble, output};
use crate::told::copies::late_copies;
use crate::words::{Words, english, said};

pub(super) fn status(client: &Client, common: &Common) -> Result<Exit, Trouble> {
    let status = client.get("/v1/status")?;
    known(&status, common)?;
    let text = if common.json { status.to_string() } else { page(&status, common) };
    output::data(&text)?;
    Ok(Exit::Done)
}

/// A bench that was named is there.
fn known(status: &Value, common: &Common) -> Result<(), Trouble> {
    let benches = status["benches"].as_array().map_or(&[][..], Vec::as_slice);
    let names: Vec<&str> = benches.iter().filter_map(|bench| bench["id"].as_str()).collect();
    match common.bench.as_deref() {
        Some(name) if !names.contains(&name) => Err(Trouble::Said(format!(
            "there is no bench `{name}`\n  next: name one of {}",
            names.join(", ")
        ))),
        _ => Ok(()),
    }
}

/// The whole status as text; what may hurt stands first.
fn page(status: &Value, common: &Common) -> String {
    let benches = status["benches"].as_array().map_or(&[][..], Vec::as_slice);
    let mut lines = Vec::new();
    let live = |bench: &&Value| bench["inspection"]["prompt"]["state"] == "may_be_live";
    for bench in benches.iter().filter(live) {
        lines.push(format!("{}: {}", text(&bench["name"]), say("prompt", "may_be_live")));
    }
    if let Some(why) = status["halted"].as_str() {
        lines.push(say("prompt", "halted").to_owned());
        lines.push(format!("  {why}"));
    }
    for book in status["damaged"].as_array().map_or(&[][..], Vec::as_slice) {
        lines.push(format!("damaged: {}", text(book)));
    }
    lines.push(format!("Station {}, {}", text(&status["station"]), text(&status["name"])));
    lines.extend(index_line(&status["index"]));
    lines.extend(late_copies(&status["copies"]));
    let meant = |bench: &&Value| common.bench.as_deref().is_none_or(|name| bench["id"] == name);
    for bench in benches.iter().filter(meant) {
        lines.push(String::new());
        lines.extend(bench_lines(bench));
    }
    lines.join("\n")
}

/// Nothing is said of an index that answers.
fn index_line(index: &Value) -> Option<String> {
    let state = index["state"].as_str().filter(|state| *state != "ready")?;
    let of = index["of"].as_u64().filter(|of| *of > 0);
    let far = of.map(|of| format!(" ({} of {of} books)", index["done"])).unwrap_or_default();
    Some(format!("{}{far}", say("index", state)))
}

fn bench_lines(bench: &Value) -> Vec<String> {
    let who = bench["operator_name"].as_str().or(bench["operator"].as_str());
    let mut lines = vec![format!(
        "{} ({}), {}",
        text(&bench["name"]),
        text(&bench["id"]),
        who.unwrap_or("nobody logged in")
    )];
    let inspection = &bench["inspection"];
    if inspection.is_object() {
        lines.push(format!(
            "  {}  {}  {}, {}",
            text(&inspection["id"]),
            text(&inspection["asset"]),
            text(&inspection["description"]),
            text(&inspection["location"]),
        ));
    }
    lines.push(format!("  now: {}", now(bench)));
    lines.extend(hints(&inspection["prompt"]).into_iter().map(|hint| format!("       {hint}")));
    let check = &bench["check"];
    if check.is_object() {
        let [standard, what, instrument] =
            ["standard", "what", "instrument"].map(|key| text(&check[key]));
        lines.push(format!("  bench check: hold {instrument} against {standard} ({what})"));
    }
    lines.extend(heard(&bench["heard"]));
    for id in bench["parked"].as_array().map_or(&[][..], Vec::as_slice) {
        lines.push(format!("  parked: {}", text(id)));
    }
    for link in bench["links"].as_array().map_or(&[][..], Vec::as_slice) {
        let on = link["instrument"].as_str().unwrap_or("-");
        let state = text(&link["state"]);
        let why = link["why"].as_str().map(|why| format!(" ({why})")).unwrap_or_default();
        lines.push(format!(
            "  {:10} {:8} {:14} {}{why}",
            text(&link["id"]),
            on,
            text(&link["driver"]),
            say("link", &state)
        ));
        if link["unconfirmed"] == true {
            lines.push(format!("    ! {}", say("link", "unconfirmed")));
        }
        lines.extend(last_check(&link["check"]));
    }
    lines
}

/// What came of the last scan, where there is something to be said of it.
fn heard(heard: &Value) -> Option<String> {
    let refused = &heard["refused"];
    if let Some(detail) = refused["detail"].as_str() {
        return Some(format!(
            "  last scan: not done: {detail}\n    next: {}",
            text(&refused["next"])
        ));
    }
    let done = &heard["done"];
    let besides = done["besides"].as_array().into_iter().flatten();
    let said: Vec<String> = [&done["say"]].into_iter().chain(besides).filter_map(said).collect();
    (!said.is_empty()).then(|| format!("  last scan: {}", said.join(" ")))
}

/// What the newest bench check of an instrument came to.
fn last_check(check: &Value) -> Option<String> {
    let standard = check["standard"].as_str()?;
    let shown = check["shown"].as_str().unwrap_or("no end");
    Some(match check["ok"] == true {
        true => format!("    last check on {standard}: {shown}, within its room"),
        false => {
            format!("    ! last check on {standard}: {shown}, OFF: {}", say("check_mark", "off"))
        }
    })
}

/// What to do now at a bench, in one line.
pub(super) fn now(bench: &Value) -> String {
    let prompt = &bench["inspection"]["prompt"];
    let Some(state) = prompt["state"].as_str() else {
        let stranger = &bench["stranger"];
        if let (Some(question), false) =
            (stranger["question"].as_str(), bench["operator"].is_null())
        {
            let id = stranger["told"]["asset"].as_str().map(|a| format!("{a}: "));
            let choices: Vec<&str> = stranger["choices"]
                .as_array()
                .into_iter()
                .flatten()
                .filter_map(Value::as_str)
                .collect();
            let asks =
                say("say", &format!("describe.{question}")).replace("{0}", &choices.join(", "));
            return format!("{}{asks}", id.unwrap_or_default());
        }
        let state = match (&bench["operator"], &bench["selected"]) {
            (Value::Null, _) => "login",
            (_, Value::Null) => "idle",
            _ => "selected",
        };
        let asset = bench["selected"]["asset"].as_str().map(|a| format!("{a}: "));
        return format!("{}{}", asset.unwrap_or_default(), say("prompt", state));
    };
    let step = prompt["step"].as_str().map(|step| format!("[{step}] ")).unwrap_or_default();
    format!("{step}{}", say("prompt", state))
}

/// Where, how and with which settings: what a prompt adds to its sentence.
pub(super) fn hints(prompt: &Value) -> Vec<String> {
    let mut hints = Vec::new();
    let cautions = |key: &str, table: &str, hints: &mut Vec<String>| {
        for code in prompt[key].as_array().map_or(&[][..], Vec::as_slice) {
            hints.push(format!("! {}", say(table, &text(code))));
        }
    };
    cautions("cautions", "caution", &mut hints);
    for (key, name) in [("point", "point"), ("part", "applied part"), ("operating", "state")] {
        if let Some(value) = prompt[key].as_str() {
            hints.push(format!("{name}: {value}"));
        }
    }
    if let Some(direction) = prompt["direction"].as_str().filter(|d| *d != "none") {
        hints.push(format!("measuring current: {direction}"));
    }
    if let Some(lead) = prompt["lead"].as_str() {
        hints.push(say("lead", lead).to_owned());
    }
    let set = prompt["set"].as_object();
    let set: Vec<String> =
        set.into_iter().flatten().map(|(k, v)| format!("{k} {}", text(v))).collect();
    if !set.is_empty() {
        hints.push(format!("set the switches: {}", set.join(", ")));
    }
    for item in prompt["items"].as_array().map_or(&[][..], Vec::as_slice) {
        hints.push(format!("- {}", say("item", &text(item))));
    }
    cautions("missing", "reason", &mut hints);
    if let Some(code) = prompt["refused"].as_str() {
        hints.push(format!("! {}", say("reason", code)));
    }
    hints
}

fn say(table: &str, code: &str) -> String {
    let words: &Words = english();
    words.say(table, code).to_owned()
}

fn text(value: &Value) -> String {
    value.as_str().map_or_else(|| value.to_string(), str::to_owned)
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn what_may_hurt_stands_first() {
        let status = json!({ "station": "K3", "name": "North", "benches": [{
            "id": "b1", "name": "Bench 1", "operator": "op-7",
            "inspection": { "id": "K3-1", "asset": "A", "description": "pump", "location": "N",
                "prompt": { "state": "may_be_live", "step": "leak/1" } },
        }]});
        let common = Common { json: false, socket: None, bench: None, by: None };
        let page = page(&status, &common);
        assert!(page.starts_with("Bench 1: "), "{page}");
        assert!(page.lines().next().unwrap().to_lowercase().contains("switch off"), "{page}");
    }

    #[test]
    fn the_index_is_spoken_of_only_while_it_does_not_answer() {
        let building = index_line(&json!({ "state": "building", "done": 3, "of": 7 })).unwrap();
        assert!(building.starts_with(english().say("index", "building")), "{building}");
        assert!(building.ends_with(" (3 of 7 books)"), "{building}");
        assert_eq!(index_line(&json!({ "state": "ready" })), None);
        assert_eq!(index_line(&Value::Null), None);
    }

    #[test]
    fn what_the_last_scan_came_to_and_what_is_off_are_told() {
        let done = json!({ "done": { "say": ["sign.badge"], "besides": [["sign.other"]] } });
        let told = heard(&done).unwrap();
        assert!(told.contains("now scan your badge") && told.contains("Nothing was signed"));
        let refused = json!({ "refused": { "code": "conflict", "detail": "No.", "next": "Do." } });
        assert_eq!(heard(&refused).unwrap(), "  last scan: not done: No.\n    next: Do.");
        assert_eq!(heard(&Value::Null), None);
        let check = |ok| json!({ "standard": "CS-1", "shown": "0.150 Ohm", "ok": ok });
        assert!(last_check(&check(false)).unwrap().contains("CS-1: 0.150 Ohm, OFF"));
        assert!(!last_check(&check(true)).unwrap().contains('!'));
        assert_eq!(last_check(&Value::Null), None);
    }

    /// What may hurt stands before what is to be done, and what is wanted says that it is wanted.
    #[test]
    fn cautions_stand_first_and_switches_are_asked_for() {
        let prompt = json!({ "state": "answer", "cautions": ["failed"], "items": ["function"],
            "set": { "supply": "off" }, "missing": ["supply_silent"] });
        let hints = hints(&prompt);
        assert!(hints[0].contains("FAILED"), "{hints:?}");
        assert!(hints.contains(&"set the switches: supply off".to_string()), "{hints:?}");
    }

    #[test]
    fn an_empty_bench_says_how_to_begin() {
        let bench = json!({ "operator": null, "selected": null, "inspection": null });
        assert_eq!(now(&bench), english().say("prompt", "login"));
        let bench = json!({ "operator": "op-7", "selected": null, "inspection": null });
        assert_eq!(now(&bench), english().say("prompt", "idle"));
    }
}
