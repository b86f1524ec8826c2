//! The panel: an SSD1306 with 128 by 64 pixels on an I2C bus.
//!
//! It turns frames into commands and data, and keeps a belief about what the glass shows. It never waits, never tries again
//! by itself, and does not darken the glass when it is dropped: the last picture is the owner's to choose.

use embedded_hal::i2c::I2c;
use ssd1306::command::{AddrMode, Command, VcomhLevel};

use crate::changes::{Window, changes};
use crate::frame::{Frame, GlassSize};
use crate::glass::{Brightness, Glass, GlassFault, Sent};
use crate::wire::{PanelAddress, Wire};

/// An SSD1306 panel of 128 by 64 pixels.
pub struct OledPanel<B: I2c> {
    wire: Wire<B>,
    mounting: Mounting,
    brightness: Brightness,
    /// What the glass is believed to show; none when nothing is known. It is taken out before anything is sent and put back
    /// only after the bus said yes to all of it, so that no way out of a function can leave a false belief behind.
    shown: Option<Frame>,
}

/// Which way up the panel is built in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mounting {
    /// Pins at the top, as most modules are printed.
    Upright,
    /// Turned by half a turn.
    UpsideDown,
}

impl<B: I2c> OledPanel<B> {
    /// A panel on this bus. Nothing is sent yet: the first picture brings the set-up along.
    ///
    /// `explain` says what an error of the bus means: [`GlassFault::from_bus`] for any bus, [`GlassFault::from_io`] where
    /// the error of the Linux device can be reached.
    pub fn new(
        bus: B,
        address: PanelAddress,
        mounting: Mounting,
        explain: fn(&B::Error) -> GlassFault,
    ) -> OledPanel<B> {
        OledPanel { wire: Wire::new(bus, address, explain), mounting, brightness: Brightness::Dim, shown: None }
    }

    /// Asks whether a panel answers, by one command that does nothing (E3h).
    pub fn knock(&mut self) -> Result<Sent, GlassFault> {
        self.believing_the_same(|wire| wire.commands(&[Command::Noop]))
    }

    /// Sends what does not change the picture: the belief about the glass outlives it if the bus says yes.
    fn believing_the_same(
        &mut self,
        send: impl FnOnce(&mut Wire<B>) -> Result<Sent, GlassFault>,
    ) -> Result<Sent, GlassFault> {
        let shown = self.shown.take();
        let sent = send(&mut self.wire)?;
        self.shown = shown;
        Ok(sent)
    }

    /// Everything the controller must know, as in the flow chart of its application note, but without the switch to off that
    /// begins the chart: what is lit stays lit, what is dark stays dark until the picture is there.
    fn set_up(&self) -> Vec<Command> {
        let turned = self.mounting == Mounting::Upright;
        let mut commands = vec![
            // A transfer cut short can leave the controller waiting for up to two more bytes of a command. It may have these.
            Command::Noop,
            Command::Noop,
            Command::EnableScroll(false),
            Command::DisplayClockDiv(8, 0),
            Command::Multiplex(63),
            Command::DisplayOffset(0),
            Command::StartLine(0),
            Command::ChargePump(true),
            Command::AddressMode(AddrMode::Horizontal),
            // The usual module is wired so that its picture stands upright when both directions are reversed.
            Command::SegmentRemap(turned),
            Command::ReverseComDir(turned),
            Command::ComPinConfig(true, false),
            Command::VcomhDeselect(VcomhLevel::V077),
            Command::AllOn(false),
            Command::Invert(false),
        ];
        commands.extend(brightness(self.brightness));
        commands
    }
}

impl<B: I2c> Glass for OledPanel<B> {
    fn size(&self) -> GlassSize {
        GlassSize::W128H64
    }

    fn show(&mut self, frame: &Frame) -> Result<Sent, GlassFault> {
        let Some(shown) = self.shown.take() else { return self.refresh(frame) };
        let mut sent = Sent::default();
        for window in changes(&shown, frame) {
            sent += self.wire.commands(&window_commands(window))?;
            sent += self.wire.data(&window.bytes_of(frame))?;
        }
        self.shown = Some(frame.clone());
        Ok(sent)
    }

    fn refresh(&mut self, frame: &Frame) -> Result<Sent, GlassFault> {
        self.shown = None;
        let whole = Window::whole(self.size());
        let mut commands = self.set_up();
        commands.extend(window_commands(whole));
        let mut sent = self.wire.commands(&commands)?;
        sent += self.wire.data(&whole.bytes_of(frame))?;
        // On comes last: the memory holds noise after power-up.
        sent += self.wire.commands(&[Command::DisplayOn(true)])?;
        self.shown = Some(frame.clone());
        Ok(sent)
    }

    fn set_brightness(&mut self, wanted: Brightness) -> Result<Sent, GlassFault> {
        let known = self.brightness == wanted;
        self.brightness = wanted;
        // A panel about which nothing is known learns its brightness with the set-up.
        if known || self.shown.is_none() {
            return Ok(Sent::default());
        }
        self.believing_the_same(|wire| wire.commands(&brightness(wanted)))
    }
}

/// The commands that open a window of the controller's memory (21h and 22h).
fn window_commands(window: Window) -> [Command; 2] {
    // The driver's page type is made from a row of pixels.
    let page = |page: u8| (page * 8).into();
    [
        Command::ColumnAddress(window.first_column, window.last_column),
        Command::PageAddress(page(window.first_page), page(window.last_page)),
    ]
}

/// Current (81h, light is about proportional) and the length of the second pre-charge phase (D9h, in clocks), which dims
/// common glass further than the current alone can.
fn brightness(brightness: Brightness) -> [Command; 2] {
    let (contrast, phase2) = match brightness {
        Brightness::Night => (0x01, 1),
        Brightness::Dim => (0x2F, 15),
        Brightness::Bright => (0x9F, 15),
        Brightness::Full => (0xFF, 15),
    };
    [Command::Contrast(contrast), Command::PreChargePeriod(1, phase2)]
}
