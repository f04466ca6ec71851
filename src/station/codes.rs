//! What the printed control codes ask for. A code never signs and never sets aside by itself: the
//! badge of who works at the bench must be the very next code.

use tapline_drivers::scan::control;
use tapline_protocols::plan::{Settings, Switch};

use super::core::Core;
use super::event::{Problem, Request};
use super::say::{bad, conflict};

/// Why a step is left out, as the sheet has it; kept as this word.
pub const SKIPS: &[&str] = &["not_fitted", "no_access", "maker_forbids", "no_fixture", "later"];

/// Why a value is set aside, as the sheet has it.
pub const CAUSES: &[&str] =
    &["lead_slipped", "wrong_point", "wrong_lead", "wrong_setting", "instrument_fault"];

/// Remarks of the sheet; kept as this word.
pub const NOTES: &[&str] =
    &["cleaned", "label_renewed", "cord_renewed", "accessory_missing", "opened", "ask_maker"];

/// What the sheet tells of a new asset: the word, the column of the list, its text.
pub const TELLS: &[(&str, &str, &str)] = &[
    ("class_i", "class", "I"),
    ("class_ii", "class", "II"),
    ("class_iii", "class", "III"),
    ("class_internal", "class", "internal"),
    ("class_system", "class", "system"),
    ("cord_fixed", "cord", "fixed"),
    ("cord_detachable", "cord", "detachable"),
    ("cord_installed", "cord", "installed"),
    ("cord_none", "cord", "none"),
    ("functional_earth_yes", "functional_earth", "yes"),
    ("functional_earth_no", "functional_earth", "no"),
    ("switching_yes", "switching_supply", "yes"),
    ("switching_no", "switching_supply", "no"),
    ("earthed_points_none", "earthed_points", "none"),
    ("accessible_parts_none", "accessible_parts", "none"),
    ("applied_parts_none", "applied_parts", "none"),
    ("hospital", "ownership", "hospital"),
    ("loaner", "ownership", "loaner"),
    ("rented", "ownership", "rented"),
    ("donated", "ownership", "donated"),
    ("patient_owned", "ownership", "patient_owned"),
    ("number_new", "asset", "new"),
];

/// What a code asks for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Asks {
    /// It is done at once.
    Now(Request),
    /// It is done when the badge of who works here follows.
    WithBadge(Request),
}

impl Core {
    /// What a control code asks for on a bench.
    pub(super) fn control(&self, bench: &str, code: &str) -> Result<Asks, Problem> {
        let damaged = || bad(format!("`{code}` is damaged or no control code of this program"));
        let control = control::read(code.as_bytes()).map_err(|_| damaged())?;
        let word = control.parameter.map(plain);
        if let Some(asks) = self.with_badge(bench, control.word, word.as_deref()) {
            return asks.map(Asks::WithBadge);
        }
        let request = match (control.word, control.parameter) {
            ("BEGIN", plan) => Request::Begin {
                plan: plan.map(str::to_ascii_lowercase),
                asset: None,
                reason: None,
                order: None,
                with: Vec::new(),
            },
            ("RESUME", Some(id)) => Request::Resume { id: id.into() },
            ("NULL", Some(lead)) => Request::Null { lead: lead.into() },
            ("SWITCH", Some(word)) => Request::Switch { set: lever(word).ok_or_else(damaged)? },
            ("REPEAT", None) => match self.active_step(bench) {
                Some(step) => Request::Repeat { step },
                None => return Err(conflict("there is no step to repeat", "Begin first.")),
            },
            (act, None) => bare(act).ok_or_else(|| wordless(act))?,
            (act, Some(_)) => {
                let word = word.unwrap_or_default();
                worded(act, &word).ok_or_else(|| unknown(act, &word))?
            }
        };
        Ok(Asks::Now(request))
    }

    /// What needs a badge. Of a value it is the newest that still counts: what the screen showed
    /// when the code was scanned, whatever is captured until the badge comes.
    fn with_badge(
        &self,
        bench: &str,
        act: &str,
        word: Option<&str>,
    ) -> Option<Result<Request, Problem>> {
        let open = self.benches[bench].active.as_ref();
        let nothing = |next: &str| Err(conflict("no inspection is open on this bench", next));
        match (act, word) {
            ("SIGN", None | Some("tag")) => Some(match open {
                None => nothing("There is nothing to sign."),
                Some(_) => Ok(Request::Sign {
                    meaning: "performed".into(),
                    tag: word.map(|_| "attached".into()),
                    reason: None,
                    badge: None,
                }),
            }),
            ("DISCARD", Some(cause)) if CAUSES.contains(&cause) => {
                let Some(id) = open else {
                    return Some(nothing("There is nothing to set aside."));
                };
                let values = &self.cases[id].inspection.record().values;
                let newest = values.iter().rev().find(|value| !value.dropped);
                let asks = |seq| Request::Discard { seq, cause: cause.into(), second: None };
                Some(newest.map(|value| asks(value.line.seq)).ok_or_else(|| {
                    conflict("no captured value counts here", "There is nothing to set aside.")
                }))
            }
            _ => None,
        }
    }

