//! Everything that any driver can send, as it arrives at the instrument.

use std::collections::BTreeSet;
use std::fmt::Write;
use std::fs;
use std::path::Path;
use std::time::Duration;

use tapline::books::line::raw_text;
use tapline::config::Place;
use tapline::identify::setting;
use tapline::inbox::inbox;
use tapline::link::{LinkSpec, supervise};
use tapline::station::event::Event;
use tapline_drivers::{AnyDriver, Driver, Function, Input, Now, Output, Want, catalogue};
use tokio::time::timeout;

use crate::support::port::Port;

/// A generous cap against hangs; nothing is asserted about times below it.
const PATIENCE: Duration = Duration::from_secs(20);

/// Words of messages that switch a source on, start one or recall settings: SCPI-99 and IEEE 488.2.
const FORBIDDEN: [&str; 10] =
    ["OUTP", "SOUR", "*RST", "*RCL", "*TRG", "INIT", "MEAS", "INS", "TEST", "SYST:PRES"];

/// What arrives at the other end of a pty of each message, in order.
async fn arrives(driver: &AnyDriver, folder: &Path) -> Vec<Vec<u8>> {
    let path = folder.join(format!("tty{}", driver.name()));
    let meter = Port::plug(&path);
    let (send, mut heard) = inbox(16);
    let place = Place::Serial(path, setting(9600, "8N1").unwrap());
    let link = supervise(LinkSpec { id: "dmm".into(), place, talks: true }, send);
    let up = timeout(PATIENCE, heard.next()).await.unwrap().unwrap();
    assert!(matches!(up, Event::LinkUp { .. }), "{up:?}");
    let mut all = Vec::new();
    for message in driver.allowed() {
        link.send(message.bytes().to_vec()).unwrap();
        let mut got = Vec::new();
        timeout(PATIENCE, async {
            while got.len() < message.bytes().len() {
                tokio::time::sleep(Duration::from_millis(1)).await;
                got.extend(meter.heard());
            }
        })
        .await
        .unwrap();
        all.push(got);
    }
    all
}

/// `UPDATE_EXPECT=1` writes the list anew. Read the difference: it is what instruments will hear.
#[tokio::test]
async fn what_can_be_sent_is_the_published_list_and_no_byte_more() {
    let folder = tempfile::tempdir().unwrap();
    let mut list = String::from(
        "# Everything that any driver can send: driver, then the bytes as they arrive.\n\
         # A driver that is not here sends nothing. Written by tests/listen_only/allowed.rs.\n",
    );
    for driver in catalogue::names().filter_map(catalogue::by_name) {
        for got in arrives(&driver, folder.path()).await {
            let text = raw_text(&got);
            for word in FORBIDDEN {
                assert!(!text.contains(word), "{}: {text}", driver.name());
            }
            writeln!(list, "{:17} {text:?}", driver.name()).unwrap();
        }
    }
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("drivers/allowed.txt");
    if std::env::var_os("UPDATE_EXPECT").is_some() {
        fs::write(&file, &list).unwrap();
    }
    assert_eq!(list, fs::read_to_string(&file).unwrap(), "UPDATE_EXPECT=1 writes it anew");
}

const FUNCTIONS: [Function; 10] = [
    Function::VoltageDc,
    Function::VoltageAc,
    Function::VoltagePeak,
    Function::CurrentDc,
    Function::CurrentAc,
    Function::Resistance2w,
    Function::Resistance4w,
    Function::InsulationResistance,
    Function::Frequency,
    Function::Contacts,
];

/// What instruments say, and what nobody should: pieces that a driver may take for an answer.
const SAID: [&[u8]; 12] = [
    b"GENERIC,BENCH-DMM,0001,1.0\r\n",
    b"+0,\"No error\"\r\n",
    b"-113,\"Undefined header\"\r\n",
    b"\"RES +1.0E+01,+1.0E-06\"\r\n",
    b"+1.10002000E+04\r\n",
    b"128\r\n",
    b"0\r",
    b"1.987E-1,OHM,NORMAL,NONE\r",
    b"DC-1.999    V\r",
    b"R1\r\n+0.1987E+0\r\n=>\r\n",
    b"OUTP ON\nSYST:REM;*RST\n",
    b"\x00\xff\x1b\x03READ?",
];

