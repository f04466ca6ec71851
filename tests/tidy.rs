//! Rules about the tree itself. Each failing line names the remedy.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

use std::fs;
use std::path::{Path, PathBuf};

/// Files that may exceed 500 lines, with their present size: it may only shrink.
const LONG_FILES: &[(&str, usize)] = &[];
/// Functions that may exceed 70 lines: file, name, present size.
const LONG_FUNCTIONS: &[(&str, &str, usize)] = &[];

const FILE_LINES_MAX: usize = 500;
const FUNCTION_LINES_MAX: usize = 70;
const LINE_COLUMNS_MAX: usize = 100;

/// Crates that the pure halves may use; what they bring in turn is theirs.
const DRIVERS_MAY_USE: &[&str] = &["nom", "serde"];
const PROTOCOLS_MAY_USE: &[&str] = &["libm", "serde", "tapline-drivers", "toml"];
const DEMO_MAY_USE: &[&str] = &["rustix", "serde", "serde_json", "sha2", "tapline-drivers", "toml"];

/// Everything that may lie in the root of the repository.
const ROOT: &[&str] = &[
    "CHANGELOG.md",
    "Cargo.lock",
    "Cargo.toml",
    "DEVELOPERS.md",
    "LICENSE",
    "README.md",
    "contrib",
    "demo",
    "drivers",
    "paper",
    "protocols",
    "src",
    "target",
    "tests",
];

struct Source {
    name: String,
    text: String,
}

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn walk(folder: &Path, found: &mut Vec<PathBuf>) {
    let Ok(entries) = fs::read_dir(folder) else { return };
    let mut paths: Vec<PathBuf> = entries.map(|entry| entry.unwrap().path()).collect();
    paths.sort();
    for path in paths {
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        match path.is_dir() {
            true if name == "target" || name == "corpus" => {}
            true => walk(&path, found),
            false => found.push(path),
        }
    }
}

fn sources(folder: &str, ending: &str) -> Vec<Source> {
    let mut found = Vec::new();
    walk(&root().join(folder), &mut found);
    found.retain(|path| path.extension().is_some_and(|e| e == ending));
    let read = |path: PathBuf| Source {
        name: path.strip_prefix(root()).unwrap().to_string_lossy().into_owned(),
        text: fs::read_to_string(&path).unwrap(),
    };
    found.into_iter().map(read).collect()
}

fn all_rust() -> Vec<Source> {
    ["src", "drivers", "protocols", "demo", "paper", "tests"]
        .iter()
        .flat_map(|folder| sources(folder, "rs"))
        .collect()
}

/// Lines of `sources` that hold one of `words`, comments left out.
fn lines_with(sources: &[Source], words: &[&str]) -> Vec<String> {
    let mut found = Vec::new();
    for source in sources {
        for (number, line) in source.text.lines().enumerate() {
            let code = line.split("//").next().unwrap();
            if let Some(word) = words.iter().find(|word| code.contains(**word)) {
                found.push(format!("{}:{}: {word}", source.name, number + 1));
            }
        }
    }
    found
}

fn assert_none(found: &[String], remedy: &str) {
    assert!(found.is_empty(), "{remedy}\n{}", found.join("\n"));
}

#[test]
fn the_root_holds_the_job_and_nothing_else() {
    let entries = fs::read_dir(root()).unwrap();
    let names = entries.map(|e| e.unwrap().file_name().to_string_lossy().into_owned());
    let odd: Vec<String> =
        names.filter(|n| !n.starts_with('.') && !ROOT.contains(&n.as_str())).collect();
    assert_none(&odd, "put these into one of the folders of the root:");
}

#[test]
fn files_are_small() {
    let mut odd = Vec::new();
    for source in all_rust() {
        let lines = source.text.lines().count();
        let listed = LONG_FILES.iter().find(|(name, _)| *name == source.name);
        if lines > listed.map_or(FILE_LINES_MAX, |(_, size)| *size) {
            odd.push(format!("{}: {lines} lines", source.name));
        }
    }
    assert_none(&odd, "split the second idea out of these files (500 lines at most):");
}

