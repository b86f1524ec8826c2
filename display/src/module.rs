//! The modules that are sold: which controller with which panel, and how the two are wired.

use crate::command::{AddrMode, Command, PanelCommand};
use crate::frame::PanelSize;

/// The chip behind the panel. None of the three can be told from the others over the bus: the owner says which it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum PanelChip {
    /// The usual one, up to one inch. Makes the light's voltage itself.
    Ssd1306,
    /// On 1.5 and 2.4 inch modules, which bring the light's voltage along.
    Ssd1309,
    /// On 1.3 inch modules; often sold under the name of the first. Its memory is four columns wider than the panel.
    Sh1106,
}

/// A controller with its panel.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Module {
    controller: PanelChip,
    size: PanelSize,
}

/// How data finds its place in a controller's memory.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Addressing {
    /// Through a window of columns and pages.
    Windows,
    /// From a column on, within one page.
    Pages,
}

impl Module {
    /// Every module that is known, each as it lies.
    pub const ALL: [Module; 6] = [
        Module { controller: PanelChip::Ssd1306, size: PanelSize::W128H64 },
        Module { controller: PanelChip::Ssd1306, size: PanelSize::W128H32 },
        Module { controller: PanelChip::Ssd1306, size: PanelSize::W72H40 },
        Module { controller: PanelChip::Ssd1306, size: PanelSize::W64H48 },
        Module { controller: PanelChip::Ssd1309, size: PanelSize::W128H64 },
        Module { controller: PanelChip::Sh1106, size: PanelSize::W128H64 },
    ];

    /// The module with this controller and this panel as it lies; `None` when there is none such.
    pub fn new(controller: PanelChip, size: PanelSize) -> Option<Module> {
        Module::ALL.into_iter().find(|module| module.controller == controller && module.size == size)
    }

    /// The chip behind the panel.
    pub const fn controller(self) -> PanelChip {
        self.controller
    }

    /// The panel as it lies.
    pub const fn size(self) -> PanelSize {
        self.size
    }

    pub(crate) const fn addressing(self) -> Addressing {
        match self.controller {
            PanelChip::Ssd1306 | PanelChip::Ssd1309 => Addressing::Windows,
            PanelChip::Sh1106 => Addressing::Pages,
        }
    }

    /// The column of the memory that is at the panel's edge. A panel that is narrower than the memory is wired to the middle
    /// of it, so that this holds from either side.
    pub(crate) const fn first_column(self) -> u8 {
        let columns: u32 = match self.controller {
            PanelChip::Ssd1306 | PanelChip::Ssd1309 => 128,
            PanelChip::Sh1106 => 132,
        };
        ((columns - self.size.width()) / 2) as u8
    }

    /// Everything the controller must know once, brightness and direction apart, as in the flow chart of the SSD1306's
    /// application note, but without the switch to off that begins the chart: what is lit stays lit, what is dark stays
    /// dark until the picture is there.
    pub(crate) fn set_up(self) -> Vec<PanelCommand> {
        let alternate = self.size != PanelSize::W128H32;
        let mut commands = match self.controller {
            PanelChip::Ssd1306 => vec![Command::EnableScroll(false).into(), Command::DisplayClockDiv(8, 0).into()],
            PanelChip::Ssd1309 => {
                vec![PanelCommand::Unlock, Command::EnableScroll(false).into(), Command::DisplayClockDiv(10, 1).into()]
            }
            PanelChip::Sh1106 => vec![Command::DisplayClockDiv(5, 0).into()],
        };
        let rows = Command::Multiplex(self.size.height() as u8 - 1);
        commands.extend([rows, Command::DisplayOffset(0), Command::StartLine(0)].map(PanelCommand::from));
        // The pump of the SH1106 is on after a reset, and its command is not allowed while the display is on.
        if self.controller == PanelChip::Ssd1306 {
            commands.push(Command::ChargePump(true).into());
        }
        if self.size == PanelSize::W72H40 {
            commands.push(Command::InternalIref(true, true).into());
        }
        if self.addressing() == Addressing::Windows {
            commands.push(Command::AddressMode(AddrMode::Horizontal).into());
        }
        commands.push(Command::ComPinConfig(alternate, false).into());
        // 0.77 of the light's voltage, the middle one, and for the SH1106 what it has after a reset. Clocks and levels are
        // also those of the kernel's driver (drivers/gpu/drm/solomon/ssd130x.c), but for the SH1106's level.
        commands.push(PanelCommand::DeselectLevel(match self.controller {
            PanelChip::Ssd1306 => 0x20,
            PanelChip::Ssd1309 => 0x34,
            PanelChip::Sh1106 => 0x35,
        }));
        commands.extend([Command::AllOn(false), Command::Invert(false)].map(PanelCommand::from));
        commands
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn modules_that_nobody_makes_are_not_there() {
        assert_eq!(Module::new(PanelChip::Sh1106, PanelSize::W128H32), None);
        assert_eq!(Module::new(PanelChip::Ssd1309, PanelSize::W72H40), None);
        assert_eq!(Module::new(PanelChip::Ssd1306, PanelSize::W64H128), None, "no module lies on its side");
        for module in Module::ALL {
            assert_eq!(Module::new(module.controller(), module.size()), Some(module));
        }
    }

    /// Against the offsets of the crate `ssd1306` 0.10 (`size.rs`) and, for the SH1106, of luma.oled 3.16.
    #[test]
    fn narrow_panel_sits_in_the_middle_of_the_memory() {
        let columns = Module::ALL.map(Module::first_column);
        assert_eq!(columns, [0, 0, 28, 32, 0, 2]);
        use ssd1306::size::{DisplaySize, DisplaySize64x48, DisplaySize72x40, DisplaySize128x32, DisplaySize128x64};
        assert_eq!(
            columns[..4],
            [
                DisplaySize128x64::OFFSETX,
                DisplaySize128x32::OFFSETX,
                DisplaySize72x40::OFFSETX,
                DisplaySize64x48::OFFSETX
            ]
        );
    }
}
