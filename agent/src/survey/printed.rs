//! The survey in words.

use super::item::{FoundDrive, FoundPart, Item, Survey};
use crate::printout::Printout;
use crate::reading::{DriveKind, Missing, Power, Reason};
use crate::tell::words::drives::bus_name;
use crate::tell::words::fields::{by_fields, plainly};
use crate::tell::words::phrases::{Language, Phrases};
use crate::tell::words::temperature::Temperatures;
use crate::units::{Bytes, Celsius, MegabitsPerSecond, Rpm, Volts};
use serde::{Deserialize as _, Serialize};
use serde_json::Value;

/// The three lists, for people.
pub fn printed(survey: &Survey, language: Language) -> Printout {
    let mut out = Printout::default();
    out.line(language.plain("survey.found-title"));
    survey.found.iter().for_each(|part| out.line(format_args!("  {}", found(part, language))));
    list(&mut out, "survey.limited", &survey.limited, language);
    list(&mut out, "survey.not-found", &survey.not_found, language);
    out
}

fn list<T: Serialize>(out: &mut Printout, section: &str, items: &[Item<T>], language: Language)
where
    for<'a> &'a T: Into<&'static str>,
{
    out.heading(language.plain(&format!("{section}-title")));
    if items.is_empty() {
        out.line(format_args!("  {}", language.plain("survey.nothing")));
    }
    for Item { what, remedy } in items {
        out.line(format_args!("  {}", worded(section, what.into(), what, language)));
        let Some(remedy) = remedy else { continue };
        out.line(format_args!("    {}", worded("survey.remedy", remedy.into(), remedy, language)));
        remedy.to_enter().iter().for_each(|line| out.to_enter(line));
    }
}

fn worded(section: &str, id: &str, what: &impl Serialize, language: Language) -> String {
    by_fields(section, id, what, &|name, fact| written(name, fact, language), language)
}

/// A fact in a text. The unit is in the field's name.
fn written(name: &str, fact: &Value, language: Language) -> Option<String> {
    let whole = || fact.as_u64().and_then(|number| u32::try_from(number).ok());
    Some(match (name, fact) {
        ("size_bytes", _) => language.figure(Bytes(fact.as_u64()?)),
        ("speed_rpm", _) => Rpm(whole()?).to_string(),
        ("speed_mbit_per_s", _) => language.figure(MegabitsPerSecond(whole()?)),
        ("potential_v", _) => language.figure(Volts(fact.as_f64()?)),
        ("temperature_c", _) => language.temperature(Celsius(fact.as_f64()?)),
        ("address", _) => format!("0x{:02X}", fact.as_u64()?),
        ("members", _) => language.count("survey.members", fact.as_u64()?),
        ("missing", _) => language.missing(&Missing::deserialize(fact).ok()?),
        ("buses", Value::Array(buses)) => {
            joined(buses, |bus| Some(format!("{} ({})", bus["bus"].as_str()?, bus["adapter"].as_str()?)))?
        }
        ("tried", Value::Array(tried)) => {
            joined(tried, |at| Some(format!("{} 0x{:02X}", at["bus"].as_str()?, at["address"].as_u64()?)))?
        }
        (_, Value::Array(texts)) => joined(texts, |text| text.as_str().map(str::to_owned))?,
        _ => plainly(fact),
    })
}

fn joined(values: &[Value], text: impl Fn(&Value) -> Option<String>) -> Option<String> {
    Some(values.iter().map(text).collect::<Option<Vec<String>>>()?.join(", "))
}

fn found(part: &FoundPart, language: Language) -> String {
    match part {
        FoundPart::Drive(found) => drive(found, language),
        FoundPart::Trays { count } => language.count("survey.found.trays", *count as u64),
        FoundPart::Channels { count } => language.count("survey.found.channels", *count as u64),
        part => worded("survey.found", part.into(), part, language),
    }
}

fn drive(drive: &FoundDrive, language: Language) -> String {
    let kind = match (drive.kind, bus_name(drive.bus)) {
        (DriveKind::Hdd, Some(bus)) => language.say("survey.hdd", &[("bus", &bus)]),
        (DriveKind::Ssd, Some(bus)) => language.say("survey.ssd", &[("bus", &bus)]),
        (DriveKind::Unknown, Some(bus)) => language.say("survey.drive", &[("bus", &bus)]),
        (DriveKind::Hdd, None) => language.plain("look.hdd").to_owned(),
        (DriveKind::Ssd, None) => language.plain("look.ssd").to_owned(),
        (DriveKind::Unknown, None) => language.plain("look.kind-unknown").to_owned(),
    };
    let mut about = vec![kind];
    about.extend(drive.size_bytes.map(|size| language.figure(size)));
    about.extend(drive.model.clone());
    about.extend(drive.serial.as_ref().map(|serial| language.say("survey.serial", &[("serial", serial)])));
    about.extend(drive.temperature_c.map(|temperature| language.temperature(temperature)));
    about.extend(drive.health_readable.map(|_| language.plain("survey.health").to_owned()));
    match drive.power {
        Some(Power::Asleep) => about.push(language.plain("survey.asleep").to_owned()),
        _ => about.extend(not_read(drive, language)),
    }
    format!("{}: {}", drive.device, about.join(", "))
}

/// What was left unread although it can be read, and why.
fn not_read(drive: &FoundDrive, language: Language) -> Vec<String> {
    let unread = |key: &str| drive.missing.get(key).filter(|missing| missing.reason == Reason::NotRead);
    let (temperature, health) = (unread("temperature_c"), unread("health_readable"));
    let say = |key, missing: &Missing| language.say(key, &[("missing", &language.missing(missing))]);
    match (temperature, health) {
        (Some(temperature), Some(health)) if temperature == health => vec![say("survey.neither-read", health)],
        _ => {
            let temperature = temperature.map(|missing| say("survey.temperature-not-read", missing));
            temperature.into_iter().chain(health.map(|missing| say("survey.health-not-read", missing))).collect()
        }
    }
}

/// The keys of all words that are found by ids.
#[cfg(test)]
pub(crate) fn keys() -> impl Iterator<Item = String> {
    use super::item::{Absence, Limitation};
    use super::remedy::Remedy;
    use strum::VariantNames as _;

    let found = FoundPart::VARIANTS.iter().filter(|id| **id != "drive").map(|id| format!("survey.found.{id}"));
    let absent = ["board-without-model", "pool-without-level", "port-without-speed"];
    let limited = Limitation::VARIANTS.iter().map(|id| format!("survey.limited.{id}"));
    let not_found = Absence::VARIANTS.iter().map(|id| format!("survey.not-found.{id}"));
    let remedies = Remedy::VARIANTS.iter().map(|id| format!("survey.remedy.{id}"));
    let titles = ["limited", "not-found"].map(|list| format!("survey.{list}-title"));
    let absent = absent.map(|id| format!("survey.found.{id}"));
    found.chain(absent).chain(limited).chain(not_found).chain(remedies).chain(titles)
}