#[test]
fn lines_fit_the_page() {
    let mut odd = Vec::new();
    for source in all_rust() {
        for (number, line) in source.text.lines().enumerate() {
            let columns = line.chars().count();
            if columns > LINE_COLUMNS_MAX && !line.contains('"') {
                odd.push(format!("{}:{}: {columns} columns", source.name, number + 1));
            }
        }
    }
    assert_none(&odd, "break these lines (100 columns at most; long strings are let be):");
}

/// Functions with their length, found by the closing brace at the indentation of `fn`.
fn functions(source: &Source) -> Vec<(String, usize)> {
    let lines: Vec<&str> = source.text.lines().collect();
    let mut found = Vec::new();
    for (start, line) in lines.iter().enumerate() {
        let code = line.trim_start();
        let indent = line.len() - code.len();
        let Some(name) = code.split("fn ").nth(1).filter(|_| is_fn(code)) else { continue };
        let name: String = name.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect();
        let closing = format!("{}}}", " ".repeat(indent));
        if let Some(end) = lines[start..].iter().position(|l| *l == closing) {
            found.push((name, end + 1));
        }
    }
    found
}

fn is_fn(code: &str) -> bool {
    let before = code.split("fn ").next().unwrap();
    code.contains("fn ")
        && before
            .split_whitespace()
            .all(|word| ["pub", "pub(crate)", "pub(super)", "const", "async"].contains(&word))
}

#[test]
fn functions_fit_a_screen() {
    let mut odd = Vec::new();
    for source in all_rust() {
        for (name, lines) in functions(&source) {
            let listed =
                LONG_FUNCTIONS.iter().find(|(file, f, _)| *file == source.name && *f == name);
            if lines > listed.map_or(FUNCTION_LINES_MAX, |(_, _, size)| *size) {
                odd.push(format!("{}: {name} has {lines} lines", source.name));
            }
        }
    }
    assert_none(&odd, "take helpers out of these functions (70 lines at most):");
}

fn dependencies(manifest: &str) -> Vec<String> {
    let text = fs::read_to_string(root().join(manifest)).unwrap();
    let section = text.split("[dependencies]").nth(1).unwrap();
    let section = section.split("\n[").next().unwrap();
    let name = |line: &str| line.split(['.', ' ', '=']).next().unwrap().to_owned();
    section.lines().filter(|l| !l.is_empty() && !l.starts_with('#')).map(name).collect()
}

#[test]
fn the_pure_halves_use_only_what_they_may() {
    for (manifest, may) in [
        ("drivers/Cargo.toml", DRIVERS_MAY_USE),
        ("protocols/Cargo.toml", PROTOCOLS_MAY_USE),
        ("demo/Cargo.toml", DEMO_MAY_USE),
    ] {
        let odd: Vec<String> =
            dependencies(manifest).into_iter().filter(|d| !may.contains(&d.as_str())).collect();
        assert_none(&odd, &format!("{manifest} may not use:"));
    }
}

#[test]
fn the_pure_halves_have_no_outside() {
    for lib in ["drivers/src/lib.rs", "protocols/src/lib.rs"] {
        let text = fs::read_to_string(root().join(lib)).unwrap();
        assert!(
            text.contains("#![no_std]"),
            "{lib} must stay `no_std`: the compiler keeps the law"
        );
        assert!(text.contains("#![deny(clippy::float_arithmetic)]"), "{lib}: numbers are exact");
        let back = text.contains("extern crate std");
        let in_tests = text.contains("#[cfg(test)]\nextern crate std;");
        assert!(!back || in_tests, "{lib} may bring `std` back for tests alone");
    }
}

#[test]
fn the_station_core_has_no_outside() {
    let words = ["tokio", "std::fs", "std::net", "std::thread", "Instant::now", "SystemTime"];
    let found = lines_with(&sources("src/station", "rs"), &words);
    assert_none(&found, "the station core gets time and bytes as arguments:");
}

