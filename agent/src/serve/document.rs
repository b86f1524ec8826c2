//! The state of the box as one JSON document, `"schema": 1`: what `look --json` prints and the state socket hands out.
//! Keys end in their unit; a value that is missing is `null`, with its reason under `missing`.

use super::channel_part::Channel;
pub use super::condition_part::{Condition, Limit};
use super::drive_part::Drive;
use super::history_part::History;
use super::incident_part::{self, Incident};
use super::parts::{Board, Fan, Link, Temperature};
use super::pool_part::Pool;
use super::rehearsal_part::Rehearsal;
use super::shelf_part::{self, Shelf};
use super::supply_part::{Controller, Supply};
use super::volume_part::Volume;
use crate::clock::Wall;
use crate::reading::{Snapshot, Union, Unmounted};
use crate::tell::words::condition::words;
use crate::tell::words::limit;
use crate::tell::words::phrases::Language;
use crate::tell::words::unseen::{all_unseen, unseen_part};
use crate::verdict::{self, Figure, Freshness, Standing, Verdict};
use serde::{Deserialize, Serialize};
use traylight_config::Settings;

/// The whole document.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Document {
    /// Always 1; goes up when a key changes its meaning or goes away.
    pub schema: u32,
    /// The box's name.
    #[serde(rename = "box")]
    pub box_name: String,
    /// When the snapshot was taken, RFC 3339.
    pub taken_at: String,
    /// True once a time service has set the clock.
    pub clock_set: bool,
    /// Overall state.
    pub standing: Standing,
    /// Time left during which alerts are muted; `null` when they are not.
    pub muted_left_s: Option<u64>,
    /// What could not be read.
    pub unseen: Vec<Unseen>,
    /// The shelves of the configuration with all of their trays, top shelf first.
    pub shelves: Vec<Shelf>,
    /// Physical drives, in the order of their ports.
    pub drives: Vec<Drive>,
    /// Pools: md, ZFS, btrfs and LVM.
    pub pools: Vec<Pool>,
    /// Mounted file systems.
    pub volumes: Vec<Volume>,
    /// Mounts that merge several folders into one.
    pub unions: Vec<Union>,
    /// File systems in `/etc/fstab` that are not mounted.
    pub unmounted: Vec<Unmounted>,
    /// Fans.
    pub fans: Vec<Fan>,
    /// Temperatures that belong to no drive.
    pub temperatures: Vec<Temperature>,
    /// Voltages.
    pub supply: Supply,
    /// Network ports.
    pub links: Vec<Link>,
    /// Controllers that drives are attached to.
    pub controllers: Vec<Controller>,
    /// The machine itself.
    pub board: Board,
    /// Open conditions, worst first.
    pub conditions: Vec<Condition>,
    /// Open incidents, worst first: conditions with one cause.
    pub incidents: Vec<Incident>,
    /// Channels for alerts, in the order of the configuration; empty without a running agent.
    pub channels: Vec<Channel>,
    /// The rehearsal that is under way; `null` when there is none. Nothing in it is part of the rest of this document.
    pub rehearsal: Option<Rehearsal>,
    /// What was closed; `null` without a running agent.
    pub history: Option<History>,
}

/// Something that could not be read, and why.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Unseen {
    /// What could not be read, and why.
    pub words: String,
    /// The words in the owner's language, when that is another than English; `null` in English.
    pub owners_words: Option<String>,
}

impl Unseen {
    /// In the owner's language.
    pub fn for_owner(&self) -> &str {
        self.owners_words.as_ref().unwrap_or(&self.words)
    }
}

impl Document {
    /// The document of a judged snapshot, without what only a running agent has: channels, rehearsal and history. `wall` is the
    /// calendar at the time of the verdict.
    pub fn new(settings: &Settings, verdict: &Verdict, snapshot: &Snapshot, wall: &Wall) -> Self {
        let age = verdict.at.since(snapshot.taken);
        let unseen_parts = match &verdict.freshness {
            Freshness::InPart(blind) => {
                blind.iter().map(|part| unseen(settings.language, |language| unseen_part(part, language))).collect()
            }
            Freshness::SilentSince(since) => {
                let silent = verdict.at.since(*since);
                vec![unseen(settings.language, |language| all_unseen(silent, language))]
            }
            Freshness::NotYet | Freshness::Fresh => Vec::new(),
        };
        Self {
            schema: 1,
            box_name: box_name(settings, snapshot),
            taken_at: wall.before(age).stamp(),
            clock_set: wall.synchronised,
            standing: verdict.standing(),
            muted_left_s: verdict.muted_until.map(|until| until.since(verdict.at).as_secs()),
            unseen: unseen_parts,
            shelves: shelf_part::shelves(verdict),
            drives: snapshot.drives.iter().map(|drive| Drive::of(verdict, snapshot, drive)).collect(),
            pools: snapshot.pools.iter().map(|pool| Pool::of(verdict, snapshot, pool)).collect(),
            volumes: snapshot.volumes.iter().map(|volume| Volume::of(verdict, volume)).collect(),
            unions: snapshot.unions.clone(),
            unmounted: snapshot.unmounted.clone(),
            fans: snapshot.fans.iter().map(|fan| Fan::of(fan, verdict.fans.contains(&fan.key))).collect(),
            temperatures: snapshot.temperatures.iter().map(Temperature::of).collect(),
            supply: Supply::of(snapshot),
            links: snapshot.links.iter().map(Link::of).collect(),
            controllers: snapshot.controllers.iter().map(Controller::of).collect(),
            board: Board::of(snapshot),
            conditions: verdict.conditions.iter().map(|held| condition(held, verdict, settings.language)).collect(),
            incidents: verdict
                .incidents
                .iter()
                .map(|judged| {
                    let clock = |at| wall.before(verdict.at.since(at)).second();
                    incident_part::incident(judged, verdict, snapshot, &clock, settings.language)
                })
                .collect(),
            channels: Vec::new(),
            rehearsal: None,
            history: None,
        }
    }

