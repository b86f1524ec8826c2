//! SCSI sense data in both formats, and the ATA registers that come home in it. What the registers mean is for
//! [`crate::ata::power`] and [`crate::ata::smart`].

use crate::bytes::byte;
use std::fmt;

/// Why a command ended as it did (SPC-4 clause 4.5, from memory).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sense {
    /// Sense key, 0h to Fh.
    pub key: u8,
    /// Additional sense code.
    pub asc: u8,
    /// Its qualifier.
    pub ascq: u8,
    /// True when it speaks of an earlier command.
    pub deferred: bool,
    /// The ATA registers after an ATA PASS-THROUGH command, if they came along.
    pub registers: Option<AtaRegisters>,
}

/// The registers of an ATA drive after a command. A register is `None` when the reply was cut before it, or has no
/// room for all of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct AtaRegisters {
    /// ERROR.
    pub error: Option<u8>,
    /// COUNT; 8 bits of it, or 16 after a 48-bit command.
    pub count: Option<u16>,
    /// LBA; 24 bits of it, or 48 after a 48-bit command.
    pub lba: Option<u64>,
    /// DEVICE.
    pub device: Option<u8>,
    /// STATUS.
    pub status: Option<u8>,
}

/// Who filled the sense data in. In fixed format the registers have no label of their own.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Answering {
    /// A SCSI command: in fixed format there are no registers.
    Scsi,
    /// ATA PASS-THROUGH through a bridge.
    Bridge,
    /// ATA PASS-THROUGH through the kernel's own translation, which had a layout of its own before Linux 6.11.
    Kernel,
}

/// What is worth knowing apart of all that sense data can say.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Meaning {
    /// The ATA command ended well and its registers are here.
    RegistersReturned,
    /// The drive does not know the command.
    Aborted,
    /// There is no translation to ATA here, or the command is not known.
    UnknownCommand,
    /// The command has a field that is not known.
    UnknownField,
    /// The kernel has given the drive up.
    Disabled,
    /// The drive is locked with a password.
    Locked,
    /// A place on the medium cannot be read or written.
    MediumError,
    /// Data was damaged on its way over the cable.
    InterfaceCrc,
}

impl fmt::Display for Meaning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::RegistersReturned => "the registers came back",
            Self::Aborted => "it aborted the command",
            Self::UnknownCommand => "it does not know the command",
            Self::UnknownField => "it does not know a field of the command",
            Self::Disabled => "the kernel has given it up",
            Self::Locked => "it is locked with a password",
            Self::MediumError => "a place on the medium cannot be read or written",
            Self::InterfaceCrc => "data was damaged on the cable",
        })
    }
}

const ATA_STATUS_RETURN: u8 = 0x09;
const BUSY: u8 = 0x80;
const READY: u8 = 0x40;
const DEVICE_FAULT: u8 = 0x20;
const ERROR: u8 = 0x01;

/// Reads sense data in fixed (70h, 71h) or descriptor format (72h, 73h).
///
/// # Errors
/// Another response code, among them 00h for no sense at all, or too few bytes for key and codes.
pub fn sense(bytes: &[u8], answering: Answering) -> Result<Sense, String> {
    let Some(&first) = bytes.first() else { return Err("expected sense data, found none".to_owned()) };
    let code = first & 0x7F;
    let length = usize::from(byte(bytes, 7)?) + 8;
    let bytes = bytes.get(..length).unwrap_or(bytes);
    let deferred = matches!(code, 0x71 | 0x73);
    match code {
        0x70 | 0x71 => Ok(Sense {
            key: byte(bytes, 2)? & 0x0F,
            asc: byte(bytes, 12)?,
            ascq: byte(bytes, 13)?,
            deferred,
            registers: fixed_registers(bytes, first & 0x80 != 0, answering),
        }),
        0x72 | 0x73 => Ok(Sense {
            key: byte(bytes, 1)? & 0x0F,
            asc: byte(bytes, 2)?,
            ascq: byte(bytes, 3)?,
            deferred,
            registers: descriptor_registers(bytes),
        }),
        _ => Err(format!("expected response code 70h to 73h, found {code:02X}h")),
    }
}

impl Sense {
    /// The registers of an ATA command that the drive has carried out.
    ///
    /// Only these may be believed: an aborted command leaves its own parameters in the registers, and a bridge that
    /// does not know the question leaves zeros, which would read as "in standby".
    ///
    /// # Errors
    /// What was found instead. A cut reply is worth asking once more: the kernel fetches 18 bytes from a USB bridge
    /// until it has learned that there is more.
    pub fn carried_out(&self) -> Result<&AtaRegisters, String> {
        if self.meaning() != Some(Meaning::RegistersReturned) {
            let Self { key, asc, ascq, .. } = self;
            return Err(format!("expected sense 1h/00h/1Dh, found {key:X}h/{asc:02X}h/{ascq:02X}h"));
        }
        let Some(registers) = &self.registers else { return Err("expected ATA registers, found none".to_owned()) };
        match registers.status {
            None => Err("expected a whole reply, found one that ends before the STATUS register".to_owned()),
            Some(status) if status & (BUSY | READY | DEVICE_FAULT | ERROR) == READY => Ok(registers),
            Some(status) => Err(format!("expected ready, not busy and without error, found STATUS {status:02X}h")),
        }
    }

