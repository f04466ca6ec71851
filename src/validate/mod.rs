//! Is what this program says of a bench to be believed? It is asked here, by the program itself.
//!
//! The station's core and its drivers stand on the demonstration's solved circuit, in virtual time:
//! no port, no disk, no clock. A person inspects faulty assets and makes mistakes; none may pass
//! but those that the page names. What a mistake does and its sentence stand side by side, so
//! that they are read together.

pub mod assets;
pub mod campaign;
pub mod case;
pub mod limits;
pub mod mistakes;
pub mod page;
pub mod reference;
pub mod rig;
