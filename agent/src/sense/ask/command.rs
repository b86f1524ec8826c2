//! Every command that is ever sent to a drive, and its bytes. The set is closed by type: what is not here cannot be
//! sent. None of it reads or writes user data, and none changes a setting; the self-test is the one that makes a drive
//! work, and it begins at the owner's word only, given by hand or as a schedule. One question, for the recovery limit,
//! has to be put as a page for the drive's command log; the page's function is "return the current value" and nothing
//! else.

pub use crate::reading::SelfTestStep;

/// A command.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum DriveCommand {
    /// For an ATA drive.
    Ata(Ata),
    /// For a SCSI drive.
    Scsi(Scsi),
    /// For an NVMe controller.
    Nvme(Nvme),
}

/// Commands for ATA drives (ACS-3, clause 7).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Ata {
    /// CHECK POWER MODE, E5h: the only one that is certain not to wake a drive nor to restart its timer.
    CheckPowerMode,
    /// IDENTIFY DEVICE, ECh.
    Identify,
    /// SMART RETURN STATUS, B0h/DAh.
    SmartReturnStatus,
    /// SMART READ DATA, B0h/D0h.
    SmartReadData,
    /// SMART READ ATTRIBUTE THRESHOLDS, B0h/D1h.
    SmartReadThresholds,
    /// SMART READ LOG, B0h/D5h: one page.
    SmartReadLog {
        /// The log.
        log: u8,
    },
    /// READ LOG EXT, 2Fh: one page.
    ReadLogExt {
        /// The log.
        log: u8,
        /// The page.
        page: u16,
    },
    /// SMART WRITE LOG, B0h/D6h, of the SCT command page E0h: what is the recovery limit?
    RecoveryLimit(Recovering),
    /// SMART EXECUTE OFF-LINE IMMEDIATE, B0h/D4h.
    SelfTest(SelfTestStep),
}

/// At what a drive tries again and again.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Recovering {
    /// Reading.
    Reads,
    /// Writing.
    Writes,
}

/// Commands for SCSI drives (SPC-4, clause 6). None needs the medium.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Scsi {
    /// REQUEST SENSE, 03h: whether the drive sleeps.
    RequestSense,
    /// INQUIRY, 12h, of the Extended INQUIRY Data page: what the drive can do.
    ExtendedInquiry,
    /// LOG SENSE, 4Dh, cumulative values.
    LogSense {
        /// The page.
        page: u8,
    },
    /// SEND DIAGNOSTIC, 1Dh, with a self-test code.
    SelfTest(SelfTestStep),
}

/// Admin commands for NVMe controllers (NVMe 1.4, clause 5).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Nvme {
    /// Identify, 06h, of the controller.
    IdentifyController,
    /// Get Log Page, 02h.
    GetLog {
        /// The log.
        log: u8,
        /// Its length in bytes, a multiple of four.
        bytes: u16,
    },
    /// Device Self-test, 14h.
    SelfTest(SelfTestStep),
}

impl Ata {
    /// The ATA PASS-THROUGH(16) command block (SAT-3, clause 12.2.3).
    pub fn block(self) -> [u8; 16] {
        const NO_DATA: u8 = 3 << 1;
        const PIO_IN: u8 = 4 << 1;
        const EXTENDED: u8 = 1;
        // With this bit the registers come home in the sense data.
        const REGISTERS_WANTED: u8 = 0x20;
        // One block of 512 bytes from the drive, its number in COUNT.
        const BLOCKS_IN: u8 = 0x0E;
        // The same to the drive.
        const PIO_OUT: u8 = 5 << 1;
        const BLOCKS_OUT: u8 = 0x06;
        let mut block = [0; 16];
        block[0] = 0x85;
        let mut fill = |head: [u8; 2], features: u8, count: u8, lba: [u8; 3], command: u8| {
            block[1..3].copy_from_slice(&head);
            (block[4], block[6], block[8], block[10], block[12], block[14]) =
                (features, count, lba[0], lba[1], lba[2], command);
        };
        // SMART wants its signature in the upper LBA bytes.
        let smart = |low: u8| [low, 0x4F, 0xC2];
        match self {
            Self::CheckPowerMode => fill([NO_DATA, REGISTERS_WANTED], 0, 0, [0; 3], 0xE5),
            Self::Identify => fill([PIO_IN, BLOCKS_IN], 0, 1, [0; 3], 0xEC),
            Self::SmartReturnStatus => fill([NO_DATA, REGISTERS_WANTED], 0xDA, 0, smart(0), 0xB0),
            Self::SmartReadData => fill([PIO_IN, BLOCKS_IN], 0xD0, 1, smart(0), 0xB0),
            Self::SmartReadThresholds => fill([PIO_IN, BLOCKS_IN], 0xD1, 1, smart(0), 0xB0),
            Self::SmartReadLog { log } => fill([PIO_IN, BLOCKS_IN], 0xD5, 1, smart(log), 0xB0),
            Self::ReadLogExt { log, page } => {
                let [low, high] = page.to_le_bytes();
                fill([PIO_IN | EXTENDED, BLOCKS_IN], 0, 1, [log, low, 0], 0x2F);
                block[9] = high;
            }
            Self::RecoveryLimit(_) => {
                fill([PIO_OUT, BLOCKS_OUT | REGISTERS_WANTED], 0xD6, 1, smart(0xE0), 0xB0);
            }
            Self::SelfTest(step) => {
                let code = match step {
                    SelfTestStep::Short => 0x01,
                    SelfTestStep::Extended => 0x02,
                    SelfTestStep::Abort => 0x7F,
                };
                fill([NO_DATA, REGISTERS_WANTED], 0xD4, 0, smart(code), 0xB0);
            }
        }
        block
    }

