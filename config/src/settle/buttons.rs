//! The keys of `[[button]]`, and that no two buttons are on one line.

use crate::reader::Section;
use crate::settings::{Button, ButtonDoes};
use crate::values::{one_of, text, whole};

const MOST_BUTTONS: usize = 4;

const DOES: &[(&str, ButtonDoes)] =
    &[("next", ButtonDoes::Next), ("hold", ButtonDoes::Hold), ("acknowledge", ButtonDoes::Acknowledge)];

const PRESSED_IS_LOW: &[(&str, bool)] = &[("low", true), ("high", false)];

pub(super) fn buttons(file: &mut Section) -> Vec<Button> {
    let mut places = Vec::new();
    file.sections("button", 0..=MOST_BUTTONS, |section| button(section, &mut places))
}

fn button(section: &mut Section, places: &mut Vec<(String, u32)>) -> Button {
    let chip = section.required("chip", "chip = \"/dev/gpiochip0\"", text(64)).value;
    let line = section.required("line", "line = 17", whole(0..=1023));
    let does = section.value("does", ButtonDoes::Next, one_of(DOES)).value;
    let pressed_is_low = section.value("pressed", true, one_of(PRESSED_IS_LOW)).value;
    let place = (chip.clone(), line.value);
    if places.contains(&place) {
        section.wrong(
            &line,
            format!("found two buttons on line {} of this chip, wanted one of them elsewhere", line.value),
        );
    }
    places.push(place);
    Button { chip, line: line.value, does, pressed_is_low }
}
