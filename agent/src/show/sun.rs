//! When the sun rises and sets: pure arithmetic on a date and a place.

use jiff::civil::Date;
use traylight_config::Position;

/// One day's sun, in minutes after midnight, local time. Where the sun stays below the horizon all day, both are its noon;
/// where it stays above, they are half a day before and after that.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sun {
    /// When its upper edge comes over a level horizon.
    pub rise: f64,
    /// When it is gone again.
    pub set: f64,
}

const MINUTES_A_DAY: f64 = 1440.0;
/// The sun's centre is so far from the zenith when its upper edge is seen on the horizon: half its disc and the bending of
/// light in the air, as almanacs have it (Explanatory Supplement to the Astronomical Almanac, "Rising and setting"; from
/// memory).
const EDGE_ON_HORIZON: f64 = 90.833;

/// The sun of that day at that place, where local time is `offset_minutes` ahead of UTC.
///
/// The low-precision series for the sun's place (Meeus, Astronomical Algorithms, chapter 25, and chapter 28 for the equation
/// of time; from memory): within a minute or two between the polar circles.
pub fn sun(day: Date, position: Position, offset_minutes: i32) -> Sun {
    let (north, east) = (f64::from(position.north) / 1000.0, f64::from(position.east) / 1000.0);
    let noon =
        |centuries: f64| MINUTES_A_DAY / 2.0 - 4.0 * east - equation_of_time(centuries) + f64::from(offset_minutes);
    // The sun's place changes over the day: it is taken at the event itself, found in two steps.
    let event = |before_or_after: f64| {
        let mut minute = noon(centuries_since_2000(day, MINUTES_A_DAY / 2.0 - f64::from(offset_minutes)));
        for _ in 0..2 {
            let centuries = centuries_since_2000(day, minute - f64::from(offset_minutes));
            minute = noon(centuries) + before_or_after * half_day_degrees(north, declination(centuries)) * 4.0;
        }
        minute
    };
    Sun { rise: event(-1.0), set: event(1.0) }
}

/// Julian centuries from noon on 1 January 2000 until so many minutes after midnight UTC of that day.
fn centuries_since_2000(day: Date, minutes_utc: f64) -> f64 {
    let epoch = Date::constant(2000, 1, 1);
    let days = f64::from(day.since(epoch).map_or(0, |span| span.get_days()));
    (days - 0.5 + minutes_utc / MINUTES_A_DAY) / 36_525.0
}

/// By how many degrees the earth turns from noon until the sun sets.
fn half_day_degrees(north: f64, declination: f64) -> f64 {
    let (north, declination) = (north.to_radians(), declination.to_radians());
    let cosine =
        EDGE_ON_HORIZON.to_radians().cos() / (north.cos() * declination.cos()) - north.tan() * declination.tan();
    // Beyond these the sun does not rise, or does not set.
    cosine.clamp(-1.0, 1.0).acos().to_degrees()
}

fn mean_longitude(centuries: f64) -> f64 {
    (280.46646 + centuries * (36_000.769_83 + 0.000_303_2 * centuries)).rem_euclid(360.0)
}

fn mean_anomaly(centuries: f64) -> f64 {
    357.52911 + centuries * (35_999.050_29 - 0.000_153_7 * centuries)
}

/// The tilt of the earth's axis, in degrees.
fn obliquity(centuries: f64) -> f64 {
    let node = (125.04 - 1934.136 * centuries).to_radians();
    23.439_291 - 0.013_004_2 * centuries + 0.00256 * node.cos()
}

/// How far the sun stands north of the equator, in degrees.
fn declination(centuries: f64) -> f64 {
    let anomaly = mean_anomaly(centuries).to_radians();
    let centre = anomaly.sin() * (1.914_602 - 0.004_817 * centuries)
        + (2.0 * anomaly).sin() * 0.019_993
        + (3.0 * anomaly).sin() * 0.000_289;
    let node = (125.04 - 1934.136 * centuries).to_radians();
    let longitude = mean_longitude(centuries) + centre - 0.00569 - 0.00478 * node.sin();
    (obliquity(centuries).to_radians().sin() * longitude.to_radians().sin()).asin().to_degrees()
}

/// How many minutes a sundial is ahead of the clock.
fn equation_of_time(centuries: f64) -> f64 {
    let half_tilt = (obliquity(centuries) / 2.0).to_radians().tan();
    let y = half_tilt * half_tilt;
    let longitude = mean_longitude(centuries).to_radians();
    let anomaly = mean_anomaly(centuries).to_radians();
    let eccentricity = 0.016_708_634 - 0.000_042_037 * centuries;
    let radians = y * (2.0 * longitude).sin() - 2.0 * eccentricity * anomaly.sin()
        + 4.0 * eccentricity * y * anomaly.sin() * (2.0 * longitude).cos()
        - 0.5 * y * y * (4.0 * longitude).sin()
        - 1.25 * eccentricity * eccentricity * (2.0 * anomaly).sin();
    4.0 * radians.to_degrees()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against the library astral 3.2 (`tests/outside/sun.py` makes the table): places from 55 degrees south to 66 north, all
    /// seasons. Almanacs round to a minute; two may pass.
    #[test]
    fn the_sun_rises_and_sets_when_another_library_says() {
        let table: Vec<serde_json::Value> =
            serde_json::from_str(include_str!("../../../tests/outside/sun.json")).expect("the table is JSON");
        let mut compared = 0;
        for row in &table {
            let number = |key: &str| row[key].as_f64().expect(key);
            let day = row["day"].as_str().and_then(|day| day.parse().ok()).expect("a date");
            let position =
                Position { north: number("north_thousandths") as i32, east: number("east_thousandths") as i32 };
            let found = sun(day, position, number("offset_minutes") as i32);
            // In a white night the sun that sets after midnight is that of the day before, a minute earlier or later.
            let apart = |a: f64, b: f64| (a - b + 720.0).rem_euclid(MINUTES_A_DAY) - 720.0;
            let error = apart(found.rise, number("rise")).abs().max(apart(found.set, number("set")).abs());
            assert!(error < 2.0, "{row}: found {found:?}");
            compared += 1;
        }
        assert!(compared > 100, "{compared}");
    }

    /// On Svalbard, 78 degrees north, there is neither night in June nor day in December.
    #[test]
    fn beyond_the_polar_circle_a_day_can_be_whole_or_none() {
        let svalbard = Position { north: 78_220, east: 15_630 };
        let june = sun(Date::constant(2026, 6, 21), svalbard, 120);
        assert!((june.set - june.rise - MINUTES_A_DAY).abs() < 0.5, "{june:?}");
        let december = sun(Date::constant(2026, 12, 21), svalbard, 60);
        assert!((december.set - december.rise).abs() < 0.5, "{december:?}");
        for pole in [90_000, -90_000] {
            let sun = sun(Date::constant(2026, 6, 21), Position { north: pole, east: 0 }, 0);
            assert!(sun.rise.is_finite() && sun.set.is_finite(), "{sun:?}");
        }
    }

    /// NOAA's and the US Naval Observatory's tables for Greenwich on the equinox (from memory): up at about 6:01, down at
    /// about 18:15, and no day is as long as its night on that day: the air lifts the sun.
    #[test]
    fn on_the_equinox_the_day_is_some_minutes_longer_than_the_night() {
        let sun = sun(Date::constant(2026, 3, 20), Position { north: 51_480, east: 0 }, 0);
        let length = sun.set - sun.rise;
        assert!((720.0..735.0).contains(&length), "{length}");
        assert!((sun.rise - 362.0).abs() < 4.0, "{sun:?}");
    }
}
