//! The label sheet as SVG, true to millimetres: a sheet fits on A4 and on US Letter with a margin of 10 mm, and thin lines
//! show where to cut (SVG 1.1, 7.2 and 7.9: sizes in mm, one unit of the view box to the millimetre).

use super::sheet::SheetLabel;
use crate::tell::words::phrases::{Language, Phrases};
use std::fmt::Write as _;

/// Label and sheet, in millimetres. A4 has 210 × 297, US Letter 215.9 × 279.4.
const LABEL_WIDE: usize = 60;
const LABEL_HIGH: usize = 18;
const ACROSS: usize = 3;
const DOWN: usize = 14;
/// Around what is printed on a label.
const MARGIN: f32 = 2.0;
/// Height of small text; a character of a monospaced font is six tenths of it wide.
const SMALL: f32 = 3.0;
const CHARACTER: f32 = 0.6;

/// One text for each sheet of paper.
pub fn sheets_svg(labels: &[SheetLabel], language: Language) -> Vec<String> {
    labels.chunks(ACROSS * DOWN).map(|labels| sheet(labels, language)).collect()
}

fn sheet(labels: &[SheetLabel], language: Language) -> String {
    let (wide, high) = (ACROSS * LABEL_WIDE, labels.len().div_ceil(ACROSS) * LABEL_HIGH);
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{wide}mm\" height=\"{high}mm\" viewBox=\"0 0 {wide} {high}\" \
         font-family=\"monospace\" fill=\"#000\">\n<rect width=\"{wide}\" height=\"{high}\" fill=\"#fff\"/>\n"
    );
    for (index, label) in labels.iter().enumerate() {
        let (x, y) = (index % ACROSS * LABEL_WIDE, index / ACROSS * LABEL_HIGH);
        let _ = writeln!(
            svg,
            "<rect x=\"{x}\" y=\"{y}\" width=\"{LABEL_WIDE}\" height=\"{LABEL_HIGH}\" fill=\"none\" stroke=\"#888\" \
             stroke-width=\"0.1\" stroke-dasharray=\"1 1\"/>"
        );
        texts(&mut svg, x as f32, y as f32, label, language);
    }
    svg + "</svg>\n"
}

/// The tray's label large on the left, the rest in three lines beside it.
fn texts(svg: &mut String, x: f32, y: f32, label: &SheetLabel, language: Language) {
    // Four characters fit on the left third.
    let large = 8.0;
    let beside = x + MARGIN + 4.0 * large * CHARACTER + MARGIN;
    let mut text = |x: f32, y: f32, size: f32, text: &str| {
        let text = escaped(text);
        let _ = writeln!(svg, "<text x=\"{x:.1}\" y=\"{y:.1}\" font-size=\"{size}\">{text}</text>");
    };
    text(x + MARGIN, y + 12.0, large, &label.tray);
    let characters = ((x + LABEL_WIDE as f32 - MARGIN - beside) / (SMALL * CHARACTER)) as usize;
    let serial = label.serial_tail.as_ref().map(|tail| format!("{} …{tail}", language.plain("setup.sheet.serial")));
    let serial = serial.or_else(|| label.is_empty.then(|| language.plain("setup.sheet.empty").to_owned()));
    let pool = (!label.pools.is_empty()).then(|| label.pools.join(", "));
    for (line, content) in [serial, label.port.clone(), pool].into_iter().flatten().enumerate() {
        text(beside, y + 5.0 + 5.0 * line as f32, SMALL, &shortened(&content, characters));
    }
}

/// The end of a port tells more than its beginning.
fn shortened(text: &str, longest: usize) -> String {
    let over = text.chars().count().saturating_sub(longest);
    if over == 0 { text.to_owned() } else { format!("…{}", text.chars().skip(over + 1).collect::<String>()) }
}

/// Fit for the text of an element (XML 1.0, 2.4): no markup, and no character that XML cannot have.
fn escaped(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for c in text.chars().filter(|&c| !crate::text::misleads(c) && !matches!(c, '\u{FFFE}' | '\u{FFFF}')) {
        match c {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            c => safe.push(c),
        }
    }
    safe
}
