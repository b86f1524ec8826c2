//! The words of an incident: those of its cause around the facts of its conditions, what may be done with trays, what
//! speaks for it, and what was not measured. Pure.

use super::cause::{self, CauseWords, trays};
use super::condition;
use super::drives::{leave_in_line, stay_and};
use super::evidence::{seen, unmeasured};
use super::parts::{Off, TITLE_COLUMNS, Words, short};
use super::phrases::{Language, Phrases};
use crate::clock::Moment;
use crate::verdict::{Cause, Condition, Confidence, Finding, Handling, Incident, Place};

/// The words of an incident.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct IncidentWords {
    /// Title, sentence, what to do and what not; its evidence is that of the conditions.
    pub words: Words,
    /// What the cause is; `None` for conditions that have none of their own, and for what is not clear.
    pub cause: Option<String>,
    /// What speaks for the cause, a line each, oldest first.
    pub seen: Vec<String>,
    /// What would help to decide and is not measured.
    pub unmeasured: Vec<&'static str>,
    /// The test that would decide; empty where nothing is open.
    pub next_test: String,
    /// What began or got worse since the message before and is not in the sentence: a sentence for each condition.
    pub news: Vec<String>,
    /// What holds besides all that: a sentence for each condition.
    pub also: Vec<String>,
}

/// The words; `clock` says the time of day of a moment.
pub fn incident_words(incident: &Incident, clock: &dyn Fn(Moment) -> String, language: Language) -> IncidentWords {
    let words_of = |condition| condition::words_in_box(condition, incident.hot_swap, language);
    let lead = incident.lead().map(words_of).unwrap_or_default();
    let cause = cause::words(incident, language);
    let mut evidence: Vec<String> =
        incident.conditions.iter().flat_map(|condition| words_of(condition).evidence).collect();
    evidence.dedup();
    let (words, next_test) = match &cause {
        Some(cause) => {
            let facts = facts(incident, &lead.sentence, language);
            let opinion = opinion(incident.confidence, language);
            let sentence =
                language.say("incident.sentence", &[("facts", &facts), ("opinion", &opinion), ("what", &cause.what)]);
            let (title, name) = if says_more_itself(incident) {
                (lead.title, lead.name)
            } else {
                (short(&cause.title, TITLE_COLUMNS), short(&cause.title, TITLE_COLUMNS))
            };
            let CauseWords { brief, advice, warning, next_test, .. } = cause.clone();
            (
                Words { title, name, sentence, brief, off: Off::Never, leave_in: None, advice, warning, evidence },
                next_test,
            )
        }
        None if incident.cause == Cause::Unknown => {
            let sentence = language.say("incident.not-clear", &[("facts", &lead.sentence)]);
            // Three measurements would decide.
            (
                Words { sentence, evidence, ..with_the_others(lead, incident) },
                language.plain("incident.three-tests").to_owned(),
            )
        }
        None => (Words { evidence, ..with_the_others(lead, incident) }, String::new()),
    };
    let (news, also) = rest(incident, &words.sentence, language);
    IncidentWords {
        words: handled(words, incident, language),
        cause: cause.map(|cause| cause.what),
        seen: incident.evidence.iter().map(|evidence| seen(evidence, clock, language)).collect(),
        unmeasured: incident.unmeasured.iter().map(|what| unmeasured(*what, language)).collect(),
        next_test,
        news,
        also,
    }
}

/// Of several parts of which the same is to be said, the title has the first and their number.
fn with_the_others(lead: Words, incident: &Incident) -> Words {
    let kind = incident.lead().map(Condition::kind);
    let others = incident.conditions.iter().filter(|held| Some(held.kind()) == kind).count().saturating_sub(1);
    if others == 0 {
        return lead;
    }
    let more = format!(" +{others}");
    let counted = |title: &str| short(title, TITLE_COLUMNS - more.len()) + &more;
    Words { title: counted(&lead.title), name: counted(&lead.name), ..lead }
}

