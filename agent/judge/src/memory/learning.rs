//! How the memory learns from a look at the box: part by part. A part sees the look, or what an earlier stage has learned
//! from it, and nothing but itself can it change; so within a stage the order of parts is of no matter.

use super::drives;
use super::grace::Grace;
use crate::kinds::Kinds;
use std::time::Duration;
use traylight_config::Settings;
use traylight_data::reading::Snapshot;
use traylight_data::verdict::Remark;

/// A look at the box, and what is known before any part learns from it.
#[derive(Debug, Clone, Copy)]
pub struct Look<'a> {
    /// The settings.
    pub settings: &'a Settings,
    /// The traits of the kinds of condition.
    pub kinds: &'a Kinds,
    /// What was read.
    pub snapshot: &'a Snapshot,
    /// How long the box was watched, over all restarts.
    pub watched: Duration,
    /// The drives that are or were there.
    pub drives: &'a drives::DriveMemory,
    /// How long what has not appeared yet is waited for.
    pub grace: Grace,
    /// A fan failed at the look before, or was suspected to: what is warm now must not become usual.
    pub is_fan_suspected: bool,
}

/// What is new after a part has learned.
#[derive(Debug, Default)]
pub struct Learned {
    /// True when it is worth keeping.
    pub is_new: bool,
    /// What is counted over a span.
    pub happened: Vec<CountedEvent>,
    /// What is worth a line.
    pub remarks: Vec<Remark>,
}

impl Learned {
    /// Nothing to count or to say.
    pub fn kept(is_new: bool) -> Self {
        Self { is_new, ..Self::default() }
    }
}

/// Something of the box that happened so often, which counts for so long.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CountedEvent {
    /// What it is counted as.
    pub what: String,
    /// How often.
    pub times: u64,
    /// For how long that counts.
    pub span: Duration,
}

/// A part of the memory that learns, from a [`Look`] or from what an earlier stage has made of it.
pub trait Learns<Input> {
    /// Takes it in; what is new.
    fn learn(&mut self, input: &Input) -> Learned;
}
