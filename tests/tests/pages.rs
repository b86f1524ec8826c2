//! Every page is a picture: what is drawn must be what was looked at and found good.
//!
//! The pictures are in `tests/pages`, two rows of pixels a line, many to a file. After a change on purpose, run this test
//! with `TRAYLIGHT_NEW_PICTURES=1` and look at every picture that changed (the binary `contact_sheet` draws them all).

#![allow(clippy::disallowed_methods, reason = "pictures are kept in files")]

use std::path::{Path, PathBuf};
use std::time::Duration;
use traylight::clock::Moment;
use traylight::show::pages::Page;
use traylight_config::{Language, PageName};
use traylight_display::changes::{Window, changes};
use traylight_display::{Frame, PanelSize, png};
use traylight_tests::boxes::{KEPT, Mood, page, pages, scene};
use traylight_tests::lab::panel::shows_in_a_face;
use traylight_tests::scenes;

/// Pixels of a 0.96 inch panel are so far apart: 21.744 mm for 128 columns.
const PITCH_MM: f64 = 21.744 / 128.0;

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("pages")
}

/// Draws the pictures of a file.
type Draws = Box<dyn Fn() -> Vec<(String, Frame)>>;

/// What is kept: the story, and for each size every page in each mood and the shelves of two to eight trays.
fn kept() -> Vec<(PathBuf, Draws)> {
    let file = |name: String| folder().join(format!("{name}.txt"));
    let mut files: Vec<(PathBuf, Draws)> = vec![(file("story".to_owned()), Box::new(scenes::pictures))];
    for panel in KEPT {
        let size = format!("{}x{}", panel.width(), panel.height());
        files.push((file(format!("pages-{size}")), Box::new(move || scenes::pages_on(panel, Language::ENGLISH))));
        files.push((file(format!("shelves-{size}")), Box::new(move || scenes::shelves_on(panel))));
    }
    files
}

/// The pictures of a file by name, as text.
fn in_file(text: &str) -> Vec<(&str, &str)> {
    text.split("== ").filter_map(|picture| picture.split_once('\n')).collect()
}

#[test]
fn every_page_is_the_picture_that_was_looked_at() {
    let make_new = std::env::var_os("TRAYLIGHT_NEW_PICTURES").is_some();
    let (mut different, mut compared) = (Vec::new(), 0);
    for (file, pictures) in kept() {
        let drawn: String =
            pictures().iter().map(|(name, frame)| format!("== {name}\n{}", shortened(&frame.to_text()))).collect();
        if make_new {
            std::fs::write(&file, &drawn).expect("the folder of pictures can be written");
        }
        let wanted = std::fs::read_to_string(&file).unwrap_or_default();
        let (drawn, wanted) = (in_file(&drawn), in_file(&wanted));
        compared += drawn.len();
        if drawn.len() != wanted.len() {
            different.push(format!("{0}: expected {2}, found {1} pictures", file.display(), drawn.len(), wanted.len()));
        }
        for (found, wanted) in drawn.iter().zip(&wanted).filter(|(found, wanted)| found != wanted) {
            different.push(format!("{}: {}\nfound:\n{}\nwanted:\n{}", file.display(), found.0, found.1, wanted.1));
        }
    }
    let shown = different.len().min(5);
    assert!(different.is_empty(), "{} pictures differ:\n{}", different.len(), different[..shown].join("\n"));
    assert!(compared > 400, "{compared} pictures are few");
}

/// Dark rows at the end say nothing.
fn shortened(picture: &str) -> String {
    format!("{}\n", picture.trim_end())
}

/// The pictures in the README are the program's own, made by `TRAYLIGHT_NEW_PICTURES=1` as the others.
#[test]
fn the_pictures_in_the_readme_are_what_is_drawn() {
    let guide = Path::new(env!("CARGO_MANIFEST_DIR")).join("../agent/guide");
    let drawn = scenes::pictures();
    for (name, file) in [("calm shelf", "healthy.png"), ("drive drops, drive-gone, near", "alarm.png")] {
        let (_, frame) = drawn.iter().find(|(drawn, _)| drawn == name).expect("the story has this picture");
        let picture = png::png(frame, 3).expect("a frame becomes a picture");
        if std::env::var_os("TRAYLIGHT_NEW_PICTURES").is_some() {
            std::fs::write(guide.join(file), &picture).expect("the folder of the guide can be written");
        }
        assert!(std::fs::read(guide.join(file)).is_ok_and(|kept| kept == picture), "{file} is no longer what is drawn");
    }
}

#[test]
fn no_picture_is_left_over() {
    let wanted: Vec<PathBuf> = kept().into_iter().map(|(file, _)| file).collect();
    let there = std::fs::read_dir(folder()).expect("there is a folder of pictures");
    let left_over: Vec<PathBuf> =
        there.filter_map(|entry| Some(entry.ok()?.path())).filter(|file| !wanted.contains(file)).collect();
    assert!(left_over.is_empty(), "pictures that nothing draws any more: {left_over:?}");
}

