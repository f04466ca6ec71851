//! Which plan an asset is inspected by.

use alloc::string::String;
use alloc::vec::Vec;

use super::expand::not_for;
use super::model::Plan;
use crate::register::Asset;

/// The plan for an asset.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Fit<'p> {
    /// The asset names it, and it is for the asset's class and cord.
    Own(&'p Plan),
    /// The asset names none; this one alone is for its class and cord.
    Follows(&'p Plan),
    /// The asset names none, and several are for it: a person chooses.
    Several(Vec<&'p Plan>),
    /// No plan is for its class and cord.
    None,
    /// The asset names a plan that is not here.
    Unknown(String),
    /// The asset names a plan that is not for its class or cord.
    NotForIt(&'p Plan),
}

impl<'p> Fit<'p> {
    /// The plan, where it is settled.
    #[must_use]
    pub fn plan(&self) -> Option<&'p Plan> {
        match self {
            Fit::Own(plan) | Fit::Follows(plan) => Some(plan),
            Fit::Several(_) | Fit::None | Fit::Unknown(_) | Fit::NotForIt(_) => None,
        }
    }
}

/// The asset's own plan, else the one that follows from class and cord.
#[must_use]
pub fn fits<'p>(asset: &Asset, plans: &'p [Plan]) -> Fit<'p> {
    if let Some(own) = &asset.plan {
        return match plans.iter().find(|plan| plan.id == *own) {
            None => Fit::Unknown(own.clone()),
            Some(plan) if not_for(plan, asset).is_empty() => Fit::Own(plan),
            Some(plan) => Fit::NotForIt(plan),
        };
    }
    let mut fitting: Vec<&Plan> =
        plans.iter().filter(|plan| !plan.by_name && not_for(plan, asset).is_empty()).collect();
    match fitting.len() {
        0 => Fit::None,
        1 => Fit::Follows(fitting.remove(0)),
        _ => Fit::Several(fitting),
    }
}
