//! A pretend panel: what a module of controller and panel does with the bytes that are written to it.
//!
//! It follows the controllers' datasheets (`pretend_panel/chip.rs`) and the way modules are wired
//! (`pretend_panel/wiring.rs`), not our driver, and refuses what the datasheets do not know. Buses and their faults are not
//! its job.

mod chip;
mod wiring;

#[cfg(test)]
mod tests;

use chip::Registers;
use std::fmt;
use traylight_display::{Module, PanelChip};
use wiring::Wiring;

/// Rows of the memory in pages of eight: the same for all three controllers.
const PAGES: usize = 8;
const HEIGHT: usize = PAGES * 8;

/// A module as sold: the controller, its panel, and what lights it.
pub struct PretendPanel {
    wiring: Wiring,
    memory: Vec<u8>,
    registers: Registers,
    /// The bytes of a command whose arguments have not all come. They may come with a later message.
    waiting: Vec<u8>,
    power_cycles: u64,
}

/// What somebody sees who looks at the panel, with the pins at its top.
#[derive(Clone, PartialEq, Eq)]
pub struct Picture {
    width: usize,
    lit: Vec<bool>,
}

impl PretendPanel {
    /// The usual module, just given power: its memory is noise, its panel is dark.
    #[allow(clippy::new_without_default, reason = "there is nothing default about noise")]
    pub fn new() -> PretendPanel {
        PretendPanel::of(Module::ALL[0])
    }

    /// This module, just given power.
    pub fn of(module: Module) -> PretendPanel {
        let registers = Registers::after_reset(module.controller());
        let memory = vec![0; registers.width() * PAGES];
        let wiring = Wiring::of(module);
        let mut panel = PretendPanel { wiring, memory, registers, waiting: Vec::new(), power_cycles: 0 };
        panel.power_cycle();
        panel
    }

    /// Takes power away and gives it back: registers as after a reset, memory full of noise, another noise each time.
    pub fn power_cycle(&mut self) {
        self.power_cycles += 1;
        self.registers = Registers::after_reset(self.controller());
        self.waiting.clear();
        let mut noise = self.power_cycles;
        for byte in &mut self.memory {
            noise = noise.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            *byte = (noise >> 56) as u8;
        }
    }

    /// Takes one message: all bytes after the address (SSD1306, section 8.1.5.2; the same for all three). A command that the
    /// datasheet does not know, or not with this argument, is passed over; the first such command is the error.
    ///
    /// # Errors
    /// What the datasheet does not know.
    pub fn write(&mut self, message: &[u8]) -> Result<(), String> {
        let mut outcome = Ok(());
        let mut rest = message;
        while let [control, after @ ..] = rest {
            if control & 0x3F != 0 {
                return Err(format!("control byte {control:#04X}, wanted one whose lower six bits are 0"));
            }
            let only_one_byte_follows = control & 0x80 != 0;
            let taken = if only_one_byte_follows { after.len().min(1) } else { after.len() };
            let (payload, next) = after.split_at(taken);
            for byte in payload {
                if control & 0x40 != 0 {
                    outcome = outcome.and(self.store(*byte));
                } else {
                    outcome = outcome.and(self.take_command_byte(*byte));
                }
            }
            rest = next;
        }
        outcome
    }

    /// What is seen: dark unless the display is on and lit.
    pub fn picture(&self) -> Picture {
        let Wiring { width, height, .. } = self.wiring;
        let registers = &self.registers;
        let shining = registers.shines(&self.wiring);
        let mut lit = Vec::with_capacity(width * height);
        for y in 0..height {
            let output = (0..HEIGHT).find(|output| registers.pad_of(*output) == self.wiring.pad_at(y));
            let driven = output.filter(|output| shining && registers.drives(*output));
            lit.extend((0..width).map(|x| {
                driven.is_some_and(|output| {
                    let line = registers.line_on(output);
                    let stored = self.memory[line / 8 * registers.width() + self.wiring.segment_at(x)];
                    registers.light_of(stored >> (line % 8) & 1 == 1)
                })
            }));
        }
        Picture { width, lit }
    }

    /// The contrast register: the current through a lit pixel.
    pub fn contrast(&self) -> u8 {
        self.registers.contrast()
    }

    fn controller(&self) -> PanelChip {
        self.registers.controller()
    }

    fn store(&mut self, byte: u8) -> Result<(), String> {
        let place = self.registers.next_place()?;
        self.memory[place] = byte;
        Ok(())
    }

    fn take_command_byte(&mut self, byte: u8) -> Result<(), String> {
        self.waiting.push(byte);
        let arguments = chip::arguments_of(self.controller(), self.waiting[0]).inspect_err(|_| self.waiting.clear())?;
        if self.waiting.len() <= arguments {
            return Ok(());
        }
        let command = std::mem::take(&mut self.waiting);
        self.registers.obey(&command)
    }
}

impl Picture {
    /// Columns and rows.
    pub fn size(&self) -> (usize, usize) {
        (self.width, self.lit.len() / self.width)
    }

    /// Whether the pixel is lit, counted from the top left. Nothing is lit outside the panel.
    pub fn is_lit(&self, x: usize, y: usize) -> bool {
        x < self.width && self.lit.get(y * self.width + x) == Some(&true)
    }

    /// Whether nothing is lit at all.
    pub fn is_dark(&self) -> bool {
        !self.lit.contains(&true)
    }

    /// The picture as text, two rows of pixels a line, without the blanks at the ends of lines.
    pub fn to_text(&self) -> String {
        let (width, height) = self.size();
        let half_blocks = |y: usize| -> String {
            (0..width)
                .map(|x| match (self.is_lit(x, y), self.is_lit(x, y + 1)) {
                    (false, false) => ' ',
                    (true, false) => '▀',
                    (false, true) => '▄',
                    (true, true) => '█',
                })
                .collect()
        };
        (0..height).step_by(2).map(|y| format!("{}\n", half_blocks(y).trim_end())).collect()
    }
}

impl fmt::Debug for Picture {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.to_text())
    }
}
