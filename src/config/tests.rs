//! Faults are told all at once, each with its line.

use tapline_protocols::due::{Anchor, Snap};

use super::*;

const GOOD: &str = include_str!("../../contrib/example/tapline.toml");

fn read(text: &str) -> Result<Config, Vec<String>> {
    let known = ["val-unit-line", "scpi", "scan", "contacts"];
    let choose = |name: &str| match known.contains(&name) {
        true => Choice::BuiltIn,
        false => Choice::Unknown,
    };
    let config = Config::read(text, &choose);
    config.map_err(|faults| faults.iter().map(ToString::to_string).collect())
}

#[test]
fn the_example_is_read() {
    let config = read(GOOD).unwrap();
    assert_eq!(config.station.id, "K3");
    assert_eq!(config.store.commit_ms, 20);
    assert_eq!(config.page.unwrap().to_string(), "127.0.0.1:8177");
    assert_eq!(config.benches[0].witness["c1"], "S5=reversed");
    let Place::Serial(path, line) = &config.links[0].place else { panic!("a serial link") };
    assert!(path.starts_with("/dev/serial/by-id"));
    assert_eq!((line.baud, line.dtr, line.rts), (9600, true, false));
    assert_eq!(config.policy, Policy::default());
}

#[test]
fn every_fault_is_told_with_its_line() {
    let text = r#"format = "tapline-config-1"
[station]
id = "k3"
name = "North"
zone = "Mars/Base"
[store]
folder = "var"
comit_ms = 20
commit_ms = 500
[page]
listen = "0.0.0.0:8177"
[[bench]]
id = "b1"
name = "Bench"
[[link]]
id = "ohm"
bench = "b2"
serial = "/dev/ttyUSB0"
line = { baud = 9600, bits = "9N1" }
driver = "nothing"
"#;
    let drivers = tapline_drivers::catalogue::names().collect::<Vec<_>>().join(", ");
    let unknown = format!(
        "line 20, `link.driver`: no driver `nothing`: there is no drivers/nothing.toml beside this \
         file that describes it, and built in are {drivers}"
    );
    let want = [
        "line 3, `station.id`: must be 2 to 6 of A-Z and 0-9",
        "line 5, `station.zone`: this machine knows no zone `Mars/Base`; write one such as Etc/UTC",
        "line 8, `store.comit_ms`: unknown key; did you mean `commit_ms`?",
        "line 9, `store.commit_ms`: must be a whole number from 5 to 200",
        "line 11, `page.listen`: only loopback (127.0.0.1 or [::1]): the page is for this machine \
         alone",
        "line 17, `link.bench`: there is no bench `b2`",
        "line 19, `link.line.bits`: `9N1`: must be data bits, parity, stop bits, such as 8N1 or \
         7O1",
        unknown.as_str(),
    ];
    assert_eq!(read(text).unwrap_err(), want);
}

#[test]
fn an_empty_file_says_what_is_missing() {
    let want = [
        "line 1, `bench`: missing: the file needs at least one `[[bench]]`",
        "line 1, `format`: missing",
        "line 1, `format`: must be \"tapline-config-1\"",
        "line 1, `station`: missing: the file needs a table `[station]`",
        "line 1, `store`: missing: the file needs a table `[store]`",
    ];
    assert_eq!(read("").unwrap_err(), want);
}

#[test]
fn what_is_no_toml_is_told_and_the_rest_read() {
    let text = GOOD.replace("commit_ms   = 20", "commit_ms = = 20").replace("K3", "K 3");
    let faults = read(&text).unwrap_err();
    assert!(faults.iter().any(|f| f.contains("station.id")), "{faults:?}");
    assert!(faults.len() >= 2, "{faults:?}");
}

/// One change to the example, and a part of the one fault that it must give.
fn refused(from: &str, to: &str, part: &str) {
    assert!(GOOD.contains(from), "the example has no {from}");
    let faults = read(&GOOD.replacen(from, to, 1)).unwrap_err();
    assert!(faults.iter().any(|f| f.contains(part)), "{faults:?}");
}

