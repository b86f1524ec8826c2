//! Prints what the demo's pictures cost on the panel's bus: bytes and milliseconds beside sending whole frames, beside a
//! common driver's own way, and beside the floor that the bus itself sets.
//!
//! A byte takes nine clocks (UM10204, sections 3.1.5 and 3.1.6); starts, stops and the pauses of adapters come on top and
//! are in none of the columns. The common driver is the crate ssd1306 in its buffered mode, told only of the pixels that
//! differ, which is the kindest way to use it. The floor is the bytes of the panel that differ, without a word of where they
//! go.

#![allow(clippy::disallowed_methods, reason = "drawing is timed here")]
#![allow(clippy::expect_used, reason = "a tool of the tests: what fails must be seen")]

use ssd1306::prelude::*;
use ssd1306::{I2CDisplayInterface, Ssd1306};
use std::time::Instant;
use traylight_config::PageName;
use traylight_display::changes::changes;
use traylight_display::{Frame, Module, OledPanel, Panel, PanelAddress, PanelChip, PanelFault, PanelSize, Rotation};
use traylight_tests::pretend_bus::PretendBus;
use traylight_tests::scenes::{calm, pictures};
use traylight_tests::standing::Standing;

fn main() {
    let mut transitions: Vec<(String, Frame, Frame)> = vec![
        ("a beat".into(), calm(PageName::State, "14:32", 7), calm(PageName::State, "14:32", 8)),
        ("a minute".into(), calm(PageName::State, "14:32", 7), calm(PageName::State, "14:33", 8)),
        ("an hour".into(), calm(PageName::State, "14:59", 7), calm(PageName::State, "15:00", 8)),
        ("midnight".into(), calm(PageName::State, "23:59", 7), calm(PageName::State, "00:00", 8)),
    ];
    let pages = pictures();
    for pair in pages.windows(2) {
        transitions.push((format!("turn to {}", pair[1].0), pair[0].1.clone(), pair[1].1.clone()));
    }
    println!(
        "{:44}{:>6}{:>6}{:>7}{:>7}{:>7}{:>7}{:>9}{:>9}",
        "", "floor", "ours", "sh1106", "crate", "frame", "mess.", "ms@100", "ms@400"
    );
    let (mut most, mut sum, mut others) = (0, 0, 0);
    for (name, from, to) in &transitions {
        let floor = from.bytes().iter().zip(to.bytes()).filter(|(old, new)| old != new).count();
        let (ours, messages) = ours(Module::ALL[0], from, to);
        let sh1106 = Module::new(PanelChip::Sh1106, PanelSize::W128H64).expect("there is one");
        let (by_page, _) = self::ours(sh1106, from, to);
        let common = common(from, to);
        let milliseconds = |khz: f64| ours as f64 * 9.0 / khz;
        println!(
            "{name:44.44}{floor:6}{ours:6}{by_page:7}{common:7}{:7}{messages:7}{:9.2}{:9.2}",
            1034,
            milliseconds(100.0),
            milliseconds(400.0)
        );
        most = most.max(ours);
        sum += ours;
        others += common;
    }
    let count = transitions.len();
    println!(
        "\n{count} transitions: ours {sum} bytes, at most {most}; the crate {others}; whole frames {}",
        1034 * count
    );
    time_of_drawing(&pages);
}

/// Bytes and messages that our driver sends from one picture to the next.
fn ours(module: Module, from: &Frame, to: &Frame) -> (usize, usize) {
    let bus = PretendBus::with(module);
    let mut panel = OledPanel::new(bus, PanelAddress::X3C, module, Rotation::Upright, PanelFault::from_bus);
    panel.show(from).expect("the pretend bus has no faults");
    let sent = panel.show(to).expect("the pretend bus has no faults");
    (sent.bytes, sent.messages)
}

/// Bytes that the common driver sends for the same.
fn common(from: &Frame, to: &Frame) -> usize {
    let bus = PretendBus::new();
    let interface = I2CDisplayInterface::new(bus.clone());
    let mut panel = Ssd1306::new(interface, DisplaySize128x64, DisplayRotation::Rotate0).into_buffered_graphics_mode();
    panel.init().expect("the pretend bus has no faults");
    let dark = Frame::new(PanelSize::W128H64);
    for (old, new) in [(&dark, from), (from, to)] {
        bus.take_messages();
        for (x, y) in (0..64).flat_map(|y| (0..128).map(move |x| (x, y))) {
            if old.is_lit(x, y) != new.is_lit(x, y) {
                panel.set_pixel(x as u32, y as u32, new.is_lit(x, y));
            }
        }
        panel.flush().expect("the pretend bus has no faults");
    }
    bus.take_messages().iter().map(|message| message.len() + 1).sum()
}

/// How long it takes to draw a page, and to find what differs.
fn time_of_drawing(pages: &[(String, Frame)]) {
    const ROUNDS: usize = 200;
    let began = Instant::now();
    let mut windows = 0;
    for pair in (0..ROUNDS).flat_map(|_| pages.windows(2)) {
        windows += changes(&pair[0].1, &pair[1].1).len();
    }
    let each = began.elapsed().as_secs_f64() * 1e6 / (ROUNDS * (pages.len() - 1)) as f64;
    println!("finding what differs: {each:.1} microseconds a page turn ({windows} windows in all)");
    let calm = Standing::after(2.0);
    let pages = calm.pages();
    let began = Instant::now();
    let draw = |page| calm.drawing(page, "14:32", 7).frame(PanelSize::W128H64).lit_count();
    let lit: u32 = (0..ROUNDS).flat_map(|_| &pages).map(draw).sum();
    let each = began.elapsed().as_secs_f64() * 1e6 / (ROUNDS * pages.len()) as f64;
    println!("drawing a page: {each:.1} microseconds ({lit} pixels lit in all)");
}
