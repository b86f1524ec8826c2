//! SMART Command Transport: the drive's temperature now, its extremes, and the limits it states. Which drives must not
//! be asked is in [`crate::quirks`].

use crate::bytes::{byte, le16, le32, page};
use crate::temperature::plausible_ever;
use traylight_data::units::Celsius;

/// SCT status, log E0h (HC580 clause 10.18.2.3.3 table 51; bytes 205 and 214 from memory).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SctStatus {
    /// What the drive does.
    pub state: SctState,
    /// True while an SCT command runs: then no other may be sent.
    pub is_busy: bool,
    /// Temperature now, which need not be plausible; `None` when not measured.
    pub temperature: Option<Celsius>,
    /// Lowest since power-on.
    pub lowest_this_cycle: Option<Celsius>,
    /// Highest since power-on.
    pub highest_this_cycle: Option<Celsius>,
    /// Lowest ever.
    pub lowest_ever: Option<Celsius>,
    /// Highest ever.
    pub highest_ever: Option<Celsius>,
    /// Highest temperature that the drive is made to work at.
    pub specified_maximum: Option<Celsius>,
    /// How many samples were above the limit since the drive was made.
    pub over_limit_count: u32,
    /// How many samples were below the limit since the drive was made.
    pub under_limit_count: u32,
    /// False when the drive predicts that it will fail; `None` on drives that do not say it here.
    pub predicts_no_failure: Option<bool>,
}

/// What a drive does, as SCT status tells it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SctState {
    /// It is ready and no test runs.
    Active,
    /// Standby.
    Standby,
    /// Sleep.
    Asleep,
    /// It tests itself.
    SelfTest,
    /// It collects data off-line.
    OfflineCollection,
    /// It carries an SCT command out.
    SctCommand,
    /// A value that no standard gives a meaning.
    Reserved(u8),
}

/// Reads SCT status.
pub fn sct_status(bytes: &[u8]) -> Result<SctStatus, String> {
    const RUNNING: u16 = 0xFFFF;
    const NOT_MEASURED: i64 = -128;
    let page = page(bytes)?;
    let version = le16(page, 0)?;
    if !matches!(version, 2 | 3) {
        return Err(format!("expected SCT format 2 or 3, found {version}"));
    }
    let signed = |at: usize| byte(page, at).map(|byte| i64::from(byte as i8));
    // Format 2 leaves 201 and 203 at zero.
    let lowest = |at: usize| signed(at).map(|low| if version == 2 { None } else { plausible_ever(low) });
    let state = match byte(page, 10)? {
        0 => SctState::Active,
        1 => SctState::Standby,
        2 => SctState::Asleep,
        3 => SctState::SelfTest,
        4 => SctState::OfflineCollection,
        5 => SctState::SctCommand,
        other => SctState::Reserved(other),
    };
    Ok(SctStatus {
        state,
        is_busy: state == SctState::SctCommand || le16(page, 14)? == RUNNING,
        temperature: Some(signed(200)?).filter(|&now| now != NOT_MEASURED).map(|now| Celsius(now as f64)),
        lowest_this_cycle: lowest(201)?,
        highest_this_cycle: plausible_ever(signed(202)?),
        lowest_ever: lowest(203)?,
        highest_ever: plausible_ever(signed(204)?),
        specified_maximum: limit(signed(205)?),
        over_limit_count: le32(page, 206)?,
        under_limit_count: le32(page, 210)?,
        predicts_no_failure: match le16(page, 214)? {
            0xC24F => Some(true),
            0x2CF4 => Some(false),
            _ => None,
        },
    })
}

/// An upper limit that makes sense as one; drives without say 0, 80h or something far off.
fn limit(degrees: i64) -> Option<Celsius> {
    if degrees >= 30 { plausible_ever(degrees) } else { None }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{any_bytes, bent, page};
    use proptest::prelude::*;

    fn status(version: u8, state: u8, warmth: &[u8]) -> Vec<u8> {
        page(&[(0, &[version, 0]), (2, &[0xA0, 0x02]), (10, &[state]), (200, warmth)])
    }

    #[test]
    fn the_drive_tells_its_temperatures() {
        let bytes = status(3, 0, &[36, 0xFE, 41, 0xF1, 52, 65, 7, 0, 0, 0, 1, 0, 0, 0, 0x4F, 0xC2]);
        let status = sct_status(&bytes).unwrap();
        assert_eq!((status.state, status.is_busy), (SctState::Active, false));
        assert_eq!(status.temperature, Some(Celsius(36.0)));
        let cycle = (status.lowest_this_cycle, status.highest_this_cycle);
        assert_eq!(cycle, (Some(Celsius(-2.0)), Some(Celsius(41.0))));
        assert_eq!((status.lowest_ever, status.highest_ever), (Some(Celsius(-15.0)), Some(Celsius(52.0))));
        assert_eq!(status.specified_maximum, Some(Celsius(65.0)));
        assert_eq!((status.over_limit_count, status.under_limit_count), (7, 1));
        assert_eq!(status.predicts_no_failure, Some(true));
    }

    #[test]
    fn what_the_drive_does_not_measure_is_none() {
        let invalid = sct_status(&status(3, 0, &[0x80, 0x80, 0x80, 0x80, 0x80])).unwrap();
        assert_eq!((invalid.temperature, invalid.highest_ever, invalid.lowest_ever), (None, None, None));
        assert_eq!((invalid.specified_maximum, invalid.predicts_no_failure), (None, None));
        // 7K160 clause 10.22.1.11: in format 2 the lowest temperatures are reserved.
        let older = sct_status(&status(2, 0, &[36, 0, 41, 0, 52])).unwrap();
        assert_eq!((older.lowest_this_cycle, older.lowest_ever), (None, None));
        assert_eq!(older.highest_ever, Some(Celsius(52.0)));
    }

    #[test]
    fn a_busy_drive_says_so() {
        assert!(sct_status(&status(3, 5, &[36])).unwrap().is_busy);
        let mut running = status(3, 0, &[36]);
        running[14..16].copy_from_slice(&[0xFF, 0xFF]);
        assert!(sct_status(&running).unwrap().is_busy);
        assert_eq!(sct_status(&status(3, 1, &[36])).unwrap().state, SctState::Standby);
    }

    #[test]
    fn other_formats_are_refused() {
        assert_eq!(sct_status(&status(1, 0, &[36])), Err("expected SCT format 2 or 3, found 1".into()));
        assert_eq!(sct_status(&[0xFF; 512]), Err("expected an answer, found 512 bytes that are all FFh".into()));
    }

    proptest! {
        #[test]
        fn whatever_comes_temperatures_are_possible(
            noise in any_bytes(600),
            good in bent(status(3, 0, &[36, 20, 41, 5, 52, 65])),
        ) {
            for bytes in [&noise, &good] {
                if let Ok(status) = sct_status(bytes) {
                    prop_assert!(status.temperature.is_none_or(|now| (-127.0..=127.0).contains(&now.0)));
                    prop_assert!(status.highest_ever.is_none_or(|once| (-60.0..=125.0).contains(&once.0)));
                }
            }
        }
    }
}
