//! What is done at the desk of a bench: scans, badges, confirmations.

use tapline_drivers::catalogue::is_scanner;
use tapline_drivers::reading::{Now, Scan, ScanKind};
use tapline_drivers::scan::{Content, Fault, Profile, field, read};
use tapline_protocols::Fact;
use tapline_protocols::fact::{ConfirmFact, Given, LoginFact, RefusedFact, ScanFact};

use super::bench::Pending;
use super::checkout::Asked;
use super::codes::Asks;
use super::command::Seat;
use super::core::Core;
use super::event::{Answer, Origin, Problem, Request};
use super::ladder::{Named, named};
use super::pins::Proved;
use super::say::{bad, conflict, missing};
use super::stranger::Stranger;
use crate::books::line::raw_text;
use crate::clock::Stamp;

/// Longest code that may come as a command, bytes.
const CODE_BYTES_MAX: usize = 256;

/// What separates elements of GS1.
const SEPARATOR: u8 = 0x1d;

/// How long a bench may be left alone until it needs a badge again, microseconds of the boot-time
/// clock (common practice, no source).
const ALONE_US_MAX: u64 = 3_600_000_000;

/// How long a code that needs a badge waits for it, microseconds of the boot-time clock.
const BADGE_US_MAX: u64 = 30_000_000;

/// So many digits that nothing here knows may be somebody's PIN (common practice, no source); where
/// signatures take one, what was typed may be a longer one.
const PIN_MIN: usize = 4;
const PIN_MAX: usize = 6;
const PIN_TYPED_MAX: usize = 12;

impl Core {
    /// A scanner of a bench read a code.
    pub(super) fn scanned(&mut self, link: &str, at: Stamp, scan: &Scan) {
        let bench = self.links[link].settings.bench.clone();
        let refused = scan.refused.map(String::from);
        let fact = ScanFact {
            link: Some(link.into()),
            raw: refused.is_none().then(|| raw_text(&scan.raw)),
            aim: scan.aim.clone().filter(|_| refused.is_none()),
            kind: scan.kind,
            asset: None,
            length: refused.is_some().then_some(scan.length as u64),
            refused,
        };
        let result = match &scan.content {
            Some(content) if fact.refused.is_none() => {
                self.left_alone(&bench, at);
                let by = self.register.logins.get(&bench).cloned();
                let origin = Origin::Scanner;
                let code = raw_text(scan.payload());
                let proved = Proved::default();
                let seat = Seat { bench: bench.clone(), at, origin, by, proved };
                self.scan(&seat, fact, content, &code)
            }
            _ => {
                if fact.kind != ScanKind::Control {
                    self.none_selected(&bench);
                }
                self.put_scan(&bench, at, fact);
                Err(refusal(scan.fault.as_ref()))
            }
        };
        self.bench(&bench).heard = Some(result);
    }

    /// A code that came as a command. Labels in two parts are joined as a scanner's are.
    pub(super) fn scan_code(&mut self, seat: &Seat, code: &str) -> Result<Answer, Problem> {
        let visible = |byte: u8| byte >= b' ' || byte == SEPARATOR;
        if code.is_empty() || code.len() > CODE_BYTES_MAX || !code.bytes().all(visible) {
            return Err(bad("a code has 1 to 256 visible characters"));
        }
        let mut fact = ScanFact {
            link: None,
            raw: Some(code.into()),
            aim: None,
            kind: ScanKind::Text,
            asset: None,
            refused: None,
            length: None,
        };
        match read(code.as_bytes(), &self.profile(&seat.bench)) {
            Ok(content) => {
                fact.kind = content.kind;
                let content = self.bench(&seat.bench).join.take(content, Now(seat.at.boot_us));
                let code = content.text.clone().unwrap_or_else(|| code.into());
                self.scan(seat, fact, &content, &code)
            }
            Err((kind, fault)) => {
                self.bench(&seat.bench).join.clear();
                fact.raw = None;
                fact.kind = kind;
                fact.refused = Some(fault.word.into());
                fact.length = Some(code.len() as u64);
                if kind != ScanKind::Control {
                    self.none_selected(&seat.bench);
                }
                self.put_scan(&seat.bench, seat.at, fact);
                Err(refusal(Some(&fault)))
            }
        }
    }

