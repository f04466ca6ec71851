//! What is hung up or laid beside a bench, as pages.

use tapline_drivers::scan::control::{ACT_WORDS, code, read};
use tapline_drivers::scan::selftest::{BLANKS, LAYOUT, SEPARATED};
use tapline_paper::canvas::Page;
use tapline_paper::codes::{Code, FNC1, NotDrawn, SET_B};
use tapline_paper::pdf::About;
use tapline_paper::report::Paper;
use tapline_paper::sheet::{Cell, Part, cautions, codes};
use tapline_paper::words::{Language, Words};
use tapline_protocols::plan::Switch;

use crate::station::codes::{CAUSES, NOTES, SKIPS, TELLS};
use crate::words::english;

/// Which sheet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Sheet {
    /// Control codes with the lead sets that are nulled by one, as lines or squares.
    Control { leads: Vec<String>, lines: bool },
    /// Known codes.
    Selftest,
    /// What can hurt.
    Cautions,
}

/// Its pages, and what a file of them says of itself.
///
/// # Errors
/// A name has characters that no code has.
pub(crate) fn pages(
    sheet: &Sheet,
    language: Language,
    paper: Paper,
) -> Result<(Vec<Page>, About), NotDrawn> {
    let words = language.words();
    let (name, pages) = match sheet {
        Sheet::Control { leads, lines } => {
            ("codes", codes(&control(words, leads, *lines)?, words, paper))
        }
        Sheet::Selftest => ("selftest", codes(&[selftest(words)?], words, paper)),
        Sheet::Cautions => {
            let list: Vec<String> =
                english().codes("caution").map(|code| words.say("caution", code)).collect();
            let how = words.say("control", "cautions_how");
            let title = words.say("control", "cautions_title");
            ("cautions", cautions(&title, &how, &list, words, paper))
        }
    };
    let title = words.say("control", &format!("{name}_title"));
    let (id, language) = (name.to_owned(), language.code().to_owned());
    Ok((pages, About { title, id, language, date: None }))
}

fn part(words: &Words, name: &str, columns: u8, cells: Vec<Cell>) -> Part {
    let say = |what: &str| words.say("control", &format!("{name}_{what}"));
    Part { title: say("title"), how: say("how"), cells, columns }
}

/// The parts of the control codes: what makes a step live stands on the last page alone.
fn control(words: &Words, leads: &[String], lines: bool) -> Result<Vec<Part>, NotDrawn> {
    let columns = if lines { 2 } else { 4 };
    let parts = [
        ("codes", harmless(words, leads)),
        ("tells", tells(words)),
        ("levers", levers(words)),
        ("card", acts(words)),
    ];
    let drawn = parts.into_iter().map(|(name, list)| {
        let cells = list.into_iter().map(|(word, says)| {
            let text = code(&word);
            if read(text.as_bytes()).is_err() {
                return Err(NotDrawn(format!("`{word}` has characters that no code has")));
            }
            let code = match lines {
                true => Code::bars(&format!("{SET_B}{text}"))?,
                false => Code::squares(text.as_bytes(), false)?,
            };
            Ok(Cell { code, says })
        });
        Ok(part(words, name, columns, cells.collect::<Result<_, _>>()?))
    });
    drawn.collect()
}

/// A code's text, and its words.
type Printed = (String, String);

fn harmless(words: &Words, leads: &[String]) -> Vec<Printed> {
    let say = |code: &str| words.say("control", code);
    let of = |act: &str, word: &str| format!("{act}.{}", word.replace('_', "-").to_uppercase());
    let bare = ["begin", "capture", "pass", "fail", "repeat", "park", "sign"];
    let mut list: Vec<Printed> = bare.iter().map(|word| (word.to_uppercase(), say(word))).collect();
    list.push(("SIGN.TAG".into(), say("sign_tag")));
    list.extend(
        leads
            .iter()
            .map(|lead| (format!("NULL.{lead}"), words.tell("control", "null", &[("lead", lead)]))),
    );
    for (act, code) in [("FAIL", "item_fail"), ("NA", "na")] {
        list.extend(english().codes("item").map(|item| {
            let what = words.say("item", item);
            (of(act, item), words.tell("control", code, &[("what", &what)]))
        }));
    }
    for (act, codes, table) in
        [("SKIP", SKIPS, "said"), ("DISCARD", CAUSES, "cause"), ("NOTE", NOTES, "said")]
    {
        list.extend(codes.iter().map(|word| {
            let why = words.say(table, word);
            (of(act, word), words.tell("control", &act.to_lowercase(), &[("why", &why)]))
        }));
    }
    list.extend(["network_resistance", "closed_path"].map(|what| (of("PROVE", what), say(what))));
    list
}

fn tells(words: &Words) -> Vec<Printed> {
    let tell = |(word, ..): &(&str, &str, &str)| {
        (format!("ASSET.{}", word.replace('_', "-").to_uppercase()), words.say("tell", word))
    };
    TELLS.iter().map(tell).collect()
}

fn levers(words: &Words) -> Vec<Printed> {
    let switches = [Switch::S1, Switch::S5, Switch::S7, Switch::S10, Switch::Test];
    let of = |switch: Switch| {
        switch.words().iter().map(move |at| {
            let says = words.say("set", &format!("{}_{at}", switch.name()));
            (format!("SWITCH.{}-{at}", switch.name()), says)
        })
    };
    switches.into_iter().flat_map(of).collect()
}

fn acts(words: &Words) -> Vec<Printed> {
    let act = |act: &&str| ((*act).to_owned(), words.say("control", &act.to_lowercase()));
    ACT_WORDS.iter().map(act).collect()
}

fn selftest(words: &Words) -> Result<Part, NotDrawn> {
    let (before, behind) = SEPARATED;
    let joined = format!("{before}\u{1d}{behind}");
    let codes = [
        ("squares", Code::squares(joined.as_bytes(), true)?),
        ("bars", Code::bars(&format!("{SET_B}{FNC1}{before}{FNC1}{behind}"))?),
        ("layout", Code::bars(&format!("{SET_B}{LAYOUT}"))?),
        ("blanks", Code::bars(&format!("{SET_B}{BLANKS}"))?),
    ];
    let cell =
        |(name, code)| Cell { code, says: words.say("control", &format!("selftest_{name}")) };
    Ok(part(words, "selftest", 1, codes.map(cell).into()))
}
