//! The words for the processor, the supply, and what drives are plugged into. Pure; the rules that all
//! words keep are in [`super::wording`].

use super::tongue::{Places, Tongue};
use super::wording::{Words, whole};
use crate::reading::{ControllerKind, Nominal};
use crate::units::{Celsius, Volts};
use crate::verdict::ControllerName;
use std::time::Duration;

pub(super) fn processor(now: Option<Celsius>, limit: Celsius, slowed: bool, tongue: Tongue) -> Words {
    let with = |key: &str| now.map(|now| tongue.say(key, &[("now", &now), ("limit", &limit)]));
    let slow = tongue.plain("cpu-hot-throttled.slow");
    let what = match (with("cpu-hot-throttled.warm"), slowed) {
        (Some(warm), true) => tongue.say("cpu-hot-throttled.and", &[("one", &warm), ("other", &slow)]),
        (Some(warm), false) => warm,
        (None, true) => slow.to_owned(),
        (None, false) => String::new(),
    };
    let at = now.map(|now| tongue.say("cpu-hot-throttled.at", &[("degrees", &whole(now.0))])).unwrap_or_default();
    let sensed =
        with("cpu-hot-throttled.sensor").unwrap_or_else(|| tongue.plain("cpu-hot-throttled.no-sensor").to_owned());
    let held = if slowed { tongue.plain("cpu-hot-throttled.held") } else { "" };
    let section = if slowed { "cpu-hot-throttled.slowed" } else { "cpu-hot-throttled" };
    tongue.words(section, &[("at", &at), ("what", &what), ("sensed", &sensed), ("held", &held)])
}

pub(super) fn undervoltage(
    is_low: bool,
    (dips, longest, within): (u32, Duration, Duration),
    in_a_day: u64,
    tongue: Tongue,
) -> Words {
    // Dips are seen two seconds apart.
    let longest = match longest < Duration::from_secs(2) {
        true => tongue.plain("undervoltage.short").to_owned(),
        false => tongue.span(longest),
    };
    let within = tongue.span(within);
    let often = match dips {
        0 => String::new(),
        1 => tongue.say("undervoltage.once", &[("longest", &longest), ("within", &within)]),
        _ => tongue.say("undervoltage.times", &[("dips", &dips), ("longest", &longest), ("within", &within)]),
    };
    let section = if is_low { "undervoltage.now" } else { "undervoltage" };
    tongue.words(section, &[("often", &often), ("in-a-day", &in_a_day)])
}

pub(super) fn rail(nominal: Nominal, now: Volts, low: Volts, high: Volts, tongue: Tongue) -> Words {
    let rail = match nominal {
        Nominal::Twelve => "12V",
        Nominal::Five => "5V",
        Nominal::ThreePointThree => "3.3V",
    };
    let section = if now.0 < low.0 { "rail-out-of-range.low" } else { "rail-out-of-range.high" };
    let volts = format!("{:.1}", now.0);
    let [now, low, high] = [now, low, high].map(|volts| tongue.figure(volts));
    let places: Places = &[("rail", &rail), ("volts", &volts), ("now", &now), ("low", &low), ("high", &high)];
    tongue.words(section, places)
}

/// The controller in a sentence.
pub(super) fn controller(name: &ControllerName, tongue: Tongue) -> String {
    let kind = match name.kind {
        Some(ControllerKind::Storage) => "controller.storage",
        Some(ControllerKind::Nvme) => "controller.nvme",
        Some(ControllerKind::UsbHost) => "controller.usb-host",
        None => "controller.usb-bridge",
    };
    let id = if name.id.is_empty() { String::new() } else { format!(" ({})", name.id) };
    tongue.say(kind, &[("key", &name.key), ("id", &id)])
}