    /// What it says, if it is worth knowing apart (SPC-4 annex D, from memory; the kernel's translation).
    pub fn meaning(&self) -> Option<Meaning> {
        match (self.key, self.asc, self.ascq) {
            (0x0 | 0x1, 0x00, 0x1D) => Some(Meaning::RegistersReturned),
            (0xB, 0x00, 0x00) => Some(Meaning::Aborted),
            (0x5, 0x20, 0x00) => Some(Meaning::UnknownCommand),
            (0x5, 0x24, 0x00) => Some(Meaning::UnknownField),
            (0x2, 0x04, 0x21) => Some(Meaning::Disabled),
            (0x7, 0x74, 0x71) => Some(Meaning::Locked),
            (0x3, _, _) => Some(Meaning::MediumError),
            (0xB, 0x47, 0x00) => Some(Meaning::InterfaceCrc),
            _ => None,
        }
    }
}

/// Descriptors from byte 8: type, length, contents (SAT-3 clause 12.2.5, from memory).
fn descriptor_registers(bytes: &[u8]) -> Option<AtaRegisters> {
    let mut rest = bytes.get(8..)?;
    while let [kind, length, ..] = *rest {
        let length = usize::from(length) + 2;
        if kind == ATA_STATUS_RETURN {
            let descriptor = rest.get(..length).unwrap_or(rest);
            let at = |index: usize| descriptor.get(index).copied();
            let is_extended = at(2)? & 1 != 0;
            return Some(AtaRegisters {
                error: at(3),
                count: joined(if is_extended { &[5, 4] } else { &[5] }, at).map(|count| count as u16),
                lba: joined(if is_extended { &[7, 9, 11, 6, 8, 10] } else { &[7, 9, 11] }, at),
                device: at(12),
                status: at(13),
            });
        }
        rest = rest.get(length..)?;
    }
    None
}

/// SAT puts the registers where INFORMATION is; the kernel up to 6.10 put them at byte 8 and left VALID clear.
fn fixed_registers(bytes: &[u8], is_valid: bool, answering: Answering) -> Option<AtaRegisters> {
    let start = match (answering, is_valid) {
        (Answering::Bridge | Answering::Kernel, true) => 0,
        (Answering::Kernel, false) => 8,
        (Answering::Scsi, _) | (Answering::Bridge, false) => return None,
    };
    let at = |index: usize| bytes.get(start + index).copied();
    let [error, status, device, count] = if is_valid { [3, 4, 5, 6] } else { [0, 1, 2, 3] }.map(at);
    let upper = at(8)?;
    Some(AtaRegisters {
        error,
        count: count.filter(|_| upper & 0x40 == 0).map(u16::from),
        lba: joined(&[9, 10, 11], at).filter(|_| upper & 0x20 == 0),
        device,
        status,
    })
}

