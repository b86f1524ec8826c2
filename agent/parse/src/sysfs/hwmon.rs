//! Values of hardware monitoring chips (Documentation/hwmon/sysfs-interface.rst): thousandths in, units out, and
//! nothing that cannot be true.

use crate::plain::{signed, whole};
use crate::temperature::plausible_now;
use traylight_data::reading::{Nominal, Processor};
use traylight_data::units::{Celsius, Rpm, Volts};

/// What a working board can have; sensors without a wire read far outside.
const BOARD_RANGE: std::ops::RangeInclusive<f64> = -40.0..=130.0;
/// No fan turns faster; a tachometer without a fan can read anything.
const FASTEST_FAN: u64 = 30_000;
/// No rail of a small box lies above.
const HIGHEST_RAIL: f64 = 60.0;

/// `tempN_input` of a drive that may state its own critical temperature, millidegrees. The kernel takes the byte of a
/// SMART attribute for unsigned (`drivetemp_get_smarttemp` in drivers/hwmon/drivetemp.c), so a drive at -3 °C appears at 253. 255 is
/// a byte of all ones, which says nothing.
pub fn drive_temperature(text: &str, critical: Option<Celsius>) -> Result<Celsius, String> {
    let found = degrees(text)?;
    let signed = if (216.0..255.0).contains(&found.0) { Celsius(found.0 - 256.0) } else { found };
    plausible_now(signed, critical).map_err(|_| plausible_now(found, critical).err().unwrap_or_default())
}

/// `tempN_input` of anything else, or a thermal zone's `temp`, millidegrees.
pub fn board_temperature(text: &str) -> Result<Celsius, String> {
    within(text, &BOARD_RANGE)
}

/// `tempN_max` or `tempN_crit` of a drive: a limit that the drive states, if it makes sense as one.
///
/// # Errors
/// What was found instead. Drives without limits say 0 or something far off.
pub fn drive_limit(text: &str) -> Result<Celsius, String> {
    within(text, &(30.0..=120.0))
}

/// `tempN_crit` or the critical trip point of a thermal zone: where a part of the board must not get to.
pub fn board_limit(text: &str) -> Result<Celsius, String> {
    within(text, &(50.0..=130.0))
}

/// Which kind of processor a chip of this name, or a thermal zone of this type, stands for. The names are those of the
/// kernel's drivers (drivers/hwmon, drivers/thermal) and device trees.
pub fn processor(name: &str) -> Option<Processor> {
    let name = name.replace('-', "_");
    match name.as_str() {
        "coretemp" | "k10temp" | "k8temp" | "x86_pkg_temp" => Some(Processor::X86),
        "soc_thermal" | "package_thermal" => Some(Processor::SystemOnChip),
        _ if name.starts_with("cpu") => Some(Processor::SystemOnChip),
        _ => None,
    }
}

/// Which rail of the supply a label names, by its figure with the unit as a word of its own: `+12V`, `VCC 5V`, `3.3 V`.
/// A label with two figures names none, and neither does one of a rail that is there while the supply is off.
pub fn nominal(label: &str) -> Option<Nominal> {
    let label = label.to_lowercase().replace(" v", "v");
    let is_apart = |c: char| !(c.is_alphanumeric() || matches!(c, '.' | '+' | '-'));
    let words = || label.split(is_apart).map(|word| word.strip_prefix('+').unwrap_or(word));
    let is_another = words().any(|word| matches!(word, "sb" | "vsb" | "standby" | "stand-by" | "aux" | "bat" | "vbat"));
    let rail = |word| match word {
        "12v" | "12.0v" | "12v0" => Some(Nominal::Twelve),
        "5v" | "5.0v" | "5v0" => Some(Nominal::Five),
        "3.3v" | "3v3" => Some(Nominal::ThreePointThree),
        _ => None,
    };
    let mut rails = words().filter_map(rail);
    rails.next().filter(|_| rails.next().is_none() && !is_another)
}

/// `fanN_input`, revolutions per minute.
pub fn speed(text: &str) -> Result<Rpm, String> {
    match whole(text)? {
        rpm @ 0..=FASTEST_FAN => Ok(Rpm(rpm as u32)),
        rpm => Err(format!("expected 0 to {FASTEST_FAN} rpm, found {rpm}")),
    }
}

/// `pwmN`, 0 to 255, as a share.
pub fn duty(text: &str) -> Result<f64, String> {
    match whole(text)? {
        level @ 0..=255 => Ok(level as f64 / 255.0),
        level => Err(format!("expected 0 to 255, found {level}")),
    }
}

