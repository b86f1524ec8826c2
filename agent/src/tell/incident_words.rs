//! The words of an incident: those of its cause around the facts of its conditions, what may be done with trays, what
//! speaks for it, and what was not measured. Pure.

use super::cause_words::{self, trays};
use super::evidence_words::{seen, unmeasured};
use super::wording::{self, TITLE_COLUMNS, Words, leave_in_line, short, stay};
use crate::clock::Moment;
use crate::units::span;
use crate::verdict::{Cause, Confidence, Ended, Finding, Handling, Incident, Turned};

/// The words of an incident.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Told {
    /// Title, sentence, what to do and what not; its evidence is that of the conditions.
    pub words: Words,
    /// What speaks for the cause, a line each, oldest first.
    pub seen: Vec<String>,
    /// What would help to decide and is not measured.
    pub unmeasured: Vec<&'static str>,
    /// The test that would decide; empty where nothing is open.
    pub next_test: String,
}

/// The words; `clock` says the time of day of a moment.
pub fn told(incident: &Incident, clock: &dyn Fn(Moment) -> String) -> Told {
    let lead = incident.lead().map(wording::words).unwrap_or_else(nothing_holds);
    let cause = cause_words::words(incident.cause, &incident.drives, incident.part.as_deref());
    let mut evidence: Vec<String> =
        incident.conditions.iter().flat_map(|condition| wording::words(condition).evidence).collect();
    evidence.dedup();
    let (words, next_test) = match cause {
        Some(cause) => {
            let sentence = format!("{}: {}.", opinion(incident.confidence), cause.what);
            let sentence = format!("{} {sentence}", facts(incident, &lead.sentence));
            let (title, name) = if says_more_itself(incident) {
                (lead.title, lead.name)
            } else {
                (short(&cause.title, TITLE_COLUMNS), short(&cause.title, TITLE_COLUMNS))
            };
            let (advice, warning) = (cause.advice, cause.warning.to_owned());
            (
                Words { title, name, sentence, brief: cause.brief, leave_in: None, advice, warning, evidence },
                cause.next_test,
            )
        }
        None if incident.cause == Cause::Unclear => {
            let sentence = format!("{} What is behind it is not clear yet.", lead.sentence);
            (Words { sentence, evidence, ..lead }, UNCLEAR.to_owned())
        }
        None => (Words { evidence, ..lead }, String::new()),
    };
    Told {
        words: handled(words, incident),
        seen: incident.evidence.iter().map(|evidence| seen(evidence, clock)).collect(),
        unmeasured: incident.unmeasured.iter().copied().map(unmeasured).collect(),
        next_test,
    }
}

/// A temperature, or a fan that stands still, is a better title than what is thought of it.
fn says_more_itself(incident: &Incident) -> bool {
    let stopped = incident.lead().is_some_and(|lead| matches!(lead.finding, Finding::FanStopped { .. }));
    incident.cause == Cause::TrayAir || (incident.cause == Cause::Airflow && stopped)
}

/// R17 names the three measurements that would decide.
const UNCLEAR: &str = "Three things would decide: whether the drive counts a start more than before (then it lost its \
                       power), whether it counts damaged transfers (then it is the cable), and whether the loss stays \
                       with the tray when it changes places with its neighbour, with the box off.";

fn nothing_holds() -> Words {
    let empty = String::new;
    Words {
        title: empty(),
        name: empty(),
        sentence: empty(),
        brief: "",
        leave_in: None,
        advice: empty(),
        warning: empty(),
        evidence: Vec::new(),
    }
}

fn opinion(confidence: Confidence) -> &'static str {
    match confidence {
        Confidence::Certain => "This is certain",
        Confidence::Likely => "Most likely",
        Confidence::Possible => "Possibly",
    }
}

/// What happened, in a sentence: that of the leading condition, or that several drives did the same.
fn facts(incident: &Incident, lead: &str) -> String {
    let count = incident.drives.len();
    let gone = incident.conditions.iter().any(|condition| matches!(condition.finding, Finding::DriveGone { .. }));
    match incident.cause {
        Cause::Supply | Cause::UsbPower | Cause::UsbBridge | Cause::ControllerStopped | Cause::ControllerHot
            if count > 1 && gone =>
        {
            format!("{count} drives went together: {}.", trays(&incident.drives))
        }
        _ => lead.to_owned(),
    }
}

/// The line about trays comes first wherever there is one.
fn handled(mut words: Words, incident: &Incident) -> Words {
    let (line, first) = match &incident.handling {
        Handling::NoTray => (words.leave_in.clone(), None),
        Handling::PullNothing => (Some("PULL NOTHING".to_owned()), Some("Pull nothing.".to_owned())),
        Handling::LeaveIn(labels) => (Some(leave_in_line(labels)), Some(leave(labels))),
        Handling::Compare { serial } => {
            let tail = short(serial, 8);
            let words = format!(
                "Which tray it is in is not certain: power off and compare the labels with the one ending in {tail}."
            );
            (Some(format!("LOOK FOR ..{tail}")), Some(words))
        }
        Handling::MayPull { tray, while_on } => {
            let how = if *while_on { "" } else { "Switch the box off and wait 30 s. " };
            let words =
                format!("{how}Compare the serial, then tray {tray} alone may be taken out: its pool does not need it.");
            (None, Some(words))
        }
        Handling::PutBack { tray } => (Some(format!("PUT {tray} BACK NOW")), None),
    };
    words.leave_in = line.map(|line| short(&line, TITLE_COLUMNS));
    if let Some(first) = first.filter(|first| !words.advice.starts_with(first.as_str())) {
        words.advice = format!("{first} {}", words.advice);
    }
    words
}

fn leave(labels: &[String]) -> String {
    if labels.is_empty() { "Leave all drives in.".to_owned() } else { stay(labels, "").trim_end().to_owned() }
}

/// What is new about an incident, in words that come before its title.
pub fn turned(what: Turned) -> String {
    match what {
        Turned::Opened => String::new(),
        Turned::Worsened => "worse: ".to_owned(),
        Turned::Refined { .. } => "now clearer: ".to_owned(),
        Turned::Eased => "better: ".to_owned(),
        Turned::Closed { lasted, how: Ended::Over } => format!("over after {}: ", span(lasted)),
        Turned::Closed { lasted, how: Ended::TakenOut } => format!("ended by taking it out, after {}: ", span(lasted)),
        Turned::Closed { how: Ended::PartOf(other), .. } => format!("part of incident {other}: "),
    }
}

#[cfg(test)]
mod tests;
