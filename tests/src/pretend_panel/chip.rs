//! The three controllers by their datasheets: registers, and what commands do to them (SSD1306 revision 1.1, and of the
//! SSD1306B its AD command; SSD1309 revision 1.0; SH1106 version 2.3; from memory unless a section is named).

use super::wiring::Wiring;
use super::{HEIGHT, PAGES};
use traylight_display::PanelChip::{self, Sh1106, Ssd1306, Ssd1309};

/// A controller's registers.
pub(super) struct Registers {
    chip: PanelChip,
    locked: bool,
    addressing: Addressing,
    columns: Span,
    pages: Span,
    start_line: usize,
    segments_reversed: bool,
    rows_reversed: bool,
    multiplex: usize,
    offset: usize,
    row_pins: u8,
    contrast: u8,
    pump: bool,
    pump_at_on: bool,
    own_reference: bool,
    on: bool,
    all_lit: bool,
    inverse: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Addressing {
    Horizontal,
    Vertical,
    Page,
}

/// A pointer that runs from first to last and begins again.
#[derive(Clone, Copy)]
struct Span {
    first: usize,
    last: usize,
    now: usize,
}

/// Columns of a controller's memory.
fn width_of(chip: PanelChip) -> usize {
    if chip == Sh1106 { 132 } else { 128 }
}

/// How many bytes follow the first byte of a command (SSD1306 and SSD1309, section 9, table 9-1, and 8Dh of the first from
/// its application note; SH1106, "Commands").
pub(super) fn arguments_of(chip: PanelChip, command: u8) -> Result<usize, String> {
    let number = match command {
        0x00..=0x1F | 0x40..=0x7F | 0xA0 | 0xA1 | 0xA4..=0xA7 | 0xAE | 0xAF | 0xB0..=0xB7 | 0xC0 | 0xC8 | 0xE3 => 0,
        0x81 | 0xA8 | 0xD3 | 0xD5 | 0xD9 | 0xDA | 0xDB => 1,
        0x2E if chip != Sh1106 => 0,
        0x20 if chip != Sh1106 => 1,
        0x21 | 0x22 if chip != Sh1106 => 2,
        0x8D if chip == Ssd1306 => 1,
        0xAD if chip != Ssd1309 => 1,
        0xFD if chip == Ssd1309 => 1,
        0x30..=0x33 if chip == Sh1106 => 0,
        _ => return Err(format!("command {command:#04X}, which the datasheet does not know")),
    };
    Ok(number)
}

impl Registers {
    pub(super) fn after_reset(chip: PanelChip) -> Registers {
        Registers {
            chip,
            locked: false,
            addressing: Addressing::Page,
            columns: Span::over(0, width_of(chip) - 1),
            pages: Span::over(0, PAGES - 1),
            start_line: 0,
            segments_reversed: false,
            rows_reversed: false,
            multiplex: 63,
            offset: 0,
            row_pins: 0x12,
            contrast: if chip == Sh1106 { 0x80 } else { 0x7F },
            pump: chip == Sh1106,
            pump_at_on: false,
            own_reference: false,
            on: false,
            all_lit: false,
            inverse: false,
        }
    }

    pub(super) fn controller(&self) -> PanelChip {
        self.chip
    }

    pub(super) fn width(&self) -> usize {
        width_of(self.chip)
    }

    pub(super) fn contrast(&self) -> u8 {
        self.contrast
    }

    /// Whether there is light: the display is on, and its voltage and current are there.
    pub(super) fn shines(&self, wiring: &Wiring) -> bool {
        let voltage = wiring.voltage_from_outside || (self.pump && self.pump_at_on);
        self.on && voltage && (self.own_reference || !wiring.no_current_resistor)
    }

    /// Whether a row output is driven at all.
    pub(super) fn drives(&self, output: usize) -> bool {
        output <= self.multiplex
    }

    /// The pad that a row output is led to (DAh; SSD1306, section 10.1.18).
    pub(super) fn pad_of(&self, output: usize) -> usize {
        match self.row_pins {
            0x02 => output,
            0x12 => output / 2 + output % 2 * 32,
            0x22 => (output + 32) % HEIGHT,
            _ => output / 2 + (1 - output % 2) * 32,
        }
    }

    /// Which line of the memory a row output shows (C0h or C8h, then D3h, then 40h).
    pub(super) fn line_on(&self, output: usize) -> usize {
        let row = if self.rows_reversed { self.multiplex - output } else { output };
        (row + self.offset + self.start_line) % HEIGHT
    }

    /// What is seen of a pixel in the memory (A4h to A7h).
    pub(super) fn light_of(&self, stored: bool) -> bool {
        (stored || self.all_lit) != self.inverse
    }