    /// What is known of the site, as the bench's first scanner is told.
    fn profile(&self, bench: &str) -> Profile {
        let mut links = self.links.values().map(|link| &link.settings);
        let scanner = links.find(|link| link.bench == bench && is_scanner(&link.driver));
        let told = scanner.and_then(|link| link.driver.split_once(' '));
        told.and_then(|(_, told)| Profile::parse(told).ok()).unwrap_or_default()
    }

    /// What a code means here: a control, an asset, a badge, a label of the bench.
    fn scan(
        &mut self,
        seat: &Seat,
        mut fact: ScanFact,
        content: &Content,
        code: &str,
    ) -> Result<Answer, Problem> {
        let (bench, at) = (seat.bench.as_str(), seat.at);
        let pending = self.bench(bench).pending.take();
        let asked = self.bench(bench).asked.take();
        if fact.kind == ScanKind::Control {
            let seq = self.put_scan(bench, at, fact);
            return match self.control(bench, code)? {
                Asks::Now(request) => self.request(seat, request),
                Asks::WithBadge(request) => self.ask_for_badge(seat, seq, request),
            };
        }
        match named(&self.register, content, code) {
            Named::One(asset) => {
                fact.asset = Some(asset.clone());
                return self.scan_asset(bench, at, &asset, fact);
            }
            Named::Several(assets) => {
                fact.refused = Some("several_assets".into());
                self.none_selected(bench);
                self.put_scan(bench, at, fact);
                let text = format!("the code names several assets: {}", assets.join(", "));
                return Err(conflict(text, "Look at its label, and type the asset's number."));
            }
            Named::Type(device) if self.is_unknown(code) => {
                self.none_selected(bench);
                self.put_scan(bench, at, fact);
                let text = format!("the code names a type of product, {device}, and no asset");
                return Err(bad(text).next("Scan its serial number or its asset number."));
            }
            Named::Type(_) | Named::None => {}
        }
        let badge = content.field(field::OPERATOR).unwrap_or(code);
        let operator = self.register.operator(badge).map(|operator| operator.id.clone());
        let most = if self.asks_for_pin() && fact.link.is_none() { PIN_TYPED_MAX } else { PIN_MAX };
        if operator.is_none() && self.is_unknown(code) && may_be_a_pin(code, most) {
            fact.length = fact.raw.take().map(|raw| raw.len() as u64);
            fact.refused = Some("may_be_a_pin".into());
            self.none_selected(bench);
            self.put_scan(bench, at, fact);
            return Err(bad(
                "nothing here has this number: it may be a PIN, and nothing of it is kept",
            )
            .next("If it is an asset's, describe it with its number; or scan another code."));
        }
        let seq = self.put_scan(bench, at, fact);
        let waits = |p: &Pending| at.boot_us.saturating_sub(p.at_us) <= BADGE_US_MAX;
        if operator.is_some() {
            return self.badge(seat, operator, pending.filter(waits));
        }
        let rests = self.benches[bench].active.is_none();
        if rests && self.register.standards.contains_key(code) {
            return self.begin_check(seat, code, None);
        }
        if self.is_label(code) {
            return self.label(seat, seq, code, asked);
        }
        Err(self.met(bench, Stranger::of(seq, content, code), code))
    }

    /// The label of something on the bench was scanned.
    fn label(
        &mut self,
        seat: &Seat,
        scan: u64,
        label: &str,
        asked: Option<Asked>,
    ) -> Result<Answer, Problem> {
        match self.register.instruments.contains_key(label) {
            true => self.checked_out(seat, scan, label, asked),
            false => Ok(Answer::done(scan).say(&["scan.known", label])),
        }
    }

    /// Nothing here knows the code: it may be a new asset's.
    fn met(&mut self, bench: &str, stranger: Stranger, code: &str) -> Problem {
        self.none_selected(bench);
        let place = self.bench(bench);
        place.stranger = place.active.is_none().then_some(stranger);
        let next = "If it is a new asset, describe it; or scan another code.";
        missing("asset, badge or label", code).next(next)
    }

