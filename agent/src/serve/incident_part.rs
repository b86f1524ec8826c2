//! An incident in the document.

use crate::clock::Moment;
use crate::reading::{Drive, Snapshot};
use crate::tell::words::incident::{IncidentWords, incident_words};
use crate::tell::words::parts::Words;
use crate::tell::words::phrases::Language;
use crate::verdict::{self, Cause, Confidence, Handling, IncidentId, LeaveIn, Place, Severity, Unmeasured, Verdict};
use serde::{Deserialize, Serialize};

/// Conditions that have one cause. They are those in `conditions` whose `incident` is its `id`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Incident {
    /// Its number, never used twice.
    pub id: IncidentId,
    /// Most likely cause.
    pub cause: Cause,
    /// Confidence in that cause.
    pub confidence: Confidence,
    /// The cause in words; `null` where the conditions have no other cause, and while it is not known.
    pub cause_words: Option<String>,
    /// Severity.
    pub severity: Severity,
    /// Seconds since it opened; `null` when unknown: the clock was not set across a restart, or no agent runs.
    pub since_s: Option<u64>,
    /// True once it was acknowledged.
    pub acknowledged: bool,
    /// Title of at most 21 characters.
    pub headline: String,
    /// What happened, and the most likely cause.
    pub sentence: String,
    /// Labels of the trays that it is about. A drive without a named tray is in `drives` only.
    pub trays: Vec<String>,
    /// The drives that it is about, and how reliably each is identified.
    pub drives: Vec<AboutDrive>,
    /// What may be done with trays.
    pub handling: TrayHandling,
    /// Drives that must stay in; `null` when none must.
    pub leave_in: Option<LeaveIn>,
    /// Label of the tray that may be taken out or must be put back, by `handling`; else `null`.
    pub handled_tray: Option<String>,
    /// Evidence for the cause, oldest first, then measured values.
    pub evidence: Vec<String>,
    /// What would help to find the cause and is not measured.
    pub not_measured: Vec<Unmeasured>,
    /// What to do.
    #[serde(rename = "do")]
    pub advice: String,
    /// What not to do.
    pub do_not: String,
    /// How to confirm the cause; empty when it is certain.
    pub next_test: String,
    /// The same texts in the configured language and unit of temperatures; `null` for English with °C.
    pub owners_words: Option<OwnersWords>,
}

/// The texts of an incident as configured.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct OwnersWords {
    /// Title of at most 21 characters.
    pub headline: String,
    /// What happened, and the most likely cause.
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

impl Incident {
    /// The words for its owner, in English where there are no others.
    pub fn words(&self) -> OwnersWords {
        self.owners_words.clone().unwrap_or_else(|| {
            let Self { headline, sentence, advice, do_not, cause_words: cause, evidence, next_test, .. } = self.clone();
            OwnersWords { headline, sentence, advice, do_not, cause, evidence, next_test }
        })
    }
}

impl OwnersWords {
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
    /// Label of its tray, if the configuration names one.
    pub tray: Option<String>,
    /// Serial number.
    pub serial: Option<String>,
    /// The port that it is or was plugged into.
    pub port: Option<String>,
    /// How reliably it is identified.
    pub identity: Identity,
}

/// How reliably a drive is identified.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub enum Identity {
    /// By serial number, world wide name and port.
    Strong,
    /// By its serial number only, such as a drive that is gone.
    Medium,
    /// By its port only.
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
    /// Not about trays.
    NoTray,
    /// Take none out.
    PullNothing,
    /// Leave some in, or all: see `leave_in`.
    LeaveIn,
    /// The tray is not certain: compare serial numbers.
    Compare,
    /// `handled_tray` may be taken out.
    MayPull,
    /// `handled_tray` must be put back.
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
    let (handling, handled_tray) = match &judged.handling {
        Handling::NoTray => (TrayHandling::NoTray, None),
        Handling::PullNothing | Handling::Nameless => (TrayHandling::PullNothing, None),
        Handling::LeaveIn(_) => (TrayHandling::LeaveIn, None),
        Handling::Compare { .. } => (TrayHandling::Compare, None),
        Handling::MayPull { tray } => (TrayHandling::MayPull, Some(tray.clone())),
        Handling::PutBack { tray } => (TrayHandling::PutBack, Some(tray.clone())),
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
        trays: judged.trays().map(str::to_owned).collect(),
        drives: judged.drives.iter().map(|drive| about(drive, snapshot)).collect(),
        handling,
        leave_in: judged.handling.leave_in(),
        handled_tray,
        evidence: words.seen.into_iter().chain(words.words.evidence).collect(),
        not_measured: judged.unmeasured.clone(),
        advice: words.words.advice,
        do_not: words.words.warning,
        next_test: words.next_test,
        owners_words: owners.map(OwnersWords::from),
    }
}
