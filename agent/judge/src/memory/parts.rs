//! What the parts of the memory have learned from a look, for those that learn from them in turn.

use super::counters::Counters;
use super::incident_store::IncidentStore;
use super::learning::Look;
use super::{pool_work, power_cycles};

/// What is known once the parts have learned.
#[derive(Debug, Clone, Copy)]
pub struct LearnedParts<'a> {
    /// The look that they learned from.
    pub look: Look<'a>,
    /// What drives count.
    pub counters: &'a Counters,
    /// What they count of their starts.
    pub power_cycles: &'a power_cycles::PowerCycleMemory,
    /// How the work on pools gets on.
    pub work: &'a pool_work::WorkMemory,
    /// The incidents that were open at the look before.
    pub incident_store: &'a IncidentStore,
}
