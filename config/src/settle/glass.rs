//! The keys of a panel as such, in `[panel]` and `[[panel.more]]`: what it is, where it is wired, and when it is dim.
//!
//! What the pages show is no matter of the glass: those keys are in `settle.rs`.

use super::alerts::{or_empty, time_of_day};
use crate::reader::{Given, Section};
use crate::settings::{Brightness, Bus, Controller, DayTime, Glass, Night, Position, Span};
use crate::values::{Read, Refusal, integer, one_of, refuse, text, whole};
use toml::de::DeValue;

/// The most panels besides the first: two addresses on a bus, and few boxes have more than two buses to spare.
const MOST_MORE: usize = 3;

const BRIGHTNESSES: &[(&str, Brightness)] =
    &[("dim", Brightness::Dim), ("normal", Brightness::Normal), ("bright", Brightness::Bright)];

const CONTROLLERS: &[(&str, Controller)] =
    &[("ssd1306", Controller::Ssd1306), ("ssd1309", Controller::Ssd1309), ("sh1106", Controller::Sh1106)];

const SIZES: &[(&str, (u32, u32))] =
    &[("128x64", (128, 64)), ("128x32", (128, 32)), ("72x40", (72, 40)), ("64x48", (64, 48))];

/// The panel of `[panel]`, if there is one, and those of `[[panel.more]]`.
pub(super) fn glasses(section: &mut Section) -> Vec<Glass> {
    let mut places = Vec::new();
    let bus_or_none = section.value("bus", None, bus_or_none);
    let first = glass(section, bus_or_none, &mut places);
    let more = section.sections("more", 0..=MOST_MORE, |section| {
        let bus = section.required("bus", "bus = \"/dev/i2c-1\"", |value| bus(value).map(Some));
        glass(section, bus, &mut places)
    });
    first.into_iter().chain(more.into_iter().flatten()).collect()
}

fn glass(section: &mut Section, bus: Given<Option<Bus>>, places: &mut Vec<(Bus, u8)>) -> Option<Glass> {
    let address = section.value("address", 0x3C, address).value;
    let bus_speed_khz = section.value("bus_speed_khz", 100, whole(10..=1000)).value;
    let controller = section.value("controller", Controller::Ssd1306, one_of(CONTROLLERS)).value;
    let size = section.value("size", (128, 64), one_of(SIZES));
    if !controller.sizes().contains(&size.value) {
        section.wrong(&size, no_such_panel(controller, size.value));
    }
    let rotation_degrees = section.value("rotation", 0, rotation).value;
    let brightness = section.value("brightness", Brightness::Normal, one_of(BRIGHTNESSES)).value;
    let place = bus.value.clone()?;
    if places.contains(&(place.clone(), address)) {
        section.wrong(&bus, format!("found two panels at {address:#04X} of this bus, wanted one of them elsewhere"));
    }
    places.push((place.clone(), address));
    Some(Glass { bus: place, address, bus_speed_khz, controller, size: size.value, rotation_degrees, brightness })
}

/// Which panels there are instead.
fn no_such_panel(controller: Controller, (width, height): (u32, u32)) -> String {
    let word = |wanted: Controller| CONTROLLERS.iter().find(|(_, found)| *found == wanted).map_or("", |(word, _)| word);
    let of_each = CONTROLLERS.iter().map(|(word, controller)| {
        let sizes: Vec<String> = controller.sizes().iter().map(|(width, height)| format!("{width}x{height}")).collect();
        format!("{word} with {}", sizes.join(", "))
    });
    let there_are = of_each.collect::<Vec<_>>().join("; ");
    format!("found {width}x{height} for a panel with {}, wanted one that there is: {there_are}", word(controller))
}

fn bus_or_none(value: &DeValue) -> Read<Option<Bus>> {
    match value.as_str() {
        Some(text) if text.eq_ignore_ascii_case("none") => Ok(None),
        _ => bus(value)
            .map(Some)
            .map_err(|Refusal { wanted, hint }| Refusal { wanted: format!("\"none\", {wanted}"), hint }),
    }
}

fn bus(value: &DeValue) -> Read<Bus> {
    let text = text(64)(value).map_err(|_| Refusal {
        wanted: "a device file such as \"/dev/i2c-1\", or the name of an I2C adapter".into(),
        hint: None,
    })?;
    Ok(if text.starts_with('/') { Bus::Path(text) } else { Bus::AdapterName(text) })
}

/// The controller answers at one of two 7-bit addresses (SSD1306 datasheet, section 8.1.5). Many modules print
/// the same address in its 8-bit form, with the bit for reading and writing at the end.
fn address(value: &DeValue) -> Read<u8> {
    match integer(value) {
        Some(0x3C | 0x78) => Ok(0x3C),
        Some(0x3D | 0x7A) => Ok(0x3D),
        _ => refuse(
            "0x3C or 0x3D without quotes, the two addresses such a panel can have (printed as 0x78 or 0x7A on many)",
        ),
    }
}

fn rotation(value: &DeValue) -> Read<u32> {
    match integer(value).and_then(|degrees| u32::try_from(degrees).ok()) {
        Some(degrees @ (0 | 90 | 180 | 270)) => Ok(degrees),
        _ => refuse("0, 90, 180 or 270, without quotes: how far the panel is turned clockwise, in degrees"),
    }
}

/// When panels are dim, and when they are dark.
pub(super) fn night(section: &mut Section) -> Night {
    let position = or_empty(section, "position", position).map(|given| given.value);
    let mut span = |from, until| {
        let keys = [from, until];
        let (from, until) = (or_empty(section, from, day_time), or_empty(section, until, day_time));
        section.both_or_none(&from, &until, keys);
        for given in [&from, &until].into_iter().flatten() {
            let nowhere = position.is_none() && !section.was_refused("position");
            if nowhere && !matches!(given.value, DayTime::Clock(_)) {
                let message = format!("found the sun's time for `{}` without `position`, wanted both", given.key);
                section.wrong(given, message);
            }
        }
        let (from, until) = from.zip(until)?;
        if from.value == until.value {
            section.wrong(&until, "found a time that ends when it begins, wanted two times that differ".into());
        }
        Some(Span { from: from.value, until: until.value })
    };
    Night { dim: span("dim_from", "dim_until"), dark: span("dark_from", "dark_until"), position }
}

fn day_time(value: &DeValue) -> Read<DayTime> {
    match value.as_str() {
        Some("sunset") => Ok(DayTime::Sunset),
        Some("sunrise") => Ok(DayTime::Sunrise),
        _ => time_of_day(value).map(DayTime::Clock).map_err(|Refusal { wanted, hint }| Refusal {
            wanted: format!("\"sunset\", \"sunrise\", or {wanted}"),
            hint,
        }),
    }
}

fn position(value: &DeValue) -> Read<Position> {
    let degrees = |text: &str, most: f64| -> Option<i32> {
        let degrees: f64 = text.trim().parse().ok()?;
        (-most..=most).contains(&degrees).then_some((degrees * 1000.0).round() as i32)
    };
    let read = |text: &str| {
        let (north, east) = text.split_once(',')?;
        Some(Position { north: degrees(north, 90.0)?, east: degrees(east, 180.0)? })
    };
    value.as_str().and_then(read).map_or_else(
        || refuse("degrees north and east in quotes, such as \"53.5, 8.1\"; south and west are below zero"),
        Ok,
    )
}
