//! Arguments of a benchmark: `--name value` pairs, and whether this is the tiny form of the tests.
#![allow(dead_code, reason = "each benchmark uses a part of it")]

use std::collections::BTreeMap;

/// What was asked for.
#[derive(Debug)]
pub(crate) struct Args {
    /// `cargo bench` asks for figures; anybody else (`cargo test`) for the tiny form.
    pub(crate) figures: bool,
    named: BTreeMap<String, String>,
}

impl Args {
    /// Those of this process; wrong ones end it.
    pub(crate) fn read() -> Args {
        let mut args = Args { figures: false, named: BTreeMap::new() };
        let mut words = std::env::args().skip(1).peekable();
        while let Some(word) = words.next() {
            let Some(name) = word.strip_prefix("--") else { continue };
            if name == "bench" {
                args.figures = true;
                continue;
            }
            let value = words.next_if(|next| !next.starts_with("--")).unwrap_or_default();
            args.named.insert(name.to_owned(), value);
        }
        args
    }

    /// It was given, with or without a value.
    pub(crate) fn has(&self, name: &str) -> bool {
        self.named.contains_key(name)
    }

    /// A text.
    pub(crate) fn text(&self, name: &str) -> Option<&str> {
        self.named.get(name).map(String::as_str).filter(|value| !value.is_empty())
    }

    /// A number, or what is taken without one.
    pub(crate) fn number(&self, name: &str, figures: u64, tiny: u64) -> u64 {
        let given = self.text(name).map(|text| {
            text.replace('_', "").parse().unwrap_or_else(|_| panic!("--{name} wants a number"))
        });
        given.unwrap_or(if self.figures { figures } else { tiny })
    }
}
