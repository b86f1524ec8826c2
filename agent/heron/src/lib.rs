//! The pretend box `heron`, which keeps bird-song recordings in a reserve's hut: its configuration, what stands in it, and
//! the story of an hour. For demonstrations, rehearsals of the words, and tests.

pub mod heron;
pub mod story;

use traylight_config::{Problems, Settings, settle};

/// The settings of the pretend box.
pub fn settings() -> Result<Settings, Problems> {
    settle(include_str!("heron.toml"), "heron.toml")
}
