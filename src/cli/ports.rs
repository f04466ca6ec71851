//! `ports`: what is plugged in, for people and as JSON.

use std::path::{Path, PathBuf};

use clap::Args;
use serde_json::{Value, json};
use tapline_protocols::register::{Instrument, Isolation, IsolationKind, SourceClass};

use super::args::Common;
use super::client::Client;
use super::{Exit, Trouble, offline, output};
use crate::config::{Config, PATH};
use crate::ports::{self, Access, Holder, Kind, Me, PORTS_MAX, Port, Survey, Wired};
use crate::station::register::Register;
use crate::words::english;

/// What is plugged in.
#[derive(Debug, Clone, Args)]
pub struct Ports {
    /// Configuration file, for what each port is used for [default: /etc/tapline/tapline.toml,
    /// if it is there]
    #[arg(long, env = "TAPLINE_CONFIG", value_name = "FILE")]
    pub config: Option<PathBuf>,
    /// Where the machine's `/sys`, `/dev`, `/proc` and `/run` are looked for
    #[arg(long, default_value = "/", hide = true)]
    pub root: PathBuf,
}

/// What configuration and register declare.
pub(super) struct Declared {
    pub(super) config: Option<Config>,
    pub(super) register: Option<Register>,
}

pub(super) fn run(args: &Ports, client: &Client, common: &Common) -> Result<Exit, Trouble> {
    let declared = declared(args.config.as_deref(), client)?;
    let survey = ports::survey(&args.root, &Me::now());
    let page = Page { root: &args.root, survey: &survey, declared: &declared };
    output::data(&if common.json { page.json().to_string() } else { page.text() })?;
    Ok(Exit::Done)
}

/// The configuration that is named, else the usual one if it is there; and the register: asked of
/// the station, or read from its books where none runs.
pub(super) fn declared(config: Option<&Path>, client: &Client) -> Result<Declared, Trouble> {
    let Some(path) = config_file(config) else {
        return Ok(Declared { config: None, register: None });
    };
    let config = offline::load(path)?;
    let read = asked(client).map_or_else(|| ports::register(&config.store.folder), Ok);
    let register = read.map_err(|why| output::talk(&tell("register", &[("why", &why)]))).ok();
    Ok(Declared { config: Some(config), register })
}

/// The file that is named, else the usual one if it is there.
pub(super) fn config_file(config: Option<&Path>) -> Option<&Path> {
    let usual = Path::new(PATH);
    config.or_else(|| usual.exists().then_some(usual))
}

/// The instruments of the station that runs.
fn asked(client: &Client) -> Option<Register> {
    let mut register = Register::default();
    let read = client.pages("/v1/instruments", |page| {
        let items = page["items"].as_array().cloned().unwrap_or_default();
        let instruments = items.into_iter().filter_map(|one| serde_json::from_value(one).ok());
        register.instruments.extend(instruments.map(|one: Instrument| (one.id.clone(), one)));
        Ok(())
    });
    read.ok().map(|()| register)
}

/// Everything that there is to say.
struct Page<'a> {
    root: &'a Path,
    survey: &'a Survey,
    declared: &'a Declared,
}