fn draw(state: &mut u64, below: usize) -> usize {
    *state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
    usize::try_from(*state >> 33).unwrap() % below
}

/// What a meter in order answers.
fn answer(asked: &str, configured: &str) -> Vec<u8> {
    match asked.trim() {
        "*IDN?" => SAID[0].to_vec(),
        "SYST:ERR?" => SAID[1].to_vec(),
        "CONF?" => format!("\"{configured} +1.0E+01,+1.0E-06\"\r\n").into_bytes(),
        "*ESR?" => b"0\r\n".to_vec(),
        "FORM:ELEM?" => b"READ\r\n".to_vec(),
        "ID" => b"0\rGENERIC,METER,1,0\r".to_vec(),
        "QM" => b"0\r1.987E-1,OHM,NORMAL,NONE\r".to_vec(),
        "K" => b"METER\r".to_vec(),
        _ => SAID[4].to_vec(),
    }
}

/// Whatever it hears, is wanted of it, and whenever: a driver sends what is on its list.
#[test]
fn no_talk_brings_a_driver_to_say_what_is_not_on_its_list() {
    let (mut met, mut all) = (0, 0);
    for mut driver in catalogue::names().filter_map(catalogue::by_name) {
        let list: BTreeSet<Vec<u8>> =
            driver.allowed().iter().map(|message| message.bytes().to_vec()).collect();
        let mut said = BTreeSet::new();
        let (mut state, mut now) = (7, 0);
        let (mut asked, mut configured) = (String::new(), String::new());
        for _ in 0..20_000 {
            now += 1_000 * u64::try_from(draw(&mut state, 900)).unwrap();
            let due = driver.deadline();
            let function = FUNCTIONS[draw(&mut state, FUNCTIONS.len())];
            let want = Want { function, live: draw(&mut state, 4) == 0 };
            match draw(&mut state, 20) {
                0 => driver.handle(Now(now), Input::Open),
                1 => driver.handle(Now(now), Input::Want(None)),
                2 | 3 => driver.handle(Now(now), Input::Want(Some(want))),
                4..12 if due.is_some() => {
                    now = now.max(due.unwrap().0);
                    driver.handle(Now(now), Input::Tick);
                }
                // Mostly what was asked for, or a driver would never come far.
                12..18 => driver.handle(Now(now), Input::Bytes(&answer(&asked, &configured))),
                _ => driver.handle(Now(now), Input::Bytes(SAID[draw(&mut state, SAID.len())])),
            }
            while let Some(output) = driver.poll() {
                if let Output::Send(message) = output {
                    let bytes = message.bytes().to_vec();
                    assert!(list.contains(&bytes), "{}: {}", driver.name(), raw_text(&bytes));
                    asked = String::from_utf8_lossy(&bytes).into_owned();
                    if let Some(function) = asked.trim().strip_prefix("CONF:") {
                        function.clone_into(&mut configured);
                    }
                    said.insert(bytes);
                }
            }
        }
        assert_eq!(said.is_empty(), list.is_empty(), "{} was not exercised", driver.name());
        (met, all) = (met + said.len(), all + list.len());
    }
    assert!(met * 2 > all, "{met} of {all} messages were met: they were hardly exercised");
}

/// A link without a writer takes no bytes, whoever hands them over.
#[tokio::test]
async fn a_link_that_only_listens_takes_no_message() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("ttyins");
    let meter = Port::plug(&path);
    let (send, mut heard) = inbox(16);
    let place = Place::Serial(path, setting(9600, "8N1").unwrap());
    let link = supervise(LinkSpec { id: "ins".into(), place, talks: false }, send);
    timeout(PATIENCE, heard.next()).await.unwrap().unwrap();
    for driver in catalogue::names().filter_map(catalogue::by_name) {
        for message in driver.allowed() {
            let refused = link.send(message.bytes().to_vec());
            assert_eq!(refused, Err("the link is listen-only"), "{}", driver.name());
        }
    }
    // Bytes that were on their way would have arrived behind this one of the other direction.
    meter.say(b"x");
    let heard = timeout(PATIENCE, heard.next()).await.unwrap().unwrap();
    assert!(matches!(heard, Event::Bytes { .. }), "{heard:?}");
    assert_eq!(meter.heard(), b"");
}
