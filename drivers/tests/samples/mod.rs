//! One good frame of each driver that says something, and what a polled instrument answers besides.

/// A driver, one good frame, its conversion in milliseconds, and how often each is sent.
pub(crate) struct Sample {
    pub(crate) driver: &'static str,
    pub(crate) frame: &'static [u8],
    pub(crate) every_ms: u64,
    pub(crate) copies: usize,
    /// What a polled instrument answers to other questions than that for a reading: the beginning
    /// of the question, and the answer.
    pub(crate) answers: &'static [(&'static str, &'static [u8])],
}

pub(crate) const fn sample(driver: &'static str, frame: &'static [u8], every_ms: u64) -> Sample {
    Sample { driver, frame, every_ms, copies: 1, answers: &[] }
}

pub(crate) const fn scpi(driver: &'static str) -> Sample {
    Sample { answers: POLITE, ..sample(driver, b"+1.98E-01\r\n", 400) }
}

pub(crate) const POLITE: &[(&str, &[u8])] = &[
    ("*IDN?", b"GENERIC,METER,1,1.0\r\n"),
    ("SYST:ERR?", b"0,\"No error\"\r\n"),
    ("CONF?", b"\"RES\"\r\n"),
    ("*ESR?", b"0\r\n"),
    ("FORM:ELEM?", b"RES,STAT\r\n"),
    ("FETC?", b"+1.98E-01\r\n"),
];

pub(crate) const SAMPLES: &[Sample] = &[
    scpi("scpi"),
    scpi("scpi-tcp"),
    scpi("scpi-remote"),
    scpi("scpi-remote-clear"),
    scpi("scpi-twice"),
    scpi("scpi-remote-twice"),
    scpi("scpi-lang"),
    scpi("scpi-elements"),
    Sample { frame: b"+1.98E-01,+0.0E+00\r\n", ..scpi("scpi-list") },
    scpi("scpi-low-ohm-8"),
    scpi("scpi-low-ohm-9"),
    scpi("scpi-auto"),
    sample("val-unit-line", b"R4 +0.182 Ohm\r\n", 400),
    sample("csv-line", b"2026-11-24,09:14:03,0.198,OHM,PE\r\n", 400),
    sample("report", b"resistance: 0.198 Ohm\r\n\x0c", 400),
    sample("contacts", b"C 1010\r\n", 400),
    sample("scan", b".TL-SIGN-T\r", 1_500),
    sample("scan", b"]C0P-0107\r", 1_500),
    sample("seg14", b"\x17\x27\x3d\x48\x55\x63\x7f\x87\x9f\xa0\xb0\xc4\xd0\xe0", 400),
    Sample { copies: 2, ..sample("range11", b"10198300:\r\n", 400) },
    sample("range14", b"001980300020\r\n", 400),
    sample("ascii14", b"+0198 4 \0\0 \x04\r\n", 400),
    sample("nib11", b"019801401\r\n", 400),
    sample("stx16", b"\x0241380300000198\r", 1000),
    sample("envelope", b"\xab\xcd\x10\x061 0.198100000\x02\x88", 400),
    sample("fixed14", b"OH 0.198  Ohm\r", 400),
    sample("fixed14-poll", b"OH 0.198  Ohm\r", 400),
    Sample {
        answers: &[("K", b"305\r")],
        ..sample("letter-poll", b"R1       0.198  OHM  \r", 400)
    },
    sample("prompt-echo resistance_2w Ohm", b"R1\r\n+0.1987E+0\r\n=>\r\n", 400),
    Sample {
        answers: &[("ID", b"0\rMETER,V1.0,1\r")],
        ..sample("ack-code", b"0\r1.987E-1,OHM,NORMAL,NONE\r", 400)
    },
];

impl Sample {
    /// What the instrument answers to a question that is not for a reading.
    pub(crate) fn answer(&self, question: &[u8]) -> Option<&'static [u8]> {
        let known = |(ask, _): &&(&str, &[u8])| question.starts_with(ask.as_bytes());
        self.answers.iter().find(known).map(|(_, answer)| *answer)
    }
}

/// A question for a reading.
pub(crate) fn is_reading(question: &[u8]) -> bool {
    question == b"D"
        || question == b"QM\r"
        || question == b"R1\r\n"
        || question.ends_with(b"READ?\n")
}
