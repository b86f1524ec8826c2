//! What the lab plays. A new scenario is a file with a `play` function, and a line in [`ALL`].
//!
//! In reading order: `heron` (the box that they share), `look` (what the program says of it), then the scenarios.
#![allow(clippy::disallowed_methods, reason = "the programs to be tested are found and copied")]

mod btrfs;
mod cost;
mod drive_hangs;
mod drives_speak;
mod heron;
mod look;
mod nvme_warns;
mod pool_sizes;
mod pools;
mod raid5_member_lost;
mod self_test;
mod stopped_drive_left_alone;
mod utilities;
mod volumes;

use super::error::LabError;
use super::parts::Parts;
use super::report::{Failed, Report};
use std::env;
use std::fs;
use std::path::{Path, PathBuf};

/// All scenarios, in the order in which they are played.
pub const ALL: &[Scenario] = &[
    Scenario {
        name: "raid5_member_lost",
        about: "a whole box is told as it is; then a drive of its RAID 5 goes",
        play: raid5_member_lost::play,
    },
    Scenario {
        name: "pools",
        about: "pools of md lose members, rebuild and are compared, and mdadm says the same",
        play: pools::play,
    },
    Scenario {
        name: "volumes",
        about: "volumes are absent, get full, have errors, hang and stop, and df says the same",
        play: volumes::play,
    },
    Scenario {
        name: "btrfs",
        about: "a mirror of btrfs loses a drive unsaid, and a small pool runs out of metadata",
        play: btrfs::play,
    },
    Scenario {
        name: "drives_speak",
        about: "drives of all kinds say how they are, and general utilities hear the same",
        play: drives_speak::play,
    },
    Scenario {
        name: "drive_hangs",
        about: "three of eight drives hang; the others, the log and the panel go on",
        play: drive_hangs::play,
    },
    Scenario {
        name: "nvme_warns",
        about: "an NVMe drive raises its critical warnings, and the next reading tells which are serious",
        play: nvme_warns::play,
    },
    Scenario {
        name: "stopped_drive_left_alone",
        about: "a stopped drive is asked whether it sleeps, and nothing else",
        play: stopped_drive_left_alone::play,
    },
    Scenario {
        name: "self_test",
        about: "a drive tests itself when its owner says so; a sleeping one and one that cannot are left alone",
        play: self_test::play,
    },
];

/// One story.
pub struct Scenario {
    /// What it is asked for by.
    pub name: &'static str,
    /// One line about it.
    pub about: &'static str,
    /// Plays it, step by step.
    pub play: fn(&Bench, &mut Report) -> Result<(), Failed>,
}

/// What all scenarios use.
#[derive(Debug)]
pub struct Bench {
    /// The guest's kernel and first file system.
    pub parts: Parts,
    /// Consoles are kept here, and what is made only once.
    pub keep: PathBuf,
    /// The program under test.
    pub traylight: PathBuf,
    /// The program that is the panel.
    pub pretend_i2c: PathBuf,
}

impl Bench {
    /// Finds the programs (`traylight` is beside the lab's own, if not said otherwise) and makes the parts.
    ///
    /// # Errors
    /// When a program is not there, or the parts cannot be made.
    pub fn make(traylight: Option<&Path>) -> Result<Self, LabError> {
        let own = env::current_exe().map_err(LabError::file("find", Path::new("the lab's own program")))?;
        let beside = own.parent().unwrap_or(Path::new("/"));
        let keep = beside.parent().unwrap_or(beside).join("lab");
        fs::create_dir_all(&keep).map_err(LabError::file("make", &keep))?;
        Ok(Self {
            traylight: program(traylight.unwrap_or(&beside.join("traylight")))?,
            pretend_i2c: program(&beside.join("pretend-i2c"))?,
            parts: Parts::make(&keep)?,
            keep,
        })
    }
}

fn program(path: &Path) -> Result<PathBuf, LabError> {
    path.canonicalize().map_err(LabError::file("find the program", path))
}
