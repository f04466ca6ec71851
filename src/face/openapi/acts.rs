//! What can be done: each act with its fields.

use serde_json::{Map, Value, json};

use super::super::registers::IMPORTED;
use super::asks::in_path;
use super::{refused, schema};
use crate::station::OUTCOMES;
use tapline_protocols::life::AMEND_REASONS;

/// What a field of a body may be; `May` may be left out.
#[derive(Clone, Copy)]
enum Field {
    Text(&'static str),
    May(&'static str),
    Texts(&'static str),
    Word(&'static str, &'static [&'static str]),
    MayWord(&'static str, &'static [&'static str]),
    Seq(&'static str),
    Flag(&'static str),
    Settings,
    Told,
    Changes,
    Expect,
}

use Field::{Changes, Expect, Flag, May, MayWord, Seq, Settings, Text, Texts, Told, Word};

/// Last part of the path, what it does, its fields besides `by`.
type Act<'a> = (&'static str, &'static str, &'a [Field]);

const BEGIN: &[Field] = &[
    May("plan"),
    May("asset"),
    MayWord("reason", &["acceptance", "scheduled", "after_repair", "other"]),
    May("order"),
    Texts("with"),
];

/// Acts of `/v1/benches/{bench}/`.
const OF_A_BENCH: &[Act<'static>] = &[
    (
        "act",
        "A deliberate act of an energised step. It switches nothing.",
        &[Word("what", &["connected", "clear", "live", "dead", "test"]), Expect],
    ),
    (
        "answer",
        "Answers what is looked at, tried or asked.",
        &[Word("answer", &["pass", "fail", "not_applicable"]), May("item"), May("reason")],
    ),
    ("begin", "Opens an inspection.", BEGIN),
    ("capture", "Arms a capture, or captures where the operator does.", &[Expect]),
    (
        "check",
        "Holds an instrument against a check standard.",
        &[Text("standard"), May("instrument")],
    ),
    (
        "describe",
        "Tells of an unknown asset: the one that was scanned, or the one named. Columns are those \
         of the list; when all that decides its plan is told, it is registered. Of the asset that \
         is inspected: `maker`, `model`, `serial`, `owner`, where nobody said it yet.",
        &[Told],
    ),
    (
        "discard",
        "Sets a captured value aside; it stays in the record.",
        &[Seq("seq"), Text("cause"), May("second")],
    ),
    (
        "end",
        "Ends an inspection that was not measured through.",
        &[
            Word(
                "outcome",
                &["not_found", "in_use", "with_patient", "sent_out", "retired", "given_up"],
            ),
            Text("reason"),
        ],
    ),
    (
        "enter",
        "What the display of a meter without a line shows, entered twice, each time read anew: \
         `2.5 MOhm`, `> 20 GOhm`, `OL`. It can fail the step and never pass it.",
        &[Text("shows")],
    ),
    ("login", "Logs an operator in; without a badge, out.", &[May("badge")]),
    ("note", "A remark.", &[Text("text")]),
    ("null", "Nulls a lead set.", &[Text("lead")]),
    (
        "override",
        "Opens a gate by competence; never one that failed.",
        &[Text("step"), Text("reason")],
    ),
    ("park", "Lets the inspection rest.", &[]),
    (
        "prove",
        "Proves a path, the supply, or that the asset is alive.",
        &[
            Word("what", &["network_resistance", "alive", "supply", "source", "closed_path"]),
            May("ln"),
            May("npe"),
            May("lpe"),
        ],
    ),
    ("repeat", "Measures a step once more; what was captured stays.", &[Text("step")]),
    ("resume", "Goes on with an inspection that rests.", &[Text("id")]),
    ("scan", "As if scanned.", &[Text("code")]),
    (
        "sign",
        "Signs and seals. `badge`, that of who signs, is needed over loopback, and with `pin` \
         wherever the policy asks for one.",
        &[
            Word("as", &["performed"]),
            MayWord("tag", &["attached", "refused"]),
            May("reason"),
            May("badge"),
            May("pin"),
        ],
    ),
    ("skip", "Leaves the active step out.", &[Text("reason")]),
    ("switch", "Declares switches of the supply box: they are set by hand.", &[Settings]),
    ("temperature", "How warm the asset is, entered twice.", &[Text("celsius"), Text("source")]),
];

/// Acts on a sealed inspection, `/v1/inspections/{id}/`: each is added to it as a book of its own.
/// `expect`: the head of the newest of its books, as it was seen. Over loopback `by` and `second`
/// are badges.
const OF_A_RECORD: &[Act<'static>] = &[
    (
        "review",
        "Looks through a sealed inspection that others made: it stands, or `reject` says why not.",
        &[May("remark"), May("reject"), May("pin"), May("expect"), May("bench")],
    ),
    (
        "amend",
        "Puts fields right: `location`, `owner`, `tag`, `remark`, `answer/STEP/ITEM`, `value/LINE` \
         with a cause to set it aside. What comes out better takes two persons.",
        &[
            Word("reason", &AMEND_REASONS),
            Text("text"),
            Changes,
            May("second"),
            May("pin"),
            May("second_pin"),
            May("expect"),
            May("bench"),
        ],
    ),
    (
        "reattach",
        "It was another asset that was inspected.",
        &[
            Text("to"),
            Text("text"),
            May("second"),
            May("pin"),
            May("second_pin"),
            May("expect"),
            May("bench"),
        ],
    ),
    ("release", "Gives a pass out.", &[May("pin"), May("expect"), May("bench")]),
];

const SET_PIN: Act<'static> = (
    "/v1/operators/{id}/pin",
    "Sets the PIN that an operator signs with: over the unix socket alone, with their badge and \
     the PIN of `before`, if there is one. `reset` takes it away, which is for the user that runs \
     the station.",
    &[May("badge"), May("pin"), May("before"), Flag("reset")],
);

pub(super) fn paths() -> Map<String, Value> {
    let mut paths = Map::new();
    for (act, what, fields) in OF_A_RECORD {
        let path = format!("/v1/inspections/{{id}}/{act}");
        let operation = post(&path, what, fields, ("200", "Answer"));
        paths.insert(path, json!({ "post": operation }));
    }
    for (act, what, fields) in OF_A_BENCH {
        let path = format!("/v1/benches/{{bench}}/{act}");
        let operation = post(&path, what, fields, ("200", "Answer"));
        paths.insert(path, json!({ "post": operation }));
    }
    let begin: Vec<Field> = [May("bench")].into_iter().chain(BEGIN.iter().copied()).collect();
    let others: &[(Act<'_>, (&str, &str))] = &[
        (("/v1/inspections", "Opens an inspection.", &begin), ("201", "Answer")),
        (("/v1/scan", "As if scanned.", &[May("bench"), Text("code")]), ("200", "Answer")),
        (
            (
                "/v1/limits",
                "Confirms limits against the workshop's own copy of the standard.",
                &[Texts("rows"), Text("document"), Text("clause")],
            ),
            ("200", "Answer"),
        ),
        (
            (
                "/v1/assets/{id}/visits",
                "Notes that an asset was looked for and not inspected; `retired` takes it off \
                 the lists.",
                &[
                    Word("outcome", &OUTCOMES),
                    May("place"),
                    May("retry"),
                    May("reason"),
                    May("bench"),
                ],
            ),
            ("200", "Answer"),
        ),
        (
            (
                "/v1/orders/{id}/withdraw",
                "Takes a work order back: nothing more is to be done for it.",
                &[Text("reason"), May("bench")],
            ),
            ("200", "Answer"),
        ),
        (SET_PIN, ("200", "Answer")),
        (("/v1/rebuild", "Makes the index again from the books.", &[]), ("200", "Thing")),
    ];
    for ((path, what, fields), answer) in others {
        paths.insert((*path).into(), json!({ "post": post(path, what, fields, *answer) }));
    }
    for name in IMPORTED {
        let path = format!("/v1/{name}");
        let what = "Adds to the register: the text of a file in its format; `dry_run` only says \
                    what would change. A list of assets, or of `values` from before the \
                    station, may come with a `map` of its columns.";
        let fields: &[Field] = match *name {
            "assets" | "values" => &[Text("text"), May("map"), Flag("dry_run")],
            "orders" => &[Text("text"), May("file"), Flag("dry_run")],
            _ => &[Text("text"), Flag("dry_run")],
        };
        let operation = post(&path, what, fields, ("200", "Answer"));
        paths.insert(path, json!({ "post": operation }));
    }
    paths
}

fn post(path: &str, what: &str, fields: &[Field], (status, answer): (&str, &str)) -> Value {
    let mut properties = Map::new();
    let mut required: Vec<&str> = Vec::new();
    for field in fields.iter().chain(&[May("by")]) {
        let (name, must, schema) = of(*field);
        properties.insert(name.into(), schema);
        if must {
            required.push(name);
        }
    }
    let body = json!({
        "type": "object",
        "additionalProperties": false,
        "required": required,
        "properties": properties,
    });
    json!({
        "summary": what,
        "parameters": in_path(path),
        "requestBody": {
            "required": true,
            "content": { "application/json": { "schema": body } },
        },
        "responses": {
            status: {
                "description": "It is done, and on disk.",
                "content": { "application/json": { "schema": schema(answer) } },
            },
            "default": refused(),
        },
    })
}

fn texts() -> Value {
    json!({ "type": "object", "additionalProperties": { "type": "string" } })
}

/// Name of a field, whether it must be there, its shape.
fn of(field: Field) -> (&'static str, bool, Value) {
    match field {
        Text(name) => (name, true, json!({ "type": "string" })),
        May(name) => (name, false, json!({ "type": ["string", "null"] })),
        Texts(name) => {
            let must = name != "with";
            (name, must, json!({ "type": "array", "items": { "type": "string" } }))
        }
        Word(name, words) => (name, true, json!({ "enum": words })),
        MayWord(name, words) => {
            let words: Vec<Value> =
                words.iter().map(|word| (*word).into()).chain([Value::Null]).collect();
            (name, false, json!({ "enum": words }))
        }
        Seq(name) => (name, true, json!({ "type": "integer", "minimum": 0, "maximum": u64::MAX })),
        Flag(name) => (name, false, json!({ "type": "boolean" })),
        Settings => ("set", true, schema("Settings")),
        Told => ("tell", true, texts()),
        Changes => ("change", true, texts()),
        Expect => ("expect", false, schema("Expect")),
    }
}
