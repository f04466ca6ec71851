//! What happens to a sealed inspection: what was added to it, and the forms by which somebody
//! reviews it, puts it right, moves it to another asset, gives it out. Each takes the badge of who
//! signs, and says along which books were seen.

use std::collections::BTreeMap;

use maud::{Markup, html};
use serde_json::Value;
use tapline_protocols::life::{AMEND_REASONS, TEXT_CHARS_MIN};

use super::acts::{badge, pin};
use super::{say, steps, tell, verdict};
use crate::station::codes::CAUSES;
use crate::words::english;

/// Longest text that a field takes, characters.
const TEXT_CHARS_MAX: usize = 500;

/// What the forms begin with.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct Forms {
    /// Head of the newest of its books.
    pub head: String,
    /// A signature takes a PIN.
    pub pin: bool,
    /// It stands as reviewed; it was rejected; its pass is given out; it is a pass.
    pub reviewed: bool,
    pub rejected: bool,
    pub released: bool,
    pub passed: bool,
    /// Fields that no verdict rests on, with what stands there.
    pub fields: Vec<(&'static str, String)>,
    /// Answers in force: step, item, answer.
    pub answers: Vec<(String, String, String)>,
    /// Values in force: line, step, amount.
    pub values: Vec<(u64, String, String)>,
}

/// Names of people by their ids.
type Names = BTreeMap<String, String>;

/// Where it stands, and each addendum: who, when, what.
pub(super) fn added(record: &Value, names: &Names) -> Markup {
    let list = |value: &Value| value.as_array().cloned().unwrap_or_default();
    let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
    let acted = list(&record["acted"]);
    let acted: Vec<String> = acted.iter().map(|one| who(&text(one), names)).collect();
    let why_not: Vec<String> = list(&record["why_not"])
        .iter()
        .map(|word| english().say("life", &text(word)).replace('_', " "))
        .collect();
    html! {
        h2 { (say("after_seal")) }
        @if record["waits"] == true { p.warn { (say("waits")) } }
        @if !why_not.is_empty() { p.warn { (tell("counts_not", &[("why", &why_not.join(", "))])) } }
        @if record["first"]["outcome"] != record["outcome"] {
            p { (say("signed_first")) " " (verdict(&text(&record["first"]["outcome"]))) }
        }
        @if record["first"]["asset"] != record["asset"] {
            p { (tell("asset_first", &[("asset", &text(&record["first"]["asset"]))])) }
        }
        @let all = list(&record["addenda"]);
        @if all.is_empty() { p { (say("nothing_added")) } }
        ol.added { @for one in &all { (addendum(one, names)) } }
        @if !acted.is_empty() { p { (tell("took_part", &[("who", &acted.join(", "))])) } }
    }
}

/// A person as people know them: name and id.
pub(super) fn who(id: &str, names: &Names) -> String {
    names.get(id).map_or_else(|| id.to_owned(), |name| format!("{name} ({id})"))
}

fn addendum(one: &Value, names: &Names) -> Markup {
    let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
    let facts = one["facts"].as_array().map_or(&[][..], Vec::as_slice);
    let by = text(&one["by"]);
    let by = one["name"].as_str().map_or_else(|| who(&by, names), |name| format!("{name} ({by})"));
    let rejected = facts.iter().any(|fact| fact["k"] == "review" && fact["accepted"] == false);
    let meaning = if rejected { "rejected" } else { one["as"].as_str().unwrap_or_default() };
    html! {
        li {
            p {
                strong { (english().say("life", meaning)) } " · " (by) " · "
                (super::review::second(&text(&one["at"]))) " · "
                a href={ "/v1/inspections/" (super::lists::encoded(&text(&one["id"]))) "/evidence" } {
                    (text(&one["id"]))
                }
            }
            @for fact in facts { (said(fact, names)) }
        }
    }
}

