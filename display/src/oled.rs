//! The panel: a module of controller and panel on an I2C bus.
//!
//! It turns frames into commands and data, and keeps a belief about what the panel shows. It never waits, never tries again
//! by itself, and does not darken the panel when it is dropped: the last picture is the owner's to choose.

use embedded_hal::i2c::I2c;

use crate::changes::{Window, changes, changes_by_page};
use crate::command::{Command, PanelCommand, page};
use crate::frame::{Frame, PanelSize};
use crate::module::{Addressing, Module, PanelChip};
use crate::panel::{Brightness, Panel, PanelFault, Sent};
use crate::wire::{PanelAddress, Wire};

/// A panel on a bus.
pub struct OledPanel<B: I2c> {
    wire: Wire<B>,
    module: Module,
    rotation: Rotation,
    brightness: Brightness,
    /// What the panel is believed to show, as it lies in the controller's memory; none when nothing is known. It is taken
    /// out before anything is sent and put back only after the bus said yes to all of it, so that no way out of a function
    /// can leave a false belief behind.
    shown: Option<Frame>,
}

/// How far the module is turned where it is built in, clockwise, as seen by who looks at the panel. Upright is with the pins
/// at the top, as most modules are printed. Pictures are always upright to the viewer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Rotation {
    /// Not at all.
    Upright,
    /// By a quarter: the pins are at the right.
    Quarter,
    /// By half a turn: the pins are at the bottom.
    Half,
    /// By three quarters: the pins are at the left.
    ThreeQuarters,
}

impl<B: I2c> OledPanel<B> {
    /// A panel on this bus. Nothing is sent yet: the first picture brings the set-up along.
    ///
    /// `explain` says what an error of the bus means: [`PanelFault::from_bus`] for any bus, [`PanelFault::from_io`] where
    /// the error of the Linux device can be reached.
    pub fn new(
        bus: B,
        address: PanelAddress,
        module: Module,
        rotation: Rotation,
        explain: fn(&B::Error) -> PanelFault,
    ) -> OledPanel<B> {
        OledPanel { wire: Wire::new(bus, address, explain), module, rotation, brightness: Brightness::Dim, shown: None }
    }

    /// Sends a picture as it lies in the memory: what differs from `shown`, or all of it.
    fn send(&mut self, shown: Option<&Frame>, laid: &Frame) -> Result<Sent, PanelFault> {
        let windows = match (self.module.addressing(), shown) {
            (Addressing::Windows, Some(shown)) => changes(shown, laid),
            (Addressing::Windows, None) => vec![Window::whole(self.module.size())],
            (Addressing::Pages, Some(shown)) => changes_by_page(shown, laid),
            (Addressing::Pages, None) => Window::whole(self.module.size()).pages().collect(),
        };
        let mut sent = Sent::default();
        for window in windows {
            sent += self.wire.commands(&self.address(window))?;
            sent += self.wire.data(&window.bytes_of(laid))?;
        }
        Ok(sent)
    }

    /// The commands that say where the bytes of a window go.
    fn address(&self, window: Window) -> [PanelCommand; 2] {
        let column = |column| self.module.first_column() + column;
        let commands = match self.module.addressing() {
            Addressing::Windows => [
                Command::ColumnAddress(column(window.first_column), column(window.last_column)),
                Command::PageAddress(page(window.first_page), page(window.last_page)),
            ],
            Addressing::Pages => {
                [Command::PageStart(page(window.first_page)), Command::ColStart(column(window.first_column))]
            }
        };
        commands.map(PanelCommand::from)
    }

    /// The picture as it lies in the controller's memory. A quarter turn is made here, half a turn by the controller.
    fn laid(&self, frame: &Frame) -> Result<Frame, PanelFault> {
        let (found, wanted) = (frame.panel_size(), self.size());
        if found != wanted {
            return Err(PanelFault::WrongSize { found, wanted });
        }
        Ok(match self.rotation {
            Rotation::Upright | Rotation::Half => frame.clone(),
            Rotation::Quarter | Rotation::ThreeQuarters => frame.quarter_turned(),
        })
    }

    fn set_up(&self) -> Vec<PanelCommand> {
        // A transfer cut short can leave the controller waiting for up to two more bytes of a command. It may have these.
        let mut commands: Vec<PanelCommand> = vec![Command::Noop.into(), Command::Noop.into()];
        commands.extend(self.module.set_up());
        // The usual module is wired so that its picture stands upright when both directions are reversed. Of a picture that
        // was turned by a quarter, clockwise, the top is at the right: as a module wants it that is turned the other way.
        let reversed = matches!(self.rotation, Rotation::Upright | Rotation::ThreeQuarters);
        commands.extend([Command::SegmentRemap(reversed), Command::ReverseComDir(reversed)].map(PanelCommand::from));
        commands.extend(light(self.module.controller(), self.brightness));
        commands
    }
}

impl<B: I2c> Panel for OledPanel<B> {
    fn size(&self) -> PanelSize {
        match self.rotation {
            Rotation::Upright | Rotation::Half => self.module.size(),
            Rotation::Quarter | Rotation::ThreeQuarters => self.module.size().turned(),
        }
    }

    fn show(&mut self, frame: &Frame) -> Result<Sent, PanelFault> {
        let laid = self.laid(frame)?;
        let Some(shown) = self.shown.take() else { return self.refresh(frame) };
        let sent = self.send(Some(&shown), &laid)?;
        self.shown = Some(laid);
        Ok(sent)
    }

    fn refresh(&mut self, frame: &Frame) -> Result<Sent, PanelFault> {
        let laid = self.laid(frame)?;
        self.shown = None;
        let mut sent = self.wire.commands(&self.set_up())?;
        sent += self.send(None, &laid)?;
        // On comes last: the memory holds noise after power-up.
        sent += self.wire.commands(&[Command::DisplayOn(true).into()])?;
        self.shown = Some(laid);
        Ok(sent)
    }

    fn set_brightness(&mut self, wanted: Brightness) -> Result<Sent, PanelFault> {
        let known = self.brightness == wanted;
        self.brightness = wanted;
        // A panel about which nothing is known learns its brightness with the set-up.
        if known || self.shown.is_none() {
            return Ok(Sent::default());
        }
        let shown = self.shown.take();
        let sent = self.wire.commands(&light(self.module.controller(), wanted))?;
        self.shown = shown;
        Ok(sent)
    }
}

/// Current, and the time in which a pixel is filled before it is driven: short at night, which dims common panels further
/// than the current alone can. By day, what each controller's modules are made for: long with a charge pump (SSD1306
/// application note), else what it has after a reset.
fn light(controller: PanelChip, brightness: Brightness) -> [PanelCommand; 2] {
    let current = match brightness {
        Brightness::Night => 0x01,
        Brightness::Dim => 0x2F,
        Brightness::Bright => 0x9F,
        Brightness::Full => 0xFF,
    };
    let (phase1, by_day) = match controller {
        PanelChip::Ssd1306 => (1, 15),
        PanelChip::Ssd1309 | PanelChip::Sh1106 => (2, 2),
    };
    let phase2 = if brightness == Brightness::Night { 1 } else { by_day };
    [Command::Contrast(current), Command::PreChargePeriod(phase1, phase2)].map(PanelCommand::from)
}
