//! What is asked next, and what an answer changes. A function of the walk so far and of the box as it is now.

use super::candidates::Candidate;
use super::walk::{Holds, LastStart, PlannedShelf, PlannedTray, Walk, Way};
use traylight_config::{Shelf, settle};

/// As the configuration allows.
const MOST: usize = 16;
/// So many characters of a serial are enough to mean one drive.
const TAIL: usize = 4;

/// The box as it is now.
#[derive(Debug)]
pub struct Scene<'a> {
    /// The drives that trays can hold, in the order of their ports.
    pub drives: Vec<Candidate>,
    /// The kernel's id of this start; `None` where it is not known.
    pub boot: Option<String>,
    /// The shelves that the configuration has already.
    pub configured: &'a [Shelf],
    /// What a shelf is called that has no name yet, such as "shelf".
    pub shelf_word: &'a str,
}

/// What comes next.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Step {
    /// How many shelves?
    Shelves {
        /// What an empty answer stands for.
        proposed: usize,
    },
    /// The labels of the trays of this shelf, counted from 1.
    Labels {
        /// Which shelf, from 1.
        shelf: usize,
        /// What an empty answer stands for.
        proposed: Vec<String>,
    },
    /// How are the trays to be named?
    Way,
    /// Is the order of the ports that of the trays?
    Ports {
        /// Each tray with the drive that would be in it.
        order: Vec<(String, Candidate)>,
    },
    /// Which serial is printed on the drive in this tray?
    Serial {
        /// The label of the tray.
        tray: String,
    },
    /// The power goes off and all trays are emptied: the walk pauses.
    TakeOut,
    /// Do none of these belong in a tray?
    Emptied {
        /// The drives that are still connected.
        left: Vec<Candidate>,
    },
    /// The power goes off and this tray gets its drive: the walk pauses.
    PutIn {
        /// The label of the tray.
        tray: String,
    },
    /// Is this the drive that was put into the tray?
    Found {
        /// The label of the tray.
        tray: String,
        /// The drive that has come.
        drive: Box<Candidate>,
    },
    /// No drive has come: is the tray meant to be empty?
    NoneNew {
        /// The label of the tray.
        tray: String,
    },
    /// More than one drive has come, one has gone, or it cannot be recognised: the walk pauses.
    Unclear {
        /// The label of the tray.
        tray: String,
        /// The drives that have come since the last start.
        new: Vec<Candidate>,
        /// The keys of those that have gone.
        gone: Vec<String>,
    },
    /// Are all trays right?
    Agree {
        /// The trays whose drive is not connected now.
        absent: Vec<String>,
    },
    /// All is known: the configuration can be written.
    Write,
}

impl Step {
    /// True where there is nothing to answer before the power was off.
    pub fn is_pause(&self) -> bool {
        matches!(self, Self::TakeOut | Self::PutIn { .. } | Self::Unclear { .. })
    }
}

/// What the owner has answered.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Answer {
    /// A text that was typed.
    Text(String),
    /// One of the ways was chosen.
    Way(Way),
    /// A question was affirmed or denied.
    Yes(bool),
}

/// Why an answer does not count.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Wrong {
    /// It is no number of shelves.
    Number {
        /// What was given.
        found: String,
    },
    /// No label was given, or too many.
    LabelCount {
        /// What was given.
        found: usize,
    },
    /// It is no label.
    Label {
        /// What was given.
        found: String,
    },
    /// Two trays would have this label.
    LabelTwice {
        /// The label.
        label: String,
    },
    /// It is too short for the end of a serial.
    TooShort {
        /// What was given.
        found: String,
    },
    /// No drive has such a serial.
    NoSerial {
        /// What was given.
        found: String,
        /// The drives that are connected.
        there: Vec<Candidate>,
    },
    /// Several serials end like this.
    Ambiguous {
        /// What was given.
        found: String,
        /// The drives that fit.
        fitting: Vec<Candidate>,
    },
    /// The drive is in another tray already.
    Taken {
        /// What was given.
        serial: String,
        /// The label of the tray.
        tray: String,
    },
    /// The ports have no order that could be trusted.
    NoOrder {
        /// The drives in question.
        drives: Vec<String>,
    },
    /// The trays are more or fewer than the drives: which one is empty is not in the ports.
    NotAsMany {
        /// How many trays.
        trays: usize,
        /// How many drives.
        drives: usize,
    },
    /// Whether the box was off cannot be known.
    NoBootId,
    /// Neither yes nor no.
    NotYesOrNo,
}