impl Page<'_> {
    fn wired(&self, port: &Port) -> Option<Wired> {
        let config = self.declared.config.as_ref()?;
        ports::wired(self.root, &port.node, config, self.declared.register.as_ref())
    }

    fn away(&self) -> Vec<(String, Wired)> {
        let Some(config) = &self.declared.config else { return Vec::new() };
        let nodes: Vec<&Path> = self.survey.ports.iter().map(|port| port.node.as_path()).collect();
        ports::away(self.root, &nodes, config, self.declared.register.as_ref())
    }

    /// The place of a link that is none of the kernel's ports is a node all the same.
    fn is_there(&self, place: &str) -> bool {
        place.starts_with('/') && ports::canonical(self.root, Path::new(place)).exists()
    }

    fn text(&self) -> String {
        let mut lines = Vec::new();
        if self.survey.ports.is_empty() {
            lines.push(tell("none", &[]));
        }
        for port in &self.survey.ports {
            lines.extend(self.port(port));
        }
        for (place, wired) in self.away() {
            let code = match place.starts_with('/') {
                true if self.is_there(&place) => "other",
                true => "away",
                false => "tcp",
            };
            lines.push(tell(code, &[("place", &place)]));
            lines.extend(use_of(&wired).into_iter().map(|text| format!("  {text}")));
        }
        lines.extend(self.survey.cut.then(|| tell("cut", &[("most", &PORTS_MAX.to_string())])));
        lines.extend(self.survey.hidden.then(|| tell("hidden", &[])));
        lines.join("\n")
    }

    fn port(&self, port: &Port) -> Vec<String> {
        let stable = port.stable();
        let mut lines = vec![match stable == port.node {
            true => port.node.display().to_string(),
            false => format!("{} ({})", stable.display(), port.node.display()),
        }];
        let also = port.names.iter().filter(|name| name.as_path() != stable);
        let also: Vec<String> = also.map(|name| name.display().to_string()).collect();
        let mut said = Vec::new();
        if !also.is_empty() {
            said.push(tell("also", &[("names", &also.join(", "))]));
        }
        said.push(what(port));
        said.extend(port.latency_ms.map(|ms| {
            let code = if ms > 1 { "latency" } else { "latency_fine" };
            tell(code, &[("ms", &ms.to_string())])
        }));
        said.extend(self.used(port));
        said.extend(self.warnings(port).into_iter().map(|text| format!("! {text}")));
        lines.extend(said.into_iter().map(|text| format!("  {text}")));
        lines
    }

    fn used(&self, port: &Port) -> Vec<String> {
        let Some(wired) = self.wired(port) else {
            let code = if self.declared.config.is_some() { "undeclared" } else { "no_config" };
            let mut lines = vec![tell(code, &[])];
            if port.kind == Kind::Serial && port.holders.is_empty() {
                let name = port.stable().display().to_string();
                lines.push(tell("next", &[("port", &name)]));
            }
            return lines;
        };
        use_of(&wired)
    }

    fn warnings(&self, port: &Port) -> Vec<String> {
        let held = |one: &Holder| process("held", one);
        let mut lines: Vec<String> = port.holders.iter().map(held).collect();
        lines.extend(match &port.access {
            Access::Fine => None,
            Access::Group(group) => Some(tell("group", &[("group", group)])),
            Access::Root => Some(tell("root_only", &[])),
            Access::Absent => Some(tell("absent", &[])),
        });
        if let (Kind::Serial, Some(prober)) = (port.kind, &self.survey.prober) {
            let code = if port.no_modem { "prober_kept_away" } else { "prober" };
            lines.push(process(code, prober));
        }
        lines
    }

    fn json(&self) -> Value {
        let ports = self.survey.ports.iter().map(|port| {
            let mut json = port_json(port);
            json["link"] = self.wired(port).map(|wired| wired_json(&wired)).unwrap_or_default();
            json
        });
        let away = self.away().into_iter().map(|(place, wired)| {
            let there = self.is_there(&place);
            json!({ "place": place, "there": there, "link": wired_json(&wired) })
        });
        json!({
            "ports": ports.collect::<Vec<_>>(), "not_here": away.collect::<Vec<_>>(),
            "modem_prober": self.survey.prober.as_ref().map(holder_json),
            "others_hidden": self.survey.hidden, "cut": self.survey.cut,
        })
    }
}

/// Driver of the kernel and what the thing says of itself.
fn what(port: &Port) -> String {
    let driver = port.driver.clone().unwrap_or_else(|| "no driver".to_owned());
    let on_usb = port.usb.as_ref().map(|usb| {
        let id = format!("{}:{}", usb.vendor, usb.product);
        let name = usb.name.as_ref().map(|name| format!(", {name:?}")).unwrap_or_default();
        let code = if usb.serial.is_some() { "usb" } else { "usb_bare" };
        let serial = usb.serial.clone().unwrap_or_default();
        tell(code, &[("driver", &driver), ("id", &id), ("serial", &serial), ("name", &name)])
    });
    let text = on_usb.unwrap_or_else(|| tell("serial", &[("driver", &driver)]));
    match port.kind {
        Kind::Serial => text,
        Kind::UsbTmc => format!("{}; {text}", tell("usbtmc", &[])),
        Kind::Wedge { named: true } => format!("{}; {text}", tell("wedge_named", &[])),
        Kind::Wedge { named: false } => format!("{}; {text}", tell("wedge", &[])),
    }
}

