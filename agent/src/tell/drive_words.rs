//! The words for what drives say of themselves and how they behave. Pure; the rest of the words, and the rules they
//! keep, are in [`super::wording`].

use super::test_words;
use super::wording::{Words, named, pointed_at, sentence};
use crate::units::{Celsius, MegabitsPerSecond, Percent, span};
use crate::verdict::{Counted, Place, SaysFailing};
use std::time::Duration;

/// Words that need no more than these parts; the title's figures come last in it.
fn words(
    name: String,
    figures: &str,
    sentence: String,
    brief: &'static str,
    advice: [&str; 2],
    evidence: String,
) -> Words {
    let [advice, warning] = advice.map(str::to_owned);
    let title = if figures.is_empty() { name.clone() } else { format!("{name} {figures}") };
    Words { title, name, sentence, brief, leave_in: None, advice, warning, evidence: vec![evidence] }
}

pub(super) fn failing(drive: &Place, how: SaysFailing) -> Words {
    match how {
        SaysFailing::Assessment => words(
            format!("{} FAILING", named(drive)),
            "",
            sentence(&[&pointed_at(drive), "predicts that it will fail"], None),
            "back up, replace it",
            [
                "Back up what matters, get a replacement, and change the drive with the box off.",
                "Do not wait for it to fail, and do not change another tray by mistake: compare the serial.",
            ],
            "the drive's own health status says failing".to_owned(),
        ),
        SaysFailing::SelfTest { kind, failed_at_lba, age_hours } => {
            let test = test_words::kind(kind);
            let at = failed_at_lba.map(|lba| format!("the first bad sector is {lba}"));
            let age = age_hours.map(|hours| format!(", {hours} h of running ago")).unwrap_or_default();
            words(
                format!("{} FAILED TEST", named(drive)),
                "",
                sentence(&[&pointed_at(drive), "has failed its", test], at.as_deref()),
                "back up, test again",
                [
                    "Back up what matters. Let the pool check itself, which writes bad places again, then run a long \
                     self-test: if that fails too, replace the drive with the box off.",
                    "Do not put it off: back up before anything else, and compare the serial before you change a tray.",
                ],
                format!(
                    "{test} failed{}{age}",
                    failed_at_lba.map(|lba| format!(" at sector {lba}")).unwrap_or_default()
                ),
            )
        }
    }
}

pub(super) fn counted(drive: &Place, what: Counted, total: i64, grown: i64, within: Duration) -> Words {
    let evidence = format!("{grown} more within {} of watching, {total} in all", span(within));
    let place = pointed_at(drive);
    match what {
        Counted::Unreadable => words(
            format!("{} UNREADABLE", named(drive)),
            "",
            sentence(
                &[&place, &format!("has {total} places that it cannot read now, {grown} lost for good lately")],
                None,
            ),
            "back up, check pool",
            [
                "Back up what matters, then let the pool check itself: it writes such places again from its other members.",
                "Do not take another drive out while this one has unreadable places.",
            ],
            evidence,
        ),
        Counted::Reallocated => words(
            format!("{} WEARS OUT", named(drive)),
            "",
            sentence(&[&place, &format!("has replaced {grown} more bad places lately ({total} in all)")], None),
            "plan its replacement",
            [
                "Back up what matters, and have a replacement at hand if it goes on.",
                "Do not write it off for a number that stands still: growth is what counts.",
            ],
            evidence,
        ),
        Counted::CrcErrors => words(
            format!("{} CABLE", named(drive)),
            &format!("+{grown}"),
            sentence(
                &[&place, &format!("had {grown} damaged transfers lately ({total} in all)")],
                Some("the data was sent again, not lost"),
            ),
            "reseat data cable",
            [
                "Reseat or replace the SATA data cable of this tray with the box off, then watch whether it goes on.",
                "Do not replace the drive for this: it is about the way to it.",
            ],
            evidence,
        ),
        Counted::PowerCycles => words(
            format!("{} LOST POWER", named(drive)),
            "",
            sentence(&[&place, "started again while the board did not"], None),
            "power plug? supply?",
            [
                "Check the power plug of this tray and the rating of the 12 V supply, with the box off.",
                "Do not replace the drive for this: it is about its power.",
            ],
            format!("{grown} starts while the box was watched, {total} in all; 12 V was not measured"),
        ),
        Counted::TimeOuts => words(
            format!("{} TIMED OUT", named(drive)),
            &format!("+{grown}"),
            sentence(
                &[&place, &format!("left {grown} commands without an answer within {}", span(within))],
                Some("drive, cable and power are all possible"),
            ),
            "check its plugs",
            [
                "See whether its other counters grow as well; if only this does, reseat data and power plug with the box off.",
                "Do not replace the drive for a time-out alone.",
            ],
            format!("{grown} time-outs within {}, {total} since it appeared (kernel's iotmo_cnt)", span(within)),
        ),
    }
}

pub(super) fn slow(drive: &Place, now: MegabitsPerSecond, best: MegabitsPerSecond) -> Words {
    words(
        format!("{} SLOW LINK", named(drive)),
        "",
        sentence(&[&pointed_at(drive), &format!("has a SATA link of {now}, it was {best}")], None),
        "check cable, restart",
        [
            "The kernel slows a link that has transfer errors: reseat or replace its data cable with the box off.",
            "Do not replace the drive for this: it is about the way to it.",
        ],
        format!("link speed {now}, best on this port {best}"),
    )
}

