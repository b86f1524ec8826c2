//! An open condition in the document, with its limits.

use crate::verdict::{IncidentId, Origin, Severity};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// An open condition.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Condition {
    /// The kind, such as `drive-gone`.
    pub id: String,
    /// ID of its incident: the only place where the two are connected.
    pub incident: Option<IncidentId>,
    /// The part that it is about.
    pub subject: String,
    /// Label of the tray, where it is about a drive in a named tray.
    pub tray: Option<String>,
    /// Serial number, where it is about a drive.
    pub serial: Option<String>,
    /// Severity.
    pub severity: Severity,
    /// Seconds since it opened; `null` when unknown: the clock was not set across a restart, or no agent runs.
    pub since_s: Option<u64>,
    /// Title of at most 21 characters.
    pub headline: String,
    /// One sentence.
    pub sentence: String,
    /// The sentence in its owner's language, when that is another than English; `null` in English.
    pub owners_sentence: Option<String>,
    /// Measured values and the limits they passed.
    pub evidence: Vec<String>,
    /// The limits at which it opens and closes.
    pub limits: Vec<Limit>,
    /// What to do.
    #[serde(rename = "do")]
    pub advice: String,
    /// What not to do.
    pub do_not: String,
}

impl Condition {
    /// The sentence for its owner.
    pub fn words(&self) -> &str {
        self.owners_sentence.as_ref().unwrap_or(&self.sentence)
    }
}

/// A limit of a condition.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Limit {
    /// The limit in words.
    pub words: String,
    /// The words in the owner's language, when that is another than English; `null` in English.
    pub owners_words: Option<String>,
    /// Where it comes from: the drive, the sensor chip, the configuration, its default, or the program.
    pub origin: Origin,
    /// Its figures by name; names end in their unit.
    pub figures: BTreeMap<String, f64>,
}