/// What comes next.
pub fn next(walk: &Walk, scene: &Scene) -> Step {
    let Some(count) = walk.shelf_count else { return Step::Shelves { proposed: scene.configured.len().max(1) } };
    if walk.shelves.len() < count {
        return Step::Labels { shelf: walk.shelves.len() + 1, proposed: proposed(walk, count, scene) };
    }
    let Some(way) = walk.way else { return Step::Way };
    match (walk.unnamed(), way) {
        (None, _) if walk.is_agreed => Step::Write,
        (None, _) => Step::Agree { absent: absent(walk, scene) },
        (Some(tray), Way::Serials) => Step::Serial { tray: tray.label.clone() },
        (Some(_), Way::Ports) => {
            let labels = walk.trays().map(|tray| tray.label.clone());
            Step::Ports { order: labels.zip(scene.drives.iter().cloned()).collect() }
        }
        (Some(tray), Way::OneByOne) => one_by_one(walk.last_start.as_ref(), tray, scene),
    }
}

/// Labels for the next shelf: those that it has in the configuration, else numbers for the drives that are there.
fn proposed(walk: &Walk, count: usize, scene: &Scene) -> Vec<String> {
    let shelf = walk.shelves.len();
    if let Some(configured) = scene.configured.get(shelf) {
        return configured.trays.iter().map(|tray| tray.label.clone()).collect();
    }
    let before = walk.trays().count();
    let left = scene.drives.len().saturating_sub(before).div_ceil(count - shelf).clamp(1, MOST);
    (before + 1..=before + left).map(|number| number.to_string()).collect()
}

/// The labels of trays whose drive is not connected now.
fn absent(walk: &Walk, scene: &Scene) -> Vec<String> {
    let is_absent = |tray: &&PlannedTray| match &tray.holds {
        None | Some(Holds::Nothing) => false,
        Some(holds) => !scene.drives.iter().any(|drive| drive.is_in(holds)),
    };
    walk.trays().filter(is_absent).map(|tray| tray.label.clone()).collect()
}

fn one_by_one(last: Option<&LastStart>, tray: &PlannedTray, scene: &Scene) -> Step {
    let Some(last) = last else { return Step::TakeOut };
    let tray = tray.label.clone();
    match (scene.boot.as_ref() == Some(&last.boot), last.is_emptied) {
        (true, false) => return Step::TakeOut,
        (true, true) => return Step::PutIn { tray },
        (false, false) => return Step::Emptied { left: scene.drives.clone() },
        (false, true) => {}
    }
    let new: Vec<&Candidate> = scene.drives.iter().filter(|drive| !last.drives.contains(&drive.key)).collect();
    let is_here = |key: &&String| scene.drives.iter().any(|drive| drive.key == **key);
    let gone: Vec<String> = last.drives.iter().filter(|key| !is_here(key)).cloned().collect();
    match (&new[..], &gone[..]) {
        ([], []) => Step::NoneNew { tray },
        ([drive], []) if drive.holds().is_some() => Step::Found { tray, drive: Box::new((*drive).clone()) },
        _ => Step::Unclear { tray, new: new.into_iter().cloned().collect(), gone },
    }
}

