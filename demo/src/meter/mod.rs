//! The instruments: pure machines that say bytes. Moments are microseconds of the bench's clock.

mod contacts;
mod insulation;
mod low_ohm;
mod multimeter;
mod scpi;
mod talking;

pub use contacts::Contacts;
pub use insulation::{Insulation, Load};
pub use low_ohm::{LowOhm, Met};
pub use multimeter::{Multimeter, Seen};
pub use talking::Talking;
