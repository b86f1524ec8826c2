//! The kernel's log: records, and what lines tell: to which part, by the kernel's name, something happened. The wording differs
//! between kernels and is no promise of theirs, so every pattern says since when it is known and has a line that it fits.

mod ata;
mod board;
mod file_systems;
pub mod lines;
mod md;
mod net;
mod nvme;
mod pattern;
mod pci;
pub mod record;
mod reports;
mod scsi;
mod small_buses;
mod usb;

use self::record::Record;
use crate::named::Named;
use pattern::{Capture, captures, part};
use traylight_data::reading::Happening;
use traylight_data::units::MegabitsPerSecond;

/// A line that is known.
struct Row {
    /// The line with holes; each that names a part tells of it.
    pattern: &'static str,
    then: Then,
    /// Kernels that are known to write it so.
    #[cfg_attr(not(test), allow(dead_code, reason = "for people, and the tests see that it is there"))]
    since: &'static str,
    /// A line that fits.
    #[cfg_attr(not(test), allow(dead_code, reason = "the tests run through them"))]
    example: &'static str,
}

/// What a line means.
#[derive(Debug, Clone, Copy)]
enum Then {
    /// This happened.
    Is(Happening),
    /// The link is down; `<status>` is its SStatus.
    Down,
    /// The link is up at `<speed>`.
    Up,
    /// A driver gave up with `<errno>`.
    NotStarted,
    /// What stands for these words in the last `<*>`.
    Among(&'static [(&'static str, Happening)]),
    /// A report of libata begins.
    Opens,
    /// It is over.
    Closes,
}

/// What a line tells.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Told {
    /// Something happened to a part.
    Happened(Named, Happening),
    /// libata begins a report on this port.
    Opens(u32),
    /// It is over.
    Closes(u32),
}

/// Short for the tables.
const fn row(pattern: &'static str, then: Then, since: &'static str, example: &'static str) -> Row {
    Row { pattern, then, since, example }
}

/// The tables, by who writes the lines.
fn tables() -> [&'static [Row]; 10] {
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
pub fn told(record: &Record) -> Vec<Told> {
    // `+subsystem:name` names the device; the other forms are numbers.
    let own = record.device.as_deref().and_then(|device| Some(device.strip_prefix('+')?.split_once(':')?.1));
    let mut rows = tables().into_iter().flatten();
    let found = rows.find_map(|row| Some((row, captures(row.pattern, &record.text)?)));
    found.map(|(row, captures)| meaning(row, &captures, own)).unwrap_or_default()
}

fn meaning(row: &Row, captures: &[Capture<'_>], own: Option<&str>) -> Vec<Told> {
    let named: Vec<Named> = captures.iter().filter_map(|capture| part(*capture, own)).collect();
    let text = |hole: &str| captures.iter().rev().find(|capture| capture.hole == hole).map_or("", |found| found.text);
    let happened: Vec<Happening> = match row.then {
        Then::Is(happening) => vec![happening],
        // The low digit of SStatus is DET (Serial ATA, SStatus register); all ones are no register at all.
        Then::Down => vec![match text("status") {
            "FFFFFFFF" => Happening::AllOnes,
            status => Happening::LinkDown(u8::from_str_radix(&status[status.len().saturating_sub(1)..], 16).ok()),
        }],
        Then::Up => vec![Happening::LinkUp(speed(text("speed")))],
        Then::NotStarted => text("errno").parse().map(Happening::NotStarted).into_iter().collect(),
        Then::Among(words) => {
            let mut found: Vec<Happening> = Vec::new();
            for (_, happening) in words.iter().filter(|(word, _)| text("*").contains(word)) {
                if !found.contains(happening) {
                    found.push(*happening);
                }
            }
            found
        }
        Then::Opens | Then::Closes => {
            let ports = named.iter().filter_map(|part| match part {
                Named::Ata { port, .. } => Some(*port),
                _ => None,
            });
            let tell = if matches!(row.then, Then::Opens) { Told::Opens } else { Told::Closes };
            return ports.map(tell).collect();
        }
    };
    let nobody = if named.is_empty() { vec![Named::Board] } else { named };
    let both = |part: Named| happened.iter().map(move |what| Told::Happened(part.clone(), *what)).collect::<Vec<_>>();
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

#[cfg(test)]
mod tests;