    /// How many bytes come back.
    pub fn data_length(self) -> usize {
        match self {
            Self::CheckPowerMode | Self::SmartReturnStatus | Self::RecoveryLimit(_) | Self::SelfTest(_) => 0,
            _ => 512,
        }
    }

    /// The page that goes to the drive with the command, if one does: action code, function code and selection code
    /// (ACS-3 clause 8.3.4, from memory).
    pub fn page_out(self) -> Option<[u8; 512]> {
        const ERROR_RECOVERY_CONTROL: u8 = 3;
        const RETURN_CURRENT_VALUE: u8 = 2;
        let Self::RecoveryLimit(at) = self else { return None };
        let mut page = [0; 512];
        page[0] = ERROR_RECOVERY_CONTROL;
        page[2] = RETURN_CURRENT_VALUE;
        page[4] = match at {
            Recovering::Reads => 1,
            Recovering::Writes => 2,
        };
        Some(page)
    }
}

impl Scsi {
    /// The longest reply that is asked for; log pages of drives are shorter.
    const LONGEST: u16 = 4096;
    /// The whole of that page (SPC-4 clause 7.8.7, from memory).
    const EXTENDED_INQUIRY: u8 = 64;

    /// The command block.
    pub fn block(self) -> Vec<u8> {
        match self {
            Self::RequestSense => vec![0x03, 0, 0, 0, 252, 0],
            Self::ExtendedInquiry => vec![0x12, 1, 0x86, 0, Self::EXTENDED_INQUIRY, 0],
            Self::LogSense { page } => {
                let [high, low] = Self::LONGEST.to_be_bytes();
                vec![0x4D, 0, 0x40 | page, 0, 0, 0, 0, high, low, 0]
            }
            Self::SelfTest(step) => {
                let code = match step {
                    SelfTestStep::Short => 0b001,
                    SelfTestStep::Extended => 0b010,
                    SelfTestStep::Abort => 0b100,
                };
                vec![0x1D, code << 5, 0, 0, 0, 0]
            }
        }
    }

    /// How many bytes may come back.
    pub fn data_length(self) -> usize {
        match self {
            Self::RequestSense => 252,
            Self::ExtendedInquiry => Self::EXTENDED_INQUIRY.into(),
            Self::LogSense { .. } => Self::LONGEST.into(),
            Self::SelfTest(_) => 0,
        }
    }
}

impl Nvme {
    /// Opcode, name space, and command dwords 10 and 11.
    pub fn words(self) -> (u8, u32, u32, u32) {
        const ALL_NAME_SPACES: u32 = u32::MAX;
        // The kernel may still want to see the event that this log would clear.
        const RETAIN_EVENT: u32 = 1 << 15;
        match self {
            Self::IdentifyController => (0x06, 0, 1, 0),
            Self::GetLog { log, bytes } => {
                let dwords = u32::from(bytes / 4).saturating_sub(1);
                (0x02, ALL_NAME_SPACES, u32::from(log) | RETAIN_EVENT | dwords << 16, 0)
            }
            Self::SelfTest(step) => {
                let code = match step {
                    SelfTestStep::Short => 0x1,
                    SelfTestStep::Extended => 0x2,
                    SelfTestStep::Abort => 0xF,
                };
                (0x14, ALL_NAME_SPACES, code, 0)
            }
        }
    }

