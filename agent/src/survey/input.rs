//! What the lists are made from.

use super::panels::AddressCheck;
use super::surroundings::Surroundings;
use crate::reading::Snapshot;
use std::path::Path;
use traylight_config::Settings;

/// What the survey is made from.
#[derive(Debug, Clone, Copy)]
pub struct SurveyInput<'a> {
    /// The readings.
    pub snapshot: &'a Snapshot,
    /// The configuration.
    pub settings: &'a Settings,
    /// The file of the configuration.
    pub config: &'a Path,
    /// The system around.
    pub surroundings: &'a Surroundings,
    /// Where panels were looked for.
    pub address_checks: &'a [AddressCheck],
}
