//! Every talk by dialogues, and what can be sent at all.
//!
//! The lines marked in the style as printed in a manual are so; the rest is from memory.

use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use super::*;
use crate::catalogue::{by_name, names};
use crate::driver::Want;
use crate::reading::Indication;
use proptest::prelude::*;

struct Bench {
    driver: Asker,
    now: u64,
}

impl Bench {
    fn new(talk: &'static Talk) -> Bench {
        Bench { driver: Asker::new(talk), now: 1_000_000 }
    }

    fn handle(&mut self, input: Input<'_>) -> Vec<String> {
        self.driver.handle(Now(self.now), input);
        core::iter::from_fn(|| self.driver.poll()).map(|output| shown(&output)).collect()
    }

    fn want(&mut self, function: Option<Function>) -> Vec<String> {
        self.handle(Input::Want(function.map(|function| Want { function, live: false })))
    }

    fn says(&mut self, text: &[u8]) -> Vec<String> {
        self.now += 5_000;
        self.handle(Input::Bytes(text))
    }

    fn waits(&mut self) -> Vec<String> {
        self.now = self.driver.deadline().expect("something is awaited").0;
        self.handle(Input::Tick)
    }

    /// Waits over deadlines at which nothing happens, such as those of a CR.
    fn waits_long(&mut self) -> Vec<String> {
        loop {
            let out = self.waits();
            if !out.is_empty() {
                return out;
            }
        }
    }
}

fn shown(output: &Output<Message>) -> String {
    match output {
        Output::Reading(r) => {
            let value = match r.indication {
                Indication::Value(number) => number.text(),
                other => format!("{other:?}"),
            };
            format!("{} {:?} {value} {}", r.why.unwrap_or("ok"), r.function, r.unit.ucum())
        }
        Output::Note(note) => {
            format!("{} {}", note.word, note.text.as_deref().unwrap_or("")).trim_end().to_string()
        }
        Output::Identity(identity) => format!("identity {}", identity.text),
        Output::Send(message) => format!("> {}", message.bytes().escape_ascii()),
        other => format!("{other:?}"),
    }
}

const OHM: Option<Function> = Some(Function::Resistance2w);

#[test]
fn fixed_frames_are_asked_for_until_two_are_equal() {
    let mut bench = Bench::new(&fixed14::TALK);
    assert_eq!(bench.handle(Input::Open), [""; 0]);
    assert_eq!(bench.want(OHM), ["> D"]);
    assert_eq!(bench.says(b"OH 0.198  Ohm\r"), ["unpaired Resistance2w 0.198 Ohm"]);
    let answered = bench.now;
    assert_eq!(bench.waits(), ["> D"]);
    assert_eq!(bench.now, answered + GAP_US);
    assert_eq!(
        bench.says(b"OH 0.198  Ohm\r"),
        ["Ready(Resistance2w)", "ok Resistance2w 0.198 Ohm"]
    );
    assert_eq!(bench.waits(), ["> D"]);
    assert_eq!(bench.says(b"OH 0.199  Ohm\r"), ["unpaired Resistance2w 0.199 Ohm"]);
    assert_eq!(bench.want(None), [""; 0]);
    assert_eq!(bench.driver.deadline(), None);
}

/// An energised step begins when its meter measures what is wanted: these say it by their answers.
#[test]
fn what_an_instrument_measures_is_known_once_two_answers_say_it() {
    let mut bench = Bench::new(&fixed14::TALK);
    bench.handle(Input::Open);
    let ready = |bench: &mut Bench| {
        let said = bench.says(b"OH 0.198  Ohm\r");
        bench.waits();
        said.iter().filter(|said| said.starts_with("Ready")).count()
    };
    bench.want(OHM);
    assert_eq!([0; 4].map(|_| ready(&mut bench)), [0, 1, 0, 0], "once for what is wanted");
    bench.want(Some(Function::VoltageAc));
    assert_eq!([0; 3].map(|_| ready(&mut bench)), [0, 0, 0], "it measures something else");
    bench.want(OHM);
    assert_eq!([0; 3].map(|_| ready(&mut bench)), [0, 1, 0]);
}

#[test]
fn without_another_question_the_line_has_to_be_silent_after_a_time_out() {
    let mut bench = Bench::new(&fixed14::TALK);
    bench.handle(Input::Open);
    bench.want(OHM);
    assert_eq!(bench.waits(), ["silent D"]);
    bench.now += 2_000_000;
    let late = bench.says(b"OH 0.198  Ohm\r");
    assert_eq!(late, ["unsolicited Resistance2w 0.198 Ohm"]);
    let heard = bench.now;
    assert_eq!(bench.waits(), ["> D"]);
    assert_eq!(bench.now, heard + QUIET_US);
    assert_eq!(bench.says(b"OH 0.198  Ohm\r"), ["unpaired Resistance2w 0.198 Ohm"]);
}

