//! The commands of the controllers, and their bytes.
//!
//! Which controller knows which command is said beside each; which are sent, and when, is decided in `oled`.

/// What a controller can be told. Without a remark all three know it, with the same bytes (SSD1306 datasheet revision 1.1,
/// section 9; SSD1309 revision 1.0, section 9; SH1106 version 2.3, "Commands"; all from memory).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Command {
    /// Nothing.
    Nothing,
    /// Takes commands, whatever was said before. SSD1309 only.
    Unlock,
    /// Stops scrolling. Not SH1106.
    StopScrolling,
    /// The clock: how fast it runs, 0 to 15, and by how much it is divided, less one.
    Clock {
        /// The oscillator's speed.
        rate: u8,
        /// The divisor, less one.
        divisor_less_one: u8,
    },
    /// How many rows are driven.
    Rows(u8),
    /// The first row output is moved by so many.
    RowOffset(u8),
    /// The row of the memory that is on top.
    StartLine(u8),
    /// The charge pump on: where the light's voltage is made. SSD1306 only; SH1106 has another command for it.
    PumpOn,
    /// The reference for the light's current from inside. SSD1306B only, on glass without a resistor for it.
    OwnCurrentReference,
    /// Data runs through a window, row by row of pages. Not SH1106.
    FillWindows,
    /// Columns run from the last segment to the first.
    SegmentsReversed(bool),
    /// Rows run from the last output to the first.
    RowsReversed(bool),
    /// Neighbouring rows are wired to the controller's two sides in turn.
    RowsAlternate(bool),
    /// The level of a row that is not driven.
    DeselectLevel(u8),
    /// The picture is the memory's, not all pixels lit.
    FollowMemory,
    /// A 1 in the memory is light.
    NotInverse,
    /// The current through a lit pixel: light is about proportional.
    Contrast(u8),
    /// How long a pixel is emptied and filled before it is driven, in clocks, each 1 to 15.
    Precharge {
        /// Emptied.
        phase1: u8,
        /// Filled.
        phase2: u8,
    },
    /// The display is on.
    On,
    /// First and last column of the window. Not SH1106.
    Columns(u8, u8),
    /// First and last page of the window. Not SH1106.
    Pages(u8, u8),
    /// The page that takes data. On the SSD130x only while it does not fill windows.
    Page(u8),
    /// The column that takes data first. On the SSD130x only while it does not fill windows.
    Column(u8),
}