/// The walk after an answer to its next step.
///
/// # Errors
/// Why the answer does not count; the walk stays as it was.
pub fn answer(walk: &Walk, scene: &Scene, given: &Answer) -> Result<Walk, Wrong> {
    let mut after = walk.clone();
    let this_start = |is_emptied| {
        let boot = scene.boot.clone().ok_or(Wrong::NoBootId)?;
        let drives = scene.drives.iter().map(|drive| drive.key.clone()).collect();
        Ok(Some(LastStart { boot, drives, is_emptied }))
    };
    match (next(walk, scene), given) {
        (Step::Shelves { .. }, Answer::Text(text)) => {
            let count = text.trim().parse().ok().filter(|count| (1..=MOST).contains(count));
            after.shelf_count = Some(count.ok_or_else(|| Wrong::Number { found: text.clone() })?);
        }
        (Step::Labels { shelf, .. }, Answer::Text(text)) => {
            let trays = labels(walk, text)?;
            let named = scene.configured.get(shelf - 1).map(|shelf| shelf.name.clone());
            let name = named.unwrap_or_else(|| format!("{} {shelf}", scene.shelf_word));
            after.shelves.push(PlannedShelf { name, trays });
        }
        (Step::Way, Answer::Way(way)) => {
            match way {
                Way::Serials => {}
                Way::Ports => order_is_known(walk, scene)?,
                Way::OneByOne => after.last_start = this_start(false)?,
            }
            after.way = Some(*way);
        }
        (Step::Ports { order }, Answer::Yes(true)) => {
            order_is_known(walk, scene)?;
            order.iter().filter_map(|(_, drive)| drive.holds()).for_each(|holds| after.name_next(holds));
        }
        (Step::Serial { .. }, Answer::Text(text)) => after.name_next(with_serial(walk, scene, text.trim())?),
        (Step::Emptied { .. }, Answer::Yes(is_emptied)) => after.last_start = this_start(*is_emptied)?,
        (Step::Found { drive, .. }, Answer::Yes(true)) => {
            after.name_next(drive.holds().unwrap_or(Holds::Nothing));
            after.last_start = this_start(true)?;
        }
        (Step::NoneNew { .. }, Answer::Yes(true)) => {
            after.name_next(Holds::Nothing);
            after.last_start = this_start(true)?;
        }
        // The drives of the last start stay those to compare with.
        (Step::Found { .. } | Step::NoneNew { .. }, Answer::Yes(false)) => {
            let drives = walk.last_start.iter().flat_map(|last| last.drives.clone()).collect();
            after.last_start = this_start(true)?.map(|last| LastStart { drives, ..last });
        }
        (Step::Agree { .. }, Answer::Yes(true)) => after.is_agreed = true,
        (Step::Ports { .. } | Step::Agree { .. }, Answer::Yes(false)) => after.forget_names(),
        _ => return Err(Wrong::NotYesOrNo),
    }
    Ok(after)
}

/// The labels in a line, each one as the configuration takes it.
fn labels(walk: &Walk, line: &str) -> Result<Vec<PlannedTray>, Wrong> {
    let given: Vec<&str> = line.split([' ', ',']).filter(|label| !label.is_empty()).collect();
    if !(1..=MOST).contains(&given.len()) {
        return Err(Wrong::LabelCount { found: given.len() });
    }
    for (index, &label) in given.iter().enumerate() {
        // The configuration alone knows what a label is.
        let written = toml_edit::Value::from(label).to_string();
        let text = format!("[[shelf]]\nname = \"a\"\n[[shelf.tray]]\nlabel = {written}\n");
        if settle(&text, "").is_err() {
            return Err(Wrong::Label { found: label.to_owned() });
        }
        let is_used = given[..index].contains(&label) || walk.trays().any(|tray| tray.label == label);
        if is_used {
            return Err(Wrong::LabelTwice { label: label.to_owned() });
        }
    }
    Ok(given.into_iter().map(|label| PlannedTray { label: label.to_owned(), holds: None }).collect())
}

/// No order is made up: of drives without a port or behind USB adapters, and of fewer drives than trays.
fn order_is_known(walk: &Walk, scene: &Scene) -> Result<(), Wrong> {
    let has_no_place = |drive: &&Candidate| drive.port.is_none() || drive.is_usb;
    let without: Vec<String> = scene.drives.iter().filter(has_no_place).map(|drive| drive.device.clone()).collect();
    if !without.is_empty() {
        return Err(Wrong::NoOrder { drives: without });
    }
    let (trays, drives) = (walk.trays().count(), scene.drives.len());
    if trays == drives { Ok(()) } else { Err(Wrong::NotAsMany { trays, drives }) }
}

/// The drive whose serial ends like this; nothing for an empty tray.
fn with_serial(walk: &Walk, scene: &Scene, typed: &str) -> Result<Holds, Wrong> {
    if typed.is_empty() {
        return Ok(Holds::Nothing);
    }
    let (found, wanted) = (typed.to_owned(), typed.to_lowercase());
    if typed.chars().count() < TAIL {
        return Err(Wrong::TooShort { found });
    }
    let fits =
        |drive: &&Candidate| drive.serial.as_ref().is_some_and(|serial| serial.to_lowercase().ends_with(&wanted));
    let fitting: Vec<&Candidate> = scene.drives.iter().filter(fits).collect();
    let [drive] = fitting[..] else {
        return Err(match fitting.is_empty() {
            true => Wrong::NoSerial { found, there: scene.drives.clone() },
            false => Wrong::Ambiguous { found, fitting: fitting.into_iter().cloned().collect() },
        });
    };
    let taken = walk.trays().find(|tray| tray.holds.as_ref().is_some_and(|holds| drive.is_in(holds)));
    match (taken, drive.holds()) {
        (Some(tray), _) => Err(Wrong::Taken { serial: found, tray: tray.label.clone() }),
        (None, holds) => Ok(holds.unwrap_or(Holds::Nothing)),
    }
}
