//! A client of the feed that notes how old each reading is when it sees it.

use std::io::BufRead;
use std::path::Path;
use std::sync::{Arc, Mutex};
use std::thread;

use super::http;

/// How old things were when they were seen, microseconds.
#[derive(Debug, Default)]
pub(crate) struct Ages {
    /// Since the line's stamp: when its first byte was read.
    pub(crate) since_read: Vec<u64>,
    /// Since the meter said it: the stamp in the reading itself.
    pub(crate) since_said: Vec<u64>,
    /// How often the client lost its place.
    pub(crate) lost: u64,
}

/// A thread that listens to one bench until the station ends.
pub(crate) struct Ear(Arc<Mutex<Ages>>);

impl Ear {
    /// Listens from now on.
    pub(crate) fn open(socket: &Path, bench: &str) -> Ear {
        let path = format!("/v1/feed?bench={bench}&kinds=in");
        let (status, mut answer) = http::open(socket, "GET", &path, "").unwrap();
        assert_eq!(status, 200);
        let mut hello = String::new();
        answer.read_line(&mut hello).unwrap();
        assert_eq!(hello, "event: hello\n");
        let ages = Arc::new(Mutex::new(Ages::default()));
        let ear = Ear(Arc::clone(&ages));
        thread::spawn(move || {
            for line in answer.lines() {
                let Ok(line) = line else { return };
                if line == "event: lost" {
                    ages.lock().unwrap().lost += 1;
                } else if let Some(data) = line.strip_prefix("data: {\"book\"") {
                    ages.lock().unwrap().note(data, tapline::clock::now().boot_us);
                }
            }
        });
        ear
    }

    /// Forgets what it has seen so far.
    pub(crate) fn clear(&self) {
        *self.0.lock().unwrap() = Ages::default();
    }

    /// What it has seen.
    pub(crate) fn take(&self) -> Ages {
        std::mem::take(&mut *self.0.lock().unwrap())
    }
}

impl Ages {
    fn note(&mut self, data: &str, now: u64) {
        let number = |text: &str| {
            let end = text.find(|c: char| !c.is_ascii_digit()).unwrap_or(text.len());
            text[..end].parse::<u64>().ok()
        };
        let read = data.split_once("\"m\":").and_then(|(_, rest)| number(rest));
        self.since_read.extend(read.map(|m| now.saturating_sub(m)));
        for value in data.split("\"v\":\"").skip(1) {
            let us = number(value).zip(value.split_once('.').and_then(|(_, rest)| number(rest)));
            // The clock in the reading starts over every 1 000 seconds.
            let said = us.map(|(seconds, micros)| seconds * 1_000_000 + micros);
            self.since_said.extend(said.map(|us| (now + 1_000_000_000 - us) % 1_000_000_000));
        }
    }
}