#[test]
fn a_silent_instrument_is_asked_less_and_less() {
    let mut bench = Bench::new(&fixed14::TALK);
    bench.handle(Input::Open);
    bench.want(OHM);
    let mut pauses = Vec::new();
    for _ in 0..4 {
        assert_eq!(bench.waits(), ["silent D"]);
        let from = bench.now;
        assert_eq!(bench.waits(), ["> D"]);
        pauses.push((bench.now - from) / 1_000_000);
    }
    assert_eq!(pauses, [3, 6, 12, 12]);
}

#[test]
fn letters_bring_the_line_in_step_by_another_letter() {
    let mut bench = Bench::new(&letter_poll::TALK);
    assert_eq!(bench.handle(Input::Open), ["> K"]);
    assert_eq!(bench.says(b"305\r"), [""; 0]);
    assert_eq!(bench.waits_long(), ["identity 305"]);
    assert_eq!(bench.want(OHM), ["> D"]);
    // CR alone ends a line: it waits for an LF first.
    assert_eq!(bench.says(b"T1      -199.9  C    \r"), [""; 0]);
    assert_eq!(bench.waits_long(), ["other_function", "> D"]);
    assert_eq!(bench.says(b"R1       0.198  OHM  \r\n"), ["unpaired Resistance2w 0.198 Ohm"]);
    assert_eq!(bench.waits_long(), ["> D"]);
    assert_eq!(bench.waits_long(), ["silent D", "> K"]);
    let late = bench.says(b"R1       0.198  OHM  \r\n");
    assert_eq!(late, ["unsolicited Resistance2w 0.198 Ohm"]);
    assert_eq!(bench.says(b"305\r\n"), ["identity 305"]);
    assert_eq!(bench.waits_long(), ["> D"]);
    assert_eq!(bench.says(b"R1       0.198  OHM  \r\n"), ["unpaired Resistance2w 0.198 Ohm"]);
}

#[test]
fn a_number_that_nobody_says_the_function_of_is_no_reading() {
    let mut bench = Bench::new(&prompt_echo::TALK);
    bench.handle(Input::Open);
    assert_eq!(bench.want(OHM), ["> R1\\r\\n"]);
    assert_eq!(bench.says(b"R1\r\n"), ["answer R1"]);
    assert_eq!(bench.says(b"+0.1987E+0\r\n"), ["no_function +0.1987E+0"]);
    assert_eq!(bench.says(b"=>\r\n"), ["answer =>"]);
    assert_eq!(bench.waits(), ["> R1\\r\\n"]);
    assert_eq!(bench.says(b"#>\r\n"), ["event #>"]);
    assert_eq!(bench.waits(), ["> R1\\r\\n"]);
    assert_eq!(bench.says(b"R1\r\n@>\r\n"), ["answer R1", "error_queue @>"]);
    assert_eq!(bench.waits(), ["> R1\\r\\n"]);
    // Nothing may stand behind a prompt.
    assert_eq!(
        bench.says(b"R1\r\n5\r\n=>\r\nwhat\r\n")[1..],
        ["no_function 5", "answer =>", "answer what"]
    );
    assert_eq!(bench.driver.deadline(), Some(Now(bench.now + QUIET_US)));
}