/// What is known of a reader stands behind the name of its driver, with the numbers of the site.
#[test]
fn a_scanner_is_told_what_its_self_test_found() {
    let read = |more: &str, site: &str| {
        let scan = "driver = \"scan\"";
        let text = GOOD.replace(scan, &format!("{scan}\n{more}")) + site;
        let config = Config::read(&text, &|_| Choice::BuiltIn);
        config.map_err(|faults| faults.iter().map(ToString::to_string).collect::<Vec<_>>())
    };
    let of = |config: Config| {
        let link = config.links.into_iter().find(|link| link.named == "scan").unwrap();
        assert!(tapline_drivers::by_name(&link.driver).is_some(), "{}", link.driver);
        link.driver
    };
    assert_eq!(of(read("", "").unwrap()), "scan");
    let told = read("gs_alias = \"^]\"\nproven = true", "\n[scan]\nassets = [\"AS-###\"]\n");
    assert_eq!(of(told.unwrap()), "scan gs_alias=%5E%5D proven asset=AS-###");
    let own = read("", "\n[scan]\n\"91\" = \"asset\"\n\"97\" = \"asset\"\n");
    assert_eq!(of(own.unwrap()), "scan own=91 own=97");
    for (more, site, part) in [
        ("gs_alias = \"21\"", "", "`link.gs_alias`"),
        ("", "\n[scan]\nassets = [\"AS\"]\n", "`scan.assets`"),
        ("", "\n[scan]\n\"91\" = \"serial\"\n", "`scan.91`"),
        ("", "\n[scan]\nasset = \"AS\"\n", "assets"),
    ] {
        let faults = read(more, site).unwrap_err();
        assert!(faults.iter().any(|fault| fault.contains(part)), "{faults:?}");
    }
    let scpi = "driver     = \"scpi\"";
    let text = GOOD.replace(scpi, &format!("{scpi}\nproven = true"));
    let faults = Config::read(&text, &|_| Choice::BuiltIn).unwrap_err();
    assert!(faults[0].to_string().contains("is of a scanner"), "{faults:?}");
}

/// A style that does not say what its numbers are has to be told, and no other may be.
#[test]
fn what_an_instrument_does_not_say_itself_has_to_be_said() {
    let scpi = "driver     = \"scpi\"";
    let with =
        |measures: &str| GOOD.replace(scpi, &format!("driver = \"prompt-echo\"\n{measures}"));
    let choose = |name: &str| match name {
        "nothing" => Choice::Unknown,
        _ => Choice::BuiltIn,
    };
    let read = |text: &str| {
        let config = Config::read(text, &choose);
        config.map_err(|faults| faults.iter().map(ToString::to_string).collect::<Vec<_>>())
    };
    let config = read(&with("measures = \"resistance_2w Ohm\"")).unwrap();
    let link = config.links.iter().find(|link| link.id == "dmm").unwrap();
    assert_eq!((&*link.driver, &*link.named), ("prompt-echo resistance_2w Ohm", "prompt-echo"));
    assert!(tapline_drivers::by_name(&link.driver).unwrap().sends());
    for (measures, part) in [
        ("", "missing: `prompt-echo` does not say what its numbers are"),
        ("measures = \"resistance_2w V\"", "another quantity"),
        ("measures = \"insulation_resistance MOhm\"", "is never asked"),
    ] {
        let faults = read(&with(measures)).unwrap_err();
        assert_eq!(faults.len(), 1, "{faults:?}");
        assert!(faults[0].contains("`link.measures`") && faults[0].contains(part), "{faults:?}");
    }
    let faults = read(&GOOD.replace(scpi, &format!("{scpi}\nmeasures = \"resistance_2w Ohm\"")));
    assert!(faults.unwrap_err()[0].contains("a `scpi` says itself what it measures"));
}

#[test]
fn one_instrument_hangs_on_one_link() {
    refused("instrument = \"DM-01\"", "instrument = \"LR-01\"", "has this instrument already");
}

#[test]
fn one_port_is_one_link() {
    refused("usb-0002-if00-port0", "usb-0001-if00-port0", "uses this port already");
}

#[test]
fn a_witness_needs_its_contacts() {
    refused("link = \"box\"", "link = \"ohm\"", "no link of this bench with driver `contacts`");
    refused("S5=reversed", "S5=on", "no setting");
}

#[test]
fn a_policy_keeps_to_its_words() {
    refused("\"block\"", "\"shrug\"", "`shrug` is none of block, override");
    refused("seconds  = \"0.5\"", "seconds  = \"0\"", "decimal above zero");
}

