//! What is judged of drives and pools that are well, too: where a drive sits and how warm it may be, and what a pool can
//! still lose.

use super::details::Down;
use super::limit::Origin;
use super::place::Place;
use crate::reading::{Member, MemberState};
use std::collections::BTreeSet;

/// What is judged of a drive that is there.
#[derive(Debug, Clone, PartialEq)]
pub struct JudgedDrive {
    /// Where it sits.
    pub place: Place,
    /// How warm it may be.
    pub heat: HeatLimits,
}

/// A drive's limits as they are in force, °C.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeatLimits {
    /// From here on it is warm.
    pub warning: f64,
    /// From here on it is too hot.
    pub critical: f64,
    /// Where they come from.
    pub origin: Origin,
}

/// What a pool can still lose.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Redundancy {
    /// How many members it lacks.
    pub lost: u32,
    /// False when more is lost than its layout survives.
    pub lives: bool,
    /// How many more losses it survives whichever members they hit.
    pub spare: u32,
    /// The places that it cannot lose as well.
    pub vital: BTreeSet<u32>,
    /// False for a layout in which nothing may ever be lost.
    pub is_redundant: bool,
    /// Why it does not serve its data, if it does not. Its layout decides, whatever its software has noticed: md goes on
    /// calling an array running that has lost one member too many until somebody reads or writes there.
    pub down: Option<Down>,
}

impl Redundancy {
    /// True for a member whose loss could be one too many. One that could not be read may hold what no other does.
    pub fn needs(&self, member: &Member) -> bool {
        let holds = |slot: u32| self.vital.contains(&slot);
        !member.device_gone
            && match member.state {
                MemberState::Active => member.slot.is_some_and(holds),
                MemberState::Unknown => !self.vital.is_empty(),
                _ => false,
            }
    }
}