    /// Where the next byte of data goes; then moves on (SSD1306, sections 10.1.1 to 10.1.5). Reversed segments take effect
    /// here: what is already in the memory stays where it is (section 10.1.8). What the SH1106 does behind its last column
    /// is not for sure.
    pub(super) fn next_place(&mut self) -> Result<usize, String> {
        let width = self.width();
        let column = self.columns.now;
        if column >= width {
            return Err(format!("data for column {column} of {width}"));
        }
        let segment = if self.segments_reversed { width - 1 - column } else { column };
        let place = self.pages.now * width + segment;
        match self.addressing {
            Addressing::Page if self.chip == Sh1106 => self.columns.now += 1,
            Addressing::Horizontal if self.columns.advance(width) => _ = self.pages.advance(PAGES),
            Addressing::Vertical if self.pages.advance(PAGES) => _ = self.columns.advance(width),
            Addressing::Page => _ = self.columns.advance(width),
            Addressing::Horizontal | Addressing::Vertical => {}
        }
        Ok(place)
    }

    /// Does what a whole command says.
    pub(super) fn obey(&mut self, command: &[u8]) -> Result<(), String> {
        let number = |byte: &u8| usize::from(*byte);
        let refused = |why: &str| Err(format!("command {command:02X?}: {why}"));
        let by_page = self.addressing == Addressing::Page;
        match (command, self.chip) {
            ([0xFD, 0x12], _) => self.locked = false,
            ([0xFD, 0x16], _) => self.locked = true,
            _ if self.locked => return refused("the controller is locked"),
            ([0x00..=0x1F | 0xB0..=0xB7], _) if !by_page => return refused("only for page addressing"),
            ([low @ 0x00..=0x0F], _) => self.columns.now = self.columns.now & 0xF0 | number(low),
            ([high @ 0x10..=0x1F], Sh1106) => self.columns.now = self.columns.now & 0x0F | (number(high) % 16) << 4,
            ([high @ 0x10..=0x17], _) => self.columns.now = self.columns.now & 0x0F | (number(high) % 8) << 4,
            ([page @ 0xB0..=0xB7], _) => self.pages.now = number(page) % 8,
            ([0x20, 0x00], _) => self.addressing = Addressing::Horizontal,
            ([0x20, 0x01], _) => self.addressing = Addressing::Vertical,
            ([0x20, 0x02], _) => self.addressing = Addressing::Page,
            ([0x21 | 0x22, ..], _) if by_page => return refused("not for page addressing"),
            ([0x21, first @ 0..=127, last @ 0..=127], _) if first <= last => {
                self.columns = Span::over(number(first), number(last));
            }
            ([0x22, first @ 0..=7, last @ 0..=7], _) if first <= last => {
                self.pages = Span::over(number(first), number(last));
            }
            ([line @ 0x40..=0x7F], _) => self.start_line = number(line) % HEIGHT,
            ([0x81, contrast], _) => self.contrast = *contrast,
            ([0x8D, 0x10], _) => self.pump = false,
            ([0x8D, 0x14], _) => self.pump = true,
            ([0xAD, 0x8A | 0x8B], Sh1106) if self.on => return refused("the display must be off for it"),
            ([0xAD, pump @ (0x8A | 0x8B)], Sh1106) => self.pump = *pump == 0x8B,
            ([0xAD, reference @ (0x00 | 0x10 | 0x20 | 0x30)], Ssd1306) => self.own_reference = reference & 0x10 != 0,
            // The steps of the pump change the light, not the picture.
            ([0x30..=0x33], _) => {}
            ([remap @ (0xA0 | 0xA1)], _) => self.segments_reversed = *remap == 0xA1,
            ([all @ (0xA4 | 0xA5)], _) => self.all_lit = *all == 0xA5,
            ([inverse @ (0xA6 | 0xA7)], _) => self.inverse = *inverse == 0xA7,
            ([0xA8, last_row @ 0..=63], Sh1106) => self.multiplex = number(last_row),
            ([0xA8, last_row @ 15..=63], _) => self.multiplex = number(last_row),
            ([0xAE], _) => self.on = false,
            // The pump must be set before the display is switched on (SSD1306 application note, section 2).
            ([0xAF], _) => (self.on, self.pump_at_on) = (true, self.pump),
            ([direction @ (0xC0 | 0xC8)], _) => self.rows_reversed = *direction == 0xC8,
            ([0xD3, offset @ 0..=63], _) => self.offset = number(offset),
            ([0xDA, pins @ (0x02 | 0x12)], _) => self.row_pins = *pins,
            ([0xDA, pins @ (0x22 | 0x32)], Ssd1306 | Ssd1309) => self.row_pins = *pins,
            // Clock, pre-charge and deselect level change the light, not the picture.
            ([0xD5, _], _) | ([0xDB, 0x00 | 0x20 | 0x30], Ssd1306) => {}
            ([0xDB, 0x00 | 0x34 | 0x3C], Ssd1309) | ([0xDB, _], Sh1106) => {}
            ([0xD9, phases], _) if phases & 0x0F != 0 && phases & 0xF0 != 0 => {}
            // Nothing scrolls here, so there is nothing to stop.
            ([0x2E] | [0xE3], _) => {}
            _ => return refused("the datasheet does not allow this argument"),
        }
        Ok(())
    }
}

impl Span {
    fn over(first: usize, last: usize) -> Span {
        Span { first, last, now: first }
    }

    /// Moves on by one in a memory of this length; says whether it began again.
    fn advance(&mut self, length: usize) -> bool {
        let at_end = self.now == self.last;
        self.now = if at_end { self.first } else { (self.now + 1) % length };
        at_end
    }
}