    /// A badge: what waited for it is done where it is that of who works here.
    fn badge(
        &mut self,
        seat: &Seat,
        operator: Option<String>,
        pending: Option<Pending>,
    ) -> Result<Answer, Problem> {
        let bench = seat.bench.as_str();
        let works_here = operator.as_ref() == self.register.logins.get(bench);
        match pending {
            None => self.login(bench, seat.at, operator),
            Some(Pending { request, .. }) if works_here => {
                let seat = Seat { by: operator, origin: Origin::Scanner, ..seat.clone() };
                self.request(&seat, request)
            }
            Some(Pending { request, .. }) => {
                let set_aside = matches!(request, Request::Discard { .. });
                let said = if set_aside { "discard.other" } else { "sign.other" };
                Ok(self.login(bench, seat.at, operator)?.besides(vec![vec![said.into()]]))
            }
        }
    }

    /// A label of something on the bench.
    fn is_label(&self, code: &str) -> bool {
        self.register.instruments.contains_key(code)
            || self.register.fixtures.contains_key(code)
            || self.register.leads.contains_key(code)
    }

    /// Nothing in the register has this code.
    fn is_unknown(&self, code: &str) -> bool {
        let known = self.is_label(code) || self.register.standards.contains_key(code);
        !known && self.register.operator(code).is_none()
    }

    /// A code never signs or sets aside alone: the badge of who works here must follow. What would
    /// be refused then is refused at once.
    fn ask_for_badge(
        &mut self,
        seat: &Seat,
        seq: u64,
        request: Request,
    ) -> Result<Answer, Problem> {
        self.would_be_refused(seat, &request)?;
        self.no_code_signs(&request)?;
        let answer = match &request {
            Request::Discard { seq: value, .. } => {
                let [step, amount] = self.captured(&seat.bench, *value);
                Answer::done(seq).say(&["discard.badge", &step, &amount])
            }
            _ => Answer::done(seq).say(&["sign.badge"]),
        };
        self.bench(&seat.bench).pending = Some(Pending { at_us: seat.at.boot_us, request });
        Ok(answer)
    }

    /// Nothing open: selects it. Its inspection open: the closing scan. Another one: refused.
    fn scan_asset(
        &mut self,
        bench: &str,
        at: Stamp,
        asset: &str,
        mut fact: ScanFact,
    ) -> Result<Answer, Problem> {
        if let Some(id) = self.benches[bench].active.clone() {
            let open = self.cases[&id].asset().to_string();
            if open != asset {
                fact.refused = Some("other_asset".into());
                self.put_scan(bench, at, fact);
                let refused = RefusedFact { what: "scan".into(), why: "other_asset".into() };
                self.put_station(at, Fact::Refused(refused), None);
                return Err(conflict(
                    format!("{id} on this bench is about `{open}`, the code names `{asset}`"),
                    "Scan the asset that is being inspected, or park its inspection first.",
                ));
            }
            let seq = self.put_scan(bench, at, fact);
            return Ok(Answer::done(seq).about(&id).say(&["scan.closing", asset]));
        }
        let seq = self.put_scan(bench, at, fact);
        let parked = self.cases.values().find(|case| case.asset() == asset);
        if let Some(case) = parked {
            let (id, place) = (case.id.clone(), case.bench.clone());
            if case.parked && place == bench {
                return Ok(Answer::done(seq).about(&id).say(&["scan.parked", asset, &id]));
            }
            return Ok(Answer::done(seq).about(&id).say(&["scan.open", asset, &id, &place]));
        }
        let plan = self.plan_for(asset).map(|plan| plan.id.clone()).unwrap_or_default();
        self.bench(bench).selected = Some((asset.into(), seq));
        self.bench(bench).stranger = None;
        let known = self.register.asset(asset);
        let gone = known.filter(|one| one.is_retired(&self.settings.zone.date(at.wall_us)));
        let gone = gone.and_then(|one| one.retired.clone());
        let gone = gone.map(|day| vec!["scan.retired".into(), asset.into(), day]);
        let besides = gone.into_iter().chain(self.ordered(asset)).collect();
        Ok(Answer::done(seq).say(&["scan.selected", asset, &plan]).besides(besides))
    }

    /// Stores a scan where the bench's bytes go.
    fn put_scan(&mut self, bench: &str, at: Stamp, fact: ScanFact) -> u64 {
        match self.benches[bench].active.clone() {
            Some(id) => self.put_case(&id, at, Fact::Scan(fact), None),
            None => {
                let book = self.idle_book(at);
                self.put(book, at, Fact::Scan(fact), None)
            }
        }
    }