pub(super) fn recovery(drive: &Place, device: &str, tries: Option<Duration>, patience: Duration) -> Words {
    let limit = tries.map_or("without a limit".to_owned(), |tries| format!("for up to {}", span(tries)));
    words(
        format!("{} TRIES LONG", named(drive)),
        "",
        sentence(
            &[&pointed_at(drive), &format!("may try a bad place {limit}, the kernel waits {}", span(patience))],
            Some("its pool can lose it for one bad place"),
        ),
        "see the log",
        [
            &format!(
                "Give the disk a recovery limit of 7 s if it has one, or the kernel more patience at every start: \
                 echo 180 >/sys/block/{device}/device/timeout."
            ),
            "Do not set it on a drive that holds the only copy: there long tries are what saves a file.",
        ],
        format!("recovery limit {}, kernel's time-out {}", tries.map_or("none".to_owned(), span), span(patience)),
    )
}

pub(super) fn new_or_moved(drive: &Place, from: Option<&str>) -> Words {
    let (name, what, evidence) = match from {
        Some(from) => {
            ("MOVED", format!("sits elsewhere than it did, it was at {from}"), format!("port before: {from}"))
        }
        None => ("IS NEW", "is new to this box".to_owned(), "its serial was not here before".to_owned()),
    };
    let port = drive.port.as_deref().unwrap_or("not known");
    words(
        format!("{} {name}", named(drive)),
        "",
        sentence(&[&pointed_at(drive), &what], None),
        "was this you?",
        [
            "If this was you, correct the trays in the configuration and reload the program: that accepts it.",
            "Do not go by the tray labels until they are right again.",
        ],
        format!("{evidence}; port now: {port}"),
    )
}

pub(super) fn worn(drive: &Place, used: Percent) -> Words {
    words(
        format!("{} WORN", named(drive)),
        &used.to_string(),
        sentence(&[&pointed_at(drive), &format!("has used {used} of the writes it was made for")], None),
        "plan to replace",
        [
            "Plan its replacement while it works, and look for what writes so much.",
            "Do not use it for the only copy of anything.",
        ],
        format!("wear used {used} by its maker's reckoning"),
    )
}

pub(super) fn not_answering(drive: &Place, stalled: Duration) -> Words {
    words(
        format!("{} HANGS", named(drive)),
        "",
        sentence(
            &[&pointed_at(drive), &format!("has had work for {} and finished none", span(stalled))],
            Some("everything that uses it waits"),
        ),
        "wait, check its plugs",
        [
            "Give it three minutes: the kernel resets what hangs. If it goes on, shut down and check its plugs.",
            "Do not switch the box off while it may still be writing.",
        ],
        format!("requests under way and none completed for {}", span(stalled)),
    )
}

pub(super) fn flapping(drive: &Place, losses: u32, within: Duration) -> Words {
    words(
        format!("{} COMES AND GOES", named(drive)),
        "",
        sentence(&[&pointed_at(drive), &format!("was lost {losses} times within {}", span(within))], None),
        "check its plugs",
        [
            "Check power and data plugs of this tray with the box off; older disks may need a supply of their own.",
            "Do not replace it for this alone: a lost connection is not a broken drive.",
        ],
        format!("lost {losses} times within {}", span(within)),
    )
}

pub(super) fn hotter(drive: &Place, now: Celsius, median: Celsius) -> Words {
    words(
        format!("{} WARMER", named(drive)),
        &format!("{:.0}C", now.0),
        sentence(&[&pointed_at(drive), &format!("is at {now}, the others of its kind are around {median}")], None),
        "air blocked there?",
        ["Look for what blocks the air to this drive, or warms it from beside.", "Do not cover the box."],
        format!("temperature {now}, median of the others {median}"),
    )
}

pub(super) fn heating(drives: &[Place], rise: f64) -> Words {
    let labels: Vec<String> = drives.iter().map(Place::label).collect();
    words(
        "DRIVES HEATING UP".to_owned(),
        "",
        format!("Drives {} got at least {rise:.0} °C warmer within ten minutes.", labels.join(" ")),
        "fan? dust? room?",
        ["Look at the fan, the dust filter and the room.", "Do not reach into a fan that may start."],
        format!("at least {rise:.0} °C within 10 min in {} drives", drives.len()),
    )
}

pub(super) fn cold(drive: &Place, now: Celsius) -> Words {
    words(
        format!("{} COLD", named(drive)),
        &format!("{:.0}C", now.0),
        sentence(&[&pointed_at(drive), &format!("is at {now}, too cold for its bearings")], None),
        "warm up the room",
        [
            "Let the room or the box get warmer before it works hard.",
            "Do not bring a cold drive into warm damp air while it runs.",
        ],
        format!("temperature {now}, limit 5 °C"),
    )
}

pub(super) fn temperature_lost(drive: &Place, why: &str, all: bool) -> Words {
    words(
        format!("{} NO TEMP", named(drive)),
        "",
        sentence(
            &[&pointed_at(drive), "told its temperature before and does not any more"],
            all.then_some("nor does any other"),
        ),
        "heat is not watched",
        [
            "Look in the log for what changed: a driver, a right, or the drive itself.",
            "Do not take silence for coolness.",
        ],
        why.to_owned(),
    )
}
