//! The keys of `[[shelf]]` and `[[shelf.tray]]`, and that no two trays can be mistaken for each other.
//!
//! Whether a drive with such a serial or port exists is not asked here.

use crate::reader::{Section, Seen};
use crate::settings::{Holds, Shelf, Tray};
use crate::source::steers;
use crate::values::{Read, refuse, text};
use toml::de::DeValue;

const MOST_SHELVES: usize = 16;
const MOST_TRAYS: usize = 16;
/// Ample: the serial of an ATA or NVMe drive has 20 characters (ACS-3 and NVMe 1.4, identify data; from memory).
const LONGEST_ID: usize = 128;

/// What must differ over the whole box.
#[derive(Default)]
struct Taken {
    names: Seen,
    labels: Seen,
    serials: Seen,
    ports: Seen,
}

pub(super) fn shelves(file: &mut Section) -> Vec<Shelf> {
    let mut taken = Taken::default();
    file.sections("shelf", 0..=MOST_SHELVES, |section| shelf(section, &mut taken))
}

fn shelf(section: &mut Section, taken: &mut Taken) -> Shelf {
    let name = section.required("name", "name = \"top\"", text(32));
    section.different(&name, &mut taken.names);
    let trays = section.sections("tray", 1..=MOST_TRAYS, |section| tray(section, taken));
    Shelf { name: name.value, trays }
}

fn tray(section: &mut Section, taken: &mut Taken) -> Tray {
    let label = section.required("label", "label = \"A1\"", label);
    section.different(&label, &mut taken.labels);

    let serial = section.optional("serial", text(LONGEST_ID));
    let port = section.optional("port", text(LONGEST_ID));
    if let Some(serial) = &serial {
        section.different(serial, &mut taken.serials);
    }
    if let Some(port) = &port {
        section.different(port, &mut taken.ports);
    }
    if let (Some(serial), Some(port)) = (&serial, &port) {
        section.not_both(port, serial);
    }
    let holds = match (serial, port) {
        (Some(serial), _) => Some(Holds::Serial(serial.value)),
        (None, Some(port)) => Some(Holds::Port(port.value)),
        (None, None) => None,
    };
    Tray { label: label.value, holds }
}

/// Labels are read off the panel, whose font has the characters of ISO 8859-1.
fn label(value: &DeValue) -> Read<String> {
    let drawable = |c: char| matches!(c, ' '..='\u{FF}') && !steers(c);
    match text(4)(value) {
        Ok(label) if label.chars().all(drawable) => Ok(label),
        _ => refuse("a text in quotes of 1 to 4 characters that the panel can show, such as \"A1\""),
    }
}
