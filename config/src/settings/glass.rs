//! The settings of panels and buttons: what they are, where they are wired, how they are built in, and when panels are dim.

/// One panel.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Glass {
    /// Where the panel is wired.
    pub bus: Bus,
    /// The 7-bit I2C address: 0x3C or 0x3D (SSD1306 datasheet, section 8.1.5).
    pub address: u8,
    /// How fast the bus runs, in thousands of clocks a second: 10 to 1000.
    pub bus_speed_khz: u32,
    /// The chip behind the glass.
    pub controller: Controller,
    /// Columns and rows of pixels, as the module lies.
    pub size: (u32, u32),
    /// How far the module is turned clockwise where it is built in, in degrees: 0, 90, 180 or 270.
    pub rotation_degrees: u32,
    /// How bright the panel is when all is well.
    pub brightness: Brightness,
}

/// Where the panel is wired.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Bus {
    /// A device file, such as `/dev/i2c-1`.
    Path(String),
    /// The name of the bus adapter: it stays the same when bus numbers move.
    AdapterName(String),
}

/// The chip behind the glass.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Controller {
    /// The usual one.
    Ssd1306,
    /// On larger glass, with a voltage of its own.
    Ssd1309,
    /// On 1.3 inch glass.
    Sh1106,
}

impl Controller {
    /// The sizes of glass that there are with this controller, the usual one first.
    pub fn sizes(self) -> &'static [(u32, u32)] {
        match self {
            Controller::Ssd1306 => &[(128, 64), (128, 32), (72, 40), (64, 48)],
            Controller::Ssd1309 | Controller::Sh1106 => &[(128, 64)],
        }
    }
}

/// How bright the panel is when all is well.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Brightness {
    /// For a dark room; also wears the panel least.
    Dim,
    /// For a lit room.
    Normal,
    /// For a window sill.
    Bright,
}

/// When panels are dim, and when they are dark but for a dot that moves.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Night {
    /// As dim as the glass can.
    pub dim: Option<Span>,
    /// Dark but for the dot.
    pub dark: Option<Span>,
    /// Where the box stands, for sunrise and sunset.
    pub position: Option<Position>,
}

/// A part of the day. It may go past midnight.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Span {
    /// Its first minute.
    pub from: DayTime,
    /// The first minute after it.
    pub until: DayTime,
}

/// A time of day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DayTime {
    /// Minutes since midnight, local time.
    Clock(u16),
    /// When the sun's upper edge comes over the horizon.
    Sunrise,
    /// When it is gone again.
    Sunset,
}

/// A place on the earth, in thousandths of a degree: the sun's times need no more.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Position {
    /// North of the equator; south is below zero.
    pub north: i32,
    /// East of Greenwich; west is below zero.
    pub east: i32,
}

/// A button for whoever stands before the panel.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Button {
    /// The chip that its line is on: a device file, such as `/dev/gpiochip0`, or the chip's label.
    pub chip: String,
    /// The line's number on the chip.
    pub line: u32,
    /// What it is for.
    pub does: ButtonDoes,
    /// True when a press pulls the line down to ground, false when it pulls it up.
    pub pressed_is_low: bool,
}

/// What a button is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ButtonDoes {
    /// The next page; pressed for longer than a second, it acknowledges.
    Next,
    /// The page stays, until pressed again.
    Hold,
    /// The owner knows of the incident that is shown.
    Acknowledge,
}