/// What a fact of an addendum says.
fn said(fact: &Value, names: &Names) -> Markup {
    let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
    let second = fact["second"].as_str().filter(|_| fact["k"] != "drop");
    let with = second.map(|id| tell("with_second", &[("who", &who(id, names))]));
    let fields = fact["fields"].as_array().map_or(&[][..], Vec::as_slice);
    html! {
        @match fact["k"].as_str().unwrap_or_default() {
            "review" => { @if let Some(remark) = fact["remark"].as_str() { p { (remark) } } }
            "amend" => {
                p { (english().say("amend_reason", &text(&fact["reason"]))) ": " (text(&fact["text"])) }
                dl.fields { @for one in fields { (amended(one)) } }
                @if fact["label"] == true { p.warn { (say("label_anew")) } }
            }
            "reattach" => {
                p {
                    strong { (english().say("life", "reattached")) } " "
                    (text(&fact["from"])) " → " (text(&fact["to"]["id"])) ": " (text(&fact["text"]))
                }
                p.warn { (say("labels_anew")) }
            }
            "verdict" => p { (steps::name(&text(&fact["step"]))) " "
                (verdict(fact["verdict"].as_str().unwrap_or_default())) },
            _ => {}
        }
        @if let Some(with) = &with { p { (with) } }
    }
}

/// A field before and after.
fn amended(one: &Value) -> Markup {
    let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
    let field = text(&one["field"]);
    html! {
        div {
            dt { (field_name(&field)) }
            dd {
                @if let Some(before) = one["before"].as_str() { del { (in_words(&field, before)) } " → " }
                ins { (in_words(&field, &text(&one["after"]))) }
            }
        }
    }
}

/// A field as people read it.
fn field_name(field: &str) -> String {
    match field.split_once('/') {
        Some(("answer", rest)) => {
            let (step, item) = rest.rsplit_once('/').unwrap_or((rest, ""));
            format!("{}: {}", steps::full(step), english().say("item", item))
        }
        Some(("value", seq)) => tell("value_on", &[("seq", seq)]),
        _ => say(&format!("field_{field}")).to_owned(),
    }
}

/// What stands in a field, where it is a code in words.
fn in_words(field: &str, text: &str) -> String {
    let table = match field.split_once('/') {
        Some(("answer", _)) => "answer",
        Some(("value", _)) => "cause",
        _ if field == "tag" => return say(&format!("tag_{text}")).to_owned(),
        _ => return text.to_owned(),
    };
    english().say(table, text).to_owned()
}

/// What can be done with it now.
pub(super) fn forms(forms: &Forms) -> Markup {
    html! {
        h2 #acts { (say("acts_after")) }
        p.quiet { (say("signs_alone")) }
        @if !forms.rejected && !forms.reviewed { (accept(forms)) }
        @if !forms.rejected {
            details.act #reject { summary { (say("do_reject")) " …" } (reject(forms)) }
        }
        details.act #amend { summary { (say("do_amend")) " …" } (amend(forms)) }
        details.act #reattach { summary { (say("do_reattach")) " …" } (reattach(forms)) }
        @if forms.passed && !forms.released {
            details.act #release { summary { (say("do_release")) " …" } (release(forms)) }
        }
    }
}

/// Which books were seen.
fn expect(forms: &Forms) -> Markup {
    html! { input type="hidden" name="expect" value=(forms.head); }
}

/// Who signs, and what is done by that.
fn signed(forms: &Forms, act: &str, word: &str) -> Markup {
    html! {
        div.signing {
            (badge("by", say("badge"), Some(&format!("badge-{act}"))))
            @if forms.pin { (pin("pin", say("pin"), true)) }
            button.large .plain[act != "accept"] type="submit" { (say(word)) }
        }
    }
}

/// A reason in words of the least length that says something.
fn reason(name: &str, word: &str) -> Markup {
    let most = TEXT_CHARS_MAX;
    html! {
        label {
            (tell(word, &[("least", &TEXT_CHARS_MIN.to_string())]))
            input name=(name) autocomplete="off" required minlength=(TEXT_CHARS_MIN) maxlength=(most);
        }
    }
}

fn accept(forms: &Forms) -> Markup {
    html! {
        form.act data-act="review" {
            (expect(forms))
            label {
                (say("remark_free"))
                input name="remark" autocomplete="off" maxlength=(TEXT_CHARS_MAX);
            }
            (signed(forms, "accept", "do_accept"))
        }
    }
}

fn reject(forms: &Forms) -> Markup {
    html! {
        form.act data-act="review" {
            (expect(forms))
            (reason("reject", "why_reject"))
            (signed(forms, "reject", "do_reject"))
        }
    }
}

