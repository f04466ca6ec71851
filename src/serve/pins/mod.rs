//! PINs: whose was right. They are compared here, off the engine's thread and one at a time, so
//! that no reading waits for it; the core is told of each that was wrong before anybody else is.

mod secret;
mod store;

use std::path::Path;

use rustix::process::geteuid;
use tapline_protocols::fact::PinFact;
use tokio::sync::{Mutex, MutexGuard};
use tokio::time::timeout;

use super::shared::{ANSWER_S_MAX, Shared, busy};
use crate::clock;
use crate::station::event::{Answer, Event, Origin, Problem, Request};
use crate::station::{Proved, Signer, no_pin};
use crate::words::english;
pub(crate) use secret::{Pin, Typed};
use store::{Compared, Store};

/// The PINs of a station.
#[derive(Debug)]
pub(crate) struct Pins {
    store: Store,
    /// One at a time: that bounds the memory, and every wrong one counts before the next.
    turn: Mutex<()>,
}

/// How somebody's PIN is to be.
pub(crate) enum Wish {
    /// As its owner says, who shows their badge and, where there is one, the PIN of before.
    Set { badge: String, pin: Pin, before: Option<Pin> },
    /// None: its owner sets a new one.
    Reset,
}

impl Pins {
    pub(super) fn of(folder: &Path) -> Pins {
        Pins { store: Store::of(folder), turn: Mutex::default() }
    }
}

impl Shared {
    /// Those of who has to show a PIN whose PINs were right.
    ///
    /// # Errors
    /// One is missing or wrong, or comes too early after a wrong one.
    pub(super) async fn prove(
        &self,
        origin: Origin,
        (bench, by): (&Option<String>, &Option<String>),
        request: &Request,
        typed: &Typed,
    ) -> Result<Proved, Problem> {
        let mut proved = Proved::default();
        if !request.signs() {
            return Ok(proved);
        }
        let ask = || {
            let (bench, by, request) = (bench.clone(), by.clone(), request.clone());
            self.ask(move |core| core.signers((bench, by.as_deref()), &request, clock::now()))
        };
        if ask().await??.is_empty() {
            return Ok(proved);
        }
        let _turn = self.turn().await?;
        let signers = ask().await??;
        for (signer, pin) in signers.into_iter().zip([&typed.pin, &typed.second]) {
            let pin = pin.as_ref().ok_or_else(no_pin)?;
            let operator = self.compare((origin, bench), &signer, pin).await?;
            proved.add(operator);
        }
        Ok(proved)
    }

    /// Sets the PIN of an operator, or takes it away.
    ///
    /// # Errors
    /// Who asks may not, or the PIN would be guessed.
    pub(crate) async fn set_pin(
        &self,
        origin: Origin,
        operator: String,
        wish: Wish,
    ) -> Result<Answer, Problem> {
        let Origin::Socket(uid) = origin else {
            return Err(pin_problem("forbidden", "elsewhere"));
        };
        let _turn = self.turn().await?;
        match wish {
            Wish::Set { badge, pin, before } => {
                let shown = badge.clone();
                let now_us = clock::now().boot_us;
                let signer = self.ask(move |core| core.whose(&shown, now_us)).await??;
                if signer.operator.as_deref() != Some(&operator) {
                    return Err(pin_problem("conflict", "other_badge"));
                }
                if let Some(why) = pin.weakness(&[&badge, &operator]) {
                    return Err(pin_problem("bad_input", why));
                }
                if self
                    .in_store({
                        let own = operator.clone();
                        move |store| store.has(&own)
                    })
                    .await?
                {
                    let before = before.ok_or_else(|| pin_problem("pin_needed", "before"))?;
                    self.compare((origin, &None), &signer, &before).await?;
                }
                let answer = self.tell_pin((origin, &None), Some(&operator), "set").await?;
                self.in_store(move |store| store.set(&operator, &pin)).await?;
                Ok(answer.say(&["pin.set"]))
            }
            Wish::Reset if uid != geteuid().as_raw() && uid != 0 => {
                Err(pin_problem("forbidden", "not_owner"))
            }
            Wish::Reset => {
                let name = operator.clone();
                let known = move |core: &crate::station::Core| {
                    core.register().operators.contains_key(&name)
                };
                if !self.ask(known).await? {
                    let text = format!("there is no operator `{operator}`");
                    return Err(Problem::new("not_found", text));
                }
                let answer = self.tell_pin((origin, &None), Some(&operator), "reset").await?;
                self.in_store(move |store| store.forget(&operator)).await?;
                Ok(answer.say(&["pin.reset"]))
            }
        }
    }

