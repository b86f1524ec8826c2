//! What an ATA drive says of itself: IDENTIFY DEVICE, as the drive sends it, as the kernel keeps it in
//! `/sys/class/ata_device`, or inside SCSI VPD page 89h. How the drive fares is not in it.

use super::abilities::Abilities;
use super::words::{sata, stated};
use crate::bytes::{le16, le32, le64, page, sum, swapped_text};
use traylight_data::units::{Bytes, Rpm};

/// Who an ATA drive is and what it can be asked (ACS-3 clause 7.12, from memory, and linux/ata.h).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Identify {
    /// Serial, as printed on the label.
    pub serial: Option<String>,
    /// Firmware revision.
    pub firmware: Option<String>,
    /// Model.
    pub model: Option<String>,
    /// World wide name; its first digit is 5.
    pub wwn: Option<u64>,
    /// Capacity; `None` when the drive states none that can be true.
    pub size: Option<Bytes>,
    /// Size of the sectors that commands count in.
    pub logical_sector: Bytes,
    /// Size of the sectors on the medium.
    pub physical_sector: Bytes,
    /// What turns inside.
    pub rotation: Rotation,
    /// Size and shape.
    pub form_factor: Option<FormFactor>,
    /// Fastest speed of the cable that the drive knows; `None` when it does not say, as behind bridges.
    pub fastest_link: Option<SataSpeed>,
    /// Speed of the cable now.
    pub link: Option<SataSpeed>,
    /// What it can be asked, and how it is set.
    pub abilities: Abilities,
}

/// What turns inside a drive (word 217).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Rotation {
    /// The drive does not say.
    NotReported,
    /// Nothing: flash.
    Nothing,
    /// Disks.
    Disks(Rpm),
}

/// Size and shape of a drive (word 168; from mSATA on, from memory).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FormFactor {
    /// 5.25 inch.
    Inch5_25,
    /// 3.5 inch.
    Inch3_5,
    /// 2.5 inch.
    Inch2_5,
    /// 1.8 inch.
    Inch1_8,
    /// Less than 1.8 inch.
    Smaller,
    /// mSATA.
    Msata,
    /// M.2.
    M2,
    /// MicroSSD.
    MicroSsd,
    /// CFast.
    CFast,
}

/// Speed of a SATA cable.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum SataSpeed {
    /// 1.5 Gb/s.
    Gen1,
    /// 3 Gb/s.
    Gen2,
    /// 6 Gb/s.
    Gen3,
}

const SIGNATURE: u8 = 0xA5;
const NOT_ATA: u16 = 1 << 15;
const INCOMPLETE: u16 = 1 << 2;

/// Reads the 512 bytes of IDENTIFY DEVICE.
///
/// # Errors
/// What was found instead of an ATA drive: too few bytes, an empty buffer, another kind of device, a drive that waits
/// to be spun up, a wrong sum, or neither serial nor model.
pub fn identify(bytes: &[u8]) -> Result<Identify, String> {
    let data = page(bytes)?;
    let word = |index: usize| le16(data, index * 2);
    let kind = word(0)?;
    if kind & NOT_ATA != 0 {
        return Err(format!("expected an ATA drive, found a device of kind {kind:04X}h"));
    }
    if kind & INCOMPLETE != 0 {
        return Err("expected a complete answer, found an incomplete one: the drive has not been spun up".to_owned());
    }
    let [.., signature, _] = *data;
    if signature == SIGNATURE && sum(data) != 0 {
        return Err(format!("expected bytes that add up to 00h, found {:02X}h", sum(data)));
    }
    let text = |first: usize, words: usize| data.get(first * 2..(first + words) * 2).and_then(swapped_text);
    let (serial, model) = (text(10, 10), text(27, 20));
    if serial.is_none() && model.is_none() {
        return Err("expected a serial or a model, found neither".to_owned());
    }
    let logical_sector = logical_sector(data)?;
    let sizes = stated(word(106)?);
    let per_physical = if sizes & 1 << 13 != 0 { 1 << (sizes & 0xF) } else { 1 };
    Ok(Identify {
        serial,
        firmware: text(23, 4),
        model,
        wwn: world_wide_name(data)?,
        size: size(data, logical_sector)?,
        logical_sector: Bytes(logical_sector),
        physical_sector: Bytes(logical_sector * per_physical),
        rotation: rotation(word(217)?),
        form_factor: form_factor(word(168)?),
        fastest_link: fastest_link(word(76)?),
        link: link(word(76)?, word(77)?),
        abilities: Abilities::of(data)?,
    })
}

