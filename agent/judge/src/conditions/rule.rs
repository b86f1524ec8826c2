//! What a rule is made of: a row of the table of rules.

use crate::kinds::Traits;
use crate::memory::Memory;
use crate::track::Observation;
use traylight_config::Settings;
use traylight_data::reading::Snapshot;
use traylight_data::verdict::{Condition, Limit};

/// What makes a condition: a constant of this type in each file of a rule.
#[derive(Debug)]
pub struct Rule {
    /// The kinds of its conditions. Each kind has one rule.
    pub(crate) kinds: &'static [Traits],
    /// Looks at what is remembered and read, and says what it sees.
    pub(crate) observations: fn(&Settings, &Memory, &Snapshot) -> Vec<Observation>,
    /// From where on one of its conditions begins and ends. Limits that come from a drive itself need the snapshot.
    pub(crate) limits: fn(&Settings, Option<&Snapshot>, &Condition) -> Vec<Limit>,
}
