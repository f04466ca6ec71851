//! What can be asked: it changes nothing.

use serde_json::{Map, Value, json};

use super::super::registers::NAMES;
use super::{refused, schema};

/// Path, what it gives, query, shape of the answer.
type Ask = (&'static str, &'static str, &'static [(&'static str, Kind)], &'static str);

/// What a word of a query may be.
#[derive(Clone, Copy)]
enum Kind {
    Text,
    Must,
    Moment,
    Verdict,
    Day,
    State,
    Month,
    Grace,
    Count,
    Seq,
    Flag,
    By,
    Language,
    Paper,
    Separator,
    Size,
    Dots,
}

use Kind::{
    By, Count, Day, Dots, Flag, Grace, Language, Moment, Month, Must, Paper, Separator, Seq, Size,
    State, Text, Verdict,
};

/// Days of the calendar but for 29 February, which no pattern tells.
const DAY: &str = "^(19|2[0-9])[0-9]{2}-((0[13578]|1[02])-(0[1-9]|[12][0-9]|3[01])\
                   |(0[469]|11)-(0[1-9]|[12][0-9]|30)|02-(0[1-9]|1[0-9]|2[0-8]))$";
const MONTH: &str = "^(19|2[0-9])[0-9]{2}-(0[1-9]|1[0-2])$";
const WEEK: &str = "^(19|2[0-9])[0-9]{2}-W(0[1-9]|[1-4][0-9]|5[0-2])$";

const PAGE: &[(&str, Kind)] = &[("after", Text), ("limit", Count)];

/// `under`: a place, `North/2`, and all places within it.
const ASSETS: &[(&str, Kind)] = &[("after", Text), ("limit", Count), ("under", Text)];

const ASKS: &[Ask] = &[
    ("/v1/status", "What is going on, as it is on disk.", &[], "Status"),
    ("/v1/ports", "What is plugged in, and why it can't be used.", &[], "Thing"),
    (
        "/v1/inspections",
        "Inspections in the order of their opening. `from` and `to` are days, or the \
         beginning of moments as they are stored, UTC. `newest=1`: the newest first.",
        &[
            ("asset", Text),
            ("from", Moment),
            ("to", Moment),
            ("verdict", Verdict),
            ("instrument", Text),
            ("driver", Text),
            ("limit_table", Text),
            ("limit_row", Text),
            ("standard", Text),
            ("edition", Text),
            ("newest", Flag),
            ("after", Text),
            ("limit", Count),
        ],
        "List",
    ),
    (
        "/v1/due",
        "When each asset is due, those that are due first before the others; how many there are. \
         `under`: a place, and all places within it. `on`: the day that is counted from. \
         `from_due` and `month_end` count so, whatever the station was told. `ordered=1`: what \
         work orders ask for; `back=1`: what goes back to whom it belongs.",
        &[
            ("under", Text),
            ("asset", Text),
            ("state", State),
            ("on", Day),
            ("from_due", Flag),
            ("month_end", Flag),
            ("ordered", Flag),
            ("back", Flag),
            ("after", Text),
            ("limit", Count),
        ],
        "List",
    ),
    (
        "/v1/month",
        "The numbers of a month (`of`, this one without), each a count of a count with what it \
         means, and what was due and is missing. `grace`: days after the due day that are in time.",
        &[("of", Month), ("grace", Grace), ("after", Text), ("limit", Count)],
        "Thing",
    ),
    (
        "/v1/verdicts",
        "Verdicts in force that rest on an instrument or setup, a network or lead set (`fixture`), \
         a limit (a row, an edition, the begin of a table's SHA-256) or a driver (`scpi-auto@1`). \
         By inspection, in the order of their opening; `next` tells whether there is more. \
         `brief=1`: without the verdicts' own text.",
        &[
            ("by", By),
            ("of", Must),
            ("asset", Text),
            ("from", Moment),
            ("to", Moment),
            ("brief", Flag),
            ("after", Text),
            ("limit", Count),
        ],
        "List",
    ),
    (
        "/v1/assets/{id}/history",
        "What the newest thousand signed inspections of an asset measured, like for like; and \
         `former`, its values from before the station, as a list of them told.",
        &[],
        "Thing",
    ),
    ("/v1/inspections/{id}", "What an inspection came to.", &[], "Thing"),
    ("/v1/reviews", "Inspections that wait for a review by somebody else.", PAGE, "List"),
    (
        "/v1/inspections/{id}/facts",
        "Its lines as stored. `raw=1`: what arrived and what it came to.",
        &[("after", Seq), ("limit", Count), ("raw", Flag)],
        "Lines",
    ),
    ("/v1/verify/{id}", "Marks, head and signature, as a stranger checks them.", &[], "Thing"),
    ("/v1/limits", "Every limit with its source and how sure it is.", &[], "List"),
    ("/v1/plans", "What inspections can be opened by.", &[], "List"),
    (
        "/v1/plans/{id}",
        "Steps of a plan for an asset, what is missing, what it costs.",
        &[("asset", Must), ("bench", Text)],
        "Thing",
    ),
    ("/v1/openapi.json", "This document.", &[], "Thing"),
];