fn logical_sector(data: &[u8]) -> Result<u64, String> {
    if stated(le16(data, 106 * 2)?) & 1 << 12 == 0 {
        return Ok(512);
    }
    // Stated in words of two bytes.
    match u64::from(le32(data, 117 * 2)?) * 2 {
        bytes @ 512..=65_536 => Ok(bytes),
        bytes => Err(format!("expected logical sectors of 512 to 65536 bytes, found {bytes}")),
    }
}

fn size(data: &[u8], logical_sector: u64) -> Result<Option<Bytes>, String> {
    let knows_48_bits = stated(le16(data, 83 * 2)?) & 1 << 10 != 0;
    let sectors = match le64(data, 100 * 2)? {
        // No drive can address more than 48 bits; a larger number is noise.
        sectors @ 1..=0xFFFF_FFFF_FFFF if knows_48_bits => sectors,
        _ => u64::from(le32(data, 60 * 2)?),
    };
    Ok(sectors.checked_mul(logical_sector).filter(|&bytes| bytes > 0).map(Bytes))
}

fn world_wide_name(data: &[u8]) -> Result<Option<u64>, String> {
    let word = |index: usize| le16(data, index * 2).map(u64::from);
    let is_stated = (stated(le16(data, 84 * 2)?) | stated(le16(data, 87 * 2)?)) & 1 << 8 != 0;
    let name = word(108)? << 48 | word(109)? << 32 | word(110)? << 16 | word(111)?;
    // The first digit names the authority: 5 is the IEEE, in its registered form.
    Ok((is_stated && name >> 60 == 5).then_some(name))
}

fn rotation(word: u16) -> Rotation {
    match word {
        0x0001 => Rotation::Nothing,
        0x0401..=0xFFFE => Rotation::Disks(Rpm(u32::from(word))),
        _ => Rotation::NotReported,
    }
}

fn form_factor(word: u16) -> Option<FormFactor> {
    // FFFFh and the like come from drives older than the word.
    Some(match word {
        1 => FormFactor::Inch5_25,
        2 => FormFactor::Inch3_5,
        3 => FormFactor::Inch2_5,
        4 => FormFactor::Inch1_8,
        5 => FormFactor::Smaller,
        6 => FormFactor::Msata,
        7 => FormFactor::M2,
        8 => FormFactor::MicroSsd,
        9 => FormFactor::CFast,
        _ => return None,
    })
}

fn fastest_link(word76: u16) -> Option<SataSpeed> {
    let speeds = [(3, SataSpeed::Gen3), (2, SataSpeed::Gen2), (1, SataSpeed::Gen1)];
    speeds.into_iter().find(|&(bit, _)| sata(word76) & 1 << bit != 0).map(|(_, speed)| speed)
}

