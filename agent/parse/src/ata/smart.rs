//! The verdict and the data of SMART as the drive gives them. What an attribute's raw bytes mean is for
//! [`super::attributes`]; the verdict on the drive is for the judge.

use super::self_test::AtaTestOutcome;
use crate::bytes::{array, byte, le16, summed_page};
use crate::scsi::sense_data::Sense;

/// What the drive thinks of itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Overall {
    /// No threshold was passed.
    Passed,
    /// A threshold was passed: the drive predicts that it will fail.
    Failing,
}

/// The verdict in the registers that SMART RETURN STATUS (B0h/DAh) left: LBA(23:8) is C24Fh or 2CF4h.
///
/// # Errors
/// Why there is no verdict. Bridges that do not know the question leave other values.
pub fn overall(answer: &Sense) -> Result<Overall, String> {
    let Some(lba) = answer.carried_out()?.lba else {
        return Err("expected a reply with the LBA registers, found one without".to_owned());
    };
    match lba >> 8 & 0xFFFF {
        0xC24F => Ok(Overall::Passed),
        0x2CF4 => Ok(Overall::Failing),
        other => Err(format!("expected C24Fh or 2CF4h in LBA(23:8), found {other:04X}h")),
    }
}

/// The answer to SMART READ DATA (HC580 clause 12.55.2).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SmartData {
    /// The attributes, in the drive's order.
    pub attributes: Vec<Attribute>,
    /// How the last off-line collection went.
    pub offline: Offline,
    /// True when the drive collects off-line by itself.
    pub offline_is_automatic: bool,
    /// The self-test that runs, or the last one.
    pub self_test: AtaTestOutcome,
    /// Can test itself.
    pub can_self_test: bool,
    /// Can test itself after a transport.
    pub can_conveyance_test: bool,
    /// Keeps an error log.
    pub has_error_log: bool,
    /// How long a short test takes, in minutes; `None` when not stated.
    pub short_test_minutes: Option<u16>,
    /// How long an extended test takes, in minutes.
    pub extended_test_minutes: Option<u16>,
    /// How long a conveyance test takes, in minutes.
    pub conveyance_test_minutes: Option<u16>,
}

/// How the last off-line collection went.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Offline {
    /// Never begun.
    Never,
    /// Ended without error.
    Done,
    /// It runs.
    Running,
    /// A command of the host holds it up.
    Suspended,
    /// A command of the host ended it.
    AbortedByHost,
    /// An error of the drive ended it.
    AbortedByError,
    /// A value that no standard gives a meaning.
    Other(u8),
}

/// One attribute as the drive gives it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Attribute {
    /// Number; its meaning is the maker's.
    pub id: u8,
    /// True when passing the threshold predicts the loss of data, false when it marks the end of the design life.
    pub predicts_failure: bool,
    /// Normalised value, 1 (worst) to 253; others are not valid.
    pub value: u8,
    /// Lowest normalised value so far.
    pub worst: u8,
    /// Raw bytes, least significant first.
    pub raw: [u8; 6],
}

/// Where an attribute stands against its threshold.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ThresholdState {
    /// Above it, or it can pass none.
    Fine,
    /// Above it now, but was not once.
    FailedBefore,
    /// At or below it.
    FailingNow,
}

const SLOTS: usize = 30;
const VALID: std::ops::RangeInclusive<u8> = 1..=253;

/// Reads SMART READ DATA (B0h/D0h).
pub fn smart_data(bytes: &[u8]) -> Result<SmartData, String> {
    let page = summed_page(bytes)?;
    let mut attributes = Vec::new();
    for slot in 0..SLOTS {
        let [id, flags, _, value, worst, raw @ .., _] = array::<12>(page, 2 + 12 * slot)?;
        if id != 0 {
            attributes.push(Attribute { id, predicts_failure: flags & 1 != 0, value, worst, raw });
        }
    }
    let offline = byte(page, 362)?;
    let abilities = byte(page, 367)?;
    let minutes = |at: usize| byte(page, at).map(|minutes| Some(u16::from(minutes)).filter(|&minutes| minutes != 0));
    let extended_test_minutes = match minutes(373)? {
        // Too long for a byte: the word after it says (from memory).
        Some(0xFF) => Some(le16(page, 375)?).filter(|minutes| !matches!(minutes, 0 | 0xFFFF)),
        minutes => minutes,
    };
    Ok(SmartData {
        attributes,
        offline: Offline::from_status(offline & 0x7F),
        offline_is_automatic: offline & 0x80 != 0,
        self_test: AtaTestOutcome::from_status(byte(page, 363)?),
        can_self_test: abilities & 1 << 4 != 0,
        can_conveyance_test: abilities & 1 << 5 != 0,
        has_error_log: byte(page, 370)? & 1 != 0,
        short_test_minutes: minutes(372)?,
        extended_test_minutes,
        conveyance_test_minutes: minutes(374)?,
    })
}

