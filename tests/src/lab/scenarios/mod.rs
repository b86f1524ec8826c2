//! What the lab plays. A new scenario is a file with a `play` function, and a line in [`ALL`].
//!
//! In reading order: `heron` (the box that they share), `look` (what the program says of it), then the scenarios.
#![allow(clippy::disallowed_methods, reason = "the programs to be tested are found and copied")]

mod btrfs;
mod cost;
mod drive_hangs;
mod drives_speak;
mod heron;
mod latency;
mod link_breaks;
mod look;
mod lvm;
mod nvme_warns;
mod panel_comes_and_goes;
mod pool_sizes;
mod pools;
mod raid5_member_lost;
mod read_errors;
mod self_test;
mod stopped_drive_left_alone;
mod unplugged;
mod utilities;
mod volumes;
mod zfs;

use super::debian;
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
        about: "a whole box is told as it is; a drive of its RAID 5 goes, then a good one by a wrong hand",
        system: System::Host,
        play: raid5_member_lost::play,
    },
    Scenario {
        name: "link_breaks",
        about: "the link of a good SATA drive breaks while its pool lacks another: the kernel gives it up, and it must go back",
        system: System::Host,
        play: link_breaks::play,
    },
    Scenario {
        name: "unplugged",
        about: "parts of all kinds are unplugged, alone and together; each is one incident, over restarts, too",
        system: System::Host,
        play: unplugged::play,
    },
    Scenario {
        name: "read_errors",
        about: "a sector of a drive in a RAID 5 cannot be read; md mends it, and the drive is not blamed",
        system: System::Host,
        play: read_errors::play,
    },
    Scenario {
        name: "latency",
        about: "a pool loses drives, one at a time, and how long log and panel take to say so is measured",
        system: System::Host,
        play: latency::play,
    },
    Scenario {
        name: "pools",
        about: "pools of md lose members, rebuild and are compared, and mdadm says the same",
        system: System::Host,
        play: pools::play,
    },
    Scenario {
        name: "volumes",
        about: "volumes are absent, get full, have errors, hang and stop, and df says the same",
        system: System::Host,
        play: volumes::play,
    },
    Scenario {
        name: "btrfs",
        about: "a mirror of btrfs loses a drive unsaid, and a small pool runs out of metadata",
        system: System::Host,
        play: btrfs::play,
    },
    Scenario {
        name: "drives_speak",
        about: "drives of all kinds say how they are, and general utilities hear the same",
        system: System::Host,
        play: drives_speak::play,
    },
    Scenario {
        name: "drive_hangs",
        about: "three of eight drives hang; the others, the log and the panel go on",
        system: System::Host,
        play: drive_hangs::play,
    },
    Scenario {
        name: "nvme_warns",
        about: "an NVMe drive raises its critical warnings, and the next reading tells which are serious",
        system: System::Host,
        play: nvme_warns::play,
    },
    Scenario {
        name: "panel_comes_and_goes",
        about: "the panel is unplugged and loses its power, and the program crashes; the panel never tells what is not so",
        system: System::Host,
        play: panel_comes_and_goes::play,
    },
    Scenario {
        name: "stopped_drive_left_alone",
        about: "a stopped drive is asked whether it sleeps, and nothing else",
        system: System::Host,
        play: stopped_drive_left_alone::play,
    },
    Scenario {
        name: "self_test",
        about: "a drive tests itself when its owner says so; a sleeping one and one that cannot are left alone",
        system: System::Host,
        play: self_test::play,
    },
    Scenario {
        name: "zfs",
        about: "a pool of ZFS is scrubbed, loses drives and is suspended, and zpool says the same",
        system: System::Debian,
        play: zfs::play,
    },
    Scenario {
        name: "lvm",
        about: "mirrored and RAID 5 volumes of LVM lose a drive, and lvs says the same",
        system: System::Debian,
        play: lvm::play,
    },
];

/// What runs in a scenario's machine.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum System {
    /// This computer's own root, on the stock kernel of its Debian.
    Host,
    /// A Debian 13 that is made for the lab; its scenarios are played when they are asked for.
    Debian,
}

/// One story.
pub struct Scenario {
    /// What it is asked for by.
    pub name: &'static str,
    /// One line about it.
    pub about: &'static str,
    /// What it needs.
    pub system: System,
    /// Plays it, step by step.
    pub play: fn(&Bench, &mut Report) -> Result<(), Failed>,
}

impl Scenario {
    /// False for what is played only when it is asked for by name: what needs another system.
    pub fn is_played_unasked(&self) -> bool {
        self.system == System::Host
    }
}

/// What all scenarios use.
#[derive(Debug)]
pub struct Bench {
    /// The guest's kernel and first file system.
    pub parts: Parts,
    /// The same for scenarios that need a system of its own, if any of them is played.
    pub debian: Option<Parts>,
    /// Consoles are kept here, and what is made only once.
    pub keep: PathBuf,
    /// The program under test.
    pub traylight: PathBuf,
    /// The program that is the panel.
    pub pretend_i2c: PathBuf,
}

impl Bench {
    /// Finds the programs (`traylight` is beside the lab's own, if not said otherwise) and makes the parts, with those of
    /// a system of its own if that is needed.
    ///
    /// # Errors
    /// When a program is not there, or the parts cannot be made.
    pub fn make(traylight: Option<&Path>, needs_debian: bool) -> Result<Self, LabError> {
        let own = env::current_exe().map_err(LabError::file("find", Path::new("the lab's own program")))?;
        let beside = own.parent().unwrap_or(Path::new("/"));
        let keep = beside.parent().unwrap_or(beside).join("lab");
        fs::create_dir_all(&keep).map_err(LabError::file("make", &keep))?;
        Ok(Self {
            traylight: program(traylight.unwrap_or(&beside.join("traylight")))?,
            pretend_i2c: program(&beside.join("pretend-i2c"))?,
            parts: Parts::make(&keep)?,
            debian: needs_debian.then(|| debian::make(&keep)).transpose()?,
            keep,
        })
    }
}

fn program(path: &Path) -> Result<PathBuf, LabError> {
    path.canonicalize().map_err(LabError::file("find the program", path))
}
