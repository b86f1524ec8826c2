//! The three lines that a person reads first on a terminal: what was found, what is not configured, and how to add it. Pure.

use crate::reading::Snapshot;
use crate::tell::words::phrases::{Phrases, Places};
use std::path::Path;
use traylight_config::Settings;

/// The lines for what was read first; `config` is the file that the settings come from.
pub fn start_lines(snapshot: &Snapshot, settings: &Settings, config: &Path) -> [String; 3] {
    let language = settings.language;
    let count = |key, number: usize| language.count(key, number as u64);
    let found: Places = &[
        ("drives", &count("run.drives", snapshot.drives.len())),
        ("pools", &count("run.pools", snapshot.pools.len())),
        ("volumes", &count("run.volumes", snapshot.volumes.len())),
        ("fans", &count("run.fans", snapshot.fans.len())),
        ("ports", &count("run.ports", snapshot.links.len())),
    ];
    let absent = [
        (settings.panel.panels.is_empty(), "run.panel"),
        (settings.shelves.is_empty(), "run.trays"),
        (settings.alerts.channels.is_empty(), "run.channel"),
    ];
    let absent: Vec<&str> =
        absent.iter().filter(|(is_absent, _)| *is_absent).map(|(_, key)| language.plain(key)).collect();
    let missing = match &absent[..] {
        [] => language.plain("run.complete").to_owned(),
        absent => language.say("run.missing", &[("what", &absent.join(", "))]),
    };
    [language.say("run.found", found), missing, language.say("run.change", &[("file", &config.display())])]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::Moment;
    use crate::demo::{heron, story};
    use std::time::Duration;

    #[test]
    fn a_person_reads_what_was_found_what_is_missing_and_how_to_add_it() {
        let snapshot = heron::snapshot(Moment::default(), &story::scene(Duration::ZERO));
        let file = Path::new("/etc/traylight/traylight.toml");
        let bare = start_lines(&snapshot, &Settings::default(), file);
        assert!(bare[0].starts_with(&format!("Found {} drives, 1 pool, ", snapshot.drives.len())), "{}", bare[0]);
        assert_eq!(bare[1], "Not configured: a panel, trays, a channel for alerts.");
        assert!(bare[2].contains("/etc/traylight/traylight.toml"), "{}", bare[2]);
        let settings = crate::demo::settings().expect("the pretend box has settings");
        assert!(!start_lines(&snapshot, &settings, file)[1].contains("trays"), "heron has named its trays");
    }
}
