//! The rules in `contrib/udev`, held to the grammar of udev(7) and run on the events of a bench.
//!
//! `udevadm verify` would check the grammar; it came with udev 254 and Debian 12 has 252. So this
//! is a reader of our own, stricter than that of udev: keys, operators and labels that it does not
//! know are faults. What it cannot show is udev itself at work.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

use std::collections::BTreeMap;

const RULES: &str = include_str!("../contrib/udev/70-tapline.rules");

/// Keys of udev(7) that the file may use: with the operators that each takes.
const KEYS: [(&str, &[&str]); 17] = [
    ("ACTION", &["==", "!="]),
    ("KERNEL", &["==", "!="]),
    ("KERNELS", &["==", "!="]),
    ("SUBSYSTEM", &["==", "!="]),
    ("SUBSYSTEMS", &["==", "!="]),
    ("DRIVER", &["==", "!="]),
    ("DRIVERS", &["==", "!="]),
    ("ATTR{}", &["==", "!=", "="]),
    ("ATTRS{}", &["==", "!="]),
    ("ENV{}", &["==", "!=", "="]),
    ("IMPORT{builtin}", &["="]),
    ("OWNER", &["="]),
    ("GROUP", &["="]),
    ("MODE", &["="]),
    ("SYMLINK", &["+="]),
    ("GOTO", &["="]),
    ("LABEL", &["="]),
];

#[derive(Debug, Clone, PartialEq, Eq)]
struct Term {
    key: String,
    how: &'static str,
    value: String,
}

/// `KEY{attribute}=="value"`, the rest behind it.
fn term(text: &str) -> Result<(Term, &str), String> {
    let end = text.find(['=', '!', '+']).ok_or(format!("no operator: {text}"))?;
    let key = text[..end].trim();
    let shape = match key.split_once('{') {
        Some(("IMPORT", _)) | None => key.to_owned(),
        Some((name, inside)) if inside.len() > 1 && inside.ends_with('}') => format!("{name}{{}}"),
        Some(_) => return Err(format!("braces: {key}")),
    };
    let known = KEYS.iter().find(|(name, _)| *name == shape).ok_or(format!("no key `{key}`"))?;
    let how = ["==", "!=", "+=", "="].into_iter().find(|how| text[end..].starts_with(how));
    let how = how.ok_or(format!("no operator: {text}"))?;
    if !known.1.contains(&how) {
        return Err(format!("`{key}` takes no `{how}`"));
    }
    let value = text[end + how.len()..].strip_prefix('"').ok_or(format!("no quotes: {text}"))?;
    let (value, rest) = value.split_once('"').ok_or(format!("no end: {text}"))?;
    Ok((Term { key: key.into(), how, value: value.into() }, rest))
}

/// All rules of a file.
fn rules(text: &str) -> Result<Vec<Vec<Term>>, String> {
    let mut rules = Vec::new();
    for (number, line) in text.lines().enumerate() {
        let mut rest = line.trim();
        let mut rule = Vec::new();
        while !rest.is_empty() && !rest.starts_with('#') {
            let (term, behind) = term(rest).map_err(|why| format!("line {}: {why}", number + 1))?;
            rule.push(term);
            rest = match behind.trim_start().strip_prefix(',') {
                Some(more) if !more.trim().is_empty() => more.trim(),
                None if behind.trim().is_empty() => "",
                _ => return Err(format!("line {}: a comma: {behind}", number + 1)),
            };
        }
        rules.extend((!rule.is_empty()).then_some(rule));
    }
    for (n, rule) in rules.iter().enumerate() {
        for goto in rule.iter().filter(|term| term.key == "GOTO") {
            let there = |rule: &Vec<Term>| {
                rule.iter().any(|term| term.key == "LABEL" && term.value == goto.value)
            };
            if !rules[n..].iter().any(there) {
                return Err(format!("no label `{}` further down", goto.value));
            }
        }
    }
    Ok(rules)
}

/// Patterns as in the shell: `*`, `?`, `[0-9]`, parts with `|` between.
fn fits(pattern: &str, text: &str) -> bool {
    pattern.split('|').any(|one| glob(one.as_bytes(), text.as_bytes()))
}

fn glob(pattern: &[u8], text: &[u8]) -> bool {
    match (pattern, text) {
        ([], []) => true,
        ([b'*', rest @ ..], _) => (0..=text.len()).any(|n| glob(rest, &text[n..])),
        ([b'[', from, b'-', to, b']', rest @ ..], [c, more @ ..]) => {
            (from..=to).contains(&c) && glob(rest, more)
        }
        ([b'?', rest @ ..], [_, more @ ..]) => glob(rest, more),
        ([p, rest @ ..], [c, more @ ..]) => p == c && glob(rest, more),
        _ => false,
    }
}