/// A number from the bytes at these places, the least significant first; `None` when one is not there.
fn joined(places: &[usize], at: impl Fn(usize) -> Option<u8>) -> Option<u64> {
    places.iter().rev().try_fold(0, |sum, &place| Some(sum << 8 | u64::from(at(place)?)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{any_bytes, bent, hex};
    use proptest::prelude::*;

    // Replies of a drive under the kernels named, captured in a virtual machine.
    const POWER_MODE: &str = "72 01 00 1d 00 00 00 0e 09 0c 00 00 00 ff 00 00 00 00 00 00 00 50";
    const SMART_PASSED: &str = "72 01 00 1d 00 00 00 0e 09 0c 00 00 00 00 00 00 00 4f 00 c2 00 50";
    const ABORTED_6_1: &str = "70 00 0b 00 00 00 00 0a 04 41 00 01 00 00 00 00 80 04";
    const ABORTED_6_12: &str = "f0 00 0b 04 41 00 01 0a 80 04 01 00 00 00 00 00 00 00";

    #[test]
    fn the_registers_come_home_in_a_descriptor() {
        let answer = sense(&hex(POWER_MODE), Answering::Kernel).unwrap();
        assert_eq!((answer.key, answer.asc, answer.ascq, answer.deferred), (1, 0x00, 0x1D, false));
        let registers = answer.carried_out().unwrap();
        assert_eq!((registers.count, registers.status, registers.error), (Some(0xFF), Some(0x50), Some(0)));

        let answer = sense(&hex(SMART_PASSED), Answering::Kernel).unwrap();
        assert_eq!(answer.carried_out().unwrap().lba, Some(0xC2_4F00));
    }

    #[test]
    fn a_48_bit_answer_has_upper_halves() {
        let answer = hex("72 01 00 1d 00 00 00 0e 09 0c 01 00 12 34 aa 11 bb 22 cc 33 40 50");
        let registers = sense(&answer, Answering::Bridge).unwrap().registers.unwrap();
        assert_eq!((registers.count, registers.lba), (Some(0x1234), Some(0xCCBB_AA33_2211)));
    }

    #[test]
    fn an_aborted_command_is_read_alike_under_both_kernels() {
        for reply in [ABORTED_6_1, ABORTED_6_12] {
            let answer = sense(&hex(reply), Answering::Kernel).unwrap();
            assert_eq!(answer.meaning(), Some(Meaning::Aborted), "{reply}");
            let registers = answer.registers.unwrap();
            assert_eq!((registers.error, registers.status), (Some(0x04), Some(0x41)), "{reply}");
            assert_eq!((registers.device, registers.count), (Some(0), Some(1)), "{reply}");
            assert_eq!(answer.carried_out(), Err("expected sense 1h/00h/1Dh, found Bh/00h/00h".into()), "{reply}");
        }
        // The older layout ends before the upper bytes of the LBA; the newer one has 24 bits of it.
        assert_eq!(sense(&hex(ABORTED_6_1), Answering::Kernel).unwrap().registers.unwrap().lba, None);
        assert_eq!(sense(&hex(ABORTED_6_12), Answering::Kernel).unwrap().registers.unwrap().lba, Some(0x0104));
    }

    #[test]
    fn fixed_sense_does_not_tell_half_a_register() {
        // E0h at byte 8: a 48-bit answer whose COUNT and LBA have more than there is room for.
        let reply = hex("f0 00 01 00 50 40 07 0a e0 11 22 33 00 1d 00 00 00 00");
        let registers = sense(&reply, Answering::Bridge).unwrap().registers.unwrap();
        assert_eq!((registers.count, registers.lba), (None, None));
        assert_eq!((registers.device, registers.status), (Some(0x40), Some(0x50)));
    }

    #[test]
    fn fixed_sense_of_a_scsi_command_has_no_registers() {
        // A medium error at block 1234h: INFORMATION lies where a bridge would put registers.
        let reply = hex("f0 00 03 00 00 12 34 0a 00 00 00 00 11 00 00 00 00 00");
        let answer = sense(&reply, Answering::Scsi).unwrap();
        assert_eq!((answer.meaning(), answer.registers), (Some(Meaning::MediumError), None));
        assert_eq!(sense(&hex(ABORTED_6_1), Answering::Bridge).unwrap().registers, None);
    }

    #[test]
    fn a_reply_cut_to_18_bytes_keeps_its_count_but_is_not_believed() {
        // The kernel cuts the first reply of a USB bridge and sets the additional length to 10.
        let mut cut = hex(POWER_MODE);
        cut.truncate(18);
        cut[7] = 10;
        let answer = sense(&cut, Answering::Bridge).unwrap();
        let registers = answer.registers.unwrap();
        assert_eq!((registers.count, registers.lba, registers.status), (Some(0xFF), None, None));
        let wanted = "expected a whole reply, found one that ends before the STATUS register";
        assert_eq!(answer.carried_out(), Err(wanted.into()));
    }

    #[test]
    fn a_bridge_that_returns_zeros_is_not_believed() {
        let zeros = hex("72 01 00 1d 00 00 00 0e 09 0c 00 00 00 00 00 00 00 00 00 00 00 00");
        let answer = sense(&zeros, Answering::Bridge).unwrap();
        let wanted = "expected ready, not busy and without error, found STATUS 00h";
        assert_eq!(answer.carried_out(), Err(wanted.into()));
    }

    #[test]
    fn no_sense_is_said_and_not_made_up() {
        assert_eq!(sense(&[], Answering::Scsi), Err("expected sense data, found none".into()));
        assert_eq!(sense(&[0; 32], Answering::Scsi), Err("expected response code 70h to 73h, found 00h".into()));
        assert_eq!(sense(&[0x70, 0, 5], Answering::Scsi), Err("expected at least 8 bytes, found 3".into()));
        let short = sense(&hex("70 00 05 00 00 00 00 00 00"), Answering::Scsi);
        assert_eq!(short, Err("expected at least 13 bytes, found 8".into()));
        let other = sense(&hex("72 01 00 1d 00 00 00 04 01 02 00 00"), Answering::Bridge).unwrap();
        assert_eq!(other.carried_out(), Err("expected ATA registers, found none".into()));
    }

    fn any_answering() -> impl Strategy<Value = Answering> {
        prop_oneof![Just(Answering::Scsi), Just(Answering::Bridge), Just(Answering::Kernel)]
    }

    proptest! {
        #[test]
        fn whatever_comes_only_ready_registers_are_believed(bytes in any_bytes(64), answering in any_answering()) {
            if let Ok(answer) = sense(&bytes, answering) {
                prop_assert!(answer.key <= 0xF);
                if let Ok(registers) = answer.carried_out() {
                    prop_assert!(registers.status.is_some_and(|status| status & 0xC1 == 0x40));
                }
            }
        }

        #[test]
        fn a_bent_reply_never_gives_more_than_it_has(bytes in bent(hex(POWER_MODE)), answering in any_answering()) {
            if let Ok(Sense { registers: Some(registers), .. }) = sense(&bytes, answering) {
                prop_assert!(registers.status.is_none() || bytes.len() > 9);
                prop_assert!(registers.lba.is_none_or(|lba| lba < 1 << 48));
            }
        }
    }
}
