//! Pictures and panels: drawing in memory, and sending small pictures to small panels.
//!
//! Drawing and sending are apart. Drawing works on a [`Frame`], in memory, where nothing can fail; sending carries the
//! changed bytes of a frame over a bus, where anything can. This crate knows nothing of what the pictures are about.
//!
//! In reading order:
//!
//! 1. [`frame`]: the pixels, laid out as the panel's controller keeps them.
//! 2. [`fonts`], [`text`], [`figure`], [`shapes`]: the drawing pieces that pages are made of.
//! 3. [`panel`]: what a panel can do ([`Panel`]), and what can go wrong with one ([`PanelFault`]).
//! 4. [`changes`]: which bytes must travel to turn one picture into another.
//! 5. [`module`], `command`, [`wire`], [`oled`]: the panel itself, on an I2C bus.
//! 6. [`png`], [`terminal`]: the same pictures for people without a panel.

pub mod frame;

pub mod figure;
pub mod fonts;
pub mod shapes;
pub mod text;

pub mod panel;

pub mod changes;
mod command;
pub mod module;
pub mod oled;
pub mod wire;

pub mod png;
pub mod terminal;

pub use embedded_hal;

pub use embedded_graphics::{geometry::Point, geometry::Size, primitives::Rectangle};

pub use fonts::Face;
pub use frame::{Frame, PanelSize, area};
pub use module::{Module, PanelChip};
pub use oled::{OledPanel, Rotation};
pub use panel::{Brightness, Panel, PanelFault, Sent};
pub use wire::PanelAddress;