    fn active_step(&self, bench: &str) -> Option<String> {
        let id = self.benches[bench].active.as_ref()?;
        let step = self.cases[id].inspection.record().active()?;
        Some(step.expanded.step.clone())
    }

    /// A captured value of the open inspection as people see it: its step and its digits.
    pub(super) fn captured(&self, bench: &str, seq: u64) -> [String; 2] {
        let open = self.benches[bench].active.as_ref();
        let values = open.map(|id| self.cases[id].inspection.record().values.as_slice());
        let value = values.unwrap_or_default().iter().find(|value| value.line.seq == seq);
        value.map_or_else(Default::default, |value| {
            let fact = &value.line.fact;
            [fact.step.clone(), format!("{} {}", fact.value, fact.unit.ucum())]
        })
    }
}

/// Codes that need no other word.
fn bare(act: &str) -> Option<Request> {
    let step = |what: &str| Request::Act { what: what.into(), expect: None };
    Some(match act {
        "CONNECTED" | "CLEAR" | "LIVE" | "DEAD" | "TEST" => step(&act.to_ascii_lowercase()),
        "CAPTURE" => Request::Capture { expect: None },
        "PASS" => answer("pass", None, None),
        "FAIL" => answer("fail", None, None),
        "ALIVE" => Request::prove("alive"),
        "PARK" => Request::Park {},
        _ => return None,
    })
}

/// Codes with a word of a closed list, or the name of an item.
fn worded(act: &str, word: &str) -> Option<Request> {
    let of = |list: &[&str]| list.contains(&word).then(|| word.to_owned());
    Some(match act {
        "PASS" => answer("pass", Some(word), None),
        "FAIL" => answer("fail", Some(word), Some("seen")),
        "NA" => answer("not_applicable", Some(word), Some("not_fitted")),
        "SKIP" => Request::Skip { reason: of(SKIPS)? },
        "NOTE" => Request::Note { text: of(NOTES)? },
        "ASSET" => {
            let (_, column, text) = TELLS.iter().find(|(tells, ..)| *tells == word)?;
            Request::Describe { tell: [((*column).to_owned(), (*text).to_owned())].into() }
        }
        "PROVE" => Request::prove(&of(&["network_resistance", "closed_path"])?),
        _ => return None,
    })
}

fn answer(answer: &str, item: Option<&str>, reason: Option<&str>) -> Request {
    let own = |text: Option<&str>| text.map(str::to_owned);
    Request::Answer { answer: answer.into(), item: own(item), reason: own(reason) }
}

/// `LEAD-SLIPPED` as the words of this program are written.
fn plain(parameter: &str) -> String {
    parameter.to_ascii_lowercase().replace('-', "_")
}

fn wordless(act: &str) -> Problem {
    bad(format!("`{act}` needs a word"))
        .next("Scan the code of the sheet that has the word, or do it on the page.")
}

fn unknown(act: &str, word: &str) -> Problem {
    bad(format!("`{act}` has no word `{word}`"))
        .next("Scan a code of the sheet, or do it on the page.")
}

/// The setting of a code beside a lever, which can be scanned only in that position:
/// `S5-REVERSED`. The supply has none: it is moved by acts or seen by contacts.
fn lever(word: &str) -> Option<Settings> {
    let (switch, setting) = word.split_once('-')?;
    let switch = [Switch::S1, Switch::S5, Switch::S7, Switch::S10, Switch::Test]
        .into_iter()
        .find(|one| one.name().eq_ignore_ascii_case(switch))?;
    let setting = switch.words().iter().find(|one| one.eq_ignore_ascii_case(setting))?;
    Some(Settings::from([(switch, setting.to_string())]))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_lever_code_sets_one_switch_and_never_the_supply() {
        let reversed = Settings::from([(Switch::S5, "reversed".to_string())]);
        assert_eq!(lever("S5-REVERSED"), Some(reversed));
        for word in ["S5", "S5-OPEN", "SUPPLY-ON", "supply-on", "S7-"] {
            assert_eq!(lever(word), None, "{word}");
        }
    }

    #[test]
    fn a_word_of_no_list_is_no_request() {
        for (act, word) in [
            ("SKIP", "tired"),
            ("NOTE", "x"),
            ("PROVE", "supply"),
            ("LIVE", "on"),
            ("ASSET", "class_iv"),
        ] {
            assert_eq!(worded(act, word), None, "{act} {word}");
        }
        for act in ["SKIP", "NOTE", "NA", "DISCARD", "SIGN", "TAG", "SWITCH", "PROVE", "ASSET"] {
            assert_eq!(bare(act), None, "{act}");
        }
    }
}
