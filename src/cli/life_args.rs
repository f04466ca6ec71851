//! What can be typed to act on a sealed inspection.

use clap::Subcommand;
use tapline_protocols::life::AMEND_REASONS;

/// What is done to a sealed inspection: nothing in it changes, each act is added to it.
#[derive(Debug, Subcommand)]
pub enum LifeCommand {
    /// Look through an inspection that others made, or list those that wait for it
    Review {
        /// Inspection; without one: what waits
        id: Option<String>,
        /// What there is to say of it
        #[arg(long, value_name = "TEXT", conflicts_with = "reject")]
        remark: Option<String>,
        /// It does not stand: why
        #[arg(long, value_name = "REASON")]
        reject: Option<String>,
    },
    /// Put a part of a sealed inspection right; what stood there stays readable
    Amend {
        /// Inspection
        id: String,
        /// Field and what stands there from now on: location, owner, tag, remark, answer/STEP/ITEM,
        /// or value/LINE=CAUSE to set a captured value aside
        #[arg(required = true, value_name = "FIELD=TEXT")]
        change: Vec<String>,
        /// Why
        #[arg(long, value_parser = AMEND_REASONS)]
        reason: String,
        /// Why, in words of at least 10 characters
        #[arg(long)]
        text: String,
        /// Second person: needed where something comes out better
        #[arg(long, value_name = "OPERATOR")]
        second: Option<String>,
    },
    /// It was another asset that was inspected: noted at both, whose dates come right again
    Reattach {
        /// Inspection
        id: String,
        /// The asset that was really inspected
        #[arg(long, value_name = "ASSET")]
        to: String,
        /// How that was found, in words of at least 10 characters
        #[arg(long)]
        text: String,
        /// Second person: without one it counts for the other asset once it was reviewed
        #[arg(long, value_name = "OPERATOR")]
        second: Option<String>,
    },
    /// Give a pass out; reviewed before, where the policy asks for that
    Release {
        /// Inspection
        id: String,
    },
}
