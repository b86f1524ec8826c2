//! An incident in the document.

use crate::clock::Moment;
use crate::reading::{Drive, Snapshot};
use crate::tell::words::incident::{IncidentWords, incident_words};
use crate::tell::words::parts::Words;
use crate::tell::words::phrases::Language;
use crate::verdict::{self, Cause, Confidence, Handling, IncidentId, Place, Severity, Unmeasured, Verdict};
use serde::{Deserialize, Serialize};

/// The conditions that have one cause.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Incident {
    /// What it is called; never given twice.
    pub id: IncidentId,
    /// What it points to.
    pub cause: Cause,
    /// How surely.
    pub confidence: Confidence,
    /// The cause in words; `null` where the conditions have no other cause, and while it is not known.
    pub cause_words: Option<String>,
    /// How bad.
    pub severity: Severity,
    /// For how long, in seconds; `null` when that is not known: the clock was not set over a restart.
    pub since_s: Option<u64>,
    /// True once its owner has said that he knows.
    pub acknowledged: bool,
    /// A title of at most 21 characters.
    pub headline: String,
    /// What happened, and what is thought of it.
    pub sentence: String,
    /// The trays that it is about, by their labels, or what else their drives are called by.
    pub trays: Vec<String>,
    /// The drives that it is about, and how surely each is known.
    pub drives: Vec<AboutDrive>,
    /// What may be done with trays.
    pub handling: TrayHandling,
    /// The trays that this is about: those that must stay, or the one that may be taken out or must be put back.
    pub handled_trays: Vec<String>,
    /// The conditions that belong to it, by kind and subject, the most telling first.
    pub conditions: Vec<String>,
    /// What speaks for the cause, oldest first, then what was measured.
    pub evidence: Vec<String>,
    /// What would help to decide and is not measured.
    pub not_measured: Vec<Unmeasured>,
    /// What to do.
    #[serde(rename = "do")]
    pub advice: String,
    /// What not to do.
    pub do_not: String,
    /// The test that would decide; empty where nothing is open.
    pub next_test: String,
    /// The words for its owner, when that one reads another language than English; `null` in English.
    pub owners_words: Option<OwnersWords>,
}

/// The words of an incident in its owner's language.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct OwnersWords {
    /// A title of at most 21 characters.
    pub headline: String,
    /// What happened, and what is thought of it.
    pub sentence: String,
    /// What to do.
    #[serde(rename = "do")]
    pub advice: String,
    /// What not to do.
    pub do_not: String,
    /// The cause in words.
    pub cause: Option<String>,
    /// What speaks for the cause, then what was measured.
    pub evidence: Vec<String>,
    /// The test that would decide.
    pub next_test: String,
}

impl OwnersWords {
    /// Those in English.
    pub fn of(incident: &Incident) -> Self {
        let Incident { headline, sentence, advice, do_not, cause_words: cause, evidence, next_test, .. } =
            incident.clone();
        Self { headline, sentence, advice, do_not, cause, evidence, next_test }
    }

    fn from(IncidentWords { words, cause, seen, next_test, .. }: IncidentWords) -> Self {
        let Words { title: headline, sentence, advice, warning: do_not, evidence, .. } = words;
        let evidence = seen.into_iter().chain(evidence).collect();
        Self { headline, sentence, advice, do_not, cause, evidence, next_test }
    }
}

/// A drive that an incident is about.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct AboutDrive {
    /// The label of its tray, if the configuration names one.
    pub tray: Option<String>,
    /// Serial.
    pub serial: Option<String>,
    /// Where it is or was plugged.
    pub port: Option<String>,
    /// How surely it is known which drive that is.
    pub identity: Identity,
}

/// How surely it is known which drive is meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub enum Identity {
    /// Serial, world wide name and port are known, now.
    Strong,
    /// Its serial is known; of a drive that is gone nothing more can be checked.
    Medium,
    /// Only where it is or was plugged.
    Weak,
}

fn about(place: &Place, snapshot: &Snapshot) -> AboutDrive {
    let is_it = |drive: &&Drive| drive.serial == place.serial && drive.port == place.port;
    let has_name = snapshot.drives.iter().find(is_it).is_some_and(|drive| drive.wwn.is_some());
    let identity = match (&place.serial, &place.port) {
        (Some(_), Some(_)) if has_name => Identity::Strong,
        (Some(_), _) => Identity::Medium,
        (None, _) => Identity::Weak,
    };
    AboutDrive { tray: place.tray.clone(), serial: place.serial.clone(), port: place.port.clone(), identity }
}

/// What may be done with trays.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub enum TrayHandling {
    /// It is not about trays.
    NoTray,
    /// None may be taken out.
    PullNothing,
    /// Some must stay in: those named, or all.
    LeaveIn,
    /// Which tray it is in is not certain: the serial decides.
    Compare,
    /// One may be taken out.
    MayPull,
    /// One must be put back.
    PutBack,
}

/// The part for an incident; `clock` says the time of day of a moment, `language` is its owner's.
pub fn incident(
    judged: &verdict::Incident,
    verdict: &Verdict,
    snapshot: &Snapshot,
    clock: &dyn Fn(Moment) -> String,
    language: Language,
) -> Incident {
    let owners = (language != Language::ENGLISH).then(|| incident_words(judged, clock, language));
    let words = incident_words(judged, clock, Language::ENGLISH);
    let (handling, handled_trays) = match &judged.handling {
        Handling::NoTray => (TrayHandling::NoTray, Vec::new()),
        Handling::PullNothing | Handling::Nameless => (TrayHandling::PullNothing, Vec::new()),
        Handling::LeaveIn(labels) => (TrayHandling::LeaveIn, labels.clone()),
        Handling::Compare { .. } => (TrayHandling::Compare, Vec::new()),
        Handling::MayPull { tray } => (TrayHandling::MayPull, vec![tray.clone()]),
        Handling::PutBack { tray } => (TrayHandling::PutBack, vec![tray.clone()]),
    };
    Incident {
        id: judged.id,
        cause: judged.cause,
        confidence: judged.confidence,
        cause_words: words.cause,
        severity: judged.severity,
        since_s: verdict.gaps.since(judged.since, verdict.at).map(|span| span.as_secs()),
        acknowledged: judged.acknowledged,
        headline: words.words.title,
        sentence: words.words.sentence,
        trays: judged.drives.iter().map(|drive| drive.label()).collect(),
        drives: judged.drives.iter().map(|drive| about(drive, snapshot)).collect(),
        handling,
        handled_trays,
        conditions: judged.conditions.iter().map(|held| format!("{} of {}", held.kind().id(), held.subject)).collect(),
        evidence: words.seen.into_iter().chain(words.words.evidence).collect(),
        not_measured: judged.unmeasured.clone(),
        advice: words.words.advice,
        do_not: words.words.warning,
        next_test: words.next_test,
        owners_words: owners.map(OwnersWords::from),
    }
}