    /// Compares the PIN of somebody, whose id comes back. The turn is taken.
    async fn compare(
        &self,
        (origin, bench): (Origin, &Option<String>),
        signer: &Signer,
        pin: &Pin,
    ) -> Result<String, Problem> {
        if signer.wait_us > 0 {
            return Err(wait(signer));
        }
        let (operator, copy) = (signer.operator.clone(), pin.copy());
        let compared =
            self.in_store(move |store| store.compare(operator.as_deref(), &copy)).await?;
        match (compared, &signer.operator) {
            (Compared::Right, Some(operator)) => {
                if signer.wrong > 0 {
                    self.tell_pin((origin, bench), Some(operator), "right").await?;
                }
                Ok(operator.clone())
            }
            (Compared::Unset, Some(operator)) => {
                let text = english().tell("pin", "unset", &[("who", operator)]);
                Err(split("pin_unset", &text))
            }
            (_, operator) => {
                self.tell_pin((origin, bench), operator.as_deref(), "wrong").await?;
                Err(wrong(&signer.once_more()))
            }
        }
    }

    /// The core notes it down; it is on disk when this returns.
    async fn tell_pin(
        &self,
        (origin, bench): (Origin, &Option<String>),
        operator: Option<&str>,
        what: &str,
    ) -> Result<Answer, Problem> {
        let (from, uid) = match origin {
            Origin::Socket(uid) => ("socket", Some(uid)),
            _ => ("page", None),
        };
        let fact = PinFact {
            operator: operator.map(Into::into),
            what: what.into(),
            from: from.into(),
            uid,
            bench: bench.clone(),
        };
        self.post(|at, ticket| Event::Pin { at, ticket, fact }).await
    }

    async fn turn(&self) -> Result<MutexGuard<'_, ()>, Problem> {
        timeout(ANSWER_S_MAX, self.pins.turn.lock()).await.map_err(|_| busy())
    }

    async fn in_store<T: Send + 'static>(
        &self,
        work: impl FnOnce(&Store) -> std::io::Result<T> + Send + 'static,
    ) -> Result<T, Problem> {
        let store = self.pins.store.clone();
        let done = tokio::task::spawn_blocking(move || work(&store)).await;
        let failed = |why: String| Problem::new("halted", why).next(english().say("pin", "file"));
        match done {
            Ok(result) => result.map_err(|error| failed(error.to_string())),
            Err(_) => Err(busy()),
        }
    }
}

fn pin_problem(code: &str, key: &str) -> Problem {
    split(code, english().say("pin", key))
}

/// The first sentence is what is the matter, the others what to do.
fn split(code: &str, text: &str) -> Problem {
    match text.split_once(". ") {
        Some((detail, next)) => Problem::new(code, detail).next(next),
        None => Problem::new(code, text),
    }
}

fn wrong(after: &Signer) -> Problem {
    let key = if after.is_locked() { "wrong_locked" } else { "wrong" };
    split("pin_wrong", &english().tell("pin", key, &[("wait", &time(after.wait_us))]))
}

fn wait(signer: &Signer) -> Problem {
    let key = if signer.is_locked() { "locked" } else { "wait" };
    split("pin_wait", &english().tell("pin", key, &[("wait", &time(signer.wait_us))]))
}

/// Rounded up: nobody is sent back who waited as long as was said.
fn time(us: u64) -> String {
    match us.div_ceil(1_000_000) {
        s @ 0..=119 => format!("{s} s"),
        s => format!("{} min", s.div_ceil(60)),
    }
}
