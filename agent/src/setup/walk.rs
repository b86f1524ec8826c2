//! How far the owner has come: plain data, which is kept after each answer and outlasts a power-off.

use serde::{Deserialize, Serialize};
use traylight_config::{ExpectedDrive, Shelf};

/// The format of what is kept. Another one is not continued.
pub const VERSION: u32 = 1;

/// All answers so far.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Walk {
    version: u32,
    /// How many shelves the box has.
    pub shelf_count: Option<usize>,
    /// Those described so far, top shelf first.
    pub shelves: Vec<PlannedShelf>,
    /// How the trays are named.
    pub way: Option<Way>,
    /// The drives at the last start, when trays are filled one at a time.
    pub last_start: Option<LastStart>,
    /// The owner has compared the drawing with the box.
    pub is_agreed: bool,
}

/// A shelf, as described by the owner.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PlannedShelf {
    /// Its name.
    pub name: String,
    /// Its trays, left to right.
    pub trays: Vec<PlannedTray>,
}

/// A tray, and what is in it once that is known.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PlannedTray {
    /// What is written on it.
    pub label: String,
    /// What is in it; `None` until it has its turn.
    pub holds: Option<Holds>,
}

/// What is in a tray.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Holds {
    /// No drive.
    Nothing,
    /// The drive with this serial.
    Serial(String),
    /// The drive on this port.
    Port(String),
}

/// How trays are named.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Way {
    /// By the serials that are printed on the drives.
    Serials,
    /// In the order of the ports.
    Ports,
    /// One tray is filled at a time, with the power off in between.
    OneByOne,
}

/// A start of the box while its trays are filled one at a time.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct LastStart {
    /// The kernel's id of this start.
    pub boot: String,
    /// The keys of the drives that were connected.
    pub drives: Vec<String>,
    /// The owner has taken the drives out of all trays.
    pub is_emptied: bool,
}

impl Walk {
    /// The beginning.
    pub fn begin() -> Self {
        Self { version: VERSION, shelf_count: None, shelves: Vec::new(), way: None, last_start: None, is_agreed: false }
    }

    /// From what was kept; `None` for another format or damaged text.
    pub fn from_text(text: &str) -> Option<Self> {
        serde_json::from_str(text).ok().filter(|walk: &Self| walk.version == VERSION)
    }

    /// All trays, as seen from the front: top shelf first, each from left to right.
    pub fn trays(&self) -> impl Iterator<Item = &PlannedTray> {
        self.shelves.iter().flat_map(|shelf| &shelf.trays)
    }

    /// The first tray that has not had its turn.
    pub fn unnamed(&self) -> Option<&PlannedTray> {
        self.trays().find(|tray| tray.holds.is_none())
    }

    /// The next tray gets its content.
    pub(super) fn name_next(&mut self, holds: Holds) {
        let mut trays = self.shelves.iter_mut().flat_map(|shelf| &mut shelf.trays);
        if let Some(tray) = trays.find(|tray| tray.holds.is_none()) {
            tray.holds = Some(holds);
        }
    }

    /// The naming starts over; shelves and labels stay.
    pub(super) fn forget_names(&mut self) {
        self.shelves.iter_mut().flat_map(|shelf| &mut shelf.trays).for_each(|tray| tray.holds = None);
        (self.way, self.last_start, self.is_agreed) = (None, None, false);
    }
}

impl PlannedTray {
    /// As the configuration has it.
    pub fn of(tray: &traylight_config::Tray) -> Self {
        let holds = match &tray.holds {
            None => Holds::Nothing,
            Some(ExpectedDrive::Serial(serial)) => Holds::Serial(serial.clone()),
            Some(ExpectedDrive::Port(port)) => Holds::Port(port.clone()),
        };
        Self { label: tray.label.clone(), holds: Some(holds) }
    }
}

impl PlannedShelf {
    /// As the configuration has it.
    pub fn of(shelf: &Shelf) -> Self {
        Self { name: shelf.name.clone(), trays: shelf.trays.iter().map(PlannedTray::of).collect() }
    }
}
