//! The modem lines of a serial port: DTR and RTS out, CTS, DSR, DCD and RI in, and what the
//! kernel counts.
#![allow(unsafe_code, reason = "no crate in use has a safe call for these requests")]

use std::ffi::c_int;
use std::os::fd::AsFd;

use rustix::io::Errno;
use rustix::ioctl::{Getter, IntegerSetter, Opcode, Setter, ioctl};

// Requests and bits of Linux, <asm-generic/termios.h> and <asm-generic/ioctls.h>.
const TIOCMGET: Opcode = 0x5415;
const TIOCMBIS: Opcode = 0x5416;
const TIOCMBIC: Opcode = 0x5417;
const TIOCMIWAIT: Opcode = 0x545C;
const TIOCGICOUNT: Opcode = 0x545D;
const DTR: c_int = 0x002;
const RTS: c_int = 0x004;
const CTS: c_int = 0x020;
const DCD: c_int = 0x040;
const RI: c_int = 0x080;
const DSR: c_int = 0x100;

/// Sets both modem control signals. `false`: the port has none (a pty), and that is no fault.
///
/// # Errors
/// What the system says, but for "not a typewriter".
pub(super) fn set(port: impl AsFd, dtr: bool, rts: bool) -> rustix::io::Result<bool> {
    let pick = |on: bool| (if dtr == on { DTR } else { 0 }) | (if rts == on { RTS } else { 0 });
    for (request, bits) in [(true, pick(true)), (false, pick(false))] {
        if bits == 0 {
            continue;
        }
        match change(&port, request, bits) {
            Ok(()) => {}
            Err(Errno::NOTTY | Errno::INVAL) => return Ok(false),
            Err(error) => return Err(error),
        }
    }
    Ok(true)
}

fn change(port: impl AsFd, on: bool, bits: c_int) -> rustix::io::Result<()> {
    // SAFETY: both requests read one int through the pointer and write nothing; `Setter` hands
    // them a pointer to the int it owns.
    unsafe {
        match on {
            true => ioctl(port, Setter::<TIOCMBIS, c_int>::new(bits)),
            false => ioctl(port, Setter::<TIOCMBIC, c_int>::new(bits)),
        }
    }
}

/// How the inputs stand: CTS, DSR, DCD, RI; true is on, a closed contact.
///
/// # Errors
/// `NOTTY` or `INVAL`: the port has none. Anything else: it is gone.
pub(super) fn inputs(port: impl AsFd) -> rustix::io::Result<[bool; 4]> {
    // SAFETY: the request writes one int through the pointer that `Getter` hands it.
    let bits = unsafe { ioctl(port, Getter::<TIOCMGET, c_int>::new()) }?;
    Ok([CTS, DSR, DCD, RI].map(|line| bits & line != 0))
}

/// Waits, as long as it takes, until one of the inputs moves. Blocks its thread.
///
/// # Errors
/// `NOTTY`, `INVAL`: this port can't be waited for. Anything else: it is gone, or a signal came.
pub(super) fn moved(port: impl AsFd) -> rustix::io::Result<()> {
    let lines = usize::try_from(CTS | DSR | DCD | RI).expect("a few bits");
    // SAFETY: the request takes the mask by value and touches no memory.
    unsafe { ioctl(port, IntegerSetter::<TIOCMIWAIT>::new_usize(lines)) }
}

/// What the kernel has counted on a port since it came (`struct serial_icounter_struct`).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Counts {
    /// Bytes that were lost, in the chip or before anybody read them.
    pub lost: i64,
    /// Bytes with a wrong stop bit or parity, and breaks.
    pub damaged: i64,
}

/// What was counted; `None` where the port counts nothing (a pty).
pub(super) fn counts(port: impl AsFd) -> Option<Counts> {
    // cts dsr rng dcd rx tx frame overrun parity brk buf_overrun, and nine that are reserved.
    // SAFETY: the request writes twenty ints through the pointer that `Getter` hands it.
    let all = unsafe { ioctl(port, Getter::<TIOCGICOUNT, [c_int; 20]>::new()) }.ok()?;
    let [frame, overrun, parity, breaks, buffer] = [6, 7, 8, 9, 10].map(|n| i64::from(all[n]));
    Some(Counts { lost: overrun + buffer, damaged: frame + parity + breaks })
}
