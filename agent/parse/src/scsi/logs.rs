//! LOG SENSE: a page is a list of numbered parameters. Walks it, and reads the pages about temperature, wear, starts and
//! the drive's own verdict. Pages about errors and tests are in [`super::errors`].

use crate::bytes::{be_counter, be16, be32, byte};
use crate::counter::{CounterOrigin, CounterUnit, DecodedCounter};
use crate::temperature::{plausible, plausible_ever};
use traylight_data::units::Celsius;

/// A log page, taken apart (SPC-4 clause 7.3, from memory).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LogPage<'a> {
    code: u8,
    parameters: Vec<(u16, &'a [u8])>,
}

/// Takes a log page apart.
///
/// # Errors
/// What was found instead: another page (bridges echo what lies in their buffer), or lengths that do not fit.
pub fn log_page(bytes: &[u8], code: u8) -> Result<LogPage<'_>, String> {
    let mut rest = contents(bytes, code)?;
    let mut parameters = Vec::new();
    while !rest.is_empty() {
        let (number, length) = (be16(rest, 0)?, usize::from(byte(rest, 3)?));
        let Some(value) = rest.get(4..4 + length) else {
            return Err(format!(
                "expected parameter {number:04X}h of at most {} bytes, found {length}",
                rest.len() - 4
            ));
        };
        parameters.push((number, value));
        rest = rest.get(4 + length..).unwrap_or_default();
    }
    Ok(LogPage { code, parameters })
}

impl<'a> LogPage<'a> {
    /// The bytes of a parameter.
    pub fn parameter(&self, number: u16) -> Option<&'a [u8]> {
        self.parameters.iter().find(|(found, _)| *found == number).map(|&(_, value)| value)
    }

    /// All parameters in the drive's order: number and bytes.
    pub fn parameters(&self) -> impl Iterator<Item = (u16, &'a [u8])> + '_ {
        self.parameters.iter().copied()
    }

    /// The counters of this page, by a table of numbers and names. A counter of all ones stands for "not known".
    pub fn counters(&self, table: &[(u16, &'static str, CounterUnit)]) -> Result<Vec<DecodedCounter>, String> {
        let mut counters = Vec::new();
        for &(number, name, unit) in table {
            if let Some(value) = self.parameter(number).filter(|value| value.iter().any(|&byte| byte != 0xFF)) {
                counters.push(DecodedCounter::new(name, be_counter(value)?, unit, CounterOrigin::ScsiLog(self.code)));
            }
        }
        Ok(counters)
    }
}

/// The codes of the pages that the drive has, from page 00h.
pub fn supported_pages(bytes: &[u8]) -> Result<Vec<u8>, String> {
    contents(bytes, 0x00).map(|codes| codes.iter().map(|code| code & 0x3F).collect())
}

/// What a page holds behind its header of four bytes: code, subpage, length.
fn contents(bytes: &[u8], code: u8) -> Result<&[u8], String> {
    let (found, subpage) = (byte(bytes, 0)?, byte(bytes, 1)?);
    // Bit 6 marks a subpage, of which none is asked for here; bit 7 says whether the page is saved.
    if found & 0x7F != code || subpage != 0 {
        return Err(format!("expected log page {code:02X}h/00h, found {:02X}h/{subpage:02X}h", found & 0x7F));
    }
    let length = usize::from(be16(bytes, 2)?);
    let contents = bytes.get(4..4 + length);
    contents.ok_or_else(|| format!("expected a page of {1} bytes, found {0}", bytes.len(), 4 + length))
}

/// The temperature page, 0Dh (Seagate SCSI Commands Reference, clause 5.2.23).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Warmth {
    /// Temperature now.
    pub now: Option<Celsius>,
    /// Highest temperature for continuous work.
    pub limit: Option<Celsius>,
}

/// Reads the temperature page, 0Dh.
pub fn temperature(bytes: &[u8]) -> Result<Warmth, String> {
    let page = log_page(bytes, 0x0D)?;
    let degrees = |number: u16| page.parameter(number).and_then(|value| value.get(1).copied()).map(i64::from);
    // FFh stands for "none": it is above all that can be true.
    let limit = degrees(1).filter(|&degrees| degrees >= 30);
    Ok(Warmth { now: degrees(0).and_then(plausible), limit: limit.and_then(plausible_ever) })
}

/// The drive's own verdict, page 2Fh (Seagate SCSI Commands Reference, clause 5.2.12).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Exceptions {
    /// What the drive says.
    pub verdict: ScsiAssessment,
    /// Its temperature when it last looked.
    pub temperature: Option<Celsius>,
}