fn amend(forms: &Forms) -> Markup {
    html! {
        form.act data-act="amend" {
            (expect(forms))
            p.quiet { (say("amend_how")) }
            @for (field, now) in &forms.fields { (plain(field, now)) }
            @for (step, item, answer) in &forms.answers { (answered(step, item, answer)) }
            @if !forms.values.is_empty() {
                fieldset {
                    legend { (say("values_aside")) }
                    @for (seq, step, amount) in &forms.values { (captured(*seq, step, amount)) }
                }
            }
            label {
                (say("amend_reason"))
                select name="reason" required {
                    option value="" { "–" }
                    @for code in AMEND_REASONS {
                        option value=(code) { (english().say("amend_reason", code)) }
                    }
                }
            }
            (reason("text", "why_amend"))
            p.quiet { (say("second_when")) }
            (badge("second", say("second"), None))
            @if forms.pin { (pin("second_pin", say("second_pin"), false)) }
            (signed(forms, "amend", "do_amend"))
        }
    }
}

/// A field that no verdict rests on.
fn plain(field: &str, now: &str) -> Markup {
    let name = format!("change.{field}");
    html! {
        label {
            (say(&format!("field_{field}")))
            @if !now.is_empty() { " (" (tell("stands", &[("now", &in_words(field, now))])) ")" }
            @if field == "tag" {
                select name=(name) {
                    option value="" { (say("as_it_is")) }
                    @for word in ["attached", "refused"] {
                        option value=(word) { (say(&format!("tag_{word}"))) }
                    }
                }
            } @else {
                input name=(name) autocomplete="off" maxlength=(TEXT_CHARS_MAX);
            }
        }
    }
}

fn answered(step: &str, item: &str, answer: &str) -> Markup {
    let field = format!("answer/{step}/{item}");
    html! {
        label {
            (field_name(&field)) " (" (tell("stands", &[("now", &in_words(&field, answer))])) ")"
            select name={ "change." (field) } {
                option value="" { (say("as_it_is")) }
                @for word in ["pass", "fail", "not_applicable"] {
                    @if word != answer { option value=(word) { (english().say("answer", word)) } }
                }
            }
        }
    }
}

fn captured(seq: u64, step: &str, amount: &str) -> Markup {
    html! {
        label {
            (steps::full(step)) " · " (amount) " · " (tell("value_on", &[("seq", &seq.to_string())]))
            select name={ "change.value/" (seq) } {
                option value="" { (say("as_it_is")) }
                @for cause in CAUSES { option value=(cause) { (english().say("cause", cause)) } }
            }
        }
    }
}

fn reattach(forms: &Forms) -> Markup {
    html! {
        form.act data-act="reattach" {
            (expect(forms))
            label {
                (say("asset_really"))
                input name="to" autocomplete="off" required maxlength=(TEXT_CHARS_MAX);
            }
            (reason("text", "why_reattach"))
            p.quiet { (say("second_reattach")) }
            (badge("second", say("second"), None))
            @if forms.pin { (pin("second_pin", say("second_pin"), false)) }
            (signed(forms, "reattach", "do_reattach"))
        }
    }
}

fn release(forms: &Forms) -> Markup {
    html! { form.act data-act="release" { (expect(forms)) (signed(forms, "release", "do_release")) } }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn a_field_is_said_before_and_after() {
        let one = json!({ "field": "answer/look/housing", "before": "fail", "after": "pass" });
        let html = amended(&one).into_string();
        assert!(html.contains("<del>Fail</del> → <ins>Pass</ins>"), "{html}");
        let one = json!({ "field": "owner", "after": "<b>x</b>" });
        let html = amended(&one).into_string();
        assert!(
            html.contains("<ins>&lt;b&gt;x&lt;/b&gt;</ins>") && !html.contains("<del>"),
            "{html}"
        );
    }

    #[test]
    fn every_form_takes_a_badge_and_says_what_was_seen() {
        let all = Forms { head: "ab".into(), passed: true, ..Forms::default() };
        let html = forms(&all).into_string();
        let count = |text: &str| html.matches(text).count();
        assert_eq!(count("<form"), 5, "{html}");
        assert_eq!(count("name=\"expect\" value=\"ab\""), 5);
        assert_eq!(count("name=\"by\""), 5);
        assert_eq!(count("name=\"pin\""), 0);
        let with = forms(&Forms { pin: true, ..all.clone() }).into_string();
        assert_eq!(with.matches("name=\"pin\"").count(), 5, "each signs with a PIN");
        assert_eq!(with.matches("name=\"second_pin\"").count(), 2, "and so does the second");
        assert_eq!(count("method="), 0, "nothing is sent but by the script, with its key");
        let ended = Forms { reviewed: true, released: true, ..all };
        let html = forms(&ended).into_string();
        assert!(!html.contains("badge-accept") && !html.contains("data-act=\"release\""), "{html}");
    }
}