/// What a link is for, with its driver.
fn use_of(wired: &Wired) -> Vec<String> {
    let code = match wired.layout {
        Some("confirmed") => "driver",
        Some(_) => "driver_unconfirmed",
        None => "driver_unknown",
    };
    let layout = wired.layout.unwrap_or_default();
    let driver = tell(code, &[("driver", &wired.driver), ("layout", layout)]);
    let mut lines = vec![declared_text(wired), driver];
    if wired.asks && !harmless(wired) {
        lines.push(format!("! {}", tell("forbidden", &[("driver", &wired.driver)])));
    }
    lines
}

fn declared_text(wired: &Wired) -> String {
    let code = if wired.instrument.is_some() { "link" } else { "link_bare" };
    let instrument = wired.instrument.clone().unwrap_or_default();
    let values = [
        ("link", wired.link.as_str()),
        ("bench", &wired.bench),
        ("instrument", &instrument),
        ("class", wired.class.map_or("not declared", class)),
        ("isolation", &isolation(wired.isolation)),
    ];
    tell(code, &values)
}

fn isolation(isolation: Option<Isolation>) -> String {
    match isolation.map(|one| one.kind) {
        Some(IsolationKind::Optical) => {
            let volts = isolation.map_or(0, |one| one.volts).to_string();
            tell("isolated", &[("volts", &volts)])
        }
        Some(IsolationKind::None) => tell("isolation_none", &[]),
        Some(IsolationKind::Unknown) | None => tell("isolation_unknown", &[]),
    }
}

/// The word of a source class.
pub(super) fn class(class: SourceClass) -> &'static str {
    match class {
        SourceClass::None => "none",
        SourceClass::Low => "low",
        SourceClass::Hazardous => "hazardous",
        SourceClass::Unknown => "unknown",
    }
}

/// The register says that it can't put out a voltage that hurts.
pub(super) fn harmless(wired: &Wired) -> bool {
    matches!(wired.class, Some(SourceClass::None | SourceClass::Low))
}

fn port_json(port: &Port) -> Value {
    let (kind, named) = match port.kind {
        Kind::Serial => ("serial", Value::Null),
        Kind::UsbTmc => ("usbtmc", Value::Null),
        Kind::Wedge { named } => ("wedge", named.into()),
    };
    let (access, group) = match &port.access {
        Access::Fine => ("fine", None),
        Access::Group(group) => ("group", Some(group)),
        Access::Root => ("root", None),
        Access::Absent => ("absent", None),
    };
    json!({
        "kind": kind, "says_scanner": named, "node": port.node, "stable": port.stable(),
        "names": port.names, "driver": port.driver, "latency_ms": port.latency_ms,
        "usb": port.usb.as_ref().map(|usb| json!({
            "vendor": usb.vendor, "product": usb.product, "serial": usb.serial, "name": usb.name,
        })),
        "holders": port.holders.iter().map(holder_json).collect::<Vec<_>>(),
        "access": access, "missing_group": group, "no_modem": port.no_modem,
    })
}

fn wired_json(wired: &Wired) -> Value {
    json!({
        "link": wired.link, "bench": wired.bench, "driver": wired.driver, "layout": wired.layout,
        "asks": wired.asks, "instrument": wired.instrument, "source_class": wired.class,
        "isolation": wired.isolation,
    })
}

fn holder_json(one: &Holder) -> Value {
    json!({ "pid": one.pid, "command": one.command })
}

/// A sentence about a process.
pub(super) fn process(code: &str, one: &Holder) -> String {
    tell(code, &[("pid", &one.pid.to_string()), ("command", &one.command)])
}

fn tell(code: &str, values: &[(&str, &str)]) -> String {
    english().tell("ports", code, values)
}
