//! `tapline judge`: a measured value in JSON in, a verdict in JSON out. Needs no daemon.

use std::sync::LazyLock;

use data_encoding::HEXLOWER;
use serde_json::{Map, Value};
use sha2::{Digest, Sha256};
use tapline_protocols::fact::{Judged, Word};
use tapline_protocols::judge::{InputFault, JudgeInput, judge};
use tapline_protocols::limits::Table;
use tapline_protocols::terms;

/// Longest line, bytes: as in a book.
pub const LINE_BYTES_MAX: usize = 64 * 1024;

/// A judged line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    /// The verdict, one JSON object without line feed.
    pub json: String,
    /// Exit code: 0 pass, conditional pass; 1 fail, conditional fail; 3 undecided.
    pub code: u8,
}

/// Exit code of a line that could not be judged.
pub const BAD_INPUT: u8 = 2;

/// Judges one JSON object.
///
/// # Errors
/// A sentence that names the key and its words; the exit code is then [`BAD_INPUT`].
pub fn judge_line(line: &str) -> Result<Line, String> {
    if line.len() > LINE_BYTES_MAX {
        return Err(format!("the line is longer than {LINE_BYTES_MAX} bytes: one object a line"));
    }
    let input = read(line)?;
    let table = table(&input).map_err(|fault| fault.to_string())?;
    let judged = judge(&input, table).map_err(|fault| fault.to_string())?;
    let json = serde_json::to_string(&judged).expect("a verdict has no map with other keys");
    Ok(Line { json, code: exit_code(&judged) })
}

/// The code of several lines together: 2 before 1 before 3 before 0.
#[must_use]
pub fn worse(a: u8, b: u8) -> u8 {
    let rank = |code: &u8| [0, 3, 1, 2].iter().position(|known| known == code);
    if rank(&b) > rank(&a) { b } else { a }
}

fn exit_code(judged: &Judged) -> u8 {
    match judged.verdict {
        Word::Pass | Word::ConditionalPass => 0,
        Word::Fail | Word::ConditionalFail => 1,
        Word::Undecided => 3,
    }
}

fn read(line: &str) -> Result<JudgeInput, String> {
    serde_json::from_str(line).map_err(|error| match serde_json::from_str(line) {
        Ok(Value::Object(object)) => guilty(&object).unwrap_or_else(|| error.to_string()),
        Ok(_) => "the line is no JSON object: {\"standard\":…}".into(),
        Err(error) => format!("the line is no JSON: {error}"),
    })
}

/// The first key that alone can't be read, with why: the whole object's fault has no key in it.
fn guilty(object: &Map<String, Value>) -> Option<String> {
    object.iter().find_map(|(key, value)| {
        let alone = Map::from_iter([(key.clone(), value.clone())]);
        let error = serde_json::from_value::<JudgeInput>(Value::Object(alone)).err()?;
        Some(format!("`{key}`: {error}"))
    })
}

/// Tables that come with the program, each named by the SHA-256 of its text.
static TABLES: LazyLock<Vec<Table>> = LazyLock::new(|| {
    let editions = |s: &'static str| Table::editions(s).into_iter().map(move |e| (s, e));
    let all = terms::choices("standard").into_iter().flat_map(editions);
    let read = |(standard, edition)| {
        let text = Table::builtin(standard, edition).expect("the edition is in its own list");
        let hash = HEXLOWER.encode(&Sha256::digest(text.as_bytes()));
        Table::parse(text).expect("a test reads every table").with_hash(&hash)
    };
    all.map(read).collect()
});

fn table(input: &JudgeInput) -> Result<&'static Table, InputFault> {
    let standard = known("standard", input.standard.as_ref(), &terms::choices("standard"))?;
    let editions = Table::editions(standard);
    let edition = known("edition", input.edition.as_ref(), &editions)?;
    let found = TABLES.iter().find(|t| t.standard == standard && t.edition == edition);
    found.ok_or_else(|| fault("edition", "has no table"))
}