impl Command {
    /// The command as bytes, added to a message.
    pub fn append_to(self, message: &mut Vec<u8>) {
        match self {
            Command::Nothing => message.push(0xE3),
            Command::Unlock => message.extend([0xFD, 0x12]),
            Command::StopScrolling => message.push(0x2E),
            Command::Clock { rate, divisor_less_one } => {
                message.extend([0xD5, (rate & 0x0F) << 4 | (divisor_less_one & 0x0F)]);
            }
            Command::Rows(rows) => message.extend([0xA8, rows - 1]),
            Command::RowOffset(rows) => message.extend([0xD3, rows & 0x3F]),
            Command::StartLine(line) => message.push(0x40 | (line & 0x3F)),
            Command::PumpOn => message.extend([0x8D, 0x14]),
            Command::OwnCurrentReference => message.extend([0xAD, 0x30]),
            Command::FillWindows => message.extend([0x20, 0x00]),
            Command::SegmentsReversed(reversed) => message.push(0xA0 | u8::from(reversed)),
            Command::RowsReversed(reversed) => message.push(0xC0 | u8::from(reversed) << 3),
            Command::RowsAlternate(alternate) => message.extend([0xDA, 0x02 | u8::from(alternate) << 4]),
            Command::DeselectLevel(level) => message.extend([0xDB, level]),
            Command::FollowMemory => message.push(0xA4),
            Command::NotInverse => message.push(0xA6),
            Command::Contrast(current) => message.extend([0x81, current]),
            Command::Precharge { phase1, phase2 } => message.extend([0xD9, (phase2 & 0x0F) << 4 | (phase1 & 0x0F)]),
            Command::On => message.push(0xAF),
            Command::Columns(first, last) => message.extend([0x21, first, last]),
            Command::Pages(first, last) => message.extend([0x22, first, last]),
            Command::Page(page) => message.push(0xB0 | (page & 0x0F)),
            Command::Column(column) => message.extend([column & 0x0F, 0x10 | column >> 4]),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use display_interface::{DataFormat, DisplayError, WriteOnlyDataCommand};
    use ssd1306::command::{AddrMode, Command as Theirs, Page, VcomhLevel};

    struct Bytes(Vec<u8>);

    impl WriteOnlyDataCommand for Bytes {
        fn send_commands(&mut self, commands: DataFormat<'_>) -> Result<(), DisplayError> {
            let DataFormat::U8(bytes) = commands else { return Err(DisplayError::DataFormatNotImplemented) };
            self.0.extend_from_slice(bytes);
            Ok(())
        }

        fn send_data(&mut self, _: DataFormat<'_>) -> Result<(), DisplayError> {
            Err(DisplayError::DataFormatNotImplemented)
        }
    }

    fn bytes(command: Command) -> Vec<u8> {
        let mut bytes = Vec::new();
        command.append_to(&mut bytes);
        bytes
    }

    /// Against the commands of the crate `ssd1306` 0.10, which others have tried on such panels.
    #[test]
    fn each_command_that_a_common_driver_knows_has_the_same_bytes_there() {
        let pairs = [
            (Command::Nothing, Theirs::Noop),
            (Command::StopScrolling, Theirs::EnableScroll(false)),
            (Command::Clock { rate: 10, divisor_less_one: 1 }, Theirs::DisplayClockDiv(10, 1)),
            (Command::Rows(40), Theirs::Multiplex(39)),
            (Command::RowOffset(3), Theirs::DisplayOffset(3)),
            (Command::StartLine(5), Theirs::StartLine(5)),
            (Command::PumpOn, Theirs::ChargePump(true)),
            (Command::OwnCurrentReference, Theirs::InternalIref(true, true)),
            (Command::FillWindows, Theirs::AddressMode(AddrMode::Horizontal)),
            (Command::SegmentsReversed(true), Theirs::SegmentRemap(true)),
            (Command::SegmentsReversed(false), Theirs::SegmentRemap(false)),
            (Command::RowsReversed(true), Theirs::ReverseComDir(true)),
            (Command::RowsReversed(false), Theirs::ReverseComDir(false)),
            (Command::RowsAlternate(true), Theirs::ComPinConfig(true, false)),
            (Command::RowsAlternate(false), Theirs::ComPinConfig(false, false)),
            (Command::DeselectLevel(0x20), Theirs::VcomhDeselect(VcomhLevel::V077)),
            (Command::FollowMemory, Theirs::AllOn(false)),
            (Command::NotInverse, Theirs::Invert(false)),
            (Command::Contrast(0x2F), Theirs::Contrast(0x2F)),
            (Command::Precharge { phase1: 1, phase2: 15 }, Theirs::PreChargePeriod(1, 15)),
            (Command::On, Theirs::DisplayOn(true)),
            (Command::Columns(28, 99), Theirs::ColumnAddress(28, 99)),
            (Command::Pages(1, 4), Theirs::PageAddress(Page::Page1, Page::Page4)),
            (Command::Page(7), Theirs::PageStart(Page::Page7)),
            (Command::Column(0x72), Theirs::ColStart(0x72)),
        ];
        for (ours, theirs) in pairs {
            let mut sent = Bytes(Vec::new());
            theirs.send(&mut sent).expect("the crate sends bytes");
            assert_eq!(bytes(ours), sent.0, "{ours:?}");
        }
    }

    /// SSD1309 datasheet, section 9: command lock (from memory).
    #[test]
    fn the_lock_is_opened_by_fd_12() {
        assert_eq!(bytes(Command::Unlock), [0xFD, 0x12]);
    }
}
