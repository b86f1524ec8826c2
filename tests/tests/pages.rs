//! Every page is a picture: what is drawn must be what was looked at and found good.
//!
//! The pictures are in `tests/pages`, two rows of pixels a line. After a change on purpose, run this test with
//! `TRAYLIGHT_NEW_PICTURES=1` and look at every picture that changed (the binary `contact_sheet` draws them all).

#![allow(clippy::disallowed_methods, reason = "pictures are kept in files")]

use std::path::{Path, PathBuf};
use traylight_tests::scenes::pictures;

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
