//! The words of a cause: a title, what it is, what to do, what not to do, and the test that would decide. Pure.

use super::drives::{named, pointed_at};
use super::phrases::{Language, Phrases, Places};
use crate::verdict::{Cause, Confidence, Handling, Incident, Place};

/// The words of a cause.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CauseWords {
    /// A line of the panel.
    pub title: String,
    /// What it is, to stand after "likely" or "possibly".
    pub what: String,
    /// What to do, in a line of the panel.
    pub brief: String,
    /// What to do.
    pub advice: String,
    /// What not to do.
    pub warning: String,
    /// What would show whether it is so.
    pub next_test: String,
}

/// The words; `None` for a condition that says it all, and for one that is not known: the condition's own words lead there.
pub fn words(incident: &Incident, language: Language) -> Option<CauseWords> {
    let (cause, drives) = (incident.cause, &incident.drives[..]);
    if !cause.is_named() {
        return None;
    }
    let plain = |key: &str| language.plain(key).to_owned();
    let places: Places = &[
        ("count", &drives.len()),
        ("tray", &drives.first().map_or_else(|| plain("drive.title-unknown"), |drive| named(drive, language))),
        ("drive", &drives.first().map_or_else(|| plain("drive.one"), |drive| pointed_at(drive, language))),
        ("all", &trays(drives, language)),
        ("parts", &language.plain(if all_in_trays(drives) { "cause.trays" } else { "cause.drives" })),
        ("part", &incident.part.as_deref().unwrap_or(language.plain("cause.part"))),
    ];
    // Its words go by the name that a cause has in documents; where trays may not be changed while the box is on, what goes
    // back goes back with the box off.
    let of = match incident.handling {
        Handling::PutBack { .. } if cause == Cause::WrongTray && !incident.hot_swap => {
            "cause.wrong-tray-off".to_owned()
        }
        // One drive, and nothing that speaks of its adapter rather than of a hand.
        _ if cause == Cause::UsbBridge && incident.confidence == Confidence::Possible => {
            "cause.usb-bridge-or-hand".to_owned()
        }
        _ => format!("cause.{}", cause.id()),
    };
    let say = |field: &str| language.say(&format!("{of}.{field}"), places);
    let off = language.off(&of);
    let (brief, advice) = language.off_first(off, incident.hot_swap, plain(&format!("{of}.brief")), say("advice"));
    Some(CauseWords {
        title: say("title"),
        what: say("what"),
        brief,
        advice,
        warning: say("warning"),
        next_test: say("test"),
    })
}

fn all_in_trays(drives: &[Place]) -> bool {
    drives.iter().all(|drive| drive.tray.is_some())
}

/// Drives in a sentence, such as "trays 1, 3 and 5"; "drives" where not all have one.
pub fn trays(drives: &[Place], language: Language) -> String {
    let labels: Vec<String> = drives.iter().map(Place::label).collect();
    match &labels[..] {
        [] => language.plain("drive.all").to_owned(),
        [_] => pointed_at(&drives[0], language),
        [first @ .., last] => {
            let key = if all_in_trays(drives) { "drive.trays" } else { "drive.labels" };
            language.say(key, &[("some", &first.join(", ")), ("last", last)])
        }
    }
}
