//! `plan check FILE` and `plan show FILE`, without a daemon.

mod text;

use std::fs;
use std::path::{Path, PathBuf};

use serde::Serialize;
use tapline_protocols::Fault;
use tapline_protocols::fact::LinkGiven;
use tapline_protocols::limits::Table;
use tapline_protocols::plan::{self, BenchGiven, Plan};
use tapline_protocols::register::{self, Asset, Fixture, Instrument, Lead, Setup};

use crate::serve::tomls;
use crate::station::Library;
use crate::told::outline;
use crate::words;

/// What a command says and how it ends: 0 done, 2 something is wrong with the input.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Said {
    /// Data.
    pub stdout: String,
    /// Talk.
    pub stderr: String,
    /// Exit code.
    pub code: u8,
}

/// What `plan show` is asked.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Show {
    /// A file, or the name of a built-in plan.
    pub plan: String,
    /// File of assets, CSV.
    pub assets: PathBuf,
    /// Asset number.
    pub asset: String,
    /// File of fixtures and leads.
    pub fixtures: PathBuf,
    /// File of instruments and setups; without it none is called missing.
    pub instruments: Option<PathBuf>,
    /// Steps by reason that are asked for.
    pub with: Vec<String>,
    /// Day of the inspection, `2026-11-24`.
    pub today: String,
    /// Folder of the configuration: what lies in its `limits/` counts, too.
    pub site: Option<PathBuf>,
    /// JSON instead of text.
    pub json: bool,
}

/// Checks a plan: against itself, and against the tables of limits that are built in. Faults go
/// to stderr, `FILE:LINE: …`, or as JSON to stdout. With `limits` every limit that it can come to
/// is listed, the unconfirmed ones first.
#[must_use]
pub fn check(plan: &str, limits: bool, json: bool) -> Said {
    check_at(plan, None, limits, json)
}

/// As [`check`], with the tables of a workshop's own, in the folder `limits/` of `site`.
#[must_use]
pub fn check_at(plan: &str, site: Option<&Path>, limits: bool, json: bool) -> Said {
    match checked(plan, site) {
        Ok((plan, tables)) => {
            let stdout = match json {
                true => text::check_json(&plan, &tables),
                false => text::check(&plan, &tables, limits),
            };
            Said { stdout, stderr: String::new(), code: 0 }
        }
        Err(wrong) => wrong.said(json),
    }
}

/// Shows a plan for one asset on one bench: what is missing first, then each step with its
/// limit, then what it will cost.
#[must_use]
pub fn show(ask: &Show) -> Said {
    match shown(ask) {
        Ok(stdout) => Said { stdout, stderr: String::new(), code: 0 },
        Err(wrong) => wrong.said(ask.json),
    }
}

/// What is wrong with a file, or with what was asked.
struct Wrong {
    file: String,
    faults: Vec<Fault>,
}

impl Wrong {
    fn new(file: &str, text: String) -> Wrong {
        let fault = Fault { line: 0, field: String::new(), text };
        Wrong { file: file.into(), faults: vec![fault] }
    }

    fn said(self, json: bool) -> Said {
        match json {
            true => Said {
                stdout: text::faults_json(&self.file, &self.faults),
                stderr: String::new(),
                code: 2,
            },
            false => Said {
                stdout: String::new(),
                stderr: text::faults(&self.file, &self.faults),
                code: 2,
            },
        }
    }
}

/// A plan without faults, and the tables that it rests on.
fn checked(name: &str, site: Option<&Path>) -> Result<(Plan, Vec<Table>), Wrong> {
    let text = plan_text(name)?;
    let wrong = |faults| Wrong { file: name.into(), faults };
    let (plan, lines) = plan::read(&text).map_err(wrong)?;
    let tables = tables(&plan, site)?;
    let mut faults = plan::check(&plan, &lines, &tables);
    faults.extend(words::plan::unsaid(&plan, &lines));
    faults.sort();
    match faults {
        faults if faults.is_empty() => Ok((plan, tables)),
        faults => Err(wrong(faults)),
    }
}

