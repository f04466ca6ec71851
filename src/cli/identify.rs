//! `identify`: listens what speaks on a port and, if a person lets it, asks.

use std::fmt::Write as _;
use std::io::{self, BufRead, IsTerminal, Read};
use std::path::{Path, PathBuf};
use std::time::Duration;

use clap::Args;
use serde_json::{Value, json};
use tokio::runtime::{Builder, Runtime};

use super::args::Common;
use super::client::Client;
use super::ports::{Declared, config_file, declared};
use super::{Exit, Trouble, output};
use crate::books::line::raw_text;
use crate::config::{Line, Place};
use crate::identify::ask::{self, Answer, Query};
use crate::identify::described::{Candidate, Candidates, beside};
use crate::identify::fragment::{self, Found};
use crate::identify::style::{Fit, fits};
use crate::identify::{Heard, Permit, SETTINGS, listen, permit, setting};
use crate::link::Ear;
use crate::ports::{self, Me, Wired};
use crate::words::english;

/// Longest answer of a person, bytes.
const ANSWER_MAX: u64 = 64;
/// Bytes of what was heard that are shown.
const SHOWN: usize = 60;
/// Fits that are shown of a setting.
const FITS: usize = 3;

/// What speaks on a port.
#[derive(Debug, Clone, Args)]
pub struct Identify {
    /// The port, by any of its names
    pub port: PathBuf,
    /// Send nothing and ask nobody
    #[arg(long)]
    pub listen_only: bool,
    /// How long each setting is listened to, seconds
    #[arg(long, default_value_t = 3, value_parser = clap::value_parser!(u64).range(1..=600))]
    pub seconds: u64,
    /// Try this setting, such as "9600 8N1", instead of the customary ones; may be repeated
    #[arg(long, value_name = "SETTING")]
    pub setting: Vec<String>,
    /// Try the driver that this file describes, too; may be repeated. Those in `drivers` beside the
    /// configuration are tried anyway
    #[arg(long, value_name = "FILE")]
    pub driver: Vec<PathBuf>,
    /// DTR while the port is open [default: as configured, else on]
    #[arg(long, value_name = "ON/OFF", value_parser = on_off)]
    pub dtr: Option<bool>,
    /// RTS while the port is open [default: as configured, else off]
    #[arg(long, value_name = "ON/OFF", value_parser = on_off)]
    pub rts: Option<bool>,
    /// Configuration file, for what is declared of the port [default: /etc/tapline/tapline.toml,
    /// if it is there]
    #[arg(long, env = "TAPLINE_CONFIG", value_name = "FILE")]
    pub config: Option<PathBuf>,
}

fn on_off(text: &str) -> Result<bool, String> {
    match text {
        "on" => Ok(true),
        "off" => Ok(false),
        _ => Err("write on or off".into()),
    }
}

/// What came of it.
struct Outcome {
    heard: Vec<(Heard, Vec<Fit>)>,
    answer: Option<Answer>,
    sent: bool,
}

pub(super) fn run(args: &Identify, client: &Client, common: &Common) -> Result<Exit, Trouble> {
    let declared = declared(args.config.as_deref(), client)?;
    let root = Path::new("/");
    let wired = declared
        .config
        .as_ref()
        .and_then(|config| ports::wired(root, &args.port, config, declared.register.as_ref()));
    free(&args.port)?;
    let described = described(args, &declared)?;
    let settings = settings(args, &declared, (wired.as_ref(), &described))?;
    let runtime = runtime()?;
    let heard = runtime.block_on(hear(args, &settings, &described))?;
    let mut outcome = Outcome { heard, answer: None, sent: false };
    if !outcome.heard.iter().any(|(_, fits)| fits.iter().any(Fit::is_likely)) {
        let may = may_ask(args, wired.as_ref())?;
        outcome.sent = may;
        if may {
            outcome.answer = runtime.block_on(ask_all(&args.port, &settings))?;
        }
    }
    if !outcome.sent {
        output::talk(&tell("nothing_sent", &[]));
    }
    tell_all(args, &outcome, &declared, wired.as_ref(), common)
}

