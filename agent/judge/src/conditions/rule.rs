//! What a rule is made of: a row of the table of rules.

use crate::kinds::Traits;
use crate::memory::Memory;
use crate::play::Play;
use crate::track::Observation;
use traylight_config::Settings;
use traylight_data::reading::Snapshot;
use traylight_data::verdict::{Condition, Limit};

/// A kind of a rule's conditions.
#[derive(Debug, Clone, Copy)]
pub struct KindRow {
    /// What is told of it to put conditions together.
    pub(crate) traits: Traits,
    /// How a condition of it is played in a rehearsal.
    pub(crate) play: Play,
}

impl Traits {
    /// A kind with these traits that is played so.
    pub const fn played(self, play: Play) -> KindRow {
        KindRow { traits: self, play }
    }
}

/// What makes a condition: a constant of this type in each file of a rule.
#[derive(Debug)]
pub struct Rule {
    /// The kinds of its conditions. Each kind has one rule.
    pub(crate) kinds: &'static [KindRow],
    /// Looks at what is remembered and read, and says what it sees.
    pub(crate) observations: fn(&Settings, &Memory, &Snapshot) -> Vec<Observation>,
    /// From where on one of its conditions begins and ends. Limits that come from a drive itself need the snapshot.
    pub(crate) limits: fn(&Settings, Option<&Snapshot>, &Condition) -> Vec<Limit>,
}