fn known<'a>(
    key: &str,
    word: Option<&'a String>,
    words: &[&'static str],
) -> Result<&'a str, InputFault> {
    let list = words.join(", ");
    match word {
        Some(word) if words.contains(&word.as_str()) => Ok(word),
        Some(word) => Err(fault(key, &format!("has no word `{word}`: one of {list}"))),
        None => Err(fault(key, &format!("is missing: one of {list}"))),
    }
}

fn fault(key: &str, text: &str) -> InputFault {
    InputFault { key: key.into(), text: text.into() }
}

#[cfg(test)]
mod tests {
    use super::*;

    const EARTH: &str = concat!(
        r#"{"standard":"IEC 62353","edition":"2014","measurand":"protective_earth_resistance","#,
        r#""method":"fixed_cord","class":"I","kind":"dc","values":["0.243","-0.275"],"#,
        r#""lead_null":["0.061","0.061"],"unit":"Ohm","#,
        r#""gives":{"test_current":"0.2 A","open_circuit":"6 V"},"rule":"simple"}"#
    );
    const LEAK: &str = concat!(
        r#"{"standard":"IEC 62353","edition":"2014","measurand":"equipment_leakage","#,
        r#""method":"direct","class":"I","kind":"ac","value":"462","unit":"uA","#,
        r#""mains":{"measured":"226 V","reference":"230 V"},"proved":true,"rule":"simple"}"#
    );

    #[test]
    fn a_verdict_names_its_limit_and_the_hash_of_its_table() {
        let line = judge_line(LEAK).unwrap();
        let verdict: Value = serde_json::from_str(&line.json).unwrap();
        assert_eq!(line.code, 0);
        assert_eq!(verdict["value"], "106260/226");
        assert_eq!(verdict["verdict"], "pass");
        let text = Table::builtin("IEC 62353", "2014").unwrap();
        let hash = HEXLOWER.encode(&Sha256::digest(text.as_bytes()));
        assert_eq!(verdict["limit"]["table"], Value::String(hash));
    }

    #[test]
    fn exit_codes_follow_the_verdict() {
        assert_eq!(judge_line(EARTH).unwrap().code, 0);
        assert_eq!(judge_line(&EARTH.replace("fixed_cord", "inlet")).unwrap().code, 1);
        assert_eq!(judge_line(&LEAK.replace("true", "false")).unwrap().code, 3);
        assert_eq!([0, 3, 1, 2, 0].into_iter().fold(0, worse), 2);
        assert_eq!([0, 3, 1].into_iter().fold(0, worse), 1);
        assert_eq!([3, 0].into_iter().fold(0, worse), 3);
    }

    #[test]
    fn a_bad_line_names_the_key_and_its_words() {
        let says = |from: &str, to: &str| judge_line(&LEAK.replace(from, to)).unwrap_err();
        assert_eq!(says("\"2014\"", "\"1999\""), "`edition` has no word `1999`: one of 2014, 2007");
        assert_eq!(
            says("direct", "fast"),
            "`method` has no word `fast`: one of direct, differential, alternative"
        );
        assert!(says("\"462\"", "462").starts_with("`value`: invalid type: integer"));
        assert!(says("proved", "prove").starts_with("`prove`: unknown field"));
        assert!(says("\"measured\"", "\"seen\"").starts_with("`mains`: unknown field `seen`"));
        assert!(judge_line("[1]").unwrap_err().contains("no JSON object"));
        assert!(judge_line("{").unwrap_err().contains("no JSON"));
        assert!(judge_line(&" ".repeat(LINE_BYTES_MAX + 1)).unwrap_err().contains("longer"));
    }

    #[test]
    fn a_key_that_stands_twice_is_refused() {
        let twice = LEAK.replace("\"value\"", "\"value\":\"1\",\"value\"");
        assert!(judge_line(&twice).is_err());
    }

    #[test]
    fn every_standard_of_the_vocabulary_has_a_table() {
        assert!(!TABLES.is_empty());
        for standard in terms::choices("standard") {
            assert!(TABLES.iter().any(|table| table.standard == standard), "{standard}");
        }
    }
}