/// What a SCSI drive says of itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ScsiAssessment {
    /// Nothing to report.
    Passed,
    /// It predicts that it will fail; the number says why, in the maker's terms.
    Failing(u8),
    /// It warns; 1 is of its temperature, 3 of a self-test, 5 of a scan.
    Warning(u8),
    /// Another code and qualifier.
    Other(u8, u8),
}

/// Reads the informational exceptions page, 2Fh.
pub fn exceptions(bytes: &[u8]) -> Result<Exceptions, String> {
    let page = log_page(bytes, 0x2F)?;
    let Some(value) = page.parameter(0) else { return Err("expected parameter 0000h, found none".to_owned()) };
    let verdict = match (byte(value, 0)?, byte(value, 1)?) {
        (0x00, 0x00) => ScsiAssessment::Passed,
        (0x5D, qualifier) => ScsiAssessment::Failing(qualifier),
        (0x0B, qualifier) => ScsiAssessment::Warning(qualifier),
        (code, qualifier) => ScsiAssessment::Other(code, qualifier),
    };
    Ok(Exceptions { verdict, temperature: value.get(2).copied().map(i64::from).and_then(plausible) })
}

/// Starts and stops, and parkings of the heads, page 0Eh, with the numbers the drive is made for (HGST C15K600
/// table 103).
pub fn start_stop(bytes: &[u8]) -> Result<Vec<DecodedCounter>, String> {
    log_page(bytes, 0x0E)?.counters(&[
        (3, "rated_start_stop_cycles", CounterUnit::Count),
        (4, "start_stop_cycles", CounterUnit::Count),
        (5, "rated_load_cycles", CounterUnit::Count),
        (6, "load_cycles", CounterUnit::Count),
    ])
}