/// Refuses what is no serial port, and a port that somebody has.
fn free(port: &Path) -> Result<(), Trouble> {
    let shown = port.display().to_string();
    let name = port.file_name().unwrap_or_default().to_string_lossy().into_owned();
    if name.starts_with("usbtmc") || name.starts_with("event") || port.is_dir() {
        return Err(Trouble::Said(tell("no_port", &[("port", &shown)])));
    }
    match ports::holders(Path::new("/"), port).first() {
        None => Ok(()),
        Some(one) => Err(Trouble::Said(tell(
            "held",
            &[("port", &shown), ("pid", &one.pid.to_string()), ("command", &one.command)],
        ))),
    }
}

/// The descriptions that are tried. One that was named has to be right, of the others it is said.
fn described(args: &Identify, declared: &Declared) -> Result<Vec<Candidate>, Trouble> {
    let file = config_file(args.config.as_deref());
    let known = file.zip(declared.config.as_ref()).map(|(file, config)| beside(file, config));
    let mut candidates: Candidates = known.unwrap_or_default();
    for fault in &candidates.faults {
        output::talk(&tell("not_tried", &[("fault", fault)]));
    }
    for file in &args.driver {
        let faults = |faults: Vec<String>| Trouble::Said(faults.join("\n"));
        candidates.take(file).map_err(faults)?;
    }
    Ok(candidates.list)
}

/// The settings that are tried: those that were named, else the configured one, those that
/// descriptions say and the customary ones. All with the same DTR and RTS.
fn settings(
    args: &Identify,
    declared: &Declared,
    (wired, described): (Option<&Wired>, &[Candidate]),
) -> Result<Vec<Line>, Trouble> {
    let own = own_line(declared, wired);
    let named = args.setting.iter().map(|text| {
        let read = || {
            let (baud, bits) = text.split_once(' ')?;
            setting(baud.parse().ok()?, bits.trim())
        };
        read().ok_or_else(|| Trouble::Said(tell("setting", &[("text", text)])))
    });
    let mut lines = named.collect::<Result<Vec<Line>, Trouble>>()?;
    if lines.is_empty() {
        lines.extend(own);
        let said = described.iter().filter_map(|one| one.line.as_ref());
        lines.extend(said.filter_map(|(baud, bits)| setting(*baud, bits)));
        lines.extend(SETTINGS.iter().filter_map(|(baud, bits)| setting(*baud, bits)));
    }
    let usual = (own.is_none_or(|line| line.dtr), own.is_some_and(|line| line.rts));
    let (dtr, rts) = (args.dtr.unwrap_or(usual.0), args.rts.unwrap_or(usual.1));
    let same = |line: Line| Line { dtr, rts, flow: crate::config::Flow::None, ..line };
    let mut tried: Vec<Line> = Vec::new();
    for line in lines.into_iter().map(same) {
        if !tried.contains(&line) {
            tried.push(line);
        }
    }
    Ok(tried)
}

/// The setting of the link that uses the port.
fn own_line(declared: &Declared, wired: Option<&Wired>) -> Option<Line> {
    let links = &declared.config.as_ref()?.links;
    match links.iter().find(|link| wired.is_some_and(|wired| wired.link == link.id))?.place {
        Place::Serial(_, line) => Some(line),
        _ => None,
    }
}

/// Listens at one setting after the other, until one is surely right.
async fn hear(
    args: &Identify,
    settings: &[Line],
    described: &[Candidate],
) -> Result<Vec<(Heard, Vec<Fit>)>, Trouble> {
    let port = args.port.display().to_string();
    output::talk(&tell("caution", &[]));
    let (count, seconds) = (settings.len().to_string(), args.seconds.to_string());
    let values = [("port", port.as_str()), ("count", &count), ("seconds", &seconds)];
    output::talk(&tell("unset", &values));
    let first = settings.first().expect("there is one at least");
    let mut ear = Ear::open(&args.port, first).map_err(|why| Trouble::Said(why.to_string()))?;
    let mut all = Vec::new();
    for line in settings {
        let sure = |heard: &Heard| fits(heard, described).iter().any(Fit::is_sure);
        let time = Duration::from_secs(args.seconds);
        let heard = listen(&mut ear, *line, time, sure).await;
        let heard = heard.map_err(|_gone| Trouble::Said(tell("gone", &[("port", &port)])))?;
        let fits = fits(&heard, described);
        say_heard(&heard, &fits);
        let sure = fits.iter().any(Fit::is_sure);
        all.push((heard, fits));
        if sure {
            break;
        }
    }
    Ok(all)
}

