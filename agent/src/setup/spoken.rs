//! The steps of the setup in words, and why an answer does not count.

use super::candidates::Candidate;
use super::drawing::tail;
use super::step::{Step, Wrong};
use crate::tell::words::phrases::{Language, Phrases};

/// A step in words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Spoken {
    /// Printed before the question.
    pub before: Vec<String>,
    /// The question; empty where the walk pauses.
    pub question: String,
    /// What an empty answer stands for, if anything.
    pub proposed: Option<String>,
}

/// A step in words. `has_pools`: some drives belong to pools.
pub fn spoken(step: &Step, has_pools: bool, language: Language) -> Spoken {
    let plain = |key| language.plain(key).to_owned();
    let in_tray = |key: &str, tray: &str| language.say(key, &[("tray", &tray)]);
    let ask = |question: String| Spoken { before: Vec::new(), question, proposed: None };
    let pause = |before: Vec<String>| Spoken { before, question: String::new(), proposed: None };
    match step {
        Step::Shelves { proposed } => Spoken { proposed: Some(proposed.to_string()), ..ask(plain("setup.shelves")) },
        Step::Labels { shelf, proposed } => {
            Spoken { proposed: Some(proposed.join(" ")), ..ask(language.say("setup.labels", &[("n", &shelf)])) }
        }
        Step::Way => ask(plain("setup.way")),
        Step::Ports { order } => {
            let line = |(tray, drive): &(String, Candidate)| {
                let port = drive.port.as_deref().unwrap_or("-");
                let drive = described(drive, language);
                language.say("setup.port-line", &[("tray", tray), ("port", &port), ("drive", &drive)])
            };
            Spoken { before: order.iter().map(line).collect(), ..ask(plain("setup.ports")) }
        }
        Step::Serial { tray } => ask(in_tray("setup.serial", tray)),
        Step::TakeOut => {
            let caution = has_pools.then(|| plain("setup.pools-caution"));
            pause(
                [Some(plain("setup.power-off")), caution, Some(plain("setup.take-out"))]
                    .into_iter()
                    .flatten()
                    .collect(),
            )
        }
        Step::Emptied { left } if left.is_empty() => ask(plain("setup.emptied")),
        Step::Emptied { left } => ask(language.say("setup.emptied-but", &[("drives", &listed(left, language))])),
        Step::PutIn { tray } => pause(vec![plain("setup.power-off"), in_tray("setup.put-in", tray)]),
        Step::Found { tray, drive } => {
            let drive = described(drive, language);
            ask(language.say("setup.found", &[("tray", tray), ("drive", &drive)]))
        }
        Step::NoneNew { tray } => ask(in_tray("setup.none-new", tray)),
        Step::Unclear { tray, new, gone } => {
            let mut before = Vec::new();
            if !gone.is_empty() {
                before.push(language.say("setup.gone", &[("drives", &gone.join(", "))]));
            }
            match &new[..] {
                [] => {}
                [drive] if drive.holds().is_none() => {
                    before.push(language.say("setup.unrecognisable", &[("drive", &described(drive, language))]))
                }
                [drive] => before.push(language.say("setup.new", &[("drive", &described(drive, language))])),
                several => before.push(language.say("setup.several-new", &[("drives", &listed(several, language))])),
            }
            before.extend([plain("setup.power-off"), in_tray("setup.as-before", tray)]);
            pause(before)
        }
        Step::Agree { absent } => {
            let missing = || language.say("setup.absent", &[("trays", &absent.join(", "))]);
            Spoken { before: (!absent.is_empty()).then(missing).into_iter().collect(), ..ask(plain("setup.agree")) }
        }
        Step::Write => pause(Vec::new()),
    }
}

/// Why an answer does not count.
pub fn wrong(wrong: &Wrong, language: Language) -> String {
    let found = |key: &str, found: &str| language.say(key, &[("found", &found)]);
    match wrong {
        Wrong::Number { found: text } => found("setup.wrong.number", text),
        Wrong::LabelCount { found: count } => found("setup.wrong.label-count", &count.to_string()),
        Wrong::Label { found: text } => found("setup.wrong.label", text),
        Wrong::LabelTwice { label } => found("setup.wrong.label-twice", label),
        Wrong::TooShort { found: text } => found("setup.wrong.too-short", text),
        Wrong::NoSerial { found: text, there } => {
            language.say("setup.wrong.no-serial", &[("found", text), ("drives", &listed(there, language))])
        }
        Wrong::Ambiguous { found: text, fitting } => {
            language.say("setup.wrong.ambiguous", &[("found", text), ("drives", &listed(fitting, language))])
        }
        Wrong::Taken { serial, tray } => language.say("setup.wrong.taken", &[("found", serial), ("tray", tray)]),
        Wrong::NoOrder { drives } => language.say("setup.wrong.no-order", &[("drives", &drives.join(", "))]),
        Wrong::NotAsMany { trays, drives } => language.say(
            "setup.wrong.not-as-many",
            &[
                ("trays", &language.count("setup.trays", *trays as u64)),
                ("drives", &language.count("setup.drives", *drives as u64)),
            ],
        ),
        Wrong::NoBootId => language.plain("setup.wrong.no-boot-id").to_owned(),
        Wrong::NotYesOrNo => language.plain("setup.wrong.yes-or-no").to_owned(),
    }
}

/// A drive by its device, its model and the end of its serial.
fn described(drive: &Candidate, language: Language) -> String {
    let serial = drive.serial.as_deref().map(tail);
    let serial = serial.map(|tail| language.say("setup.serial-end", &[("tail", &tail)]));
    [Some(drive.device.clone()), drive.model.clone(), serial].into_iter().flatten().collect::<Vec<_>>().join(", ")
}

fn listed(drives: &[Candidate], language: Language) -> String {
    drives.iter().map(|drive| described(drive, language)).collect::<Vec<_>>().join("; ")
}
