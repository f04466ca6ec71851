//! DTR and RTS of a port that is open for reading only.
#![allow(unsafe_code, reason = "no crate in use has a safe call for these two requests")]

use std::ffi::c_int;
use std::os::fd::AsFd;

use rustix::io::Errno;
use rustix::ioctl::{Opcode, Setter, ioctl};

// Requests and bits of Linux, <asm-generic/termios.h> and <asm-generic/ioctls.h>.
const TIOCMBIS: Opcode = 0x5416;
const TIOCMBIC: Opcode = 0x5417;
const DTR: c_int = 0x002;
const RTS: c_int = 0x004;

/// Sets both modem control signals. A port without them (a pty) says so, and that is no fault.
///
/// # Errors
/// What the system says, but for "not a typewriter".
pub(super) fn set(port: impl AsFd, dtr: bool, rts: bool) -> rustix::io::Result<()> {
    let pick = |on: bool| (if dtr == on { DTR } else { 0 }) | (if rts == on { RTS } else { 0 });
    for (request, bits) in [(true, pick(true)), (false, pick(false))] {
        if bits == 0 {
            continue;
        }
        match change(&port, request, bits) {
            Ok(()) => {}
            Err(Errno::NOTTY | Errno::INVAL) => return Ok(()),
            Err(error) => return Err(error),
        }
    }
    Ok(())
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
