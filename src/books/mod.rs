//! Books: append-only files that are their own proof.
//!
//! Reading order: [`line`] is one stored line, [`disk`] what is asked of a file system, [`place`]
//! where books lie, [`reader`] what is believed of a book.

pub mod disk;
pub mod halted;
pub mod key;
pub mod line;
pub mod place;
pub mod reader;

pub use disk::{Crash, Disk, Folder, Memory};
pub use halted::{Cause, Halted};
pub use key::{Key, PublicKey};
pub use line::{Line, LineFault};
pub use reader::{Commit, Ending, Reader, Tail, Unread};