impl Offline {
    fn from_status(status: u8) -> Self {
        match status {
            0 => Self::Never,
            2 => Self::Done,
            3 => Self::Running,
            4 => Self::Suspended,
            5 => Self::AbortedByHost,
            6 => Self::AbortedByError,
            other => Self::Other(other),
        }
    }
}

/// The thresholds of the attributes, by their numbers.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Thresholds(Vec<(u8, u8)>);

/// Reads SMART READ THRESHOLDS (B0h/D1h).
pub fn thresholds(bytes: &[u8]) -> Result<Thresholds, String> {
    let page = summed_page(bytes)?;
    let mut thresholds = Vec::new();
    for slot in 0..SLOTS {
        let [id, threshold] = array::<2>(page, 2 + 12 * slot)?;
        if id != 0 {
            thresholds.push((id, threshold));
        }
    }
    Ok(Thresholds(thresholds))
}

impl Thresholds {
    /// Where an attribute stands: at or below its threshold it fails (MIC21; 60GXP figure 125). `None` when the drive
    /// has no threshold for it, or its value is none.
    pub fn standing(&self, attribute: &Attribute) -> Option<ThresholdState> {
        // Drives may list thresholds in another order than attributes, so only the number counts.
        let &(_, threshold) = self.0.iter().find(|(id, _)| *id == attribute.id)?;
        if !VALID.contains(&attribute.value) {
            return None;
        }
        let passed = |value: u8| VALID.contains(&threshold) && VALID.contains(&value) && value <= threshold;
        Some(match (passed(attribute.value), passed(attribute.worst)) {
            (true, _) => ThresholdState::FailingNow,
            (false, true) => ThresholdState::FailedBefore,
            (false, false) => ThresholdState::Fine,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scsi::sense_data::{Answering, sense};
    use crate::testing::{any_bytes, bent, hex, page, summed};
    use proptest::prelude::*;

    /// What the disk of the virtual machine answers, captured there.
    fn pretend_data() -> Vec<u8> {
        let attributes = hex("01 03 00 64 64 00 00 00 00 00 00 00  03 03 00 64 64 10 00 00 00 00 00 00
            04 02 00 64 64 64 00 00 00 00 00 00  05 03 00 64 64 00 00 00 00 00 00 00
            09 03 00 64 64 01 00 00 00 00 00 00  0c 03 00 64 64 00 00 00 00 00 00 00
            be 03 00 45 45 1f 00 1f 1f 00 00 00");
        let tail = hex("82 00 20 01 00 19 03 00 01 00 02 36 01");
        summed(page(&[(0, &[1, 0]), (2, &attributes), (362, &tail)]))
    }

    fn pretend_thresholds() -> Vec<u8> {
        let rows = [(1, 6), (3, 0), (4, 20), (5, 36), (9, 0), (12, 0), (190, 50), (200, 255)];
        let rows: Vec<u8> = rows.iter().flat_map(|&(id, limit)| [id, limit, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0]).collect();
        summed(page(&[(0, &[1, 0]), (2, &rows)]))
    }

    fn verdict(mid_and_high: &str) -> Result<Overall, String> {
        let reply = format!("72 01 00 1d 00 00 00 0e 09 0c 00 00 00 00 00 00 00 {mid_and_high} 00 50");
        overall(&sense(&hex(&reply), Answering::Bridge).unwrap())
    }

    #[test]
    fn the_drive_speaks_its_verdict() {
        // The pair of a failing drive: Micron TN-FD-21.
        assert_eq!(verdict("4f 00 c2"), Ok(Overall::Passed));
        assert_eq!(verdict("f4 00 2c"), Ok(Overall::Failing));
        assert_eq!(verdict("4f 00 2c"), Err("expected C24Fh or 2CF4h in LBA(23:8), found 2C4Fh".into()));
        assert_eq!(verdict("00 00 00"), Err("expected C24Fh or 2CF4h in LBA(23:8), found 0000h".into()));
    }

    #[test]
    fn the_virtual_disk_tells_its_attributes() {
        let data = smart_data(&pretend_data()).unwrap();
        let ids: Vec<u8> = data.attributes.iter().map(|attribute| attribute.id).collect();
        assert_eq!(ids, [1, 3, 4, 5, 9, 12, 190]);
        let warmth = data.attributes[6];
        assert_eq!((warmth.value, warmth.worst, warmth.raw), (69, 69, [0x1F, 0, 0x1F, 0x1F, 0, 0]));
        assert_eq!((data.offline, data.offline_is_automatic), (Offline::Done, true));
        assert_eq!(
            (data.self_test, data.can_self_test, data.can_conveyance_test),
            (AtaTestOutcome::Passed, true, false)
        );
        assert!(data.has_error_log);
        assert_eq!((data.short_test_minutes, data.extended_test_minutes), (Some(2), Some(54)));
        assert_eq!(data.conveyance_test_minutes, Some(1));
    }

    #[test]
    fn a_long_test_is_told_in_a_word() {
        let long = summed(page(&[(2, &[9]), (373, &[0xFF, 0x00, 0x64, 0x05])]));
        assert_eq!(smart_data(&long).unwrap().extended_test_minutes, Some(1380));
        let untold = summed(page(&[(2, &[9]), (373, &[0xFF])]));
        assert_eq!(smart_data(&untold).unwrap().extended_test_minutes, None);
    }

    #[test]
    fn an_attribute_fails_at_its_threshold() {
        let limits = thresholds(&pretend_thresholds()).unwrap();
        let at =
            |id, value, worst| limits.standing(&Attribute { id, predicts_failure: true, value, worst, raw: [0; 6] });
        assert_eq!(at(5, 37, 37), Some(ThresholdState::Fine));
        assert_eq!(at(5, 36, 36), Some(ThresholdState::FailingNow));
        assert_eq!(at(5, 90, 36), Some(ThresholdState::FailedBefore));
        // A threshold of 0 or 255 is never passed; 0, 254 and 255 are no values; 197 has no threshold here.
        assert_eq!((at(9, 1, 1), at(200, 1, 1)), (Some(ThresholdState::Fine), Some(ThresholdState::Fine)));
        assert_eq!((at(5, 0, 0), at(5, 254, 254), at(197, 1, 1)), (None, None, None));
        assert_eq!(at(5, 90, 0), Some(ThresholdState::Fine));
        let all_fine = smart_data(&pretend_data()).unwrap();
        assert!(all_fine.attributes.iter().all(|attribute| limits.standing(attribute) == Some(ThresholdState::Fine)));
    }

    #[test]
    fn a_damaged_page_is_no_data() {
        let mut page = pretend_data();
        page[7] ^= 0x40;
        assert_eq!(smart_data(&page), Err("expected a page whose bytes add up to 00h, found 40h".into()));
        assert_eq!(thresholds(&page[..100]), Err("expected at least 512 bytes, found 100".into()));
    }

    proptest! {
        #[test]
        fn whatever_comes_only_valid_values_stand_somewhere(
            data in prop_oneof![any_bytes(600), bent(pretend_data()), any_bytes(512).prop_map(summed)],
            limits in prop_oneof![bent(pretend_thresholds()), any_bytes(512).prop_map(summed)],
        ) {
            if let (Ok(data), Ok(limits)) = (smart_data(&data), thresholds(&limits)) {
                prop_assert!(data.attributes.len() <= SLOTS);
                for attribute in &data.attributes {
                    prop_assert!(limits.standing(attribute).is_none() || VALID.contains(&attribute.value));
                }
            }
        }
    }
}
