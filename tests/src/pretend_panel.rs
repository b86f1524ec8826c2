//! A pretend panel: what an SSD1306 with 128 by 64 pixels does with the bytes that are written to it.
//!
//! It follows the controller's datasheet (SSD1306 revision 1.1, from memory unless a section is named), not our driver, and
//! refuses what the datasheet does not know. Buses and their faults are not its job.

use std::fmt;

const WIDTH: usize = 128;
const HEIGHT: usize = 64;
const PAGES: usize = HEIGHT / 8;

/// A module as sold: the controller, its glass, and the charge pump that lights it.
pub struct PretendPanel {
    memory: [u8; WIDTH * PAGES],
    registers: Registers,
    /// The bytes of a command whose arguments have not all come. They may come with a later message.
    waiting: Vec<u8>,
    power_cycles: u64,
}

/// What somebody sees who looks at the glass.
#[derive(Clone, PartialEq, Eq)]
pub struct Picture {
    lit: Vec<bool>,
}

/// The controller's registers, with their values after a reset (datasheet section 9, table 9-1).
struct Registers {
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

impl PretendPanel {
    /// A panel that was just given power: its memory is noise, its glass is dark.
    #[allow(clippy::new_without_default, reason = "there is nothing default about noise")]
    pub fn new() -> PretendPanel {
        let mut panel = PretendPanel {
            memory: [0; WIDTH * PAGES],
            registers: Registers::after_reset(),
            waiting: Vec::new(),
            power_cycles: 0,
        };
        panel.power_cycle();
        panel
    }

    /// Takes power away and gives it back: registers as after a reset, memory full of noise, another noise each time.
    pub fn power_cycle(&mut self) {
        self.power_cycles += 1;
        self.registers = Registers::after_reset();
        self.waiting.clear();
        let mut noise = self.power_cycles;
        for byte in &mut self.memory {
            noise = noise.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            *byte = (noise >> 56) as u8;
        }
    }

    /// Takes one message: all bytes after the address (section 8.1.5.2). A command that the datasheet does not know, or not
    /// with this argument, is passed over; the first such command is the error.
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
                    self.store(*byte);
                } else {
                    outcome = outcome.and(self.take_command_byte(*byte));
                }
            }
            rest = next;
        }
        outcome
    }

    /// What is seen: dark unless the display is on and its pump was running when it was switched on.
    ///
    /// The usual module has segment 0 at the viewer's right and row output 0 at the bottom, so that its picture stands
    /// upright with A1h and C8h.
    pub fn picture(&self) -> Picture {
        let registers = &self.registers;
        let shining = registers.on && registers.pump && registers.pump_at_on;
        let seen = |x: usize, y: usize| {
            let output = registers.output_at_line(HEIGHT - 1 - y);
            if !shining || output > registers.multiplex {
                return false;
            }
            let line = (registers.row_on_output(output) + registers.start_line) % HEIGHT;
            let stored = self.memory[line / 8 * WIDTH + (WIDTH - 1 - x)] >> (line % 8) & 1 == 1;
            (stored || registers.all_lit) != registers.inverse
        };
        Picture { lit: (0..HEIGHT).flat_map(|y| (0..WIDTH).map(move |x| (x, y))).map(|(x, y)| seen(x, y)).collect() }
    }

    /// The contrast register: the current through a lit pixel.
    pub fn contrast(&self) -> u8 {
        self.registers.contrast
    }

    /// Keeps a byte of data and moves on (sections 10.1.1 to 10.1.5). Reversed segments take effect here: what is already
    /// in the memory stays where it is (section 10.1.8).
    fn store(&mut self, byte: u8) {
        let registers = &mut self.registers;
        let column = registers.columns.now;
        let segment = if registers.segments_reversed { WIDTH - 1 - column } else { column };
        self.memory[registers.pages.now * WIDTH + segment] = byte;
        match registers.addressing {
            Addressing::Horizontal if registers.columns.advance(WIDTH) => _ = registers.pages.advance(PAGES),
            Addressing::Vertical if registers.pages.advance(PAGES) => _ = registers.columns.advance(WIDTH),
            Addressing::Page => _ = registers.columns.advance(WIDTH),
            Addressing::Horizontal | Addressing::Vertical => {}
        }
    }

    fn take_command_byte(&mut self, byte: u8) -> Result<(), String> {
        self.waiting.push(byte);
        if self.waiting.len() <= arguments_of(self.waiting[0]).inspect_err(|_| self.waiting.clear())? {
            return Ok(());
        }
        let command = std::mem::take(&mut self.waiting);
        self.registers.obey(&command)
    }
}

