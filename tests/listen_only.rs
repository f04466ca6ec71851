//! Instruments that could put out a voltage are listened to by construction: by type, by what the
//! station does in a day of faults, and by what the kernel sees of a port. And what the others may
//! be sent is a list (`drivers/allowed.txt`).
#![allow(clippy::unwrap_used, reason = "a test may panic")]

#[path = "listen_only/allowed.rs"]
mod allowed;
#[path = "listen_only/day.rs"]
mod day;
#[path = "listen_only/port.rs"]
mod port;
mod support;

use tapline_drivers::frame::{Framed, stx16};
use tapline_drivers::report::Printer;
use tapline_drivers::scan::Scanner;
use tapline_drivers::{Driver, Never, catalogue, contacts, csv_line, val_unit_line};

/// Compiles only for a driver that can make no bytes.
fn can_not_send<D: Driver<Sends = Never>>(_: &D) {}

/// `Never` has no values: of one, anything follows.
fn _nothing(never: Never) -> Vec<u8> {
    match never {}
}

/// The kinds of driver that the catalogue calls listen-only are so by type; a driver of a kind that
/// may send says so in the catalogue, and only those have an allow-list.
#[test]
fn what_only_listens_has_no_way_to_make_bytes() {
    can_not_send(&val_unit_line::driver());
    can_not_send(&contacts::driver());
    can_not_send(&csv_line::driver());
    can_not_send(&Scanner::new());
    can_not_send(&Printer::new());
    can_not_send(&Framed::new(&stx16::STYLE));
    for driver in catalogue::names().filter_map(catalogue::by_name) {
        assert_eq!(driver.sends(), !driver.allowed().is_empty(), "{}", driver.name());
    }
}
