//! The words of a condition from its facts alone. A place of a text, such as `{now}`, is filled with the fact of that
//! name, else with the phrase of that name in the section, which is left out when it names a fact that there is not.

use super::board::controller;
use super::drives::{listed, named, pointed_at};
use super::parts::{Words, whole};
use super::phrases::{Language, Phrases, filled};
use super::temperature::Temperatures;
use super::unseen::unseen_part;
use crate::verdict::{Fact, Facts, Finding, Place, UnseenPart};

/// The words of the section that has the name of the finding's kind, or of the section below it that fits best: a case, a
/// flag that holds (`check-overdue.never`) and a fact that there is not (`drive-new-or-moved.without-from`) have their own
/// where they need any.
pub(super) fn words(finding: &Finding, language: Language) -> Words {
    let filler = Filler::of(finding, language);
    language.words_filled(&filler.section, &|place| filler.place(place))
}

/// Fills places.
struct Filler<'a> {
    language: Language,
    section: String,
    facts: Facts<'a>,
}

impl<'a> Filler<'a> {
    fn of(finding: &'a Finding, language: Language) -> Self {
        let mut filler = Self { language, section: finding.kind().id().to_owned(), facts: Vec::new() };
        filler.take(finding.facts());
        filler
    }

    fn take(&mut self, facts: Facts<'a>) {
        for (name, fact) in facts {
            match &fact {
                Fact::Case(id, _) => self.narrow(id.to_string()),
                Fact::Flag(true) => self.narrow(key(name)),
                absent if is_absent(absent) => self.narrow(format!("without-{}", key(name))),
                _ => {}
            }
            let inner = if let Fact::Case(_, inner) = &fact { inner.clone() } else { Vec::new() };
            self.facts.push((name, fact));
            self.take(inner);
        }
    }

    fn narrow(&mut self, name: String) {
        let narrower = format!("{}.{name}", self.section);
        if self.language.has_section(&narrower) {
            self.section = narrower;
        }
    }

    /// What stands in a place; `None` for what there is not.
    fn place(&self, place: &str) -> Option<String> {
        match self.fact(place) {
            Some(Fact::Flag(false)) => None,
            Some(fact) if !matches!(fact, Fact::Flag(_)) && !self.has(place, "one") => self.value(place, fact),
            _ => self.of_drive(place).or_else(|| self.in_part(place)).or_else(|| self.phrase(place)),
        }
    }

    fn fact(&self, name: &str) -> Option<&Fact<'a>> {
        self.facts.iter().rev().find(|(own, _)| key(own) == name).map(|(_, fact)| fact)
    }

    fn has(&self, phrase: &str, form: &str) -> bool {
        self.language.text(&self.section, &format!("{phrase}.{form}")).is_some()
    }

    fn value(&self, name: &str, fact: &Fact) -> Option<String> {
        let language = self.language;
        if is_absent(fact) {
            return None;
        }
        Some(match fact {
            Fact::Drive(place) => pointed_at(place, language),
            Fact::Drives(places) => listed(places, language)?,
            Fact::Controller(name) => controller(name, language),
            Fact::Text(text) => (*text).to_owned(),
            Fact::Texts(texts) => texts.join(", "),
            Fact::Missing(why) => language.missing(why),
            Fact::Unseen(parts) => unseen(parts, ", ", language),
            Fact::Celsius(celsius) => language.temperature(*celsius),
            Fact::Difference(difference) => language.difference(*difference),
            Fact::Figure(figure) => language.figure(figure),
            Fact::Span(span) => language.span(*span),
            Fact::Estimate(estimate) => language.estimate(estimate),
            Fact::Count(count) => count.to_string(),
            Fact::Number(number) => whole(*number),
            Fact::Case(id, _) => language.plain(&format!("{name}.{id}")).to_owned(),
            Fact::Flag(_) | Fact::Absent | Fact::Own => return None,
        })
    }

    /// The tray and the port of the drive that the condition is about.
    fn of_drive(&self, place: &str) -> Option<String> {
        let Some(Fact::Drive(drive)) = self.fact("drive") else { return None };
        match place {
            "tray" => Some(named(drive, self.language)),
            "port" => Some(drive.port.clone().unwrap_or_else(|| self.language.plain("drive.unknown-port").to_owned())),
            _ => None,
        }
    }

    /// A fact in another form, such as `{now-short}`.
    fn in_part(&self, place: &str) -> Option<String> {
        let (name, part) = place.rsplit_once('-')?;
        match (self.fact(name)?, part) {
            (Fact::Celsius(celsius), "short") => Some(self.language.short_temperature(*celsius)),
            (Fact::Difference(difference), "exactly") => Some(self.language.exact_difference(*difference)),
            (Fact::Number(number), "exactly") => Some(self.language.figure(format!("{number:.1}"))),
            (Fact::Span(span), "seconds") => Some(span.as_secs().to_string()),
            (Fact::Drives(places), "labels") => {
                Some(places.iter().map(Place::label).collect::<Vec<String>>().join(" "))
            }
            (Fact::Drives(places), "count") => Some(places.len().to_string()),
            (Fact::Unseen(parts), "lines") => Some(unseen(parts, "; ", self.language)),
            _ => None,
        }
    }

    /// A phrase; one with a form for one and a form for many is decided by the number of its name, or that it names.
    fn phrase(&self, name: &str) -> Option<String> {
        let text = |key: &str| self.language.text(&self.section, key);
        if !self.has(name, "one") {
            let phrase = text(name);
            debug_assert!(phrase.is_some(), "{}: `{name}` is neither a fact nor a phrase", self.section);
            return filled(phrase?, &|place| self.place(place));
        }
        let number = match self.fact(text(&format!("{name}.of")).unwrap_or(name))? {
            Fact::Count(count) => *count,
            Fact::Texts(texts) => texts.len() as i128,
            Fact::Unseen(parts) => parts.len() as i128,
            _ => return None,
        };
        let form = if number == 1 { "one" } else { "many" };
        filled(text(&format!("{name}.{form}"))?, &|_| Some(number.to_string()))
    }
}

fn unseen(parts: &[UnseenPart], between: &str, language: Language) -> String {
    parts.iter().map(|part| unseen_part(part, language)).collect::<Vec<_>>().join(between)
}

/// The name of a field as tables of words write it.
fn key(field: &str) -> String {
    field.replace('_', "-")
}

fn is_absent(fact: &Fact) -> bool {
    match fact {
        Fact::Absent => true,
        Fact::Text(text) => text.is_empty(),
        Fact::Texts(texts) => texts.is_empty(),
        Fact::Drives(places) => places.is_empty(),
        Fact::Unseen(parts) => parts.is_empty(),
        _ => false,
    }
}

/// The section that has the words, and the sections that have the words of its cases.
#[cfg(test)]
pub(super) fn sections(finding: &Finding) -> Vec<String> {
    let filler = Filler::of(finding, Language::ENGLISH);
    let cases = filler.facts.iter().filter(|(_, fact)| matches!(fact, Fact::Case(..)));
    cases.map(|(name, _)| key(name)).chain([filler.section.clone()]).collect()
}
