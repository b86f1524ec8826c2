//! Shelves and their trays, `[[shelf]]` and `[[shelf.tray]]`; and that no two trays can be mistaken for each other.
//!
//! Whether a drive with such a serial or port exists is not asked here.

use crate::key::key;
use crate::reader::{Section, SeenTexts};
use crate::values::{ValueKind, text, text_that};

const MOST_SHELVES: usize = 16;
const MOST_TRAYS: usize = 16;
/// Ample: the serial of an ATA or NVMe drive has 20 characters (ACS-3 and NVMe 1.4, identify data; from memory).
const LONGEST_ID: usize = 128;

/// One shelf of trays.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Shelf {
    /// The owner's name for it, such as "top".
    pub name: String,
    /// Left to right, as seen from the front.
    pub trays: Vec<Tray>,
}

/// One place for a drive.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tray {
    /// What is written on the tray: one to four characters, unique in the box.
    pub label: String,
    /// What belongs in it. `None` is a tray that is meant to be empty.
    pub holds: Option<ExpectedDrive>,
}

/// How the drive that belongs in a tray is recognised.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ExpectedDrive {
    /// The drive with this serial number, wherever it is plugged in.
    Serial(String),
    /// Whatever drive is on this port, for bridges that hide or copy serial numbers.
    Port(String),
}

/// What must differ over the whole box.
#[derive(Default)]
struct Taken {
    names: SeenTexts,
    labels: SeenTexts,
    serials: SeenTexts,
    ports: SeenTexts,
}

pub(super) fn read(file: &mut Section) -> Vec<Shelf> {
    let mut taken = Taken::default();
    file.sections("shelf", "The shelves, top shelf first.", 0..=MOST_SHELVES, |section| shelf(section, &mut taken))
}

fn shelf(section: &mut Section, taken: &mut Taken) -> Shelf {
    let name = section.required(key!(name = "top", text(32), "The name of the shelf. Unique in the box."));
    section.different(&name, &mut taken.names);
    let about = "Left to right, as seen from the front. With neither serial nor port a tray is meant to be empty.";
    let trays = section.sections("tray", about, 1..=MOST_TRAYS, |section| tray(section, taken));
    Shelf { name: name.value, trays }
}

fn tray(section: &mut Section, taken: &mut Taken) -> Tray {
    let label = section.required(key!(label = "A1", label(), "What is written on the tray. Unique in the box."));
    section.different(&label, &mut taken.labels);

    let serial = key!(serial, text(LONGEST_ID), "The serial number of the drive that belongs in it.");
    let serial = section.optional(serial);
    let port = key!(port, text(LONGEST_ID), "The port of the drive in it, for adapters that hide serial numbers.");
    let port = section.optional(port);
    if let Some(serial) = &serial {
        section.different(serial, &mut taken.serials);
    }
    if let Some(port) = &port {
        section.different(port, &mut taken.ports);
    }
    section.not_both(&port, &serial, ["port", "serial"]);
    let holds = match (serial, port) {
        (Some(serial), _) => Some(ExpectedDrive::Serial(serial.value)),
        (None, Some(port)) => Some(ExpectedDrive::Port(port.value)),
        (None, None) => None,
    };
    Tray { label: label.value, holds }
}

/// Labels are read off the panel, whose font has the letters of ISO 8859-1, and stand in lists with spaces between them: one
/// with a space or comma would pass for two.
fn label() -> ValueKind<String> {
    text_that(
        4,
        r"^[0-9A-Za-zÀ-ÖØ-öø-ÿ][-0-9A-Za-zÀ-ÖØ-öø-ÿ]*$",
        "a text in quotes of 1 to 4 letters, digits or hyphens, such as \"A1\"",
        |label| label.chars().all(|c| c <= '\u{FF}' && (c.is_alphanumeric() || c == '-')) && !label.starts_with('-'),
    )
}
