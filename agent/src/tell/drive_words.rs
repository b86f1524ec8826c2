//! The words for what drives say of themselves and how they behave. Pure; the rest of the words, and the rules they
//! keep, are in [`super::wording`].

use super::test_words;
use super::tongue::{Places, Tongue};
use super::wording::{Words, named, pointed_at};
use crate::verdict::{Place, SaysFailing};
use std::time::Duration;

/// The words of a section about one drive: with its name in a title, `tray`, and in a sentence, `drive`.
pub(super) fn about(section: &str, drive: &Place, tongue: Tongue, places: Places) -> Words {
    let (tray, drive) = (named(drive, tongue), pointed_at(drive, tongue));
    let names: Places = &[("tray", &tray), ("drive", &drive)];
    tongue.words(section, &[names, places].concat())
}

pub(super) fn gone(drive: &Place, pool: Option<&str>, tongue: Tongue) -> Words {
    let needed = pool.map(|pool| tongue.say("drive-gone.needed", &[("pool", &pool)])).unwrap_or_default();
    about("drive-gone", drive, tongue, &[("needed", &needed)])
}

pub(super) fn failing(drive: &Place, how: SaysFailing, tongue: Tongue) -> Words {
    let SaysFailing::SelfTest { kind, failed_at_lba, age_hours } = how else {
        return about("drive-says-failing.assessment", drive, tongue, &[]);
    };
    let sector = |key: &str| failed_at_lba.map(|lba| tongue.say(key, &[("lba", &lba)])).unwrap_or_default();
    let (first, at) = (sector("drive-says-failing.self-test.first"), sector("drive-says-failing.self-test.at"));
    let age = age_hours.map(|hours| tongue.say("drive-says-failing.self-test.age", &[("hours", &hours)]));
    let (test, age) = (test_words::kind(kind, tongue), age.unwrap_or_default());
    let places: Places = &[("test", &test), ("first", &first), ("at", &at), ("age", &age)];
    about("drive-says-failing.self-test", drive, tongue, places)
}

pub(super) fn recovery(
    drive: &Place,
    device: &str,
    tries: Option<Duration>,
    patience: Duration,
    enough: Duration,
    tongue: Tongue,
) -> Words {
    let (limit, tries) = match tries.map(|tries| tongue.span(tries)) {
        Some(tries) => (tongue.say("recovery-time-mismatch.for-up-to", &[("tries", &tries)]), tries),
        None => {
            let words = |key| tongue.plain(key).to_owned();
            (words("recovery-time-mismatch.without-limit"), words("recovery-time-mismatch.none"))
        }
    };
    let (patience, enough) = (tongue.span(patience), enough.as_secs());
    let places: Places =
        &[("limit", &limit), ("tries", &tries), ("patience", &patience), ("enough", &enough), ("device", &device)];
    about("recovery-time-mismatch", drive, tongue, places)
}

pub(super) fn new_or_moved(drive: &Place, from: Option<&str>, tongue: Tongue) -> Words {
    let port = drive.port.as_deref().unwrap_or(tongue.plain("drive-new-or-moved.unknown-port"));
    match from {
        Some(from) => about("drive-new-or-moved.moved", drive, tongue, &[("from", &from), ("port", &port)]),
        None => about("drive-new-or-moved.new", drive, tongue, &[("port", &port)]),
    }
}
