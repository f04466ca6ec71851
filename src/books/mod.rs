//! Books: append-only files that are their own proof.
//!
//! Reading order: `line` is one stored line, [`disk`] what is asked of a file system, [`place`]
//! where books lie, [`reader`] what is believed of a book, [`writer`] how lines become durable,
//! [`recover`] what is found at a start, [`seal`] how a book is closed for ever,
//! `verify` how anyone checks it, [`chain`] how addenda hang on what they add to, [`inventory`] how
//! a whole folder is checked.

mod addenda;
mod announced;
pub mod chain;
pub mod disk;
pub mod format;
pub mod halted;
pub mod inventory;
pub mod key;
pub mod line;
pub mod lines;
pub mod lock;
pub mod place;
mod read;
pub mod reader;
pub mod recover;
mod scan;
pub mod seal;
mod torn;
pub mod verify;
pub mod writer;

pub use disk::{Crash, Disk, Done, Fault, Folder, Memory};
pub use format::FORMAT;
pub use halted::{Cause, Halted};
pub use key::{Key, PublicKey};
pub use line::{Line, LineFault};
pub use lines::{Lines, OnShelf, Shelf, Text, Texts};
pub use lock::{Lock, LockFault};
pub use reader::{Commit, Ending, Reader, Tail, Unread};
pub use recover::{Damaged, Recovered};
pub use torn::SetAside;
pub use verify::verify;
pub use writer::Books;
