//! How drives are named: in a sentence, in a title, and in what says which must stay in. Pure.

use super::parts::TITLE_COLUMNS;
use super::phrases::{Language, Phrases};
use crate::reading::Bus;
use crate::verdict::Place;

/// The drive's name in a title.
pub fn named(place: &Place, language: Language) -> String {
    let key = if place.tray.is_some() { "drive.title" } else { "drive.title-without-tray" };
    language.say(key, &[("label", &place.label())])
}

/// The drive's name where lines stand below each other and the full name is near.
pub fn in_short(place: &Place, language: Language) -> String {
    let key = if place.tray.is_some() { "drive.short-tray" } else { "drive.short" };
    language.say(key, &[("label", &place.label())])
}

/// The drive's name in a sentence.
pub fn pointed_at(place: &Place, language: Language) -> String {
    let nothing = String::new;
    let tail = place.serial_tail();
    let key = match (&place.tray, &tail, &place.port) {
        (Some(_), Some(_), _) => "drive.tray-and-serial",
        (Some(_), None, _) => "drive.tray",
        (None, Some(_), Some(_)) => "drive.port-and-serial",
        (None, Some(_), None) => "drive.serial",
        (None, None, Some(_)) => "drive.port",
        (None, None, None) => "drive.unknown",
    };
    let (tray, port) = (place.tray.clone().unwrap_or_else(nothing), place.port.clone().unwrap_or_else(nothing));
    language.say(key, &[("tray", &tray), ("tail", &tail.unwrap_or_else(nothing)), ("port", &port)])
}

/// The name of a kind of connection, where it has one.
pub fn bus_name(bus: Bus) -> Option<&'static str> {
    match bus {
        Bus::Sata => Some("SATA"),
        Bus::Scsi => Some("SCSI"),
        Bus::Usb => Some("USB"),
        Bus::Nvme => Some("NVMe"),
        Bus::Mmc => Some("MMC"),
        Bus::Virtio => Some("virtio"),
        Bus::Other => None,
    }
}

/// The names of several drives in a sentence; `None` for no drives.
pub fn listed(places: &[Place], language: Language) -> Option<String> {
    let named: Vec<String> = places.iter().map(|place| pointed_at(place, language)).collect();
    (!named.is_empty()).then(|| named.join(", "))
}

/// A list that were cut would leave out a drive that must stay, so one that does not fit names them all, and so does
/// one that nobody knows.
pub(super) fn leave_in_line(leave_in: &[String], language: Language) -> String {
    let line = language.say("line.leave-in", &[("list", &leave_in.join(" "))]);
    let fits = !leave_in.is_empty() && line.chars().count() <= TITLE_COLUMNS;
    if fits { line } else { language.plain("line.leave-all-in").to_owned() }
}

/// What must stay in comes first, whenever nothing more may be lost.
pub(super) fn stay_and(leave_in: &[String], then: String, language: Language) -> String {
    if leave_in.is_empty() {
        return then;
    }
    format!("{} {then}", language.say("stay.some", &[("list", &leave_in.join(" "))]))
}
