//! Lengths of time as people write them, with their unit.

use std::ops::RangeInclusive;
use std::time::Duration;

/// The units in which a limit is written, the largest first, with their milliseconds.
const UNITS: [(&str, u128); 4] = [("h", 3_600_000), ("min", 60_000), ("s", 1000), ("ms", 1)];

/// Reads a length of time such as "5 min", "90 s" or "1 h 30 min".
///
/// # Errors
/// What was expected instead. A limit is in the unit that was typed.
pub fn duration(text: &str, range: &RangeInclusive<Duration>) -> Result<Duration, String> {
    match jiff::fmt::friendly::SpanParser::new().parse_unsigned_duration(text) {
        Ok(time) if time > *range.end() => Err(format!("at most {}", limit(*range.end(), text))),
        Ok(time) if time < *range.start() => Err(format!("at least {}", limit(*range.start(), text))),
        Ok(time) => Ok(time),
        Err(_) => Err("a time with its unit (h, min, s or ms), such as \"5 min\"".to_owned()),
    }
}

/// The limit in the unit that was typed last or, where it is no whole number of those, in the largest that fits.
fn limit(limit: Duration, typed: &str) -> String {
    let unit = typed.rsplit(|c: char| !c.is_ascii_alphabetic()).next().unwrap_or_default();
    let is_typed = |name: &str| match name {
        "ms" => unit.starts_with("ms") || unit.starts_with("mil"),
        "min" => unit == "m" || unit.starts_with("min"),
        name => unit.starts_with(name),
    };
    let millis = limit.as_millis();
    let typed_first = UNITS.iter().filter(|(name, _)| is_typed(name)).chain(&UNITS);
    let fitting = typed_first.into_iter().find(|(_, length)| millis >= *length && millis % length == 0);
    let (name, length) = fitting.unwrap_or(&UNITS[3]);
    format!("{} {name}", millis / length)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_limit_is_in_the_unit_that_was_typed() {
        let refused = |text: &str| duration(text, &(Duration::from_secs(60)..=Duration::from_secs(3600))).unwrap_err();
        for (typed, expected) in [
            ("90 min", "at most 60 min"),
            ("90m", "at most 60 min"),
            ("2 h", "at most 1 h"),
            ("1 h 30 minutes", "at most 60 min"),
            ("4000 s", "at most 3600 s"),
            ("10000000 ms", "at most 3600000 ms"),
            ("10 s", "at least 60 s"),
            ("999 milliseconds", "at least 60000 ms"),
            // One minute is no whole number of hours.
            ("0 h", "at least 1 min"),
        ] {
            assert_eq!(refused(typed), expected, "{typed}");
        }
    }
}
