//! What is written reads back the same.

use alloc::string::String;
use alloc::vec::Vec;

use proptest::collection::vec;
use proptest::option;
use proptest::prelude::*;

use super::{read_assets, write_assets};
use crate::register::{AppliedPart, Asset, Class, Cord, Excluded, Ownership, PartType, Risk};

/// Text as people and other programs write it, at its worst: quotes, separators, line breaks,
/// formulas. Blanks around it are taken off when it is read, and the register never has them.
fn text() -> impl Strategy<Value = String> {
    prop_oneof![
        3 => "[ -~]{0,20}",
        2 => "[\"',;|=:@+\\t\r\n#\u{e4}\u{2028}\u{feff}\u{202e}\u{1f480}\\\\/.-]{0,20}",
        1 => Just("=HYPERLINK(\"http://x\";\"y\")".into()),
        1 => Just("@SUM(1+1)*cmd|' /C x'!A0".into()),
    ]
    .prop_map(|text| text.trim().into())
}

/// A name in a list: one row, no `|`.
fn name() -> impl Strategy<Value = String> {
    text().prop_map(|text| {
        let text: String = text.chars().filter(|c| !c.is_control() && *c != '|').collect();
        let text = text.trim();
        if text.is_empty() { "x".into() } else { text.into() }
    })
}

fn id() -> impl Strategy<Value = String> {
    "[!-,/-~]{1,20}|\u{e4}[\"',;|=-]{1,6}"
}

fn names() -> impl Strategy<Value = Vec<String>> {
    vec(name(), 0..4).prop_map(|mut names| {
        names.sort();
        names.dedup();
        names
    })
}

fn parts() -> impl Strategy<Value = Vec<AppliedPart>> {
    let kinds = prop_oneof![Just(PartType::B), Just(PartType::BF), Just(PartType::CF)];
    let part = (name(), kinds, 1..=64_u8);
    vec(
        part.prop_map(|(name, part_type, connections)| AppliedPart {
            name,
            part_type,
            connections,
        }),
        0..3,
    )
}

fn excluded() -> impl Strategy<Value = Vec<Excluded>> {
    let one = ("[a-z]{1,8}", name()).prop_map(|(step, reason)| Excluded { step, reason });
    vec(one, 0..3)
}

fn dates() -> impl Strategy<Value = (Option<String>, Option<String>)> {
    (option::of("P[1-9][0-9]{0,3}[YMWD]"), option::of("20[0-9]{2}-0[1-9]-[12][0-8]"))
}

fn whose() -> impl Strategy<Value = Option<Ownership>> {
    option::of(prop_oneof![
        Just(Ownership::Hospital),
        Just(Ownership::Loaner),
        Just(Ownership::Rented),
        Just(Ownership::Donated),
        Just(Ownership::PatientOwned),
    ])
}

fn risk() -> impl Strategy<Value = Option<Risk>> {
    option::of(prop_oneof![Just(Risk::High), Just(Risk::Medium), Just(Risk::Low)])
}

prop_compose! {
    fn asset()(
        id in id(),
        texts in vec(text(), 6),
        ids in vec(option::of(id()), 3),
        class in prop_oneof![
            Just(Class::I), Just(Class::II), Just(Class::III), Just(Class::Internal),
            Just(Class::System)
        ],
        cord in prop_oneof![
            Just(Cord::Fixed), Just(Cord::Detachable), Just(Cord::Installed), Just(Cord::None)
        ],
        flags: (bool, bool),
        lists in vec(names(), 4),
        numbers in vec(option::of("[1-9][0-9]{0,3}(\\.[0-9]{1,3})?"), 4),
        (parts, excluded) in (parts(), excluded()),
        (interval, due) in dates(),
        (ownership, risk, (_, day), (_, retired)) in (whose(), risk(), dates(), dates()),
    ) -> Asset {
        let mut texts = texts.into_iter();
        let mut text = || texts.next().unwrap();
        let description = text();
        let mut lists = lists.into_iter();
        let mut list = || lists.next().unwrap();
        let cords = list();
        Asset {
            id,
            description: if description.is_empty() { "x".into() } else { description },
            maker: text(),
            model: text(),
            serial: text(),
            udi_di: ids[0].clone(),
            giai: ids[1].clone(),
            location: text(),
            owner: text(),
            ownership,
            return_by: day.filter(|_| ownership.is_some_and(Ownership::goes_back)),
            risk,
            retired,
            class,
            functional_earth: flags.0,
            cord,
            cords: if cord == Cord::Detachable { cords } else { Vec::new() },
            rated_volts: numbers[0].clone(),
            rated_amps: numbers[1].clone(),
            cord_metres: numbers[2].clone(),
            heating_kw: numbers[3].clone(),
            switching_supply: flags.1,
            earthed_points: list(),
            accessible_parts: list(),
            applied_parts: parts,
            states: list(),
            built_to: texts.next().unwrap_or_default(),
            plan: ids[2].clone(),
            interval,
            due,
            excluded,
        }
    }
}

proptest! {
    #[test]
    fn what_is_written_reads_back_the_same(assets in vec(asset(), 0..6)) {
        let mut assets = assets;
        assets.sort_by(|a, b| a.id.cmp(&b.id));
        assets.dedup_by(|a, b| a.id == b.id);
        let text = write_assets(&assets);
        prop_assert_eq!(read_assets(&text).map_err(|faults| (faults, text)), Ok(assets));
    }
}

#[test]
fn the_example_is_written_and_reads_back() {
    let assets = read_assets(include_str!("../../../../contrib/example/assets.csv")).unwrap();
    assert_eq!(read_assets(&write_assets(&assets)), Ok(assets));
}
