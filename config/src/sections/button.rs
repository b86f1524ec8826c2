//! The buttons, `[[button]]`; and that no two are on one line.

use crate::key::key;
use crate::reader::Section;
use crate::values::{one_of, text, whole};

const MOST_BUTTONS: usize = 4;

/// A button beside the panel.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Button {
    /// The chip that its line is on: a device file, such as `/dev/gpiochip0`, or the chip's label.
    pub chip: String,
    /// The line's number on the chip.
    pub line: u32,
    /// What a press does.
    pub action: ButtonAction,
    /// True when a press pulls the line down to ground, false when it pulls it up.
    pub active_low: bool,
}

/// What a press of a button does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ButtonAction {
    /// The next page; pressed for longer than a second, it acknowledges.
    Next,
    /// The page stays, until pressed again.
    Hold,
    /// The owner knows of the incident that is shown.
    Acknowledge,
}

pub(super) fn read(file: &mut Section) -> Vec<Button> {
    let mut places = Vec::new();
    file.sections("button", "Buttons beside the panel.", 0..=MOST_BUTTONS, |section| button(section, &mut places))
}

fn button(section: &mut Section, places: &mut Vec<(String, u32)>) -> Button {
    let chip = section
        .required(key!(
            chip = "/dev/gpiochip0",
            text(64),
            "The GPIO chip: a device file such as \"/dev/gpiochip0\", or its label."
        ))
        .value;
    let line = section.required(key!(line = 17, whole(0..=1023), "The line's number on the chip."));
    let uses = one_of([
        ("next", ButtonAction::Next),
        ("hold", ButtonAction::Hold),
        ("acknowledge", ButtonAction::Acknowledge),
    ]);
    let action = section.value(key!(
        action = "next",
        uses,
        "What a press does. Pressed for longer than a second, \"next\" acknowledges."
    ));
    let levels = one_of([("low", true), ("high", false)]);
    let active_low = section.value(key!(active = "low", levels, "The level of the line while the button is pressed."));
    let place = (chip.clone(), line.value);
    if places.contains(&place) {
        section.wrong(
            &line,
            format!("expected each button on a line of its own, found two on line {} of this chip", line.value),
        );
    }
    places.push(place);
    Button { chip, line: line.value, action, active_low }
}