    /// The document of a single look: it does not know since when anything has been so.
    pub fn without_history(mut self) -> Self {
        self.conditions.iter_mut().for_each(|condition| condition.since_s = None);
        self.incidents.iter_mut().for_each(|incident| incident.since_s = None);
        self.shelves.iter_mut().flat_map(|shelf| &mut shelf.trays).for_each(|tray| tray.gone_s = None);
        self
    }

    /// The exit code that tells a script how the box stands.
    pub fn exit_code(&self) -> u8 {
        self.standing.exit_code()
    }
}

/// The box's name: the owner's, else the host's.
pub fn box_name(settings: &Settings, snapshot: &Snapshot) -> String {
    settings.box_name.clone().unwrap_or_else(|| snapshot.board.name.clone())
}

fn unseen(owners: Language, words: impl Fn(Language) -> String) -> Unseen {
    Unseen { words: words(Language::ENGLISH), owners_words: (owners != Language::ENGLISH).then(|| words(owners)) }
}

fn condition(held: &verdict::Condition, verdict: &Verdict, language: Language) -> Condition {
    let owners_sentence = (language != Language::ENGLISH).then(|| words(held, language).sentence);
    let words = words(held, Language::ENGLISH);
    let incident = verdict.incident_of(held);
    Condition {
        id: held.kind().id().to_owned(),
        incident: incident.map(|incident| incident.id),
        subject: held.subject.to_string(),
        tray: held.finding.drive().and_then(|place| place.tray.clone()),
        serial: held.finding.drive().and_then(|place| place.serial.clone()),
        severity: held.severity,
        since_s: verdict.gaps.since(held.since, verdict.at).map(|span| span.as_secs()),
        headline: words.title,
        sentence: words.sentence,
        owners_sentence,
        evidence: words.evidence,
        limits: verdict.limits_of(held).iter().map(|of| limit(of, language)).collect(),
        advice: words.advice,
        do_not: words.warning,
    }
}

fn limit(judged: &verdict::Limit, language: Language) -> Limit {
    let figure = |(name, figure): &(&str, Figure)| (format!("{name}{}", figure.unit()), figure.number());
    Limit {
        words: limit::text(judged, Language::ENGLISH),
        owners_words: (language != Language::ENGLISH).then(|| limit::text(judged, language)),
        origin: judged.origin,
        figures: judged.figures.iter().map(figure).collect(),
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::disallowed_methods, reason = "the schema is kept in a file, and renewed on request")]
    use super::*;
    use crate::demo::{self, heron, story};
    use crate::judge::{Memory, judge};
    use crate::reading::Itself;

    const SHIPPED: &str = include_str!("../../state.schema.json");

    /// With `TRAYLIGHT_NEW_SCHEMA=1` the file is written anew; look at its difference before it goes out.
    #[test]
    fn the_shipped_schema_is_the_documents() {
        let schema = schemars::schema_for!(Document);
        let ours = serde_json::to_string_pretty(&schema).expect("a schema is JSON") + "\n";
        if std::env::var_os("TRAYLIGHT_NEW_SCHEMA").is_some() {
            let file = concat!(env!("CARGO_MANIFEST_DIR"), "/state.schema.json");
            std::fs::write(file, &ours).expect("the schema can be written");
        } else {
            assert!(SHIPPED == ours, "agent/state.schema.json is not the document's schema any more");
        }
    }

    /// Judged from outside, by the `jsonschema` crate: a calm box, and one with a drive gone.
    #[test]
    fn documents_are_what_the_schema_says() {
        let schema: serde_json::Value = serde_json::from_str(SHIPPED).expect("the schema is JSON");
        let judge_of_schema = jsonschema::validator_for(&schema).expect("the schema is one");
        let settings = demo::settings().expect("the pretend box has settings");
        let wall = demo::dawn().expect("there is a dawn");
        let mut memory = Memory::default();
        let mut exit_codes = Vec::new();
        for second in (0..30 * 60).step_by(2) {
            let elapsed = std::time::Duration::from_secs(second);
            let now = crate::clock::Moment::after_boot(std::time::Duration::from_secs(86_400) + elapsed);
            let snapshot = heron::snapshot(now, &story::scene(elapsed));
            let (verdict, _) = judge(&settings, &mut memory, now, Some(&snapshot), &Itself::default());
            if second % 600 == 0 {
                let document = Document::new(&settings, &verdict, &snapshot, &wall);
                let value = serde_json::to_value(&document).expect("a document is JSON");
                let problems: Vec<String> =
                    judge_of_schema.iter_errors(&value).map(|error| error.to_string()).collect();
                assert_eq!(problems, [""; 0]);
                let back: Document = serde_json::from_value(value).expect("a document comes back");
                assert_eq!(back, document);
                exit_codes.push(document.exit_code());
            }
        }
        // Calm, calm with a stopped fan that heats nothing yet, then worse.
        assert_eq!(exit_codes, [0, 10, 20]);
    }
}