pub(super) fn paths() -> Map<String, Value> {
    let mut paths = Map::new();
    for (path, what, query, answer) in ASKS {
        paths.insert((*path).into(), json!({ "get": ask(path, what, query, &json_of(answer)) }));
    }
    for name in NAMES {
        let (list, one) = (format!("/v1/{name}"), format!("/v1/{name}/{{id}}"));
        let what = format!("The register's {name}, in the order of their ids.");
        let query = if *name == "assets" { ASSETS } else { PAGE };
        let all = ask(&list, &what, query, &json_of("List"));
        paths.insert(list, json!({ "get": all }));
        let single = ask(&one, "One of them.", &[], &json_of("Thing"));
        paths.insert(one, json!({ "get": single }));
    }
    let (evidence, feed) = ("/v1/inspections/{id}/evidence", "/v1/feed");
    let lines = json!({ "application/x-ndjson": { "schema": { "type": "string" } } });
    let file = ask(evidence, "The file as stored.", &[], &lines);
    paths.insert(evidence.into(), json!({ "get": file }));
    let how: &[(&str, Kind)] = &[("language", Language), ("paper", Paper)];
    for (ending, form) in [("pdf", "application/pdf"), ("html", "text/html")] {
        let path = format!("/v1/inspections/{{id}}/report.{ending}");
        let printed = json!({ form: { "schema": { "type": "string" } } });
        let what = "An inspection on paper, as the configuration says where nothing else is asked.";
        let page = ask(&path, what, how, &printed);
        paths.insert(path, json!({ "get": page }));
    }
    summaries(&mut paths);
    let how: &[(&str, Kind)] = &[("language", Language), ("size", Size), ("dpi", Dots)];
    for (ending, form) in [("pdf", "application/pdf"), ("svg", "image/svg+xml")] {
        let path = format!("/v1/inspections/{{id}}/label.{ending}");
        let drawn = json!({ form: { "schema": { "type": "string" } } });
        let what = "What came of it, to be stuck on the asset; `size` such as 50x25mm.";
        let page = ask(&path, what, how, &drawn);
        paths.insert(path, json!({ "get": page }));
    }
    paths.extend(exports());
    paths.extend(sheets());
    let query: &[(&str, Kind)] =
        &[("after", Seq), ("bench", Text), ("inspection", Text), ("kinds", Text)];
    let events = json!({ "text/event-stream": { "schema": { "type": "string" } } });
    let what = "Every line as it is stored, as server-sent events, without end; `kinds` with `,`.";
    paths.insert(feed.into(), json!({ "get": ask(feed, what, query, &events) }));
    paths
}

/// A period on paper, as a table, as data.
fn summaries(paths: &mut Map<String, Value>) {
    let how: &[(&str, Kind)] = &[("grace", Grace), ("language", Language), ("paper", Paper)];
    let text = json!({ "type": "string" });
    for (ending, form, schema) in [
        ("pdf", "application/pdf", text.clone()),
        ("html", "text/html", text.clone()),
        ("csv", "text/csv", text),
        ("json", "application/json", schema("Thing")),
    ] {
        let path = format!("/v1/periods/{{period}}/summary.{ending}");
        let told = json!({ form: { "schema": schema } });
        let what = "The numbers of a day (2026-11-27), a week (2026-W48) or a month (2026-11), by \
                    place and risk, and what is missing: all of it in csv and json.";
        let page = ask(&path, what, how, &told);
        paths.insert(path, json!({ "get": page }));
    }
}