/// What holds and is not in the sentence: what is new, and the rest.
fn rest(incident: &Incident, sentence: &str, language: Language) -> (Vec<String>, Vec<String>) {
    let news: Vec<&Condition> = incident.news().collect();
    let (mut new, mut also) = (Vec::new(), Vec::new());
    for held in &incident.conditions {
        let said = condition::words(held, language).sentence;
        if !sentence.contains(&said) && !new.contains(&said) && !also.contains(&said) {
            if news.iter().any(|one| std::ptr::eq(*one, held)) { new.push(said) } else { also.push(said) }
        }
    }
    (new, also)
}

/// A temperature, or a fan that stands still, is a better title than what is thought of it.
fn says_more_itself(incident: &Incident) -> bool {
    let stopped = incident.lead().is_some_and(|lead| matches!(lead.finding, Finding::FanStopped { .. }));
    incident.cause == Cause::TrayAir || (incident.cause == Cause::Airflow && stopped)
}

fn opinion(confidence: Confidence, language: Language) -> &'static str {
    language.plain(match confidence {
        Confidence::Certain => "incident.certain",
        Confidence::Likely => "incident.likely",
        Confidence::Possible => "incident.possible",
    })
}

/// What happened, in a sentence: that of the leading condition, or that several drives are gone.
fn facts(incident: &Incident, lead: &str, language: Language) -> String {
    let of = |condition: &Condition| match &condition.finding {
        Finding::DriveGone { drive, .. } => Some(drive.clone()),
        _ => None,
    };
    let mut gone: Vec<Place> = incident.conditions.iter().filter_map(of).collect();
    gone.sort();
    match incident.cause {
        Cause::Supply
        | Cause::UsbPower
        | Cause::UsbBridge
        | Cause::SharedPath
        | Cause::ControllerStopped
        | Cause::ControllerHot
            if gone.len() > 1 =>
        {
            language.say("incident.together", &[("count", &gone.len()), ("trays", &trays(&gone, language))])
        }
        _ => lead.to_owned(),
    }
}

/// The line about trays comes first wherever there is one.
fn handled(mut words: Words, incident: &Incident, language: Language) -> Words {
    let plain = |key| Some(language.plain(key).to_owned());
    let (line, first) = match &incident.handling {
        Handling::NoTray => (words.leave_in.clone(), None),
        Handling::PullNothing => (plain("line.pull-nothing"), plain("incident.pull-nothing")),
        Handling::LeaveIn(labels) => (Some(leave_in_line(labels, language)), Some(leave(labels, language))),
        Handling::Compare { serial } => {
            let tail = short(serial, 8);
            let compare = language.say("incident.compare", &[("tail", &tail)]);
            (Some(language.say("line.look-for", &[("tail", &tail)])), Some(compare))
        }
        Handling::Nameless => (plain("line.pull-nothing"), plain("incident.nameless")),
        Handling::MayPull { tray } => {
            let may = language.say("incident.may-pull", &[("tray", tray)]);
            let off = language.plain("incident.switch-off-first");
            (None, Some(if incident.hot_swap { may } else { format!("{off} {may}") }))
        }
        Handling::PutBack { tray } => {
            let line = if incident.hot_swap { "line.put-back" } else { "line.off-put-back" };
            (Some(language.say(line, &[("tray", tray)])), None)
        }
    };
    words.leave_in = line.map(|line| short(&line, TITLE_COLUMNS));
    if let Some(first) = first.filter(|first| !words.advice.starts_with(first.as_str())) {
        words.advice = format!("{first} {}", words.advice);
    }
    if may_be_meant(incident) {
        words.advice = format!("{} {}", words.advice, language.say("incident.agree", &[("id", &incident.id)]));
    }
    words
}

/// True when nothing but what is missing speaks for a fault, so that its owner may have wanted it.
fn may_be_meant(incident: &Incident) -> bool {
    let is_open = !incident.cause.is_named() || incident.cause == Cause::TakenOut;
    is_open && incident.conditions.iter().any(|condition| condition.finding.can_be_agreed_with())
}

fn leave(labels: &[String], language: Language) -> String {
    if labels.is_empty() {
        language.plain("stay.all").to_owned()
    } else {
        stay_and(labels, String::new(), language).trim_end().to_owned()
    }
}

#[cfg(test)]
mod tests;
