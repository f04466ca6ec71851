//! What the scripted bench is given when its inspection opens.

use alloc::boxed::Box;
use alloc::collections::BTreeMap;
use alloc::string::{String, ToString};
use alloc::vec;
use alloc::vec::Vec;

use super::bench::{DAY, Setting};
use crate::fact::{Fact, Given, LinkGiven, Open, Opened, ScanFact};
use crate::inspection::{TYPED, typed_link};
use crate::limits::Table;
use crate::plan::{self, BenchGiven};
use crate::register::{Asset, read_assets, read_fixtures, read_instruments, read_operators};

const OPERATORS: &str = include_str!("bench/operators.toml");
const ASSETS: &str = include_str!("bench/assets.csv");

/// The facts of the first commit.
pub(super) fn first_commit(setting: &Setting) -> Vec<Fact> {
    let asset = asset(setting.asset);
    let (list, setups) = read_instruments(&setting.instruments).unwrap();
    let (fixtures, leads) = read_fixtures(&setting.fixtures).unwrap();
    let builtin = plan::builtin(setting.plan).unwrap();
    let text = setting.text.as_deref().unwrap_or(builtin);
    let read = plan::parse(text).unwrap();
    let limits = Table::builtin("IEC 62353", "2014").unwrap();
    let table = Table::parse(limits).unwrap();
    let links = links(setting);
    let bench = BenchGiven {
        instruments: &list,
        setups: &setups,
        fixtures: &fixtures,
        leads: &leads,
        links: &links,
        limits: core::slice::from_ref(&table),
        today: DAY,
        asked: &setting.asked,
        calibration_blocks: setting.policy.out_of_calibration == "block",
        on_paper: false,
    };
    let steps = plan::expand(&read, &asset, &bench).unwrap();
    let mut facts = vec![Fact::Open(Box::new(open(setting)))];
    let sha256 = "0".repeat(64);
    let mut given = vec![
        Given::Asset { asset: Box::new(asset) },
        Given::Plan { text: text.into(), sha256: sha256.clone() },
        Given::Limits { text: limits.into(), table: sha256, confirmed: setting.confirmed.clone() },
        Given::Instruments { list, setups, checks: setting.checks.clone() },
        Given::Fixtures { list: fixtures, leads, witness: witness(setting.witnessed) },
        Given::Links { list: links },
        Given::Steps { list: steps },
    ];
    given.extend(
        read_operators(OPERATORS)
            .unwrap()
            .into_iter()
            .map(|operator| Given::Operator { operator: Box::new(operator) }),
    );
    facts.extend(given.into_iter().map(Fact::Given));
    facts
}

fn asset(id: &str) -> Asset {
    read_assets(ASSETS).unwrap().into_iter().find(|asset| asset.id == id).unwrap()
}

fn links(setting: &Setting) -> Vec<LinkGiven> {
    let driver = |one: &str| if setting.typed.contains(&one) { TYPED } else { "any" };
    let link = |link: &str, instrument: &str, polled, period_ms| LinkGiven {
        link: if driver(instrument) == TYPED { typed_link(instrument) } else { link.into() },
        driver: driver(instrument).into(),
        instrument: Some(instrument.into()),
        isolation_volts: setting.isolation_volts,
        polled: polled && driver(instrument) != TYPED,
        period_ms,
    };
    vec![
        link("ohm", "LR-01", false, setting.period_ms),
        link("iso", "IR-01", false, Some(1000)),
        link("dmm", "DM-01", true, Some(500)),
    ]
}

fn witness(witnessed: bool) -> BTreeMap<String, String> {
    let pairs = [("link", "box"), ("c1", "S5=reversed"), ("c2", "S7=open"), ("c3", "supply=on")];
    let pairs = pairs.into_iter().filter(|_| witnessed);
    pairs.map(|(key, value)| (key.to_string(), value.to_string())).collect()
}

fn open(setting: &Setting) -> Open {
    Open {
        format: "tapline-book-1".into(),
        id: "K3-20261124-0007".into(),
        verify: None,
        station: "K3".into(),
        inspection: Some(Opened {
            bench: "b1".into(),
            asset: setting.asset.into(),
            plan: "iec62353-recurrent-direct".into(),
            reason: "scheduled".into(),
            order: None,
            policy: setting.policy.clone(),
            scan: None,
            legend: None,
        }),
        version: "0.1.0".into(),
        judge: 1,
        boot: "boot-1".into(),
        zone: "Etc/UTC".into(),
        offset: "+00:00".into(),
        synced: true,
        key: None,
        follows: None,
    }
}

pub(super) fn scan(asset: &str) -> Fact {
    Fact::Scan(ScanFact {
        link: Some("scan".into()),
        raw: Some(asset.into()),
        aim: None,
        kind: tapline_drivers::ScanKind::Text,
        asset: Some(asset.into()),
        refused: None,
        length: None,
    })
}