/// What is hung up or laid beside a bench.
fn sheets() -> Map<String, Value> {
    let own: &[(&str, Kind)] = &[("language", Language), ("paper", Paper)];
    let control = [own, &[("leads", Text), ("lines", Flag)]].concat();
    type File<'a> = (&'a str, &'a str, &'a [(&'a str, Kind)]);
    let of: [File<'_>; 3] = [
        (
            "control",
            "Control codes, and the card for steps that are live; `leads`: lead sets that are \
             nulled by a code, with `,` between them; `lines=1`: no squares.",
            &control,
        ),
        ("selftest", "Known codes, for the self-test of a reader.", own),
        ("cautions", "What can hurt, to be hung up.", own),
    ];
    let drawn = json!({ "application/pdf": { "schema": { "type": "string" } } });
    let of = of.into_iter().map(|(name, what, query)| {
        let path = format!("/v1/sheets/{name}.pdf");
        let asked = ask(&path, what, query, &drawn);
        (path, json!({ "get": asked }))
    });
    of.collect()
}

/// What `tapline export` gives, as files.
fn exports() -> Map<String, Value> {
    let lines: &[(&str, Kind)] =
        &[("asset", Text), ("from", Moment), ("to", Moment), ("pseudonyms", Flag)];
    let table = [lines, &[("spreadsheet", Flag), ("separator", Separator)]].concat();
    type File<'a> = (&'a str, &'a str, &'a [(&'a str, Kind)], &'a str);
    let of: [File<'_>; 5] = [
        ("measurements", "A table of what was measured: a line a value.", &table, "text/csv"),
        ("inspections", "A table of inspections, a line each.", &table, "text/csv"),
        ("lines", "All that a report tells of each inspection.", lines, "application/x-ndjson"),
        (
            "calendar",
            "Due dates as a calendar, a to-do an asset; `before`: due before this day.",
            &[("under", Text), ("before", Day)],
            "text/calendar",
        ),
        ("fhir/{id}", "An inspection as a FHIR R4 bundle.", &[], "application/fhir+json"),
    ];
    let of = of.into_iter().map(|(name, what, query, form)| {
        let path = format!("/v1/export/{name}");
        let kind = if form.ends_with("+json") { "object" } else { "string" };
        let file = json!({ form: { "schema": { "type": kind } } });
        let asked = ask(&path, what, query, &file);
        (path, json!({ "get": asked }))
    });
    of.collect()
}

fn json_of(answer: &str) -> Value {
    json!({ "application/json": { "schema": schema(answer) } })
}

fn ask(path: &str, what: &str, query: &[(&str, Kind)], content: &Value) -> Value {
    let mut parameters = in_path(path);
    parameters.extend(query.iter().map(|(name, kind)| {
        let must = matches!(kind, Must | By);
        json!({ "name": name, "in": "query", "required": must, "schema": of(*kind) })
    }));
    json!({
        "summary": what,
        "parameters": parameters,
        "responses": {
            "200": { "description": "So it is.", "content": content },
            "default": refused(),
        },
    })
}

/// The words in braces of a path.
pub(super) fn in_path(path: &str) -> Vec<Value> {
    let names = path.split('{').skip(1).filter_map(|rest| rest.split_once('}'));
    let schema = |name: &str| match name {
        "period" => json!({
            "type": "string",
            "pattern": format!("{DAY}|{MONTH}|{WEEK}"),
            "description": "A day, a month, or a week as ISO 8601 counts them; week 53 is one \
                            where the year has it.",
        }),
        _ => json!({ "type": "string", "minLength": 1 }),
    };
    let one = |name: &str| json!({ "name": name, "in": "path", "required": true, "schema": schema(name) });
    names.map(|(name, _)| one(name)).collect()
}

fn of(kind: Kind) -> Value {
    match kind {
        Text | Must => json!({ "type": "string" }),
        Moment => json!({ "type": "string", "format": "date" }),
        Verdict => json!({
            "enum": ["pass", "conditional_pass", "undecided", "conditional_fail", "fail"],
        }),
        Day => json!({
            "type": "string",
            "pattern": DAY,
            "description": "A day from 1900 to 2999; 29 February is one where the year has it.",
        }),
        State => json!({ "enum": super::super::due::STATES }),
        Month => json!({ "type": "string", "pattern": MONTH }),
        Grace => json!({ "type": "integer", "minimum": 0, "maximum": 366 }),
        Count => json!({ "type": "integer", "minimum": 1, "maximum": 500 }),
        Seq => json!({ "type": "integer", "minimum": 0, "maximum": u64::MAX }),
        Flag => json!({ "enum": [0, 1] }),
        By => json!({ "enum": ["instrument", "fixture", "limit", "driver"] }),
        Language => json!({ "enum": ["en", "de"] }),
        Paper => json!({ "enum": ["a4", "letter"] }),
        Size => json!({
            "type": "string",
            "pattern": "^(3[89]|[4-9][0-9]|1[0-4][0-9]|150)x([2-9][0-9]|100)mm$",
        }),
        Dots => json!({ "type": "integer", "minimum": 150, "maximum": 600 }),
        Separator => json!({ "enum": [",", ";", "tab"] }),
    }
}
