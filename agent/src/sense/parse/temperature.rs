//! Which temperatures of a drive can be true. Readings of a drive that just woke, and bytes that mean "no reading",
//! look like temperatures too.

use crate::units::Celsius;

/// What the inside of a working drive can have now. Readings outside were seen just after a resume, and are wrong.
const NOW: std::ops::RangeInclusive<i64> = 1..=95;
/// What a drive can have had once, stored in a cold van or packed in a hot one, or can state as a limit.
const EVER: std::ops::RangeInclusive<i64> = -60..=125;

/// A temperature of a working drive now.
pub fn plausible(degrees: i64) -> Option<Celsius> {
    NOW.contains(&degrees).then_some(Celsius(degrees as f64))
}

/// An extreme of the past or a limit.
pub fn plausible_ever(degrees: i64) -> Option<Celsius> {
    EVER.contains(&degrees).then_some(Celsius(degrees as f64))
}

/// Degrees as NVMe gives them: kelvin, whole ones, 0 for none (NVMe 1.4 clause 5.14.1.2, from memory). Chips may
/// work hotter than disks, so the limits are wide.
pub fn from_kelvin(kelvin: u16) -> Option<Celsius> {
    plausible_ever(i64::from(kelvin) - 273)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn impossible_temperatures_are_none() {
        assert_eq!(plausible(36), Some(Celsius(36.0)));
        assert_eq!((plausible(0), plausible(-128), plausible(96), plausible(i64::MAX)), (None, None, None, None));
        assert_eq!(plausible_ever(-12), Some(Celsius(-12.0)));
        assert_eq!(plausible_ever(-128), None);
    }

    #[test]
    fn kelvin_become_degrees_and_zero_is_none() {
        assert_eq!(from_kelvin(323), Some(Celsius(50.0)));
        assert_eq!((from_kelvin(0), from_kelvin(u16::MAX)), (None, None));
    }
}
