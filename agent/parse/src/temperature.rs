//! Which temperatures of a drive can be true. Readings of a drive that just woke, and bytes that mean "no reading",
//! look like temperatures too.

use traylight_data::units::Celsius;

/// What the inside of a working drive can have now, in degrees: a box in a shed freezes, and its drives with it. Readings
/// outside were seen just after a resume, and are wrong.
const NOW: std::ops::RangeInclusive<i64> = -40..=95;
/// How far above its own critical temperature a drive can get before it stops. Chips may state one above what disks
/// can have.
const ABOVE_CRITICAL: i64 = 10;
/// What a drive can have had once, stored in a cold van or packed in a hot one, or can state as a limit.
const EVER: std::ops::RangeInclusive<i64> = -60..=125;

/// A temperature of a working drive now, from a source that has no other sign for "none" than 0.
pub fn plausible(degrees: i64) -> Option<Celsius> {
    (degrees != 0 && NOW.contains(&degrees)).then_some(Celsius(degrees as f64))
}

/// The same for a drive that may state how hot it may get. One that works above what disks can have is believed: the
/// hotter it is, the more it matters.
pub fn plausible_now(found: Celsius, critical: Option<Celsius>) -> Result<Celsius, String> {
    let highest = critical.map_or(*NOW.end(), |critical| (critical.0 as i64 + ABOVE_CRITICAL).max(*NOW.end()));
    let highest = highest.min(*EVER.end());
    if (*NOW.start() as f64..=highest as f64).contains(&found.0) {
        Ok(found)
    } else {
        Err(format!("expected {1} to {highest} °C, found {0}", found.0, NOW.start()))
    }
}

/// An extreme of the past or a limit.
pub fn plausible_ever(degrees: i64) -> Option<Celsius> {
    EVER.contains(&degrees).then_some(Celsius(degrees as f64))
}

/// Degrees as NVMe gives them: kelvin, whole ones, 0 for none (NVMe 1.4 clause 5.14.1.2, from memory).
pub fn from_kelvin(kelvin: u16) -> Option<Celsius> {
    (kelvin != 0).then(|| Celsius(f64::from(kelvin) - 273.0))
}

/// A limit or a sensor's temperature as NVMe gives them, when it can be true.
pub fn possible_from_kelvin(kelvin: u16) -> Option<Celsius> {
    plausible_ever(i64::from(kelvin) - 273)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn impossible_temperatures_are_none() {
        assert_eq!(plausible(36), Some(Celsius(36.0)));
        assert_eq!((plausible(0), plausible(-128), plausible(96), plausible(i64::MAX)), (None, None, None, None));
        assert_eq!((plausible(-7), plausible(-41)), (Some(Celsius(-7.0)), None), "it is cold");
        assert_eq!(plausible_ever(-12), Some(Celsius(-12.0)));
        assert_eq!(plausible_ever(-128), None);
    }

    #[test]
    fn kelvin_become_degrees_and_zero_is_none() {
        assert_eq!((from_kelvin(323), from_kelvin(0)), (Some(Celsius(50.0)), None));
        assert_eq!(possible_from_kelvin(373), Some(Celsius(100.0)));
        assert_eq!((possible_from_kelvin(0), possible_from_kelvin(u16::MAX)), (None, None));
    }

    /// The emulated NVMe drive of the virtual machine states a critical temperature of 100 °C.
    #[test]
    fn a_drive_that_may_get_hotter_is_believed_when_it_does() {
        let told = |degrees, critical: Option<f64>| plausible_now(Celsius(degrees), critical.map(Celsius));
        assert_eq!(told(101.0, None), Err("expected -40 to 95 °C, found 101".into()));
        assert_eq!(told(101.0, Some(100.0)), Ok(Celsius(101.0)));
        assert_eq!(told(111.0, Some(100.0)), Err("expected -40 to 110 °C, found 111".into()));
        assert_eq!(told(94.0, Some(70.0)), Ok(Celsius(94.0)), "a low limit makes nothing less plausible");
        assert_eq!(told(128.0, Some(120.0)), Err("expected -40 to 125 °C, found 128".into()));
        assert_eq!(told(-41.0, Some(100.0)), Err("expected -40 to 110 °C, found -41".into()));
        assert_eq!((told(-18.0, None), told(0.0, None)), (Ok(Celsius(-18.0)), Ok(Celsius(0.0))), "cold is a reading");
        assert!(told(f64::NAN, Some(f64::NAN)).is_err());
    }
}
