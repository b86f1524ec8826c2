//! The labels of the trays: what is printed on each, and as text.

use super::candidates::Candidate;
use super::drawing::tail;
use super::walk::{Holds, PlannedShelf, PlannedTray};
use crate::printout::{Cell, Printout, Table};
use crate::tell::words::phrases::{Language, Phrases};

/// What is printed for a tray.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SheetLabel {
    /// The tray's label.
    pub tray: String,
    /// The last four characters of the drive's serial.
    pub serial_tail: Option<String>,
    /// Where the drive is plugged.
    pub port: Option<String>,
    /// The pools that use it.
    pub pools: Vec<String>,
    /// The tray is meant to be empty.
    pub is_empty: bool,
}

/// The labels of all trays, with what is known of their drives now.
pub fn labels(shelves: &[PlannedShelf], drives: &[Candidate]) -> Vec<SheetLabel> {
    shelves.iter().flat_map(|shelf| &shelf.trays).map(|tray| label(tray, drives)).collect()
}

fn label(tray: &PlannedTray, drives: &[Candidate]) -> SheetLabel {
    let holds = tray.holds.as_ref().unwrap_or(&Holds::Nothing);
    let drive = drives.iter().find(|drive| drive.is_in(holds));
    let (serial, port) = match holds {
        Holds::Serial(serial) => (Some(serial.as_str()), None),
        Holds::Port(port) => (None, Some(port.clone())),
        Holds::Nothing => (None, None),
    };
    SheetLabel {
        tray: tray.label.clone(),
        serial_tail: serial.or(drive.and_then(|drive| drive.serial.as_deref())).map(tail),
        port: drive.and_then(|drive| drive.port.clone()).or(port),
        pools: drive.map(|drive| drive.pools.clone()).unwrap_or_default(),
        is_empty: *holds == Holds::Nothing,
    }
}

/// The labels as a table.
pub fn sheet_text(labels: &[SheetLabel], language: Language) -> Printout {
    let heads = ["setup.sheet.tray", "setup.sheet.serial", "setup.sheet.port", "setup.sheet.pool"];
    let or_dash = |text: Option<String>| text.filter(|text| !text.is_empty()).unwrap_or_else(|| "-".to_owned());
    let row = |label: &SheetLabel| {
        let cells = [
            label.tray.clone(),
            or_dash(label.serial_tail.clone()),
            or_dash(label.port.clone()),
            or_dash(Some(label.pools.join(", "))),
        ];
        cells.map(|cell| Cell::from(cell.as_str())).to_vec()
    };
    let mut out = Printout::default();
    out.table(Table::new(heads.map(|key| (language.plain(key), 0)), labels.iter().map(row).collect()));
    out
}
