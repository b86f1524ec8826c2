//! What a person reads on a terminal of what happened: one short line, in the owner's language. Pure.

use super::message_parts::ending;
use super::words::incident::IncidentWords;
use super::words::parts::Words;
use super::words::phrases::{Language, Phrases, Places};
use crate::clock::Wall;
use crate::printout::Printout;
use crate::verdict::{Change, Ended, Severity, Update, UpdateKind};

/// The line, without its time.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ShortLine {
    /// What happened.
    pub text: String,
    /// How bad it is; `None` for what is over, and for what is not bad.
    pub severity: Option<Severity>,
}

impl ShortLine {
    /// The line of an update of an incident.
    pub fn of_update(update: &Update, words: &IncidentWords, language: Language) -> Self {
        let (incident, words) = (&update.incident, &words.words);
        let (text, severity) = match (ending(update.what, &words.name, language), update.what) {
            (Some(ending), _) => (ending, None),
            (None, what) => {
                let key = match what {
                    UpdateKind::Worsened => "run.line.worsened",
                    UpdateKind::Refined { .. } => "run.line.refined",
                    UpdateKind::Eased => "run.line.eased",
                    UpdateKind::Opened | UpdateKind::Closed { .. } => "run.line.opened",
                };
                (sentence(key, incident.severity, words, language), Some(incident.severity))
            }
        };
        Self { text: language.say("run.line.incident", &[("line", &text), ("id", &incident.id)]), severity }
    }

    /// The line of a change that no update of an incident reports.
    pub fn of_change(change: &Change, words: &Words, language: Language) -> Self {
        let severity = change.condition().severity;
        let key = match change {
            Change::Opened(_) => "run.line.opened",
            Change::Worsened(_) => "run.line.worsened",
            Change::Eased(_) => "run.line.eased",
            Change::Closed { lasted, .. } => {
                let over = ending(UpdateKind::Closed { lasted: *lasted, how: Ended::Over }, &words.name, language);
                return Self { text: over.unwrap_or_default(), severity: None };
            }
        };
        Self { text: sentence(key, severity, words, language), severity: Some(severity) }
    }

    /// The line of something about the agent itself, as urgent as its log entry.
    pub fn of_agent(priority: u8, text: &str, language: Language) -> Self {
        let severity = match priority {
            0..=3 => Severity::Critical,
            4 => Severity::Warning,
            _ => return Self { text: text.to_owned(), severity: None },
        };
        let places: Places = &[("severity", &language.severity(severity)), ("title", &text)];
        Self { text: language.say("message.labels.opened", places), severity: Some(severity) }
    }

    /// The line of something that is only rehearsed.
    pub fn marked_test(self, language: Language) -> Self {
        Self { text: language.say("message.labels.test", &[("title", &self.text)]), ..self }
    }

    /// The line with the time of day.
    pub fn at(&self, wall: &Wall) -> Printout {
        let mut out = Printout::default();
        let text = format!("{} {}", wall.second(), self.text);
        // A refused configuration has several lines.
        text.lines().for_each(|line| out.coloured(line, self.severity));
        out
    }
}

fn sentence(key: &str, severity: Severity, words: &Words, language: Language) -> String {
    let severity = language.severity(severity);
    language.say(key, &[("severity", &severity), ("title", &words.title), ("sentence", &words.sentence)])
}