fn say_heard(heard: &Heard, fits: &[Fit]) {
    let line = shown(&heard.line);
    let bytes = heard.bytes();
    if bytes.is_empty() {
        return output::talk(&tell("silent", &[("line", &line)]));
    }
    let text = format!("{:?}", raw_text(&bytes[..bytes.len().min(SHOWN)]));
    let count = bytes.len().to_string();
    output::talk(&tell("heard", &[("line", &line), ("bytes", &count), ("text", &text)]));
    for fit in fits.iter().take(FITS) {
        let values = [
            ("driver", fit.driver.to_owned()),
            ("layout", fit.layout.to_owned()),
            ("readings", fit.readings.to_string()),
            ("understood", fit.understood.to_string()),
            ("heard", fit.heard.to_string()),
        ];
        let values: Vec<(&str, &str)> = values.iter().map(|(k, v)| (*k, v.as_str())).collect();
        output::talk(&tell("fit", &values));
    }
}

/// Whether the person lets the instrument be asked. Without a person nothing is sent.
fn may_ask(args: &Identify, wired: Option<&Wired>) -> Result<bool, Trouble> {
    let permit = permit(wired);
    let instrument = wired.and_then(|wired| wired.instrument.clone()).unwrap_or_default();
    let no = |code: &str| {
        output::talk(&tell(code, &[("instrument", &instrument)]));
        Ok(false)
    };
    if args.listen_only {
        return no("listening_only");
    }
    let (question, word) = match permit {
        Permit::Never => return no("hazardous"),
        Permit::Declare => ("question_declare", "harmless"),
        Permit::Ask => ("question_ask", "yes"),
    };
    if !io::stdin().is_terminal() {
        return no("no_terminal");
    }
    let queries = Query::ALL.map(|query| raw_text(query.bytes().trim_ascii_end())).join(", ");
    let count = ask::SETTINGS.len().to_string();
    let values = [("queries", &*queries), ("count", &count), ("instrument", &instrument)];
    output::talk(&tell(question, &values));
    let mut answer = String::new();
    let read = io::stdin().lock().take(ANSWER_MAX).read_line(&mut answer);
    read.map_err(|error| Trouble::Said(format!("can't read the answer: {error}")))?;
    Ok(answer.trim() == word)
}

/// Asks at one setting after the other; at the settings of the list, with DTR and RTS as they were.
async fn ask_all(port: &Path, settings: &[Line]) -> Result<Option<Answer>, Trouble> {
    let like = settings.first().expect("there is one at least");
    let listed = ask::SETTINGS.iter().filter_map(|(baud, bits)| setting(*baud, bits));
    for line in listed.map(|line| Line { dtr: like.dtr, rts: like.rts, ..line }) {
        let answer = ask::ask(port, line).await.map_err(|why| {
            let values = [("port", &*port.display().to_string()), ("why", &why)];
            Trouble::Said(tell("cant_open", &values))
        })?;
        let Some(answer) = answer else {
            output::talk(&tell("no_answer", &[("line", &shown(&line))]));
            continue;
        };
        let values = [("line", &*shown(&line)), ("identity", &answer.identity)];
        output::talk(&tell("answered", &values));
        if let Some(errors) = &answer.errors {
            output::talk(&tell("errors", &[("errors", errors)]));
        }
        return Ok(Some(answer));
    }
    Ok(None)
}