    /// How many bytes come back.
    pub fn data_length(self) -> usize {
        match self {
            Self::IdentifyController => 4096,
            Self::GetLog { bytes, .. } => bytes.into(),
            Self::SelfTest(_) => 0,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sense::parse::testing::hex;

    #[test]
    fn ata_commands_are_the_bytes_that_drives_know() {
        // IDENTIFY, E5h, DAh, D0h and D1h in these forms were answered by QEMU's drives under Linux 6.1 and 6.12; the
        // others follow SAT-3 12.2.3 and ACS-3 7.25 (from memory).
        let cases = [
            (Ata::Identify, "85 08 0e 00 00 00 01 00 00 00 00 00 00 00 ec 00"),
            (Ata::CheckPowerMode, "85 06 20 00 00 00 00 00 00 00 00 00 00 00 e5 00"),
            (Ata::SmartReturnStatus, "85 06 20 00 da 00 00 00 00 00 4f 00 c2 00 b0 00"),
            (Ata::SmartReadData, "85 08 0e 00 d0 00 01 00 00 00 4f 00 c2 00 b0 00"),
            (Ata::SmartReadThresholds, "85 08 0e 00 d1 00 01 00 00 00 4f 00 c2 00 b0 00"),
            (Ata::SmartReadLog { log: 0xE0 }, "85 08 0e 00 d5 00 01 00 e0 00 4f 00 c2 00 b0 00"),
            (Ata::ReadLogExt { log: 0x04, page: 0x0105 }, "85 09 0e 00 00 00 01 00 04 01 05 00 00 00 2f 00"),
            (Ata::RecoveryLimit(Recovering::Reads), "85 0a 26 00 d6 00 01 00 e0 00 4f 00 c2 00 b0 00"),
            (Ata::SelfTest(SelfTestStep::Short), "85 06 20 00 d4 00 00 00 01 00 4f 00 c2 00 b0 00"),
            (Ata::SelfTest(SelfTestStep::Extended), "85 06 20 00 d4 00 00 00 02 00 4f 00 c2 00 b0 00"),
            (Ata::SelfTest(SelfTestStep::Abort), "85 06 20 00 d4 00 00 00 7f 00 4f 00 c2 00 b0 00"),
        ];
        for (command, bytes) in cases {
            assert_eq!(command.block().to_vec(), hex(bytes), "{command:?}");
        }
    }

    #[test]
    fn scsi_and_nvme_commands_are_the_standards() {
        assert_eq!(Scsi::LogSense { page: 0x0D }.block(), hex("4d 00 4d 00 00 00 00 10 00 00"));
        assert_eq!(Scsi::RequestSense.block(), hex("03 00 00 00 fc 00"));
        assert_eq!(Scsi::ExtendedInquiry.block(), hex("12 01 86 00 40 00"));
        // Self-test codes 001b, 010b and 100b (SPC-4 clause 6.42, from memory).
        let steps = [SelfTestStep::Short, SelfTestStep::Extended, SelfTestStep::Abort];
        let blocks = steps.map(|step| Scsi::SelfTest(step).block());
        assert_eq!(blocks, ["1d 20 00 00 00 00", "1d 40 00 00 00 00", "1d 80 00 00 00 00"].map(hex));
        // Self-test codes 1h, 2h and Fh, for all name spaces (NVMe 1.4 clause 5.8, from memory).
        let words = steps.map(|step| Nvme::SelfTest(step).words());
        assert_eq!(words, [1, 2, 0xF].map(|code| (0x14, u32::MAX, code, 0)));
        let health = Nvme::GetLog { log: 0x02, bytes: 512 };
        assert_eq!(health.words(), (0x02, u32::MAX, 0x007F_8002, 0), "as nvme_get_log(2) builds it");
        assert_eq!(Nvme::IdentifyController.words(), (0x06, 0, 1, 0));
    }

    /// Function 1 would set a new limit (ACS-3 table of SCT Error Recovery Control, from memory).
    #[test]
    fn the_only_page_that_goes_to_a_drive_asks_and_sets_nothing() {
        for (at, selection) in [(Recovering::Reads, 1), (Recovering::Writes, 2)] {
            let page = Ata::RecoveryLimit(at).page_out().expect("a question with a page");
            assert_eq!(page[..6], [3, 0, 2, 0, selection, 0], "{at:?}");
            assert!(page[6..].iter().all(|byte| *byte == 0), "no new value goes with it");
        }
        assert_eq!(Ata::SmartReadLog { log: 0xE0 }.page_out(), None);
    }

    /// Opcodes that read or write the medium (ACS-3 and SBC-3, from memory).
    #[test]
    fn no_command_touches_user_data() {
        const ATA_DATA: [u8; 14] = [0x20, 0x24, 0x25, 0x29, 0x30, 0x34, 0x35, 0x39, 0x40, 0x42, 0x60, 0x61, 0xC8, 0xCA];
        const SCSI_DATA: [u8; 10] = [0x08, 0x0A, 0x28, 0x2A, 0x2F, 0x35, 0x88, 0x8A, 0x8F, 0x1B];
        let ata = [
            Ata::CheckPowerMode,
            Ata::Identify,
            Ata::SmartReturnStatus,
            Ata::SmartReadData,
            Ata::SmartReadThresholds,
            Ata::SmartReadLog { log: 6 },
            Ata::ReadLogExt { log: 4, page: 1 },
            Ata::RecoveryLimit(Recovering::Reads),
            Ata::SelfTest(SelfTestStep::Extended),
        ];
        assert!(ata.iter().all(|command| !ATA_DATA.contains(&command.block()[14])));
        let scsi = [Scsi::RequestSense, Scsi::LogSense { page: 0 }, Scsi::SelfTest(SelfTestStep::Short)];
        assert!(scsi.iter().all(|command| !SCSI_DATA.contains(&command.block()[0])));
    }
}
