//! A simulated bench in an invented clinic: a circuit that is solved, and instruments that speak.