/// The likeliest of all: the style that understood the largest part of what was heard.
fn best(outcome: &Outcome) -> Option<(Line, &Fit)> {
    // The most customary setting comes first, and of equals the last counts.
    let likely = outcome.heard.iter().rev().filter_map(|(heard, fits)| {
        let fit = fits.first().filter(|fit| fit.is_likely())?;
        Some((heard.line, fit))
    });
    likely.max_by_key(|(_, fit)| (fit.driver != "scan", fit.understood * 1000 / fit.heard.max(1)))
}

fn tell_all(
    args: &Identify,
    outcome: &Outcome,
    declared: &Declared,
    wired: Option<&Wired>,
    common: &Common,
) -> Result<Exit, Trouble> {
    let survey = ports::survey(Path::new("/"), &Me::now());
    let here = |port: &&ports::Port| {
        let root = Path::new("/");
        ports::canonical(root, &port.node) == ports::canonical(root, &args.port)
    };
    let stable = survey.ports.iter().find(here).map(|port| port.stable().to_owned());
    let port =
        stable.unwrap_or_else(|| std::path::absolute(&args.port).unwrap_or(args.port.clone()));
    let by_ear = best(outcome).map(|(line, fit)| (line, (&*fit.driver, fit.layout)));
    let by_answer = outcome.answer.as_ref().map(|answer| (answer.line, ("scpi", "confirmed")));
    let found = by_answer.or(by_ear).map(|(line, driver)| Found {
        port: &port,
        line,
        driver,
        answer: outcome.answer.as_ref(),
    });
    let config = declared.config.as_ref();
    let link = found.as_ref().map(|found| fragment::link(found, config, wired));
    let instrument = found.as_ref().and_then(|found| fragment::instrument(found, config, wired));
    if common.json {
        output::data(&as_json(outcome, link.as_deref(), instrument.as_deref()).to_string())?;
    } else if let Some(link) = &link {
        output::data(&pieces(link, instrument.as_deref(), wired))?;
    } else {
        output::talk(&tell("unknown", &[]));
    }
    Ok(if link.is_some() { Exit::Done } else { Exit::Undecided })
}

/// Both pieces so that a configuration can take them as they are: the entry of the register, which
/// is a file of its own, stands in comments.
fn pieces(link: &str, instrument: Option<&str>, wired: Option<&Wired>) -> String {
    let head = match wired {
        Some(wired) => tell("anew", &[("link", &wired.link)]),
        None => tell("into_config", &[]),
    };
    let mut text = format!("{head}\n{link}");
    if let Some(instrument) = instrument {
        text += &format!("\n{}\n", tell("into_register", &[]));
        for line in instrument.lines() {
            writeln!(text, "# {line}").expect("a string takes all");
        }
    }
    text.trim_end().to_owned()
}

fn as_json(outcome: &Outcome, link: Option<&str>, instrument: Option<&str>) -> Value {
    let heard = outcome.heard.iter().map(|(heard, fits)| {
        let fits = fits.iter().map(|fit| {
            json!({
                "driver": fit.driver, "described": fit.described, "layout": fit.layout, "readings": fit.readings,
                "understood": fit.understood, "heard": fit.heard, "likely": fit.is_likely(),
            })
        });
        json!({
            "line": shown(&heard.line), "raw": raw_text(&heard.bytes()),
            "fits": fits.collect::<Vec<_>>(),
        })
    });
    let answer = outcome.answer.as_ref().map(|answer| {
        json!({
            "line": shown(&answer.line), "identity": answer.identity, "errors": answer.errors,
        })
    });
    json!({
        "heard": heard.collect::<Vec<_>>(), "sent": outcome.sent, "answer": answer,
        "link": link, "instrument": instrument,
    })
}

fn shown(line: &Line) -> String {
    format!("{} {}", line.baud, line.bits)
}

fn tell(code: &str, values: &[(&str, &str)]) -> String {
    english().tell("identify", code, values)
}

fn runtime() -> Result<Runtime, Trouble> {
    let built = Builder::new_current_thread().enable_all().build();
    built.map_err(|error| Trouble::Said(format!("can't start: {error}")))
}
