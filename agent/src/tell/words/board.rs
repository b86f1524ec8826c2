//! The words for the processor, the supply, and what drives are plugged into. Pure; the rules that all
//! words keep are in [`super::condition`].

use super::parts::Words;
use super::phrases::{Language, Phrases, Places};
use super::temperature::Temperatures;
use crate::reading::{ControllerKind, Nominal};
use crate::units::{Celsius, Volts};
use crate::verdict::ControllerName;
use std::time::Duration;

pub(super) fn processor(now: Option<Celsius>, limit: Celsius, slowed: bool, language: Language) -> Words {
    let limit = language.temperature(limit);
    let with = |key: &str| now.map(|now| language.say(key, &[("now", &language.temperature(now)), ("limit", &limit)]));
    let slow = language.plain("cpu-hot-throttled.slow");
    let what = match (with("cpu-hot-throttled.warm"), slowed) {
        (Some(warm), true) => language.say("cpu-hot-throttled.and", &[("one", &warm), ("other", &slow)]),
        (Some(warm), false) => warm,
        (None, true) => slow.to_owned(),
        (None, false) => String::new(),
    };
    let titled = |now| language.say("cpu-hot-throttled.at", &[("now-short", &language.short_temperature(now))]);
    let at = now.map(titled).unwrap_or_default();
    let sensed =
        with("cpu-hot-throttled.sensor").unwrap_or_else(|| language.plain("cpu-hot-throttled.no-sensor").to_owned());
    let held = if slowed { language.plain("cpu-hot-throttled.held") } else { "" };
    let section = if slowed { "cpu-hot-throttled.slowed" } else { "cpu-hot-throttled" };
    language.words(section, &[("at", &at), ("what", &what), ("sensed", &sensed), ("held", &held)])
}

pub(super) fn undervoltage(
    is_low: bool,
    (dips, longest, within): (u32, Duration, Duration),
    in_a_day: u64,
    language: Language,
) -> Words {
    // Dips are seen two seconds apart.
    let longest = match longest < Duration::from_secs(2) {
        true => language.plain("undervoltage.short").to_owned(),
        false => language.span(longest),
    };
    let within = language.span(within);
    let often = match dips {
        0 => String::new(),
        1 => language.say("undervoltage.once", &[("longest", &longest), ("within", &within)]),
        _ => language.say("undervoltage.times", &[("dips", &dips), ("longest", &longest), ("within", &within)]),
    };
    let section = if is_low { "undervoltage.now" } else { "undervoltage" };
    language.words(section, &[("often", &often), ("in-a-day", &in_a_day)])
}

pub(super) fn rail(nominal: Nominal, now: Volts, low: Volts, high: Volts, language: Language) -> Words {
    let rail = match nominal {
        Nominal::Twelve => "12V",
        Nominal::Five => "5V",
        Nominal::ThreePointThree => "3.3V",
    };
    let section = if now.0 < low.0 { "rail-out-of-range.low" } else { "rail-out-of-range.high" };
    let volts = format!("{:.1}", now.0);
    let [now, low, high] = [now, low, high].map(|volts| language.figure(volts));
    let places: Places = &[("rail", &rail), ("volts", &volts), ("now", &now), ("low", &low), ("high", &high)];
    language.words(section, places)
}

/// The controller in a sentence.
pub(super) fn controller(name: &ControllerName, language: Language) -> String {
    let kind = match name.kind {
        Some(ControllerKind::Storage) => "controller.storage",
        Some(ControllerKind::Nvme) => "controller.nvme",
        Some(ControllerKind::UsbHost) => "controller.usb-host",
        None => "controller.usb-bridge",
    };
    let id = if name.id.is_empty() { String::new() } else { format!(" ({})", name.id) };
    language.say(kind, &[("key", &name.key), ("id", &id)])
}