/// What the rules do to an event: what is set, in order of keys; links in a row.
fn run(text: &str, event: &[(&str, &str)]) -> BTreeMap<String, String> {
    let rules = rules(text).unwrap();
    let mut known: BTreeMap<String, String> =
        event.iter().map(|(key, value)| ((*key).to_owned(), (*value).to_owned())).collect();
    let mut set = BTreeMap::new();
    let mut skip: Option<String> = None;
    for rule in &rules {
        let label = |term: &Term| term.key == "LABEL" && Some(&term.value) == skip.as_ref();
        if rule.iter().any(label) {
            skip = None;
        }
        let holds = |term: &Term| {
            let is = known.get(&term.key).map_or("", String::as_str);
            match term.how {
                "==" => fits(&term.value, is),
                "!=" => !fits(&term.value, is),
                _ => true,
            }
        };
        if skip.is_some() || !rule.iter().all(holds) {
            continue;
        }
        for term in rule.iter().filter(|term| matches!(term.how, "=" | "+=")) {
            match term.key.as_str() {
                "GOTO" => skip = Some(term.value.clone()),
                "LABEL" => {}
                "SYMLINK" => {
                    let links: &mut String = set.entry("SYMLINK".to_owned()).or_default();
                    links.push_str(&format!(" {}", term.value));
                }
                key => {
                    known.insert(key.to_owned(), term.value.clone());
                    set.insert(key.to_owned(), term.value.clone());
                }
            }
        }
    }
    set
}

const ADD: (&str, &str) = ("ACTION", "add");

#[test]
fn the_rules_are_of_udevs_grammar() {
    let rules = rules(RULES).unwrap();
    assert!(rules.len() > 10, "{rules:?}");
    for term in rules.iter().flatten().filter(|term| term.key == "MODE") {
        assert_eq!(u32::from_str_radix(&term.value, 8), Ok(0o660));
    }
}

#[test]
fn what_is_no_rule_is_found() {
    for (text, part) in [
        ("KERNEL==\"a\" MODE=\"0660\"", "line 1: a comma"),
        ("\nKERNAL==\"a\"", "line 2: no key `KERNAL`"),
        ("KERNEL=\"a\"", "`KERNEL` takes no `=`"),
        ("MODE=0660", "no quotes"),
        ("ATTR{latency_timer=\"1\"", "braces"),
        ("LABEL=\"x\"\nGOTO=\"x\"", "no label `x` further down"),
        ("MODE=\"0660", "no end"),
    ] {
        let why = rules(text).unwrap_err();
        assert!(why.contains(part), "{text}: {why}");
    }
}

#[test]
fn an_adapter_is_prompt_ours_and_no_modem() {
    let latency = run(RULES, &[ADD, ("SUBSYSTEM", "usb-serial"), ("DRIVER", "ftdi_sio")]);
    assert_eq!(latency, [("ATTR{latency_timer}".into(), "1".into())].into());
    let tty = [("SUBSYSTEM", "tty"), ("SUBSYSTEMS", "usb"), ("KERNEL", "ttyUSB10")];
    for action in ["add", "change", "bind"] {
        let set = run(RULES, &[&[("ACTION", action)], &tty[..]].concat());
        for (key, value) in [
            ("GROUP", "dialout"),
            ("MODE", "0660"),
            ("ENV{ID_MM_DEVICE_IGNORE}", "1"),
            ("ENV{ID_MM_PORT_IGNORE}", "1"),
        ] {
            assert_eq!(set.get(key).map(String::as_str), Some(value), "{action} {key}: {set:?}");
        }
    }
    assert!(run(RULES, &[&[("ACTION", "remove")], &tty[..]].concat()).is_empty());
}

#[test]
fn a_usb_instrument_gets_names_that_stay() {
    let event = [
        ADD,
        ("SUBSYSTEM", "usbmisc"),
        ("KERNEL", "usbtmc0"),
        ("ENV{ID_SERIAL_SHORT}", "0042"),
        ("ENV{ID_PATH}", "pci-0000:00:14.0-usb-0:2:1.0"),
    ];
    let set = run(RULES, &event);
    assert_eq!(set["GROUP"], "plugdev");
    assert_eq!(set["SYMLINK"].matches("tapline/usbtmc-").count(), 2, "{set:?}");
}

#[test]
fn what_is_no_port_of_a_bench_is_left_alone() {
    for event in [
        [("SUBSYSTEM", "tty"), ("KERNEL", "tty1")],
        [("SUBSYSTEM", "usbmisc"), ("KERNEL", "hiddev0")],
        [("SUBSYSTEM", "input"), ("KERNEL", "event3")],
        [("SUBSYSTEM", "block"), ("KERNEL", "sda")],
    ] {
        assert!(run(RULES, &[&[ADD], &event[..]].concat()).is_empty(), "{event:?}");
    }
}