    /// Somebody does something at a bench. Where nobody did for an hour and nothing is open, who
    /// was logged in there is so no more: it may be somebody else who does it. It is looked at
    /// when it matters, so that no timer wakes an idle station. An open inspection keeps its name:
    /// its captures need one.
    pub(super) fn left_alone(&mut self, bench: &str, at: Stamp) {
        let Some(place) = self.benches.get_mut(bench) else { return };
        let before = place.acted_us.replace(at.boot_us);
        let alone = before.is_some_and(|us| at.boot_us.saturating_sub(us) > ALONE_US_MAX);
        if alone && place.active.is_none() && self.register.logins.contains_key(bench) {
            let login = LoginFact { bench: bench.into(), operator: None };
            self.put_station(at, Fact::Login(login), None);
        }
    }

    /// A badge at a bench, or nobody.
    pub(super) fn login(
        &mut self,
        bench: &str,
        at: Stamp,
        operator: Option<String>,
    ) -> Result<Answer, Problem> {
        let active = self.benches[bench].active.clone();
        if operator.is_none() && active.is_some() {
            return Err(conflict(
                "an inspection is open on this bench, and its captures need a name",
                "Sign, end or park it, or let the next operator scan a badge.",
            ));
        }
        let login = LoginFact { bench: bench.into(), operator: operator.clone() };
        let before = self.register.logins.get(bench).cloned();
        let mut seq = self.put_station(at, Fact::Login(login), None);
        if let (Some(id), Some(operator)) = (active, &operator)
            && before.as_ref() != Some(operator)
        {
            let operator = Box::new(self.register.operators[operator].clone());
            let by = Some(operator.id.clone());
            seq = self.put_case(&id, at, Fact::Given(Given::Operator { operator }), by);
        }
        Ok(match operator.as_deref() {
            Some(name) => Answer::done(seq).say(&["login", name]),
            None => Answer::done(seq).say(&["logout"]),
        })
    }

    /// Limit rows that somebody read in the workshop's own copy of the standard.
    pub(super) fn confirm(
        &mut self,
        at: Stamp,
        mut confirm: ConfirmFact,
        by: Option<String>,
    ) -> Result<Answer, Problem> {
        let Some(by) = by else {
            return Err(bad("nobody is named who read the rows").next("Name one with --by."));
        };
        if confirm.rows.is_empty() || confirm.document.is_empty() || confirm.clause.is_empty() {
            return Err(bad("rows, document and clause are all needed"));
        }
        for id in &confirm.rows {
            let Some(row) = self.library.row(id) else {
                return Err(missing("limit row", id).next("See `tapline limits list`."));
            };
            confirm.read.push(row.in_words());
        }
        Ok(Answer::done(self.put_station(at, Fact::Confirm(confirm), Some(by))))
    }
}

/// Four digits or more that nothing in the register has: somebody's PIN may have been typed where
/// codes go, and nothing of it is kept.
fn may_be_a_pin(code: &str, most: usize) -> bool {
    (PIN_MIN..=most).contains(&code.len()) && code.bytes().all(|byte| byte.is_ascii_digit())
}

/// Why a code is refused, where, and what to do.
fn refusal(fault: Option<&Fault>) -> Problem {
    let (word, at) = fault.map_or(("damaged_code", 0), |fault| (fault.word, fault.at));
    let element = fault.and_then(|fault| fault.key.as_ref());
    let place = match element {
        Some(key) => format!(", element ({key}) at byte {at}"),
        None => format!(", byte {at}"),
    };
    match word {
        "patient_identifier" => bad("this code names a patient: nothing of it is kept")
            .next("Scan the asset's own label."),
        "damaged_code" => bad("this code is damaged, or no control code of this program")
            .next("Scan it again; if it stays, print its sheet anew."),
        "length" | "unknown_ai" => {
            bad(format!("this code is refused: {}{place}", word.replace('_', " "))).next(
                "Scan it again. If it stays so, the reader may drop separators: try its self-test.",
            )
        }
        _ => bad(format!("this code is refused: {}{place}", word.replace('_', " ")))
            .next("Scan it again, or type the asset's number."),
    }
}