/// Bits 3:1 of word 77 (from memory).
fn link(word76: u16, word77: u16) -> Option<SataSpeed> {
    match sata(word77) >> 1 & 0x7 {
        _ if sata(word76) == 0 => None,
        1 => Some(SataSpeed::Gen1),
        2 => Some(SataSpeed::Gen2),
        3 => Some(SataSpeed::Gen3),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{any_bytes, bent, summed};
    use proptest::prelude::*;

    fn swapped(text: &str, length: usize) -> Vec<u8> {
        let padded = format!("{text:length$}");
        padded.as_bytes().chunks(2).flat_map(|pair| [pair[1], pair[0]]).collect()
    }

    fn drive(words: &[(usize, u16)], serial: &str, model: &str) -> Vec<u8> {
        let mut data = vec![0; 512];
        data[20..40].copy_from_slice(&swapped(serial, 20));
        data[46..54].copy_from_slice(&swapped("HF2.07", 8));
        data[54..94].copy_from_slice(&swapped(model, 40));
        for &(index, word) in words {
            data[index * 2..index * 2 + 2].copy_from_slice(&word.to_le_bytes());
        }
        data
    }

    /// A 4 TB drive with sectors of 4,096 bytes that shows sectors of 512.
    fn whole() -> Vec<u8> {
        let words = [
            (0, 0x0040),
            (60, 0xFFFF),
            (61, 0x0FFF),
            (76, 0x050E),
            (77, 0x0006),
            (82, 0x0029),
            (83, 0x7400),
            (84, 0x4123),
            (85, 0x0029),
            (86, 0xB400),
            (87, 0x4123),
            (100, 0xBEB0),
            (101, 0xD1C0),
            (102, 0x0001),
            (106, 0x6003),
            (108, 0x5000),
            (109, 0xC500),
            (110, 0xAABB),
            (111, 0xCCDD),
            (119, 0x4088),
            (120, 0x4008),
            (128, 0x0029),
            (168, 0x0002),
            (206, 0x003D),
            (217, 0x1518),
            (255, 0x00A5),
        ];
        summed(drive(&words, "HERON-0001", "Songbird HB4000"))
    }

    /// What the disk of the virtual machine answers, word for word (captured there).
    fn pretend() -> Vec<u8> {
        let words = [
            (0, 0x0040),
            (47, 0x8010),
            (49, 0x0B00),
            (59, 0x0110),
            (60, 0x8000),
            (69, 0x4000),
            (75, 0x001F),
            (76, 0x0100),
            (80, 0x00F0),
            (81, 0x0016),
            (82, 0x4021),
            (83, 0x7400),
            (84, 0x4100),
            (85, 0x4021),
            (86, 0x3400),
            (87, 0x4100),
            (88, 0x203F),
            (93, 0x6001),
            (100, 0x8000),
            (106, 0x6000),
            (108, 0x5000),
            (109, 0xC500),
            (110, 0xAABB),
            (111, 0xCCDD),
            (169, 0x0001),
            (217, 0x1C20),
        ];
        drive(&words, "SNAHCI0", "TESTDISK")
    }

    #[test]
    fn a_drive_says_who_it_is() {
        let drive = identify(&whole()).unwrap();
        assert_eq!(drive.serial.as_deref(), Some("HERON-0001"));
        assert_eq!(drive.firmware.as_deref(), Some("HF2.07"));
        assert_eq!(drive.model.as_deref(), Some("Songbird HB4000"));
        assert_eq!(drive.wwn, Some(0x5000_C500_AABB_CCDD));
        // IDEMA LBA1-03: a drive sold as 4 TB has 7,814,037,168 sectors.
        assert_eq!(drive.size, Some(Bytes(7_814_037_168 * 512)));
        assert_eq!((drive.logical_sector, drive.physical_sector), (Bytes(512), Bytes(4096)));
        assert_eq!(drive.rotation, Rotation::Disks(Rpm(5400)));
        assert_eq!(drive.form_factor, Some(FormFactor::Inch3_5));
        assert_eq!((drive.fastest_link, drive.link), (Some(SataSpeed::Gen3), Some(SataSpeed::Gen3)));
    }

    #[test]
    fn a_drive_says_what_it_can_be_asked() {
        let wanted = Abilities {
            smart: true,
            smart_enabled: true,
            error_log: true,
            self_test: true,
            general_logs: true,
            dma_logs: true,
            sct: true,
            sct_tables: true,
            recovery_control: true,
            phy_counters: true,
            queuing: true,
            power_management: true,
            extended_power_conditions: true,
            write_cache_enabled: true,
            security_frozen: true,
            ..Abilities::default()
        };
        assert_eq!(identify(&whole()).unwrap().abilities, wanted);
    }

    #[test]
    fn the_virtual_disk_has_smart_and_little_else() {
        let drive = identify(&pretend()).unwrap();
        assert_eq!((drive.serial.as_deref(), drive.model.as_deref()), (Some("SNAHCI0"), Some("TESTDISK")));
        assert_eq!((drive.rotation, drive.form_factor), (Rotation::Disks(Rpm(7200)), None));
        assert_eq!((drive.fastest_link, drive.link, drive.wwn), (None, None, Some(0x5000_C500_AABB_CCDD)));
        let wanted = Abilities {
            smart: true,
            smart_enabled: true,
            queuing: true,
            trim: true,
            write_cache_enabled: true,
            ..Abilities::default()
        };
        assert_eq!(drive.abilities, wanted);
    }

    #[test]
    fn words_without_their_mark_state_nothing() {
        let unmarked = [(83, 0xFFFF), (84, 0xFFFF), (87, 0x0123), (106, 0xF00C), (76, 0xFFFF), (77, 0xFFFF)];
        let mut words = vec![(60, 0x1000), (85, 0x0001), (86, 0x0000), (100, 0x7777), (119, 0x4088)];
        words.extend(unmarked);
        let drive = identify(&drive(&words, "S", "M")).unwrap();
        assert_eq!(drive.abilities, Abilities::default());
        assert_eq!((drive.size, drive.physical_sector), (Some(Bytes(0x1000 * 512)), Bytes(512)));
        assert_eq!((drive.wwn, drive.fastest_link), (None, None));
    }

    #[test]
    fn what_one_word_rules_out_another_cannot_state() {
        // No authority 5, no SATA, and Phy counters without the command that reads them.
        let words = [(60, 0x1000), (76, 0x0000), (77, 0x0006), (84, 0x4100), (108, 0x6000)];
        let parallel = identify(&drive(&words, "S", "M")).unwrap();
        assert_eq!((parallel.wwn, parallel.link), (None, None));
        let unreadable = identify(&drive(&[(60, 0x1000), (76, 0x0402)], "S", "M")).unwrap();
        assert!(!unreadable.abilities.phy_counters);
    }

    #[test]
    fn what_is_no_drive_is_refused() {
        let refused = |data: &[u8]| identify(data).unwrap_err();
        assert_eq!(refused(&[0; 512]), "expected an answer, found 512 bytes that are all 00h");
        assert_eq!(refused(&drive(&[(0, 0x8580)], "S", "M")), "expected an ATA drive, found a device of kind 8580h");
        let waiting = "expected a complete answer, found an incomplete one: the drive has not been spun up";
        assert_eq!(refused(&drive(&[(0, 0x0044)], "", "")), waiting);
        assert_eq!(refused(&drive(&[(217, 1)], "", "")), "expected a serial or a model, found neither");
        let mut bent = whole();
        bent[21] ^= 0x01;
        assert_eq!(refused(&bent), "expected bytes that add up to 00h, found 01h");
        let tiny = drive(&[(106, 0x5000), (117, 1)], "S", "M");
        assert_eq!(refused(&tiny), "expected logical sectors of 512 to 65536 bytes, found 2");
    }

    proptest! {
        #[test]
        fn whatever_comes_sizes_are_whole_sectors(data in prop_oneof![any_bytes(600), bent(whole()), bent(pretend())]) {
            if let Ok(drive) = identify(&data) {
                prop_assert!(drive.size.is_none_or(|size| size.0 % drive.logical_sector.0 == 0));
                prop_assert!(drive.physical_sector >= drive.logical_sector);
                prop_assert!(drive.serial.is_some() || drive.model.is_some());
            }
        }
    }
}
