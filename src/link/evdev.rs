//! Taking an input node for us alone. Not exercised on hardware: no machine of ours has one.
#![allow(unsafe_code, reason = "no crate in use has a safe call for this request")]

use std::os::fd::AsFd;

use rustix::ioctl::{IntegerSetter, Opcode, ioctl, opcode};

/// `_IOW('E', 0x90, int)`, `<linux/input.h>`.
const EVIOCGRAB: Opcode = opcode::write::<std::ffi::c_int>(b'E', 0x90);

/// Takes an input node: its events come to us and to nobody else until it is closed.
///
/// # Errors
/// `BUSY`: another program has taken it. `NOTTY`, `INVAL`: it is no input node.
pub(super) fn grab(node: impl AsFd) -> rustix::io::Result<()> {
    // SAFETY: the request takes its argument by value, as yes or no, and touches no memory.
    unsafe { ioctl(node, IntegerSetter::<EVIOCGRAB>::new_usize(1)) }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Computed by a C compiler from <linux/input.h>: printf("%x", EVIOCGRAB).
    #[test]
    fn the_request_is_the_headers() {
        assert_eq!(EVIOCGRAB, 0x4004_4590);
    }

    #[test]
    fn what_is_no_input_node_says_so() {
        let none = std::fs::File::open("/dev/null").unwrap();
        assert_eq!(grab(none), Err(rustix::io::Errno::NOTTY));
    }
}