/// `inN_input`, millivolts.
pub fn potential(text: &str) -> Result<Volts, String> {
    let volts = signed(text)? as f64 / 1000.0;
    if volts.abs() <= HIGHEST_RAIL {
        Ok(Volts(volts))
    } else {
        Err(format!("expected at most {HIGHEST_RAIL} V, found {volts} V"))
    }
}

/// The channels of one kind among a chip's files, in order: `fan` and `_input` find the 1 of `fan1_input`.
pub fn channels<'a>(files: &'a [String], kind: &'a str, what: &'a str) -> impl Iterator<Item = u32> + 'a {
    let mut numbers: Vec<u32> =
        files.iter().filter_map(|file| file.strip_prefix(kind)?.strip_suffix(what)?.parse().ok()).collect();
    numbers.sort_unstable();
    numbers.into_iter()
}

fn degrees(text: &str) -> Result<Celsius, String> {
    signed(text).map(|thousandths| Celsius(thousandths as f64 / 1000.0))
}

fn within(text: &str, range: &std::ops::RangeInclusive<f64>) -> Result<Celsius, String> {
    let found = degrees(text)?;
    if range.contains(&found.0) {
        Ok(found)
    } else {
        Err(format!("expected {1} to {2} °C, found {0}", found.0, range.start(), range.end()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn thousandths_become_units() {
        assert_eq!(drive_temperature("36000", None), Ok(Celsius(36.0)));
        assert_eq!(
            (drive_temperature("-4000", None), drive_temperature("0", None)),
            (Ok(Celsius(-4.0)), Ok(Celsius(0.0)))
        );
        assert_eq!(drive_temperature("252000", None), Ok(Celsius(-4.0)), "an unsigned byte of a signed number");
        assert_eq!(drive_temperature("255000", None), Err("expected -40 to 95 °C, found 255".into()));
        assert_eq!(board_temperature("-12500"), Ok(Celsius(-12.5)));
        assert_eq!(speed("1406"), Ok(Rpm(1406)));
        assert_eq!(duty("255"), Ok(1.0));
        assert_eq!(potential("11964"), Ok(Volts(11.964)));
    }

    #[test]
    fn what_cannot_be_true_is_said_and_not_shown() {
        assert_eq!(drive_temperature("128000", None), Err("expected -40 to 95 °C, found 128".into()));
        let frozen = drive_temperature("-273150", Some(Celsius(85.0)));
        assert_eq!(frozen, Err("expected -40 to 95 °C, found -273.15".into()));
        assert_eq!(drive_temperature("101850", Some(Celsius(99.85))), Ok(Celsius(101.85)));
        assert_eq!(speed("18446744073709551615"), Err("expected 0 to 30000 rpm, found 18446744073709551615".into()));
        assert!(duty("256").is_err());
        assert!(potential("99999999").is_err());
        assert!(drive_limit("0").is_err());
    }

    #[test]
    fn a_label_names_a_rail_only_when_there_is_no_doubt() {
        use Nominal::{Five, ThreePointThree, Twelve};
        let named = [("12V", Twelve), ("+12V", Twelve), ("Drives 12 V", Twelve), ("VCC 5V", Five), ("+5.0V", Five)];
        for (label, rail) in named.into_iter().chain([("3V3", ThreePointThree), ("+3.3V", ThreePointThree)]) {
            assert_eq!(nominal(label), Some(rail), "{label}");
        }
        let unclear =
            ["-12V", "5VSB", "+5V Standby", "+5V SB", "3VSB", "Vcore", "112V", "12V/5V", "in12", "12", "VBAT 3.3V", ""];
        for label in unclear {
            assert_eq!(nominal(label), None, "{label}");
        }
    }

    #[test]
    fn processors_are_known_by_their_drivers_and_zones() {
        let kind = |name| processor(name);
        assert_eq!(["coretemp", "k10temp", "x86_pkg_temp"].map(kind), [Some(Processor::X86); 3]);
        assert_eq!(["cpu-thermal", "cpu_thermal", "soc-thermal"].map(kind), [Some(Processor::SystemOnChip); 3]);
        assert_eq!(["acpitz", "adt7475", "gpu-thermal", "rp1_adc"].map(kind), [None; 4]);
    }

    #[test]
    fn channels_come_in_number_order_without_gaps_filled() {
        let files: Vec<String> =
            ["fan10_input", "fan2_input", "fan2_label", "fanx_input", "pwm1", "temp1_input"].map(String::from).into();
        assert_eq!(channels(&files, "fan", "_input").collect::<Vec<_>>(), [2, 10]);
    }
}
