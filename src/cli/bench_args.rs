//! What can be typed to act at the bench.

use clap::Subcommand;

/// What is done at the bench.
#[derive(Debug, Subcommand)]
pub enum BenchCommand {
    /// As if the code had been scanned; a label in two parts with both codes, one after the other
    Scan {
        /// The code
        #[arg(required = true, num_args = 1..=4, value_name = "CODE")]
        codes: Vec<String>,
    },
    /// Tell of a new asset what its plan follows from: of the unknown one that was scanned, or of
    /// the one named (asset=NUMBER). The station asks for what is missing. While an inspection is
    /// open: its asset's maker, model, serial or owner, where nobody said it yet
    Describe {
        /// Column of the list and its text, such as class=I or "description=infusion pump";
        /// earthed_points=none, asset=new for a provisional number
        #[arg(required = true, value_name = "COLUMN=TEXT")]
        tell: Vec<String>,
    },
    /// Hold an instrument against a check standard, before it is believed
    Check {
        /// The check standard
        standard: String,
        /// Instrument [default: the only one of the bench that it fits]
        #[arg(long)]
        instrument: Option<String>,
    },
    /// Open an inspection
    Begin {
        /// Plan [default: the asset's own, else the one that fits]
        plan: Option<String>,
        /// Asset [default: the one that was scanned]
        #[arg(long)]
        asset: Option<String>,
        /// acceptance, scheduled, after_repair or other [default: what its order says, else
        /// scheduled]
        #[arg(long)]
        reason: Option<String>,
        /// Work order that it is made for; none for none [default: the only open one of the asset]
        #[arg(long)]
        order: Option<String>,
        /// Step of the plan that is off unless asked for, such as insulation; give it once for each
        #[arg(long, value_name = "STEP")]
        with: Vec<String>,
    },
    /// A deliberate act: connected, clear, live, dead, or test for the lever of the test current
    Act {
        /// Which
        #[arg(value_parser = ["connected", "clear", "live", "dead", "test"])]
        what: String,
    },
    /// Arm a capture, or capture where the operator decides the moment
    Capture,
    /// Set a captured value aside; it stays in the record
    Discard {
        /// Number of the value's line
        seq: u64,
        /// Why it is wrong
        #[arg(long, value_parser = [
            "lead_slipped", "wrong_point", "wrong_lead", "wrong_setting", "instrument_fault",
        ])]
        cause: String,
        /// Second person; without one a failing value stays in force
        #[arg(long)]
        second: Option<String>,
    },
    /// Measure a step once more; what was captured stays
    Repeat {
        /// Step
        step: String,
    },
    /// Leave the active step out; the outcome is then undecided
    Skip {
        /// Why
        #[arg(long)]
        reason: String,
    },
    /// Answer what is to be looked at, tried or asked
    Answer {
        /// pass, fail or not_applicable
        #[arg(value_parser = ["pass", "fail", "not_applicable"])]
        answer: String,
        /// Item [default: all that are open]
        #[arg(long)]
        item: Option<String>,
        /// Why
        #[arg(long)]
        reason: Option<String>,
    },
    /// Null a lead set
    Null {
        /// Lead set
        lead: String,
    },
    /// Prove the supply, the source, the path, or that the asset is alive
    Prove {
        /// supply, source, network_resistance, closed_path or alive
        #[arg(value_parser = ["supply", "source", "network_resistance", "closed_path", "alive"])]
        what: String,
        /// Supply: line conductor to neutral; source: what its own voltmeter shows; volts
        #[arg(long)]
        ln: Option<String>,
        /// Supply: neutral to protective earth, volts
        #[arg(long)]
        npe: Option<String>,
        /// Supply: line conductor to protective earth, volts
        #[arg(long)]
        lpe: Option<String>,
    },
    /// Say the temperature of the asset, twice, for an insulation that is judged at another one
    Temperature {
        /// Degrees Celsius
        celsius: String,
        /// What it was read from, such as "thermometer TH-1 on the housing"
        #[arg(long)]
        source: String,
    },
    /// Enter what a meter without a line shows, twice, each time read from it: 2.5 MOhm, "> 20 GOhm"
    Enter {
        /// Number and unit; "> 20 GOhm" or above 20 GOhm; OL
        #[arg(required = true, allow_hyphen_values = true)]
        shows: Vec<String>,
    },
    /// Declare switches of the supply box, such as S5=reversed
    Switch {
        /// Switch and setting
        #[arg(required = true, value_name = "SWITCH=SETTING")]
        set: Vec<String>,
    },
    /// Open a gate that is undecided, by competence; never a failed protective earth
    Override {
        /// Step of the plan
        step: String,
        /// Why
        #[arg(long)]
        reason: String,
    },
    /// A remark for the record
    Note {
        /// The remark
        text: String,
    },
    /// Let the inspection rest
    Park,
    /// Go on with a resting inspection
    Resume {
        /// Inspection
        id: String,
    },
    /// End an inspection that was not measured through
    End {
        /// What came of it
        #[arg(long, value_parser = [
            "not_found", "in_use", "with_patient", "sent_out", "retired", "given_up",
        ])]
        outcome: String,
        /// Why
        #[arg(long)]
        reason: String,
    },
    /// Sign and seal
    Sign {
        /// Meaning of the signature
        #[arg(long = "as", default_value = "performed", value_parser = ["performed"])]
        meaning: String,
        /// attached or refused; needed unless the outcome is a pass
        #[arg(long, value_parser = ["attached", "refused"])]
        tag: Option<String>,
        /// Why the tag was refused
        #[arg(long)]
        reason: Option<String>,
    },
}
