//! The commands of the controllers: those of the crate `ssd1306`, and the few that it does not know.
//!
//! Which controller is sent which of them is decided in `module` and `oled`.

use display_interface::{DataFormat, DisplayError, WriteOnlyDataCommand};
pub(crate) use ssd1306::command::{AddrMode, Command, Page};

use crate::panel::PanelFault;

/// What a controller can be told.
#[derive(Debug, Clone, Copy)]
pub(crate) enum PanelCommand {
    /// What the SSD1306 knows. The SSD1309 knows it with the same bytes, but for charge pump and current reference; the
    /// SH1106 as well, but also for windows and scrolling (datasheets, section 9 and "Commands"; from memory).
    Common(Command),
    /// Takes commands, whatever was said before. SSD1309 only (datasheet revision 1.0, section 9; from memory).
    Unlock,
    /// The level of a row that is not driven: each controller has numbers of its own for it.
    DeselectLevel(u8),
}

impl From<Command> for PanelCommand {
    fn from(command: Command) -> Self {
        Self::Common(command)
    }
}

impl PanelCommand {
    /// The command as bytes, added to a message.
    pub(crate) fn append_to(self, message: &mut Vec<u8>) -> Result<(), PanelFault> {
        match self {
            Self::Common(command) => {
                let fault = |error| PanelFault::Other(format!("{command:?} as bytes: {error:?}"));
                command.send(&mut Bytes(message)).map_err(fault)?;
            }
            Self::Unlock => message.extend([0xFD, 0x12]),
            Self::DeselectLevel(level) => message.extend([0xDB, level]),
        }
        Ok(())
    }
}

/// A page of the controller's memory, by its number.
pub(crate) fn page(number: u8) -> Page {
    const ROWS: u8 = 8;
    // The crate counts rows.
    Page::from(number * ROWS)
}

/// Collects the bytes of commands, so that many travel in one message.
struct Bytes<'a>(&'a mut Vec<u8>);

impl WriteOnlyDataCommand for Bytes<'_> {
    fn send_commands(&mut self, commands: DataFormat<'_>) -> Result<(), DisplayError> {
        let DataFormat::U8(bytes) = commands else { return Err(DisplayError::DataFormatNotImplemented) };
        self.0.extend_from_slice(bytes);
        Ok(())
    }

    fn send_data(&mut self, _: DataFormat<'_>) -> Result<(), DisplayError> {
        Err(DisplayError::DataFormatNotImplemented)
    }
}
