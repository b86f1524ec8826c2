//! Messages to the controller: commands and data, each as one message on an I2C bus, with their cost counted.
//!
//! What to send is not decided here.

use embedded_hal::i2c::I2c;

use crate::command::PanelCommand;
use crate::panel::{PanelFault, Sent};

/// The control byte before commands, and the one before data: "all that follows is of this kind" (SSD1306 datasheet,
/// section 8.1.5.2).
const COMMANDS_FOLLOW: u8 = 0x00;
const DATA_FOLLOW: u8 = 0x40;

/// The two addresses a panel can have, chosen by a bridge of solder on its back. Nothing else on the bus is ever written to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PanelAddress {
    /// 0x3C, printed as 0x78 on many modules.
    X3C,
    /// 0x3D, printed as 0x7A on many modules.
    X3D,
}

impl PanelAddress {
    /// The seven-bit address.
    pub const fn number(self) -> u8 {
        match self {
            PanelAddress::X3C => 0x3C,
            PanelAddress::X3D => 0x3D,
        }
    }
}

/// A bus with one panel on it.
pub(crate) struct Wire<B: I2c> {
    bus: B,
    address: PanelAddress,
    explain: fn(&B::Error) -> PanelFault,
}

impl<B: I2c> Wire<B> {
    pub(crate) fn new(bus: B, address: PanelAddress, explain: fn(&B::Error) -> PanelFault) -> Wire<B> {
        Wire { bus, address, explain }
    }

    /// Sends the commands, all in one message.
    pub(crate) fn commands(&mut self, commands: &[PanelCommand]) -> Result<Sent, PanelFault> {
        let mut message = vec![COMMANDS_FOLLOW];
        commands.iter().try_for_each(|command| command.append_to(&mut message))?;
        self.send(&message)
    }

    /// Sends bytes for the controller's memory, all in one message: a frame of 1,024 bytes is one message of 1,025.
    pub(crate) fn data(&mut self, data: &[u8]) -> Result<Sent, PanelFault> {
        // Control byte and data are joined here rather than sent as two writes of one transaction: Linux would put a
        // repeated start between those, and the controller would take the first byte of data for a control byte.
        self.send(&[&[DATA_FOLLOW], data].concat())
    }

    fn send(&mut self, message: &[u8]) -> Result<Sent, PanelFault> {
        self.bus.write(self.address.number(), message).map_err(|error| (self.explain)(&error))?;
        Ok(Sent { messages: 1, bytes: 1 + message.len() })
    }
}
