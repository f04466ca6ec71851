//! The plan as written (format `tapline-plan-1`).

use alloc::collections::BTreeMap;
use alloc::string::String;
use alloc::vec::Vec;

use serde::{Deserialize, Serialize};
use tapline_drivers::Function;

use super::steps::{Settings, Switch};
use crate::correct::Network;
use crate::register::{Class, Cord, FixtureKind, Output, PartType};

macro_rules! words {
    ($(#[$doc:meta])* $name:ident { $($(#[$variant_doc:meta])* $variant:ident),* $(,)? }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
        #[serde(rename_all = "snake_case")]
        pub enum $name { $($(#[$variant_doc])* $variant),* }
    };
}

words! {
    /// What a step asks for.
    StepKind {
        /// Look the asset over.
        Look,
        /// Measure.
        Measure,
        /// Compute from other steps.
        Compute,
        /// Try a function.
        Try,
        /// Ask a question.
        Ask,
    }
}

words! {
    /// What a step is repeated over.
    Axis {
        /// Each protectively earthed accessible point.
        EarthedPoint,
        /// Each accessible part without protective earth.
        AccessiblePart,
        /// Each cord.
        Cord,
        /// Each applied part.
        AppliedPart,
        /// Each type of which the asset has two or more applied parts: all of them together.
        PartType,
        /// Each patient connection.
        Connection,
        /// Each operating state.
        OperatingState,
        /// Each supply inlet.
        Inlet,
        /// Both directions of a dc measuring current.
        DcDirection,
    }
}

words! {
    /// How the asset is touched.
    Contact {
        /// A clip on bare metal.
        ClipOnMetal,
        /// The plug.
        Plug,
        /// Foil of stated area.
        Foil,
        /// Saline.
        Saline,
        /// All connections joined with a named adapter.
        Joined,
    }
}

words! {
    /// The potential that the meter may come to.
    Potential {
        /// Up to 25 V ac, 60 V dc.
        ExtraLow,
        /// Mains.
        Mains,
        /// 500 V dc.
        #[serde(rename = "dc_500")]
        Dc500,
    }
}

words! {
    /// How several values become one.
    Combine {
        /// The largest magnitude.
        LargestMagnitude,
        /// The smallest.
        Smallest,
    }
}

words! {
    /// How readings become a captured value.
    Rule {
        /// The worst over a window.
        WorstOver,
        /// Settled.
        Settled,
        /// Smallest of the last readings at a time after the test voltage came.
        AfterSeconds,
        /// The operator captures.
        Operator,
    }
}

words! {
    /// What happens during the window.
    While {
        /// The cord is flexed.
        Flexed,
    }
}

words! {
    /// A link of the correction chain.
    Correct {
        /// Minus the resistance of the leads.
        LeadNull,
        /// Voltage over 1 kohm.
        Network,
        /// Scaled to the reference mains voltage.
        MainsScaling,
        /// Insulation at a reference temperature.
        Temperature,
        /// Root sum of squares.
        Rms,
    }
}

words! {
    /// A gate that opens other steps.
    Gate {
        /// Protective earth, proved by a pass.
        ProtectiveEarth,
    }
}

words! {
    /// What can hurt during a step.
    Hazard {
        /// The asset is energised.
        Live,
        /// An insulation test voltage is on.
        TestVoltage,
    }
}

words! {
    /// What must be shown besides the value.
    Proof {
        /// The measuring network and nothing else is in the path.
        NetworkResistance,
        /// The asset works in this condition.
        Alive,
        /// The supply is what it should be.
        Supply,
        /// The isolated source is on, and at mains voltage.
        Source,
        /// The path is closed before and after.
        ClosedPath,
        /// The ammeter sees a known current that the supply box puts on in both senses.
        TestCurrent,
    }
}

/// How readings become a captured value.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Capture {
    /// The rule.
    pub rule: Rule,
    /// Length of the window, or the time of `after_seconds`, seconds, 1 to 600.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub seconds: Option<u32>,
    /// What happens during the window.
    #[serde(default, rename = "while", skip_serializing_if = "Option::is_none")]
    pub during: Option<While>,
}

/// What an instrument must offer.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Needs {
    /// Any of these functions.
    pub function: Vec<Function>,
    /// Comparison such as `>= 0.2 A`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub test_current: Option<String>,
    /// Comparison such as `<= 24 V`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub open_circuit: Option<String>,
    /// Comparison such as `>= 500 V`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub test_voltage: Option<String>,
    /// `iec60601_fig12`, or the terminals of that of IEC 60990: `iec60990_u1`, `iec60990_u2`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub network: Option<String>,
    /// `measured_or_worst_case`, or `at_110_percent`: the supply must be there, nothing is scaled.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mains: Option<String>,
}

impl Needs {
    /// The terminals that the voltmeter is at; `None` without a network.
    #[must_use]
    pub fn terminals(&self) -> Option<Network> {
        self.network.as_deref().and_then(Network::of)
    }

    /// What its network is as a fixture.
    #[must_use]
    pub fn network_kind(&self) -> Option<FixtureKind> {
        self.terminals().map(|network| match network {
            Network::Fig12 => FixtureKind::NetworkFig12,
            Network::U1 | Network::U2 => FixtureKind::NetworkFig4,
        })
    }

    /// A setup is at the terminals that are asked for.
    pub(super) fn takes(&self, output: Option<Output>) -> bool {
        output == self.terminals().and_then(Network::output)
    }
}

/// Which assets a plan or a step is for; an empty list plays no part.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PlanFor {
    /// Protection classes.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub class: Vec<Class>,
    /// Mains connections.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub cord: Vec<Cord>,
    /// Types of applied parts; on a step alone. With the axis `applied_part` the others are left
    /// out, without it the asset must have one of them.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub applied_part: Vec<PartType>,
    /// Standards and editions that an asset was built to; of a whole plan alone. Another one, or
    /// none, is not for it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub built_to: Vec<String>,
}

/// A step as written.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Step {
    /// Its name within the plan.
    pub id: String,
    /// What it asks for.
    pub kind: StepKind,
    /// What is looked at, tried or asked.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub items: Vec<String>,
    /// Measurand, a word of `terms.toml`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub measurand: Option<String>,
    /// Method: a word, or a word by the asset's cord (`{ fixed = "fixed_cord", … }`).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub method: Option<Method>,
    /// Which assets it applies to.
    #[serde(default)]
    pub when: PlanFor,
    /// What it is repeated over, outermost first.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub each: Vec<Axis>,
    /// How the asset is touched.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub contact: Option<Contact>,
    /// The potential that the meter may come to.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub potential: Option<Potential>,
    /// How several values become one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub combine: Option<Combine>,
    /// What an instrument must offer.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub needs: Option<Needs>,
    /// How readings become a captured value.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub capture: Option<Capture>,
    /// Correction chain, in order.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub correct: Vec<Correct>,
    /// What `temperature` corrects to, degrees Celsius, a decimal.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub celsius: Option<String>,
    /// The gate that a pass proves.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub gate: Option<Gate>,
    /// The gate that must be proved first; not asked of class II and internally powered assets.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub needs_gate: Option<Gate>,
    /// What can hurt.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hazard: Option<Hazard>,
    /// Switches that stay. `S7` applies to class I only.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub set: Settings,
    /// Switches that are walked through, outermost first.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub sweep: Vec<Switch>,
    /// Condition of the limit, a word of `terms.toml`, where it does not follow from S1 and S7.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub condition: Option<String>,
    /// Fixtures it needs.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub fixtures: Vec<FixtureKind>,
    /// What must be shown besides the value.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub prove: Vec<Proof>,
    /// How the leads lie: a key of the words file.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lead: Option<String>,
    /// Cautions: keys of the words file.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub caution: Vec<String>,
    /// Off unless a reason is given when the inspection begins.
    #[serde(default, skip_serializing_if = "core::ops::Not::not")]
    pub by_reason: bool,
}

/// One method word, or one by the asset's cord.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum Method {
    /// The same for every cord.
    One(String),
    /// By the asset's cord.
    ByCord(BTreeMap<Cord, String>),
}

/// An inspection protocol.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Plan {
    /// `tapline-plan-1`.
    pub format: String,
    /// Its name.
    pub id: String,
    /// Title in words.
    pub title: String,
    /// Standard whose limits apply.
    pub standard: String,
    /// Edition of that standard.
    pub edition: String,
    /// Which assets it is for.
    #[serde(rename = "for", default)]
    pub for_assets: PlanFor,
    /// Fixtures without which it does not expand.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub fixtures: Vec<FixtureKind>,
    /// It is taken only where the asset or a person names it.
    #[serde(default, skip_serializing_if = "core::ops::Not::not")]
    pub by_name: bool,
    /// Steps in order.
    #[serde(rename = "step")]
    pub steps: Vec<Step>,
}