/// How many bytes follow the first byte of a command (datasheet section 9, table 9-1; 8Dh from the application note).
fn arguments_of(command: u8) -> Result<usize, String> {
    match command {
        0x00..=0x1F
        | 0x2E
        | 0x40..=0x7F
        | 0xA0
        | 0xA1
        | 0xA4..=0xA7
        | 0xAE
        | 0xAF
        | 0xB0..=0xB7
        | 0xC0
        | 0xC8
        | 0xE3 => Ok(0),
        0x20 | 0x81 | 0x8D | 0xA8 | 0xD3 | 0xD5 | 0xD9 | 0xDA | 0xDB => Ok(1),
        0x21 | 0x22 => Ok(2),
        _ => Err(format!("command {command:#04X}, which the datasheet does not know")),
    }
}

impl Registers {
    fn after_reset() -> Registers {
        Registers {
            addressing: Addressing::Page,
            columns: Span::over(0, WIDTH - 1),
            pages: Span::over(0, PAGES - 1),
            start_line: 0,
            segments_reversed: false,
            rows_reversed: false,
            multiplex: 63,
            offset: 0,
            row_pins: 0x12,
            contrast: 0x7F,
            pump: false,
            pump_at_on: false,
            on: false,
            all_lit: false,
            inverse: false,
        }
    }

    /// Does what a whole command says.
    fn obey(&mut self, command: &[u8]) -> Result<(), String> {
        let number = |byte: u8| usize::from(byte);
        let refused = |why: &str| Err(format!("command {command:02X?}: {why}"));
        let by_page = self.addressing == Addressing::Page;
        match *command {
            [0x00..=0x1F | 0xB0..=0xB7] if !by_page => return refused("only for page addressing"),
            [low @ 0x00..=0x0F] => self.columns.now = self.columns.now & 0xF0 | number(low),
            [high @ 0x10..=0x17] => self.columns.now = self.columns.now & 0x0F | number(high & 0x07) << 4,
            [page @ 0xB0..=0xB7] => self.pages.now = number(page & 0x07),
            [0x20, 0x00] => self.addressing = Addressing::Horizontal,
            [0x20, 0x01] => self.addressing = Addressing::Vertical,
            [0x20, 0x02] => self.addressing = Addressing::Page,
            [0x21 | 0x22, ..] if by_page => return refused("not for page addressing"),
            [0x21, first @ 0..=127, last @ 0..=127] if first <= last => {
                self.columns = Span::over(number(first), number(last));
            }
            [0x22, first @ 0..=7, last @ 0..=7] if first <= last => {
                self.pages = Span::over(number(first), number(last))
            }
            [line @ 0x40..=0x7F] => self.start_line = number(line & 0x3F),
            [0x81, contrast] => self.contrast = contrast,
            [0x8D, 0x10] => self.pump = false,
            [0x8D, 0x14] => self.pump = true,
            [remap @ (0xA0 | 0xA1)] => self.segments_reversed = remap == 0xA1,
            [all @ (0xA4 | 0xA5)] => self.all_lit = all == 0xA5,
            [inverse @ (0xA6 | 0xA7)] => self.inverse = inverse == 0xA7,
            [0xA8, last_row @ 15..=63] => self.multiplex = number(last_row),
            [0xAE] => self.on = false,
            // The pump must be set before the display is switched on (application note, section 2).
            [0xAF] => (self.on, self.pump_at_on) = (true, self.pump),
            [direction @ (0xC0 | 0xC8)] => self.rows_reversed = direction == 0xC8,
            [0xD3, offset @ 0..=63] => self.offset = number(offset),
            [0xDA, pins @ (0x02 | 0x12 | 0x22 | 0x32)] => self.row_pins = pins,
            // Clock, pre-charge and deselect level change the light, not the picture.
            [0xD5, _] | [0xDB, 0x00 | 0x20 | 0x30] => {}
            [0xD9, phases] if phases & 0x0F != 0 && phases & 0xF0 != 0 => {}
            // Nothing scrolls here, so there is nothing to stop.
            [0x2E] | [0xE3] => {}
            _ => return refused("the datasheet does not allow this argument"),
        }
        Ok(())
    }