/// Rows from the first to the last lit one among these columns and rows.
fn lit_rows(frame: &Frame, columns: std::ops::Range<i32>, rows: std::ops::Range<i32>) -> i32 {
    let lit: Vec<i32> = rows.filter(|&y| columns.clone().any(|x| frame.is_lit(x, y))).collect();
    lit.last().zip(lit.first()).map_or(0, |(last, first)| last - first + 1)
}

/// Minutes of arc that so many rows take at a distance.
fn arc_minutes(rows: i32, distance_mm: f64) -> f64 {
    2.0 * (f64::from(rows) * PITCH_MM / 2.0 / distance_mm).atan().to_degrees() * 60.0
}

/// What matters is read from two metres: ISO 9241-303 (as in ISO 9241-3, from memory) wants characters of at least 16
/// minutes of arc, and prefers 20 to 22.
#[test]
fn that_all_is_well_and_which_tray_is_not_are_read_from_two_metres() {
    let panel = PanelSize::W128H64;
    let fine = page(scene(6, Mood::Healthy), &Page::Named(PageName::State), 0, panel);
    let gone = scene(6, Mood::Critical);
    let alarm = page(gone, &pages(gone)[0], 0, panel);
    let rows = [("OK", lit_rows(&fine, 0..80, 0..63)), ("tray 2", lit_rows(&alarm, 0..44, 8..63))];
    for (what, rows) in rows {
        let minutes = arc_minutes(rows, 2000.0);
        println!("{what}: {rows} rows, {minutes:.1} minutes of arc at 2 m");
        assert!(minutes >= 16.0, "{what} has {minutes:.1} minutes of arc at 2 m, wanted 16");
    }
    // The figure of a page from an arm's length, and the words beside an alarm from where a hand reaches.
    for (rows, distance_mm) in [(19, 650.0), (13, 450.0), (7, 250.0)] {
        let minutes = arc_minutes(rows, distance_mm);
        assert!(minutes >= 16.0, "{rows} rows have {minutes:.1} minutes of arc at {distance_mm} mm");
    }
}

/// A full frame is 1,024 bytes of pixels; the wire adds address and control bytes (SSD1306 datasheet, 8.1.5).
#[test]
fn what_changes_from_look_to_look_is_a_small_part_of_a_frame() {
    for name in PageName::ALL {
        let cost = |from: (&str, u64), to: (&str, u64)| -> usize {
            let (from, to) = (scenes::calm(name, from.0, from.1), scenes::calm(name, to.0, to.1));
            changes(&from, &to).iter().map(Window::cost).sum()
        };
        let tick = cost(("14:32", 7), ("14:32", 8));
        let minute = cost(("14:32", 7), ("14:33", 7));
        let hour = cost(("14:59", 7), ("15:00", 7));
        println!("{name:?}: bytes on the wire: a beat {tick}, a minute {minute}, an hour {hour}");
        for bytes in [tick, minute, hour] {
            assert!(bytes > 0 && bytes <= 102, "{name:?}: {bytes} bytes, wanted at most a tenth of a frame");
        }
    }
    let pages: Vec<_> = scenes::pictures().into_iter().map(|(_, frame)| frame).collect();
    for pair in pages.windows(2) {
        let turn: usize = changes(&pair[0], &pair[1]).iter().map(Window::cost).sum();
        assert!(turn <= 1024 + 10, "a turn of the page costs {turn} bytes");
    }
}

/// Lit pixels right inside a frame join with its line: figures there are hard to read. A frame is a lit line of one pixel
/// around at least eight rows; what is lit all through has no inside.
#[test]
fn nothing_touches_a_frame() {
    let mut seen = 0;
    for panel in PanelSize::ALL {
        let shelves = (2..=8).flat_map(|trays| Mood::ALL.map(|mood| (trays, mood)));
        let shelves = shelves.map(|(trays, mood)| (scene(trays, mood), Page::Named(PageName::Shelf)));
        let others = Mood::ALL
            .into_iter()
            .flat_map(|mood| pages(scene(6, mood)).into_iter().map(move |page| (scene(6, mood), page)));
        for (scene, of) in shelves.chain(others) {
            let frame = page(scene, &of, 0, panel);
            for (left, top, right, bottom) in frames(&frame) {
                seen += 1;
                let inside = |x: i32, y: i32| x == left + 1 || x == right - 1 || y == top + 1 || y == bottom - 1;
                let touching = (left + 1..right).flat_map(|x| (top + 1..bottom).map(move |y| (x, y)));
                let touching = touching.filter(|(x, y)| inside(*x, *y) && frame.is_lit(*x, *y)).count();
                assert_eq!(
                    touching,
                    0,
                    "{of:?}: the frame at {left},{top} to {right},{bottom} on {panel:?}:\n{}",
                    frame.to_text()
                );
            }
        }
    }
    assert!(seen > 500, "{seen} frames are few");
}

