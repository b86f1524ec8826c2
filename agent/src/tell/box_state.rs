//! How the box stands, for channels that keep a state besides telling what is new.

use super::words::phrases::Language;
use std::collections::BTreeSet;

/// The state of a tray, or of a drive without one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PartState {
    /// What it is: `tray` or `drive`.
    pub kind: &'static str,
    /// The tray's label, or the drive's serial.
    pub name: String,
    /// Its state as one JSON object.
    pub state: String,
}

/// How the box stands.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct BoxState {
    /// The language of its sentence.
    pub language: Language,
    /// The name of the box.
    pub box_name: String,
    /// The box, as one JSON object.
    pub whole: String,
    /// Its trays and drives.
    pub parts: Vec<PartState>,
    /// True when all is well, as the verdict says it.
    pub is_fine: bool,
    /// The open incidents whose owner has not said that he knows, by their numbers.
    pub unacknowledged: BTreeSet<String>,
    /// What sets the messages of the box apart from those of others.
    pub mark: String,
    /// The sentence of the message that all is well.
    pub sentence: String,
}
