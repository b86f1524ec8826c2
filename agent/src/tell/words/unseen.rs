//! What of the box cannot be looked at, in words.

use super::phrases::{Language, Phrases};
use crate::reading::Listing;
use crate::verdict::{BoardPart, PartName, UnseenPart};
use std::time::Duration;

/// So many channels of one chip are named.
const NAMED: usize = 4;

/// The part, why it cannot be looked at, and for how long.
pub fn unseen_part(unseen: &UnseenPart, language: Language) -> String {
    let part = named(&unseen.part, language);
    // Its words say why as well.
    if unseen.part == PartName::Everything {
        return part;
    }
    let why = language.missing(&unseen.why);
    match unseen.lasted {
        Some(lasted) => {
            language.say("unseen.lasting", &[("part", &part), ("why", &why), ("span", &language.span(lasted))])
        }
        None => format!("{part}: {why}"),
    }
}

/// Everything, of which nothing has been heard for so long.
pub fn all_unseen(silent: Duration, language: Language) -> String {
    language.say("unseen.silent", &[("span", &language.span(silent))])
}

fn named(part: &PartName, language: Language) -> String {
    match part {
        PartName::Everything => language.plain("unseen.everything").to_owned(),
        PartName::List(list) => listed(list, language),
        PartName::Chip { chip, channels } if channels.len() <= NAMED => {
            format!("{chip} ({})", channels.join(", "))
        }
        PartName::Chip { chip, channels } => {
            let (some, more) = channels.split_at(NAMED);
            language.say("unseen.chip", &[("chip", chip), ("some", &some.join(", ")), ("n", &more.len())])
        }
        PartName::Sensor { label } => label.clone(),
        PartName::Port { name } => name.clone(),
        PartName::Controller { key } => language.say("unseen.controller", &[("key", key)]),
        PartName::Health { drive } => language.say("unseen.health", &[("drive", drive)]),
        PartName::Space { mount } => language.say("unseen.space", &[("mount", mount)]),
        PartName::Pool { name } => language.say("unseen.pool", &[("name", name)]),
        PartName::Board(part) => language
            .plain(match part {
                BoardPart::Load => "unseen.load",
                BoardPart::Memory => "unseen.memory",
                BoardPart::Throttling => "unseen.throttling",
                BoardPart::SystemDisk => "unseen.system-disk",
                BoardPart::KernelMessages => "unseen.kernel-messages",
                BoardPart::KernelLog => "unseen.kernel-log",
            })
            .to_owned(),
    }
}

fn listed(list: &Listing, language: Language) -> String {
    let key = match list {
        Listing::Drives => "unseen.drives",
        Listing::Chips => "unseen.chips",
        Listing::Mounts => "unseen.mounts",
        Listing::Links => "unseen.links",
        Listing::Controllers => "unseen.controllers",
        Listing::Pools => "unseen.pools",
        Listing::ZfsPools => "unseen.zfs-pools",
        Listing::BtrfsFileSystems => "unseen.btrfs-file-systems",
        Listing::Members { pool } => return language.say("unseen.members", &[("pool", pool)]),
    };
    language.plain(key).to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::{Missing, Reason};

    fn said(part: PartName, detail: &str, lasted: Option<u64>, language: Language) -> String {
        let found = (!detail.is_empty()).then(|| detail.to_owned());
        let why = Missing { found, ..Missing::of(Reason::TimedOut) };
        unseen_part(&UnseenPart { part, why, lasted: lasted.map(Duration::from_secs) }, language)
    }

    #[test]
    fn parts_are_named_with_their_reason_and_span() {
        let chip = |many: usize| PartName::Chip {
            chip: "nct".into(),
            channels: (1..=many).map(|number| format!("fan{number}")).collect(),
        };
        let english = |part, detail, lasted| said(part, detail, lasted, Language::ENGLISH);
        assert_eq!(english(chip(1), "no answer", Some(2_940)), "nct (fan1): timed out: no answer, for 49 min");
        assert_eq!(english(chip(7), "", Some(180)), "nct (fan1, fan2, fan3, fan4 and 3 more): timed out, for 3 min");
        assert_eq!(english(PartName::List(Listing::Chips), "", None), "sensor chips: timed out");
        assert_eq!(
            english(PartName::List(Listing::Members { pool: "md0".into() }), "", None),
            "members of md0: timed out"
        );
        assert_eq!(english(PartName::Space { mount: "/srv".into() }, "", None), "free space of /srv: timed out");
        assert_eq!(english(PartName::Pool { name: "md0".into() }, "", None), "pool md0: timed out");
        assert_eq!(english(PartName::Health { drive: "3".into() }, "", Some(0)), "health of 3: timed out, for 0 s");
        assert_eq!(english(PartName::Everything, "", None), "everything: the probe does not respond");
        let german = |part, lasted| said(part, "", lasted, Language::GERMAN);
        assert_eq!(german(PartName::Health { drive: "3".into() }, Some(60)), "Zustand von 3: Timeout, seit 60 s");
        assert_eq!(german(PartName::List(Listing::Drives), None), "Laufwerke: Timeout");
    }
}
