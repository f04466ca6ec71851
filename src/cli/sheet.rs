//! `tapline sheet`: what is hung up or laid beside a bench, as pages.

use std::path::PathBuf;

use clap::{Args, ValueEnum};
use tapline_drivers::scan::control::{ACT_WORDS, code, read};
use tapline_drivers::scan::selftest::{BLANKS, LAYOUT, SEPARATED};
use tapline_paper::codes::{Code, FNC1, NotDrawn, SET_B};
use tapline_paper::pdf::{About, pdf};
use tapline_paper::report::Paper;
use tapline_paper::sheet::{Cell, Part, cautions, codes};
use tapline_paper::words::{Language, Words};
use tapline_protocols::plan::Switch;

use super::report::{said, written};
use super::{Exit, Trouble};
use crate::config::Config;
use crate::station::codes::{CAUSES, NOTES, SKIPS, TELLS};
use crate::words::english;

/// Which sheet.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Kind {
    /// Control codes, and the card for steps that are live
    Control,
    /// Known codes, for `tapline scanner test`
    Selftest,
    /// What can hurt, to be hung up
    Cautions,
}

/// A sheet, and how it is printed.
#[derive(Debug, Clone, Args)]
pub struct Sheet {
    /// Which one
    pub what: Kind,
    /// Lead set of the bench that is nulled by a code; several times for several
    #[arg(long = "lead", value_name = "LEAD")]
    pub leads: Vec<String>,
    /// Lines (Code 128) for readers that read no squares (Data Matrix)
    #[arg(long)]
    pub lines: bool,
    /// File to write (PDF) [default: standard output, where that is no screen]
    #[arg(long, value_name = "FILE")]
    pub write: Option<PathBuf>,
    /// Size of the paper [default: the one of the configuration]
    #[arg(long, value_name = "SIZE", value_parser = ["a4", "letter"])]
    pub paper: Option<String>,
    /// Language of the paper [default: the one of the configuration]
    #[arg(long, value_name = "LANGUAGE", value_parser = ["en", "de"])]
    pub language: Option<String>,
    /// Configuration file, for what stands on paper
    #[arg(long, env = "TAPLINE_CONFIG", default_value = "/etc/tapline/tapline.toml")]
    pub config: PathBuf,
}

/// Writes the sheet.
pub(super) fn sheet(args: &Sheet) -> Result<Exit, Trouble> {
    let usual = Config::load(&args.config).map(|config| config.paper).unwrap_or_default();
    let language = args.language.as_deref().unwrap_or(&usual.language);
    let language = Language::named(language).unwrap_or_default();
    let paper = Paper::named(args.paper.as_deref().unwrap_or(&usual.size)).unwrap_or_default();
    let words = language.words();
    let (name, pages) = match args.what {
        Kind::Control => {
            let parts = control(words, &args.leads, args.lines).map_err(said)?;
            ("codes", codes(&parts, words, paper))
        }
        Kind::Selftest => ("selftest", codes(&[selftest(words).map_err(said)?], words, paper)),
        Kind::Cautions => {
            let list: Vec<String> =
                english().codes("caution").map(|code| words.say("caution", code)).collect();
            let how = words.say("control", "cautions_how");
            let title = words.say("control", "cautions_title");
            ("cautions", cautions(&title, &how, &list, words, paper))
        }
    };
    let title = words.say("control", &format!("{name}_title"));
    let (id, language) = (name.to_owned(), language.code().to_owned());
    let bytes = pdf(&pages, &About { title, id, language, date: None }).map_err(said)?;
    written(args.write.as_deref(), &bytes)
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