    /// Which row output drives a line of the glass. Lines of this glass are wired alternately to the controller's two sides
    /// (DAh 12h); with any other setting the lines come out shuffled (section 10.1.18).
    fn output_at_line(&self, line: usize) -> usize {
        match self.row_pins {
            0x02 => line / 2 + line % 2 * 32,
            0x22 => line / 2 + (1 - line % 2) * 32,
            0x32 => line ^ 1,
            _ => line,
        }
    }

    /// Which row of the picture a row output shows (C0h or C8h, then D3h).
    fn row_on_output(&self, output: usize) -> usize {
        let row = if self.rows_reversed { self.multiplex - output } else { output };
        (row + self.offset) % HEIGHT
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

impl Picture {
    /// Whether the pixel is lit, counted from the top left as the viewer sees it. Nothing is lit outside the glass.
    pub fn is_lit(&self, x: usize, y: usize) -> bool {
        x < WIDTH && y < HEIGHT && self.lit[y * WIDTH + x]
    }

    /// Whether nothing is lit at all.
    pub fn is_dark(&self) -> bool {
        !self.lit.contains(&true)
    }

    /// The picture as text, two rows of pixels a line, without the blanks at the ends of lines.
    pub fn to_text(&self) -> String {
        let half_blocks = |y: usize| -> String {
            (0..WIDTH)
                .map(|x| match (self.is_lit(x, y), self.is_lit(x, y + 1)) {
                    (false, false) => ' ',
                    (true, false) => '▀',
                    (false, true) => '▄',
                    (true, true) => '█',
                })
                .collect()
        };
        (0..HEIGHT).step_by(2).map(|y| format!("{}\n", half_blocks(y).trim_end())).collect()
    }
}

impl fmt::Debug for Picture {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.to_text())
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    /// The set-up of the controller's application note (flow chart of section 3, with the row pins of 64-row glass), as one
    /// message.
    const SET_UP: [u8; 27] = [
        0x00, 0xAE, 0xD5, 0x80, 0xA8, 0x3F, 0xD3, 0x00, 0x40, 0x8D, 0x14, 0x20, 0x00, 0xA1, 0xC8, 0xDA, 0x12, 0x81,
        0x7F, 0xD9, 0xF1, 0xDB, 0x20, 0xA4, 0xA6, 0x2E, 0xAF,
    ];

    fn ready() -> PretendPanel {
        let mut panel = PretendPanel::new();
        panel.write(&SET_UP).unwrap();
        panel.write(&[0x00, 0x21, 0, 127, 0x22, 0, 7]).unwrap();
        panel.write(&[[0x40].as_slice(), &[0; 1024]].concat()).unwrap();
        panel
    }

    fn lit(panel: &PretendPanel) -> Vec<(usize, usize)> {
        let picture = panel.picture();
        let all = (0..HEIGHT).flat_map(|y| (0..WIDTH).map(move |x| (x, y)));
        all.filter(|(x, y)| picture.is_lit(*x, *y)).collect()
    }

    #[test]
    fn after_power_up_the_glass_is_dark_and_the_memory_is_noise() {
        let mut panel = PretendPanel::new();
        assert!(panel.picture().is_dark());
        panel.write(&SET_UP).unwrap();
        let first = panel.picture();
        panel.power_cycle();
        assert!(panel.picture().is_dark());
        panel.write(&SET_UP).unwrap();
        assert!(!first.is_dark() && !panel.picture().is_dark());
        assert_ne!(first, panel.picture());
    }

    #[test]
    fn bytes_fill_a_window_row_by_row_of_pages_and_begin_again() {
        let mut panel = ready();
        panel.write(&[0x00, 0x21, 5, 6, 0x22, 1, 2]).unwrap();
        panel.write(&[0x40, 0x01, 0x02, 0x80, 0x00]).unwrap();
        assert_eq!(lit(&panel), [(5, 8), (6, 9), (5, 23)]);
        panel.write(&[0x40, 0x00]).unwrap();
        assert_eq!(lit(&panel), [(6, 9), (5, 23)]);
    }

    #[test]
    fn page_addressing_stays_in_its_page() {
        let mut panel = ready();
        panel.write(&[0x00, 0x20, 0x02, 0xB3, 0x0F, 0x17]).unwrap();
        panel.write(&[0x40, 0x01, 0x01]).unwrap();
        assert_eq!(lit(&panel), [(0, 24), (127, 24)]);
        assert!(panel.write(&[0x00, 0x21, 0, 127]).is_err());
    }

    #[test]
    fn single_byte_controls_and_split_commands_are_understood() {
        let mut panel = ready();
        panel.write(&[0x80, 0x81, 0x80, 0x10, 0xC0, 0x01]).unwrap();
        assert_eq!((panel.contrast(), lit(&panel)), (0x10, vec![(0, 0)]));
        panel.write(&[0x00, 0x81]).unwrap();
        panel.write(&[0x00, 0xCF]).unwrap();
        assert_eq!(panel.contrast(), 0xCF);
    }

    #[test]
    fn mirrors_turn_the_picture_rows_at_once_and_columns_for_later_data_only() {
        let mut panel = ready();
        panel.write(&[0x40, 0x01]).unwrap();
        panel.write(&[0x00, 0xC0, 0xA0]).unwrap();
        assert_eq!(lit(&panel), [(0, 63)]);
        panel.write(&[0x40, 0x01]).unwrap();
        assert_eq!(lit(&panel), [(0, 63), (126, 63)]);
    }

    #[test]
    fn what_lights_and_darkens_the_glass() {
        let mut panel = ready();
        panel.write(&[0x40, 0x02]).unwrap();
        let count_after = |panel: &mut PretendPanel, commands: &[u8]| {
            panel.write(&[&[0x00], commands].concat()).unwrap();
            lit(panel).len()
        };
        assert_eq!(count_after(&mut panel, &[0xA7]), 8191);
        assert_eq!(count_after(&mut panel, &[0xA6, 0xA5]), 8192);
        assert_eq!(count_after(&mut panel, &[0xA4, 0xAE]), 0);
        assert_eq!(count_after(&mut panel, &[0xAF]), 1);
        assert_eq!(count_after(&mut panel, &[0x8D, 0x10]), 0);
        assert_eq!(count_after(&mut panel, &[0xAE, 0xAF, 0x8D, 0x14]), 0, "the pump must come before on");
        assert_eq!(count_after(&mut panel, &[0xAF]), 1);
        assert_eq!(count_after(&mut panel, &[0x41]), 1);
        assert_eq!(lit(&panel), [(0, 0)], "the start line moves the picture up");
        assert_eq!(count_after(&mut panel, &[0x40, 0xDA, 0x02]), 1);
        assert_ne!(lit(&panel), [(0, 1)], "wrong row pins shuffle the lines");
    }

    #[test]
    fn what_the_datasheet_does_not_know_is_refused() {
        let unknown: [&[u8]; 9] = [
            &[0x00, 0xFD],
            &[0x00, 0x27],
            &[0x01, 0xAE],
            &[0x00, 0x21, 9, 8],
            &[0x00, 0x22, 0, 8],
            &[0x00, 0x20, 3],
            &[0x00, 0xA8, 14],
            &[0x00, 0xD9, 0x20],
            &[0x00, 0xB0],
        ];
        for message in unknown {
            assert!(ready().write(message).is_err(), "{message:02X?}");
        }
        assert_eq!(ready().write(&[0x00, 0xFD]), Err("command 0xFD, which the datasheet does not know".into()));
    }
}
