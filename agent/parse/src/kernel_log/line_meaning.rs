//! What a line of the kernel's log tells, by the tables.

use super::known_line::{KnownLine, Then};
use super::pattern::{Capture, captures, part};
use super::record::Record;
use super::{ata, board, file_systems, md, net, nvme, pci, scsi, small_buses, usb};
use crate::named::KernelName;
use traylight_data::reading::EventKind;
use traylight_data::units::MegabitsPerSecond;

/// What a line tells.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum LineMeaning {
    /// Something happened to a part.
    Happened(KernelName, EventKind),
    /// libata begins a report on this port.
    Opens(u32),
    /// It is over.
    Closes(u32),
}

/// The tables, by who writes the lines.
pub fn tables() -> [&'static [KnownLine]; 10] {
    [
        ata::ROWS,
        scsi::ROWS,
        nvme::ROWS,
        usb::ROWS,
        md::ROWS,
        file_systems::ROWS,
        pci::ROWS,
        net::ROWS,
        small_buses::ROWS,
        board::ROWS,
    ]
}

/// What a record of the kernel tells; nothing when the line is not known.
pub fn meanings(record: &Record) -> Vec<LineMeaning> {
    // `+subsystem:name` names the device; the other forms are numbers.
    let own = record.device.as_deref().and_then(|device| Some(device.strip_prefix('+')?.split_once(':')?.1));
    let mut rows = tables().into_iter().flatten();
    let found = rows.find_map(|row| Some((row, captures(row.pattern, &record.text)?)));
    found.map(|(row, captures)| meaning(row, &captures, own)).unwrap_or_default()
}

fn meaning(row: &KnownLine, captures: &[Capture<'_>], own: Option<&str>) -> Vec<LineMeaning> {
    let named: Vec<KernelName> = captures.iter().filter_map(|capture| part(*capture, own)).collect();
    let text = |hole: &str| captures.iter().rev().find(|capture| capture.hole == hole).map_or("", |found| found.text);
    let happened: Vec<EventKind> = match row.then {
        Then::Is(event_kind) => vec![event_kind],
        // The low digit of SStatus is DET (Serial ATA, SStatus register); all ones are no register at all.
        Then::Down => vec![match text("status") {
            "FFFFFFFF" => EventKind::AllOnes,
            status => EventKind::LinkDown(u8::from_str_radix(&status[status.len().saturating_sub(1)..], 16).ok()),
        }],
        Then::Up => vec![EventKind::LinkUp(speed(text("speed")))],
        Then::NotStarted => text("errno").parse().map(EventKind::NotStarted).into_iter().collect(),
        Then::Among(words) => {
            let mut found: Vec<EventKind> = Vec::new();
            for (_, event_kind) in words.iter().filter(|(word, _)| text("*").contains(word)) {
                if !found.contains(event_kind) {
                    found.push(*event_kind);
                }
            }
            found
        }
        Then::Opens | Then::Closes => {
            let ports = named.iter().filter_map(|part| match part {
                KernelName::Ata { port, .. } => Some(*port),
                _ => None,
            });
            let tell = if matches!(row.then, Then::Opens) { LineMeaning::Opens } else { LineMeaning::Closes };
            return ports.map(tell).collect();
        }
    };
    let nobody = if named.is_empty() { vec![KernelName::Board] } else { named };
    let both = |part: KernelName| {
        happened.iter().map(move |what| LineMeaning::Happened(part.clone(), *what)).collect::<Vec<_>>()
    };
    nobody.into_iter().flat_map(both).collect()
}

/// `6.0`, `2.5Gbps` and `100Mbps`; a bare whole number is in megabits, one with a point in gigabits.
fn speed(text: &str) -> Option<MegabitsPerSecond> {
    let number = text.trim_end_matches(|c: char| c.is_ascii_alphabetic());
    let in_gigabits = text.ends_with("Gbps") || (number.len() == text.len() && text.contains('.'));
    let value: f64 = number.parse().ok()?;
    let megabits = if in_gigabits { value * 1000.0 } else { value };
    (1.0..1e7).contains(&megabits).then_some(MegabitsPerSecond(megabits.round() as u32))
}