#[test]
fn a_number_is_what_somebody_says_it_is_until_the_instrument_was_touched() {
    let measures = Measures::parse("resistance_2w Ohm").unwrap();
    let mut bench = Bench { driver: Asker::told(&prompt_echo::TALK, measures), now: 1_000_000 };
    bench.handle(Input::Open);
    bench.want(OHM);
    let answer = b"R1\r\n+0.1987E+0\r\n=>\r\n";
    let number = |bench: &mut Bench, answer: &[u8]| {
        let mut said = bench.says(answer);
        said.retain(|said| said != "Ready(Resistance2w)");
        let said = said[1].clone();
        assert_eq!(bench.waits(), ["> R1\\r\\n"]);
        said
    };
    assert_eq!(number(&mut bench, answer), "unpaired Resistance2w 0.1987 Ohm");
    assert_eq!(number(&mut bench, answer), "ok Resistance2w 0.1987 Ohm");
    assert_eq!(number(&mut bench, b"R1\r\n9.9E37\r\n=>\r\n"), "unpaired Resistance2w Overload Ohm");
    // What an error stands behind makes no pair.
    assert_eq!(number(&mut bench, b"R1\r\n0.2\r\nE>\r\n"), "unpaired Resistance2w 0.2 Ohm");
    assert_eq!(number(&mut bench, b"R1\r\n0.2\r\nE>\r\n"), "unpaired Resistance2w 0.2 Ohm");
    // Two in one answer are no pair.
    let two = bench.says(b"R1\r\n0.3\r\n0.3\r\n=>\r\n");
    assert_eq!(two, ["answer R1", "unpaired Resistance2w 0.3 Ohm", "answer 0.3", "answer =>"]);
    // Nor is one that came with another, or without its question.
    assert_eq!(bench.waits_long(), ["> R1\\r\\n"]);
    assert_eq!(number(&mut bench, b"R1\r\n0.3\r\n=>\r\n"), "unpaired Resistance2w 0.3 Ohm");
    assert_eq!(bench.says(b"0.3\r\n=>\r\n"), ["answer 0.3", "answer =>"]);
    assert_eq!(bench.waits_long(), ["silent R1"]);
    assert_eq!(bench.waits_long(), ["> R1\\r\\n"]);
    assert_eq!(bench.says(b"#>\r\n"), ["event #>"]);
    assert_eq!(bench.waits(), ["> R1\\r\\n"]);
    assert_eq!(number(&mut bench, answer), "no_function +0.1987E+0");
    bench.handle(Input::Open);
    assert_eq!(bench.want(OHM), ["> R1\\r\\n"]);
    assert_eq!(number(&mut bench, answer), "unpaired Resistance2w 0.1987 Ohm");
}

#[test]
fn an_answer_follows_the_digit_that_says_it_was_understood() {
    let mut bench = Bench::new(&ack_code::TALK);
    assert_eq!(bench.handle(Input::Open), ["> ID\\r"]);
    assert_eq!(bench.says(b"0\r\nMETER,V1.0,1\r\n"), ["answer 0", "identity METER,V1.0,1"]);
    bench.now += GAP_US;
    assert_eq!(bench.want(OHM), ["> QM\\r"]);
    let got = bench.says(b"0\r\n1.987E-1,OHM,NORMAL,NONE\r\n");
    assert_eq!(got, ["answer 0", "unpaired Resistance2w 0.1987 Ohm"]);
    assert_eq!(bench.waits(), ["> QM\\r"]);
    let got = bench.says(b"0\r\n1.987E-1,OHM,NORMAL,NONE\r\n");
    let ready = "Ready(Resistance2w)";
    assert_eq!(got, ["answer 0", ready, "ok Resistance2w 0.1987 Ohm"]);
    assert_eq!(bench.waits(), ["> QM\\r"]);
    assert_eq!(bench.says(b"5\r\n"), ["error_queue 5"]);
    assert_eq!(bench.waits(), ["> QM\\r"]);
    // An answer without its digit is one to another question, and spoils what follows.
    let stray = bench.says(b"1.987E-1,OHM,NORMAL,NONE\r\n");
    assert_eq!(stray, ["unsolicited Resistance2w 0.1987 Ohm"]);
    let spoiled = bench.says(b"0\r\n9.99999999E+37,OHM,OL,NONE\r\n");
    assert_eq!(spoiled, ["answer 0", "unsolicited Resistance2w Overload Ohm"]);
    assert_eq!(bench.waits(), ["> ID\\r"]);
    assert_eq!(bench.says(b"0\r\n1.9,OHM,NORMAL,NONE\r\n")[1], "unsolicited Resistance2w 1.9 Ohm");
}

#[test]
fn states_and_attributes_that_are_not_understood_give_no_value() {
    let said = |line: &str| (ack_code::TALK.hear)(line.as_bytes(), Ask::Reading, 1).what;
    let is = |line, want| matches!(said(line), What::Shown(s) if s.indication == want);
    assert!(is("9.99999999E+37,VDC,OL,NONE", Indication::Overload));
    assert!(is("9.99999999E+37,VDC,OL_MINUS,NONE", Indication::NoValue));
    assert!(is("1.0,VDC,INVALID,NONE", Indication::NoValue));
    assert_eq!(said("1.0,VDC,NORMAL,HIGH_CURRENT"), What::Note("malformed"));
    assert_eq!(said("1.0,VDC,STRANGE,NONE"), What::Note("malformed"));
    assert_eq!(said("1.0,CEL,NORMAL,NONE"), What::Note("other_function"));
}

#[test]
fn insulation_is_never_asked_for() {
    for talk in [&fixed14::TALK, &ack_code::TALK, &prompt_echo::TALK] {
        let mut bench = Bench::new(talk);
        let got = bench.want(Some(Function::InsulationResistance));
        assert_eq!(got, ["not_configured"]);
        assert_eq!(bench.driver.deadline(), None);
    }
}