#[test]
fn paper_has_no_outside() {
    let words =
        ["std::fs", "std::net", "std::thread", "std::env", "Instant::", "SystemTime", "HashMap"];
    let found = lines_with(&sources("paper/src", "rs"), &words);
    assert_none(&found, "what is printed gets its data and its dates as arguments:");
    let found = lines_with(&sources("paper/src", "rs"), &["tapline_", "use tapline::"]);
    assert_none(&found, "paper knows nothing of the rest: words and numbers come as data:");
}

#[test]
fn arrows_point_one_way() {
    let found = lines_with(&sources("drivers/src", "rs"), &["tapline_protocols", "tapline_demo"]);
    assert_none(&found, "drivers know nothing of protocols:");
    let found = lines_with(&sources("demo/src", "rs"), &["tapline_protocols", "use tapline::"]);
    assert_none(&found, "the demo is a peer and knows nothing of the daemon:");
    let mut shell = sources("src", "rs");
    let may = ["src/cli/demo", "src/validate/"];
    shell.retain(|source| !may.iter().any(|folder| source.name.starts_with(folder)));
    let found = lines_with(&shell, &["tapline_demo"]);
    assert_none(&found, "only src/cli/demo.rs with its folder and src/validate use the demo:");
    let mut inner = sources("src", "rs");
    inner.retain(|source| !source.name.starts_with("src/cli/"));
    let found = lines_with(&inner, &["crate::cli"]);
    assert_none(&found, "nothing but `main` knows the command line:");
    let found = lines_with(&sources("src/told", "rs"), &["std::fs", "println", "crate::face"]);
    assert_none(&found, "what is told is text, and somebody else prints it:");
}

#[test]
fn one_clock() {
    let words =
        ["SystemTime::now", "Instant::now", "clock_gettime", "Zoned::now", "Timestamp::now"];
    let mut shell = sources("src", "rs");
    shell.retain(|source| source.name != "src/clock.rs");
    assert_none(&lines_with(&shell, &words), "only src/clock.rs reads a clock:");
}

/// Modules that are compiled for tests alone: `#[cfg(test)]` before `mod name;`.
fn test_modules(sources: &[Source]) -> Vec<String> {
    let mut names = Vec::new();
    for source in sources {
        for part in source.text.split("#[cfg(test)]\nmod ").skip(1) {
            let name = part.split([';', ' ']).next().unwrap();
            names.push(format!("/{name}.rs"));
        }
    }
    names
}

#[test]
fn nothing_unwraps_outside_tests() {
    let folders = ["src", "drivers/src", "protocols/src", "demo/src", "paper/src"];
    let all: Vec<Source> = folders.iter().flat_map(|folder| sources(folder, "rs")).collect();
    let for_tests = test_modules(&all);
    let mut odd = Vec::new();
    for source in &all {
        let named = source.name.ends_with("tests.rs") || source.name.contains("/tests/");
        if named || for_tests.iter().any(|name| source.name.ends_with(name)) {
            continue;
        }
        let code = source.text.split("#[cfg(test)]").next().unwrap();
        for (number, line) in code.lines().enumerate() {
            if line.split("//").next().unwrap().contains(".unwrap()") {
                odd.push(format!("{}:{}", source.name, number + 1));
            }
        }
    }
    assert_none(&odd, "say why it can't happen with `expect`, or return an error:");
}

/// Words that the field uses for two things each: the right column says what to write.
const OUR_VOCABULARY: &[(&str, &str)] = &[
    (" device", "asset or instrument"),
    ("ground", "earth"),
    (" session", "inspection"),
    (" accurate", "within limit, resolution or uncertainty"),
];

#[test]
fn what_people_read_uses_our_vocabulary() {
    let mut odd = Vec::new();
    let words = sources("src/words", "toml");
    assert!(!words.is_empty(), "src/words holds the sentences");
    for source in words.into_iter().chain(sources("protocols/plans", "toml")) {
        for (number, line) in source.text.lines().enumerate() {
            let low = format!(" {}", line.to_lowercase());
            let found = OUR_VOCABULARY.iter().find(|(word, _)| low.contains(word));
            if let Some((word, better)) =
                found.filter(|_| !low.contains("background") && !low.contains("\"ground_res"))
            {
                odd.push(format!("{}:{}:{word} (write {better})", source.name, number + 1));
            }
        }
    }
    assert_none(&odd, "one word, one meaning:");
}