/// Wear of a flash drive, page 11h (Seagate SCSI Commands Reference, clause 5.2.19).
pub fn wear(bytes: &[u8]) -> Result<DecodedCounter, String> {
    let page = log_page(bytes, 0x11)?;
    let Some(value) = page.parameter(1) else { return Err("expected parameter 0001h, found none".to_owned()) };
    // The last of four bytes; those before are reserved.
    let used = be32(value, 0)? & 0xFF;
    if used == 0xFF {
        return Err("expected a wear in percent, found FFh".to_owned());
    }
    Ok(DecodedCounter::new("wear_used_percent", used, CounterUnit::Percent, CounterOrigin::ScsiLog(0x11)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{any_bytes, bent, hex};
    use proptest::prelude::*;

    // Replies of the kernel's emulated SCSI drive, captured in a virtual machine.
    const WARMTH: &str = "0d 00 00 0c 00 00 03 02 00 26 00 01 03 02 00 41";
    const EXCEPTIONS: &str = "2f 00 00 07 00 00 03 03 00 00 26";
    // Built by the tables named beside the functions.
    const STARTS: &str = "0e 00 00 34 00 01 03 06 32 30 32 33 30 34 00 02 03 06 20 20 20 20 20 20 00 03 03 04 00 00 \
        c3 50 00 04 03 04 00 00 00 2a 00 05 03 04 ff ff ff ff 00 06 03 04 00 00 02 00";
    const WEAR: &str = "11 00 00 08 00 01 03 04 00 00 00 0c";

    #[test]
    fn the_temperature_page_tells_now_and_limit() {
        let wanted = Warmth { now: Some(Celsius(38.0)), limit: Some(Celsius(65.0)) };
        assert_eq!(temperature(&hex(WARMTH)), Ok(wanted));
        let none = hex("0d 00 00 0c 00 00 03 02 00 ff 00 01 03 02 00 ff");
        assert_eq!(temperature(&none), Ok(Warmth { now: None, limit: None }));
        assert_eq!(temperature(&hex("0d 00 00 00")), Ok(Warmth { now: None, limit: None }));
    }

    #[test]
    fn the_drive_speaks_its_verdict() {
        let passed = Exceptions { verdict: ScsiAssessment::Passed, temperature: Some(Celsius(38.0)) };
        assert_eq!(exceptions(&hex(EXCEPTIONS)), Ok(passed));
        let said = |code: &str| exceptions(&hex(&format!("2f 00 00 08 00 00 03 04 {code} ff 00"))).unwrap();
        assert_eq!(said("5d 10"), Exceptions { verdict: ScsiAssessment::Failing(0x10), temperature: None });
        assert_eq!(said("0b 01").verdict, ScsiAssessment::Warning(1));
        assert_eq!(said("11 00").verdict, ScsiAssessment::Other(0x11, 0));
        assert_eq!(exceptions(&hex("2f 00 00 00")), Err("expected parameter 0000h, found none".into()));
    }

    #[test]
    fn starts_are_told_beside_what_the_drive_is_made_for() {
        let read: Vec<_> = start_stop(&hex(STARTS)).unwrap().iter().map(|count| (count.name, count.value)).collect();
        let wanted = [("rated_start_stop_cycles", 50_000), ("start_stop_cycles", 42), ("load_cycles", 512)];
        assert_eq!(read, wanted);
        assert_eq!(wear(&hex(WEAR)).unwrap().value, 12);
    }

    #[test]
    fn page_zero_lists_the_others() {
        assert_eq!(supported_pages(&hex("00 00 00 03 00 0d 2f")), Ok(vec![0x00, 0x0D, 0x2F]));
    }

    #[test]
    fn what_does_not_fit_is_refused() {
        let refused = |bytes: &str| temperature(&hex(bytes)).unwrap_err();
        assert_eq!(refused("2f 00 00 00"), "expected log page 0Dh/00h, found 2Fh/00h");
        assert_eq!(refused("0d 01 00 00"), "expected log page 0Dh/00h, found 0Dh/01h");
        assert_eq!(refused("4d 01 00 00"), "expected log page 0Dh/00h, found 4Dh/01h");
        assert_eq!(refused("0d 00 ff ff 00 00"), "expected a page of 65539 bytes, found 6");
        assert_eq!(refused("0d 00 00 06 00 00 03 09 00 26"), "expected parameter 0000h of at most 2 bytes, found 9");
        assert_eq!(refused("0d 00 00 02 00 00"), "expected at least 4 bytes, found 2");
        assert_eq!(refused(""), "expected at least 1 bytes, found 0");
        let endless = hex("0e 00 00 0d 00 03 03 09 00 00 00 00 00 00 00 00 01");
        assert_eq!(start_stop(&endless), Err("expected a counter of 1 to 8 bytes, found 9".into()));
    }

    proptest! {
        #[test]
        fn whatever_comes_numbers_are_possible(
            bytes in prop_oneof![any_bytes(80), bent(hex(WARMTH)), bent(hex(EXCEPTIONS)), bent(hex(STARTS)), bent(hex(WEAR))],
        ) {
            if let Ok(warmth) = temperature(&bytes) {
                prop_assert!(warmth.now.is_none_or(|now| (1.0..=95.0).contains(&now.0)));
            }
            if let Ok(exceptions) = exceptions(&bytes) {
                prop_assert!(exceptions.temperature.is_none_or(|now| (1.0..=95.0).contains(&now.0)));
            }
            prop_assert!(start_stop(&bytes).unwrap_or_default().iter().all(|counter| counter.value >= 0));
            prop_assert!(wear(&bytes).map_or(0, |wear| wear.value) <= 255);
            prop_assert!(supported_pages(&bytes).unwrap_or_default().len() <= bytes.len());
        }
    }
}
