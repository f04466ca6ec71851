//! The order of calls, against an instrument that is played.

use super::*;
use std::sync::{Arc, Mutex};

/// What it does when it is asked, in order; and what was done to it.
#[derive(Debug, Default, Clone)]
struct Played {
    write: Option<Errno>,
    answers: Vec<Result<(Vec<u8>, bool), Errno>>,
    clear: Option<Errno>,
    status: Option<u8>,
    done: Arc<Mutex<Vec<String>>>,
}

impl Played {
    fn note(&self, what: &str) {
        self.done.lock().unwrap().push(what.into());
    }

    fn done(&self) -> String {
        self.done.lock().unwrap().join(" ")
    }
}

fn failed(errno: Option<Errno>) -> io::Result<()> {
    errno.map_or(Ok(()), |errno| Err(errno.into()))
}

impl Instrument for Played {
    fn write(&mut self, message: &[u8]) -> io::Result<()> {
        self.note(&format!("write:{}", String::from_utf8_lossy(message).trim_end()));
        failed(self.write)
    }

    fn read(&mut self, buffer: &mut [u8]) -> io::Result<(usize, bool)> {
        self.note("read");
        let (bytes, last) = self.answers.remove(0)?;
        buffer[..bytes.len()].copy_from_slice(&bytes);
        Ok((bytes.len(), last))
    }

    fn abort_out(&mut self) -> io::Result<()> {
        self.note("abort-out");
        Ok(())
    }

    fn abort_in(&mut self) -> io::Result<()> {
        self.note("abort-in");
        Ok(())
    }

    fn clear(&mut self) -> io::Result<()> {
        self.note("clear");
        failed(self.clear)
    }

    fn status(&mut self) -> Option<u8> {
        self.note("status");
        self.status
    }
}

fn run(mut played: Played, message: &[u8]) -> (io::Result<Ended>, Vec<u8>, String) {
    let mut all = Vec::new();
    let ended = exchange(&mut played, message, &mut |bytes| all.extend(bytes));
    (ended, all, played.done())
}

#[test]
fn what_asks_is_a_question_mark_outside_of_quotes() {
    for message in ["*IDN?\n", "READ?", ":CONF:RES 10;:READ?\n", "DISP 'a';*STB?"] {
        assert!(asks(message.as_bytes()), "{message}");
    }
    for message in ["*CLS\n", "CONF:RES\n", "DISP \"ready?\"\n", "DISP 'it''s ready?'", ""] {
        assert!(!asks(message.as_bytes()), "{message}");
    }
}

#[test]
fn nothing_is_read_that_was_not_asked_for() {
    let (ended, all, done) = run(Played::default(), b"CONF:RES\n");
    assert_eq!((ended.unwrap(), all.len(), done.as_str()), (Ended::Well, 0, "write:CONF:RES"));
}

#[test]
fn an_answer_is_read_to_its_end() {
    let answers = vec![Ok((b"+1.82".to_vec(), false)), Ok((b"E-01\n".to_vec(), true))];
    let (ended, all, done) = run(Played { answers, ..Played::default() }, b"READ?\n");
    assert_eq!((ended.unwrap(), all.as_slice()), (Ended::Well, &b"+1.82E-01\n"[..]));
    assert_eq!(done, "write:READ? read read");
}

// USBTMC 1.00: an unfinished read must be aborted, or all that follows is off by one.
#[test]
fn a_time_out_is_aborted_and_cleared() {
    let answers = vec![Err(Errno::TIMEDOUT)];
    let played = Played { answers, status: Some(MAV), ..Played::default() };
    let (ended, all, done) = run(played, b"READ?\n");
    assert_eq!((ended.unwrap(), all.len()), (Ended::Cleared, 0));
    assert_eq!(done, "write:READ? read status abort-in clear");
    let played = Played { write: Some(Errno::TIMEDOUT), ..Played::default() };
    let (ended, _, done) = run(played, b"READ?\n");
    assert_eq!((ended.unwrap(), done.as_str()), (Ended::Cleared, "write:READ? abort-out clear"));
}

#[test]
fn an_instrument_that_can_not_be_cleared_or_is_gone_ends_the_link() {
    let answers = vec![Err(Errno::TIMEDOUT)];
    let played = Played { answers, clear: Some(Errno::TIMEDOUT), ..Played::default() };
    assert!(run(played, b"READ?\n").0.is_err());
    let (ended, _, done) =
        run(Played { write: Some(Errno::NODEV), ..Played::default() }, b"READ?\n");
    assert!(ended.is_err());
    assert_eq!(done, "write:READ?", "nothing is done to what is not there");
}

#[test]
fn an_answer_without_end_is_given_up() {
    let part = || Ok((vec![b'x'; 4096], false));
    let answers = (0..100).map(|_| part()).collect();
    let (ended, all, done) = run(Played { answers, ..Played::default() }, b"CURV?\n");
    assert_eq!((ended.unwrap(), all.len()), (Ended::Cleared, ANSWER_MAX));
    assert!(done.ends_with("abort-in clear"));
}

#[tokio::test]
async fn the_thread_answers_in_order_lets_go_and_ends() {
    let answers = vec![Ok((b"a\n".to_vec(), true)), Ok((b"b\n".to_vec(), true))];
    let played = Played { answers, ..Played::default() };
    let seen = played.clone();
    let mut tmc = Tmc::start(played, |played| played.note("let-go")).unwrap();
    tmc.to.send(b"A?\n".to_vec()).await.unwrap();
    tmc.to.send(b"B?\n".to_vec()).await.unwrap();
    assert_eq!(tmc.from.recv().await.as_deref(), Some(&b"a\n"[..]));
    assert_eq!(tmc.from.recv().await.as_deref(), Some(&b"b\n"[..]));
    drop(tmc.to);
    assert_eq!(tmc.from.recv().await, None);
    assert_eq!(seen.done(), "write:A? read write:B? read let-go");
}