#[test]
fn each_capture_says_where_it_comes_from() {
    let captures = sources("tests/captures", "cap");
    assert!(!captures.is_empty(), "tests/captures holds golden captures");
    let odd: Vec<String> = captures
        .iter()
        .filter(|c| !c.text.starts_with("# kind:") || !c.text.contains("source:"))
        .map(|c| c.name.clone())
        .collect();
    assert_none(&odd, "begin with `# kind: …` and say `source: …`:");
}

#[test]
fn each_limit_says_where_it_comes_from() {
    let tables = sources("protocols/limits", "toml");
    assert!(!tables.is_empty(), "protocols/limits holds the tables");
    for table in tables {
        let count = |word: &str| table.text.lines().filter(|l| l.starts_with(word)).count();
        let rows = count("[[limit]]");
        assert!(rows > 0, "{} is empty", table.name);
        for field in ["id ", "clause ", "source ", "confidence "] {
            assert_eq!(count(field), rows, "{}: every row needs `{field}`", table.name);
        }
    }
}

#[test]
fn plans_never_hold_a_limit() {
    let plans = sources("protocols/plans", "toml");
    assert!(!plans.is_empty(), "protocols/plans holds the plans");
    let found = lines_with(&plans, &["max =", "min =", "limit ="]);
    assert_none(&found, "a limit is a row of protocols/limits with clause and source:");
}

/// A promise whose test was renamed or removed is a promise without a test.
#[test]
fn each_promise_names_a_test_that_exists() {
    let text = fs::read_to_string(root().join("DEVELOPERS.md")).unwrap();
    let from = text.find("| promise | tests |").expect("the table of promises");
    let table = text[from..].split("\n\n").next().unwrap();
    let tests: Vec<_> =
        ["tests", "drivers/tests"].iter().flat_map(|folder| sources(folder, "rs")).collect();
    let named = table.split('`').skip(1).step_by(2).filter(|name| !name.contains('/'));
    let missing = |name: &&str| {
        let function = format!("fn {name}(");
        !tests.iter().any(|source| source.text.contains(&function))
    };
    let missing: Vec<String> = named.filter(missing).map(ToString::to_string).collect();
    assert_none(&missing, "DEVELOPERS.md names a test that is not there: name the one that is");
}

/// What can go wrong, on a wire, by a person, on purpose: heading, first words of its table, rows.
const DANGERS: &[(&str, &str, usize)] = &[
    ("fault", "| | fault | ", 32),
    ("use error", "| | use error | ", 15),
    ("threat", "| | threat | ", 15),
];

/// A danger whose test was renamed or removed is one that nobody provokes.
#[test]
fn each_danger_names_tests_that_exist_or_says_why_not() {
    let text = fs::read_to_string(root().join("tests/README.md")).unwrap();
    let tests = all_rust();
    let exists = |name: &str| {
        // Of a property test the signature has arguments, of others none.
        let function = format!("fn {name}(");
        tests.iter().any(|source| source.text.contains(&function))
    };
    let mut odd = Vec::new();
    for &(kind, head, count) in DANGERS {
        let from = text.find(head).expect("a table of dangers");
        let table = text[from..].split("\n\n").next().unwrap();
        let rows: Vec<Vec<&str>> =
            table.lines().skip(2).map(|row| row.split('|').map(str::trim).collect()).collect();
        assert_eq!(rows.len(), count, "each {kind} stands in its table");
        for (number, row) in (1..).zip(&rows) {
            let [_, place, .., names, why, _] = row[..] else { panic!("{row:?}") };
            assert_eq!(place, number.to_string(), "they are numbered");
            if names.is_empty() && why.is_empty() {
                odd.push(format!("{kind} {number} has neither a test nor a reason"));
            }
            let missing = names.split('`').skip(1).step_by(2).filter(|name| !exists(name));
            odd.extend(missing.map(|name| format!("{kind} {number}: {name}")));
        }
    }
    assert_none(&odd, "tests/README.md names a test that is not there: name the one that is");
}