fn shown(ask: &Show) -> Result<String, Wrong> {
    let (plan, tables) = checked(&ask.plan, ask.site.as_deref())?;
    let unknown = ask.with.iter().find(|w| !plan.steps.iter().any(|s| s.by_reason && s.id == **w));
    if let Some(unknown) = unknown {
        let text = format!("has no step `{unknown}` that is asked for by a reason");
        return Err(Wrong::new(&ask.plan, text));
    }
    let asset = asset(&ask.assets, &ask.asset)?;
    let (fixtures, leads): (Vec<Fixture>, Vec<Lead>) =
        file(&ask.fixtures, register::read_fixtures)?;
    let (instruments, setups): (Vec<Instrument>, Vec<Setup>) = match &ask.instruments {
        Some(path) => file(path, register::read_instruments)?,
        None => Default::default(),
    };
    let links: Vec<LinkGiven> = instruments.iter().map(link).collect();
    let bench = BenchGiven {
        instruments: &instruments,
        setups: &setups,
        fixtures: &fixtures,
        leads: &leads,
        links: &links,
        limits: &tables,
        today: &ask.today,
        asked: &ask.with,
        calibration_blocks: true,
        on_paper: ask.instruments.is_none(),
    };
    let wrong = |faults| Wrong { file: ask.plan.clone(), faults };
    let mut outline = plan::outline(&plan, &asset, &bench).map_err(wrong)?;
    let steps: Vec<_> = outline.steps.iter().map(|one| one.expanded.clone()).collect();
    outline.proves = plan::foresee((&plan, &asset), &bench, &steps, "simple");
    Ok(match ask.json {
        true => line(&outline),
        false => outline::show(&outline, &asset, bench.on_paper),
    })
}

/// Every instrument of the file is taken to hang on a link of its own.
fn link(instrument: &Instrument) -> LinkGiven {
    LinkGiven {
        link: instrument.id.clone(),
        driver: String::new(),
        instrument: Some(instrument.id.clone()),
        isolation_volts: instrument.isolation.volts,
        polled: false,
        period_ms: None,
    }
}

fn plan_text(name: &str) -> Result<String, Wrong> {
    match (plan::builtin(name), Path::new(name).exists()) {
        (Some(text), false) => Ok(text.into()),
        _ => read(Path::new(name)).map_err(|mut wrong| {
            if !name.contains('/') {
                let known = plan::builtin_ids().join(", ");
                wrong.faults[0].text.push_str(&format!("; built in: {known}"));
            }
            wrong
        }),
    }
}

/// The table of the plan's edition, with what lies in the workshop's folder over it.
fn tables(plan: &Plan, site: Option<&Path>) -> Result<Vec<Table>, Wrong> {
    let wrong = |file: &str, faults| Wrong { file: file.into(), faults };
    let builtin = Library::builtin();
    let mut library = builtin.map_err(|faults| wrong("the built-in tables", faults))?;
    let own = site.map(|site| tomls(&site.join("limits")));
    let own = own
        .transpose()
        .map_err(|error| Wrong::new("limits", format!("the folder can't be read: {error}")))?;
    for path in own.unwrap_or_default() {
        let added = library.add_own_table(&read(&path)?);
        added.map_err(|faults| wrong(&path.display().to_string(), faults))?;
    }
    Ok(library.table(&plan.standard, &plan.edition).cloned().into_iter().collect())
}

fn asset(path: &Path, id: &str) -> Result<Asset, Wrong> {
    let mut assets = file(path, register::read_assets)?;
    match assets.iter().position(|asset| asset.id == id) {
        Some(at) => Ok(assets.swap_remove(at)),
        None => {
            let text = format!("has no asset `{id}` among its {}", assets.len());
            Err(Wrong::new(&path.display().to_string(), text))
        }
    }
}

fn file<T>(path: &Path, parse: fn(&str) -> Result<T, Vec<Fault>>) -> Result<T, Wrong> {
    let file = path.display().to_string();
    parse(&read(path)?).map_err(|faults| Wrong { file, faults })
}

/// Longest file that is read, bytes.
const FILE_BYTES_MAX: u64 = 8 << 20;

fn read(path: &Path) -> Result<String, Wrong> {
    let name = path.display().to_string();
    let wrong = |text: String| Wrong::new(&name, text);
    let meta = fs::metadata(path).map_err(|error| wrong(format!("can't be read: {error}")))?;
    if !meta.is_file() || meta.len() > FILE_BYTES_MAX {
        return Err(wrong("is no file of at most 8 MiB".into()));
    }
    let bytes = fs::read(path).map_err(|error| wrong(format!("can't be read: {error}")))?;
    String::from_utf8(bytes).map_err(|error| {
        let at = error.utf8_error().valid_up_to();
        let line = error.as_bytes()[..at].iter().filter(|b| **b == b'\n').count() + 1;
        wrong(format!("is not UTF-8 on line {line}: save it as UTF-8"))
    })
}

fn line(value: &impl Serialize) -> String {
    let text = serde_json::to_string(value).expect("plans have text keys and no floats");
    text + "\n"
}