/// Corners of the frames of a picture, as columns and rows of their lines.
fn frames(frame: &Frame) -> Vec<(i32, i32, i32, i32)> {
    let (wide, high) = (frame.panel_size().width() as i32, frame.panel_size().height() as i32);
    let row = |y: i32, mut columns: std::ops::RangeInclusive<i32>| columns.all(|x| frame.is_lit(x, y));
    let column = |x: i32, mut rows: std::ops::RangeInclusive<i32>| rows.all(|y| frame.is_lit(x, y));
    let mut found = Vec::new();
    for (left, top) in (0..wide).flat_map(|left| (0..high).map(move |top| (left, top))) {
        if !frame.is_lit(left, top) || frame.is_lit(left + 1, top + 1) || !column(left, top..=top + 9) {
            continue;
        }
        let mut ends = (left + 9..wide).take_while(|x| frame.is_lit(*x, top));
        let Some(right) = ends.find(|right| column(*right, top..=top + 9)) else { continue };
        let mut bottoms = (top + 9..high).take_while(|y| frame.is_lit(left, *y) && frame.is_lit(right, *y));
        let Some(bottom) = bottoms.find(|bottom| row(*bottom, left..=right)) else { continue };
        // Around letters in a lit area there is light on both sides of the line.
        let lit = |y: i32| (left..=right).filter(|x| frame.is_lit(*x, y)).count() as i32;
        let lit_down = |x: i32| (top..=bottom).filter(|y| frame.is_lit(x, *y)).count() as i32;
        let is_line = lit(top - 1).min(lit(bottom + 1)) <= (right - left) / 2
            && lit_down(left - 1).min(lit_down(right + 1)) <= (bottom - top) / 2;
        if row(top, left..=right) && is_line {
            found.push((left, top, right, bottom));
        }
    }
    found
}

/// The line below a word that is not lit now is no underlining: a dark row is between them.
#[test]
fn no_letter_stands_on_a_line() {
    let mut seen = 0;
    for panel in PanelSize::ALL {
        let mut gone = scene(6, Mood::Critical).clone();
        gone.verdict.at = Moment::after_boot(Duration::from_secs(86_430));
        for of in &pages(&gone)[..3] {
            let frame = page(&gone, of, 0, panel);
            let wide = panel.width() as i32;
            for y in 1..panel.height() as i32 - 1 {
                let lit: Vec<i32> = (0..wide).filter(|x| frame.is_lit(*x, y)).collect();
                let Some(line) = lit.chunk_by(|a, b| a + 1 == *b).find(|run| run.len() as i32 > wide / 2) else {
                    continue;
                };
                let beside = line.iter().filter(|x| frame.is_lit(**x, y - 1) || frame.is_lit(**x, y + 1)).count();
                // More than a line: part of a large figure.
                if beside > line.len() / 2 {
                    continue;
                }
                seen += 1;
                assert_eq!(beside, 0, "{of:?} on {panel:?}, row {y}:\n{}", frame.to_text());
            }
        }
    }
    assert!(seen >= 8, "{seen} lines");
}

/// Letters of the last line reach into the last row of pixels, and no row is left over that could hold a line.
#[test]
fn a_low_panel_uses_every_row() {
    let drawn = |mood, name, cycle| page(scene(6, mood), &Page::Named(name), cycle, PanelSize::W128H32).to_text();
    let pools = drawn(Mood::Critical, PageName::Pools, 0);
    assert!(shows_in_a_face(&pools, "degraded"), "the tail of the g:\n{pools}");
    let cooling = drawn(Mood::Healthy, PageName::Cooling, 1);
    for row in ["COOLING", "rear fan", "board", "tray 2"] {
        assert!(shows_in_a_face(&cooling, row), "{row}:\n{cooling}");
    }
    let alarm = page(scene(6, Mood::Warning), &pages(scene(6, Mood::Warning))[0], 0, PanelSize::W128H32).to_text();
    for line in ["DATA CABLE", "OFF: reseat", "cable"] {
        assert!(shows_in_a_face(&alarm, line), "{line}:\n{alarm}");
    }
}

/// A mark of three pixels is overlooked; a lit label is not, however narrow the tray.
#[test]
fn a_warning_is_as_visible_among_eight_trays_as_among_two() {
    for panel in PanelSize::ALL {
        for trays in 2..=8 {
            let [calm, warned] = [Mood::Healthy, Mood::Warning].map(|mood| {
                let frame = page(scene(trays, mood), &Page::Named(PageName::Shelf), 0, panel);
                // Below the heading, which only higher panels have.
                let rows = if panel.height() < 64 { 0 } else { 9 }..panel.height() as i32;
                rows.map(|y| (0..panel.width() as i32).filter(|x| frame.is_lit(*x, y)).count()).sum::<usize>()
            });
            assert!(warned >= calm + 40, "{trays} trays on {panel:?}: {calm} and {warned}");
        }
    }
}
