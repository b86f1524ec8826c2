//! Every page is a picture: what is drawn must be what was looked at and found good.
//!
//! The pictures are in `tests/pages`, two rows of pixels a line. After a change on purpose, run this test with
//! `TRAYLIGHT_NEW_PICTURES=1` and look at every picture that changed (the binary `contact_sheet` draws them all).

#![allow(clippy::disallowed_methods, reason = "pictures are kept in files")]

use std::path::{Path, PathBuf};
use traylight_display::changes::{Window, changes};
use traylight_tests::scenes::{calm_state, pictures};

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("pages")
}

fn file_of(name: &str) -> PathBuf {
    let slug: String = name.chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '-' }).collect();
    folder().join(slug.replace("--", "-") + ".txt")
}

#[test]
fn every_page_is_the_picture_that_was_looked_at() {
    let make_new = std::env::var_os("TRAYLIGHT_NEW_PICTURES").is_some();
    let mut different = Vec::new();
    for (name, frame) in pictures() {
        let file = file_of(&name);
        let drawn = format!("{name}\n{}", frame.to_text());
        if make_new {
            std::fs::write(&file, &drawn).expect("the folder of pictures can be written");
        }
        let wanted = std::fs::read_to_string(&file).unwrap_or_default();
        if drawn != wanted {
            different.push(format!("{}\nfound:\n{drawn}\nwanted:\n{wanted}", file.display()));
        }
    }
    assert!(different.is_empty(), "{} pictures differ:\n{}", different.len(), different.join("\n"));
}

#[test]
fn no_picture_is_left_over() {
    let wanted: Vec<PathBuf> = pictures().iter().map(|(name, _)| file_of(name)).collect();
    let kept = std::fs::read_dir(folder()).expect("there is a folder of pictures");
    let left_over: Vec<PathBuf> =
        kept.filter_map(|entry| Some(entry.ok()?.path())).filter(|file| !wanted.contains(file)).collect();
    assert!(left_over.is_empty(), "pictures that nothing draws any more: {left_over:?}");
}

/// Where it matters a figure is read from a distance: ISO 9241-303 (as quoted from ISO 9241-3, from memory) wants
/// characters of at least 16 minutes of arc. A 0.96 inch panel has pixels of 0.170 mm.
#[test]
fn the_trays_figures_are_read_from_arms_length() {
    const PITCH_MM: f64 = 21.744 / 128.0;
    const CAPITAL_ROWS: f64 = 13.0;
    let distance_mm = 400.0;
    let minutes = (CAPITAL_ROWS * PITCH_MM / distance_mm).atan().to_degrees() * 60.0;
    assert!(minutes >= 16.0, "the medium face has {minutes:.1} minutes of arc at {distance_mm} mm");
}

/// A full frame is 1,024 bytes of pixels; the wire adds address and control bytes (SSD1306 datasheet, 8.1.5).
#[test]
fn what_changes_from_look_to_look_is_a_small_part_of_a_frame() {
    let cost = |from: (&str, u64), to: (&str, u64)| -> usize {
        let (from, to) = (calm_state(from.0, from.1), calm_state(to.0, to.1));
        changes(&from, &to).iter().map(Window::cost).sum()
    };
    let beat = cost(("14:32", 7), ("14:32", 8));
    let minute = cost(("14:32", 7), ("14:33", 7));
    let hour = cost(("14:59", 7), ("15:00", 7));
    println!("bytes on the wire: a beat {beat}, a minute {minute}, an hour {hour}");
    for bytes in [beat, minute, hour] {
        assert!(bytes > 0 && bytes <= 102, "{bytes} bytes, wanted at most a tenth of a frame");
    }
    let pages: Vec<_> = pictures().into_iter().map(|(_, frame)| frame).collect();
    for pair in pages.windows(2) {
        let turn: usize = changes(&pair[0], &pair[1]).iter().map(Window::cost).sum();
        assert!(turn <= 1024 + 10, "a turn of the page costs {turn} bytes");
    }
}
