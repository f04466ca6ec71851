//! The calls of the kernel's node for USBTMC, `<linux/usb/tmc.h>`.
#![allow(unsafe_code, reason = "no crate in use has safe calls for these requests")]

use std::os::fd::AsFd;

use rustix::io::Result;
use rustix::ioctl::{Getter, NoArg, Opcode, Setter, ioctl, opcode};

/// `USBTMC_IOC_NR`.
const GROUP: u8 = 91;
const CLEAR: Opcode = opcode::none(GROUP, 2);
const ABORT_BULK_OUT: Opcode = opcode::none(GROUP, 3);
const ABORT_BULK_IN: Opcode = opcode::none(GROUP, 4);
const SET_TIMEOUT: Opcode = opcode::write::<u32>(GROUP, 10);
const GET_CAPS: Opcode = opcode::read::<u8>(GROUP, 17);
const READ_STB: Opcode = opcode::read::<u8>(GROUP, 18);
const REN_CONTROL: Opcode = opcode::write::<u8>(GROUP, 19);
const GOTO_LOCAL: Opcode = opcode::none(GROUP, 20);
const MSG_IN_ATTR: Opcode = opcode::read::<u8>(GROUP, 24);
const AUTO_ABORT: Opcode = opcode::write::<u8>(GROUP, 25);

/// `USBTMC488_CAPABILITY_REN_CONTROL`; the same bit says that it goes to local.
const CAN_REMOTE: u8 = 2;
/// End of message, of the attributes of a transfer (USBTMC 1.00, table 9; from memory).
const EOM: u8 = 1;

/// Sets the time-out, lets the kernel abort what fails, takes remote control where that is to be
/// had, and clears the instrument.
pub(super) fn prepare(node: impl AsFd, transfer_ms: u32) -> Result<()> {
    // SAFETY: both requests read as many bytes as `Setter` hands them a pointer to.
    unsafe {
        ioctl(&node, Setter::<SET_TIMEOUT, u32>::new(transfer_ms))?;
        // An older kernel does not know it: what fails is aborted by us all the same.
        let _ = ioctl(&node, Setter::<AUTO_ABORT, u8>::new(1));
    }
    if can_remote(&node) {
        // SAFETY: the request reads one byte.
        unsafe { ioctl(&node, Setter::<REN_CONTROL, u8>::new(1))? };
    }
    clear(node)
}

fn can_remote(node: impl AsFd) -> bool {
    // SAFETY: the request writes one byte.
    let caps = unsafe { ioctl(node, Getter::<GET_CAPS, u8>::new()) };
    caps.is_ok_and(|caps| caps & CAN_REMOTE != 0)
}

/// Gives the keys back to whoever stands before the instrument.
pub(super) fn let_go(node: impl AsFd) {
    if can_remote(&node) {
        // SAFETY: the request has no argument. An instrument that is gone needs none.
        let _ = unsafe { ioctl(node, NoArg::<GOTO_LOCAL>::new()) };
    }
}

/// Empties the instrument's input and output.
pub(super) fn clear(node: impl AsFd) -> Result<()> {
    // SAFETY: the request has no argument.
    unsafe { ioctl(node, NoArg::<CLEAR>::new()) }
}

/// Gives up what was being sent.
pub(super) fn abort_out(node: impl AsFd) -> Result<()> {
    // SAFETY: the request has no argument.
    unsafe { ioctl(node, NoArg::<ABORT_BULK_OUT>::new()) }
}

/// Gives up what was being read.
pub(super) fn abort_in(node: impl AsFd) -> Result<()> {
    // SAFETY: the request has no argument.
    unsafe { ioctl(node, NoArg::<ABORT_BULK_IN>::new()) }
}

/// The status byte, over the control pipe.
pub(super) fn status(node: impl AsFd) -> Result<u8> {
    // SAFETY: the request writes one byte.
    unsafe { ioctl(node, Getter::<READ_STB, u8>::new()) }
}

/// What was read last ended the answer.
pub(super) fn was_last(node: impl AsFd) -> Result<bool> {
    // SAFETY: the request writes one byte.
    let attributes = unsafe { ioctl(node, Getter::<MSG_IN_ATTR, u8>::new()) }?;
    Ok(attributes & EOM != 0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rustix::io::Errno;

    // Computed by a C compiler from <linux/usb/tmc.h>: printf("%lx", USBTMC_IOCTL_CLEAR) and so on.
    #[test]
    fn the_requests_are_the_headers() {
        assert_eq!(
            [CLEAR, ABORT_BULK_OUT, ABORT_BULK_IN, SET_TIMEOUT, GET_CAPS],
            [0x5b02, 0x5b03, 0x5b04, 0x4004_5b0a, 0x8001_5b11]
        );
        assert_eq!(
            [READ_STB, REN_CONTROL, GOTO_LOCAL, MSG_IN_ATTR, AUTO_ABORT],
            [0x8001_5b12, 0x4001_5b13, 0x5b14, 0x8001_5b18, 0x4001_5b19]
        );
    }

    #[test]
    fn what_is_no_such_node_says_so() {
        let none = std::fs::File::open("/dev/null").unwrap();
        assert_eq!(prepare(&none, 1_000), Err(Errno::NOTTY));
        assert_eq!(status(&none), Err(Errno::NOTTY));
        let_go(&none);
    }
}