#[test]
fn a_site_counts_its_days_in_one_of_four_ways() {
    assert!(read(GOOD).unwrap().due.is_usual());
    let due = read(&GOOD.replace("to   = \"day\"", "to   = \"month_end\"")).unwrap().due;
    assert_eq!((due.anchor, due.snap), (Anchor::LastDone, Snap::MonthEnd));
    let due = read(&GOOD.replace("from = \"done\"", "from = \"due\"")).unwrap().due;
    assert_eq!((due.anchor, due.snap), (Anchor::LastDue, Snap::Day));
    refused("from = \"done\"", "from = \"birthday\"", "`birthday` is none of done, due");
}

#[test]
fn both_or_neither_place_is_refused() {
    refused("tcp        = \"192.0.2.7:5025\"", "", "needs one of `serial`, `inputs`");
    refused("tcp        = \"192.0.2.7:5025\"", "tcp = \"192.0.2.7\"", "must be host:port");
}

#[test]
fn a_folder_without_a_beginning_lies_beside_the_file() {
    let text = include_str!("../../contrib/example/one-meter.toml");
    let config = Config::read(text, &|_| Choice::BuiltIn).unwrap();
    let config = config.beside(Path::new("/srv/bench/one-meter.toml"));
    assert_eq!(config.store.folder, Path::new("/srv/bench/data"));
    assert_eq!(config.site, Path::new("/srv/bench"));
}

/// The contacts of the example, plugged in another way.
fn instead(of: &str, place: &str) -> String {
    let at = GOOD.find(of).expect("the example has it");
    let end = at + GOOD[at..].find("driver").expect("a driver follows");
    [&GOOD[..at], place, "\n", &GOOD[end..]].concat()
}

#[test]
fn contacts_hang_on_modem_inputs_and_scanners_type() {
    let boxed = "serial = \"/dev/serial/by-id/usb-0003-if00-port0\"";
    let inputs = "inputs = \"/dev/ttyUSB3\"\nline = { dtr = true, rts = false }";
    let config = read(&instead(boxed, inputs)).unwrap();
    let place = &config.links[3].place;
    let want = Place::Inputs("/dev/ttyUSB3".into(), Signals { dtr: true, rts: false });
    assert_eq!(*place, want);
    assert_eq!(place.unexercised(), Some("modem inputs of a serial port"));
    let scanner = "serial = \"/dev/serial/by-id/usb-0002-if00-port0\"";
    let keys = "keys = \"/dev/input/by-id/usb-0002-event-kbd\"\nlayout = \"de\"";
    let config = read(&instead(scanner, keys)).unwrap();
    let want = Place::Keys("/dev/input/by-id/usb-0002-event-kbd".into(), Layout::De);
    assert_eq!(config.links[2].place, want);
}

#[test]
fn a_place_has_its_own_drivers_and_settings() {
    let scanner = "serial = \"/dev/serial/by-id/usb-0002-if00-port0\"";
    for (of, place, part) in [
        (scanner, "inputs = \"/dev/ttyUSB3\"", "their driver is `contacts`"),
        (scanner, "keys = \"/dev/input/event3\"", "missing: the keyboard that the scanner"),
        (scanner, "keys = \"event3\"\nlayout = \"us\"", "must be a path from `/` on"),
        (scanner, "usbtmc = \"/dev/usbtmc0\"", "speaks only when it is asked"),
        (scanner, "tcp = \"192.0.2.8:1\"\nlayout = \"us\"", "leave `layout` out"),
        (scanner, "stdin = false", "must be true, or left out"),
        (scanner, "stdin = true\ntcp = \"192.0.2.8:1\"", "needs one of"),
        ("tcp        = \"192.0.2.7:5025\"", "stdin = true", "nothing can be sent"),
        ("tcp        = \"192.0.2.7:5025\"", "keys = \"/dev/x\"\nlayout = \"us\"", "is `scan`"),
    ] {
        let faults = read(&instead(of, place)).unwrap_err();
        assert!(faults.iter().any(|f| f.contains(part)), "{place}: {faults:?}");
    }
    let tmc = instead("tcp        = \"192.0.2.7:5025\"", "usbtmc = \"/dev/usbtmc0\"");
    assert_eq!(read(&tmc).unwrap().links[1].place, Place::Usbtmc("/dev/usbtmc0".into()));
}