/// A driver, what it sends, and what an instrument may answer to that.
type Allowed = (&'static str, &'static [(&'static [u8], &'static [u8])]);

/// Everything that any of these drivers can ever send, written down a second time.
const ALLOWED: &[Allowed] = &[
    ("fixed14-poll", &[(b"D", b"OH 0.198  Ohm\r")]),
    ("letter-poll", &[(b"K", b"305\r\n"), (b"D", b"R1       0.198  OHM  \r\n")]),
    ("prompt-echo", &[(b"R1\r\n", b"R1\r\n+0.1\r\n=>\r\n")]),
    ("prompt-echo resistance_2w Ohm", &[(b"R1\r\n", b"R1\r\n+0.1\r\n=>\r\n")]),
    (
        "ack-code",
        &[(b"ID\r", b"0\r\nMETER,V1.0,1\r\n"), (b"QM\r", b"0\r\n1.987E-1,OHM,NORMAL,NONE\r\n")],
    ),
];

/// What keeps a dialogue of each going, and what does not.
const PIECES: &[&[u8]] = &[
    b"OH 0.198  Ohm\r",
    b"0042\r\n",
    b"R1       0.198  OHM  \r\n",
    b"R1\r\n",
    b"+0.1\r\n",
    b"=>\r\n",
    b"0\r\n",
    b"METER,V1.0,1\r\n",
    b"1.987E-1,OHM,NORMAL,NONE\r\n",
    b"x",
    b"",
];

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Whatever the instrument does, nothing is sent but the templates; a reading that is taken
    /// answers a question, and no question has two of them.
    #[test]
    fn nothing_but_the_templates_is_sent(
        script in prop::collection::vec((0..PIECES.len(), 0..9_000_000_u64), 0..60),
    ) {
        for (name, allowed) in ALLOWED {
            let mut driver = by_name(name).unwrap();
            let mut now = 0;
            let mut asked = 0;
            let mut take = |driver: &mut crate::AnyDriver| {
                while let Some(output) = driver.poll() {
                    match output {
                        Output::Send(message) => {
                            let known = allowed.iter().any(|(sent, _)| *sent == message.bytes());
                            assert!(known, "{name}");
                            asked = 1;
                        }
                        Output::Reading(reading) if reading.why != Some("unsolicited") => {
                            assert_eq!(asked, 1, "{name}: {reading:?}");
                            asked = 0;
                        }
                        _ => {}
                    }
                }
            };
            driver.handle(Now(0), Input::Open);
            let want = Want { function: Function::Resistance2w, live: false };
            driver.handle(Now(0), Input::Want(Some(want)));
            take(&mut driver);
            for (piece, pause) in &script {
                while let Some(due) = driver.deadline().filter(|due| due.0 <= now + pause) {
                    now = now.max(due.0);
                    driver.handle(Now(now), Input::Tick);
                    take(&mut driver);
                }
                now += pause;
                driver.handle(Now(now), Input::Bytes(PIECES[*piece]));
                take(&mut driver);
            }
        }
    }
}

#[test]
fn every_template_is_sent_and_every_driver_that_asks_has_its_list() {
    for name in names().filter(|name| by_name(name).unwrap().sends()) {
        let listed = ALLOWED.iter().any(|(known, _)| *known == name);
        assert!(listed || name.starts_with("scpi"), "{name}: write its messages into ALLOWED");
    }
    for (name, allowed) in ALLOWED {
        let mut driver = by_name(name).unwrap();
        let mut sent: Vec<Vec<u8>> = Vec::new();
        let mut now = 0;
        driver.handle(Now(0), Input::Open);
        driver
            .handle(Now(0), Input::Want(Some(Want { function: Function::VoltageDc, live: false })));
        for _ in 0..20 {
            let said: Vec<_> = core::iter::from_fn(|| driver.poll()).collect();
            let message = said.into_iter().find_map(|output| match output {
                Output::Send(message) => Some(message),
                _ => None,
            });
            if let Some(message) = message {
                let answer = allowed.iter().find(|(sent, _)| *sent == message.bytes());
                sent.push(message.bytes().to_vec());
                driver.handle(Now(now + 1), Input::Bytes(answer.unwrap().1));
            } else {
                now = driver.deadline().unwrap().0;
                driver.handle(Now(now), Input::Tick);
            }
        }
        sent.sort();
        sent.dedup();
        let mut want: Vec<Vec<u8>> = allowed.iter().map(|(bytes, _)| bytes.to_vec()).collect();
        want.sort();
        assert_eq!(sent, want, "{name}");
    }
}
