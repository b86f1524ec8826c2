//! Stories of the pretend panel itself: what its controllers make of bytes, by their datasheets.

#![allow(clippy::unwrap_used, reason = "a failing step fails the test")]

use super::*;
use traylight_display::PanelSize;

/// The set-up of the controller's application note (flow chart of section 3, with the row pins of a 64-row panel), as one
/// message.
const SET_UP: [u8; 27] = [
    0x00, 0xAE, 0xD5, 0x80, 0xA8, 0x3F, 0xD3, 0x00, 0x40, 0x8D, 0x14, 0x20, 0x00, 0xA1, 0xC8, 0xDA, 0x12, 0x81, 0x7F,
    0xD9, 0xF1, 0xDB, 0x20, 0xA4, 0xA6, 0x2E, 0xAF,
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
    let (width, height) = picture.size();
    let all = (0..height).flat_map(|y| (0..width).map(move |x| (x, y)));
    all.filter(|(x, y)| picture.is_lit(*x, *y)).collect()
}

#[test]
fn after_power_up_the_panel_is_dark_and_the_memory_is_noise() {
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
fn what_lights_and_darkens_the_panel() {
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

fn module(controller: PanelChip, size: PanelSize) -> PretendPanel {
    PretendPanel::of(Module::new(controller, size).unwrap())
}

/// SH1106 datasheet, "Commands": 132 columns, of which this panel shows the middle 128; a byte at a time in one page.
#[test]
fn the_sh1106_takes_pages_only_and_shows_the_middle_of_its_memory() {
    let mut panel = module(PanelChip::Sh1106, PanelSize::W128H64);
    panel.write(&[0x00, 0xA1, 0xC8]).unwrap();
    for page in 0..8 {
        panel.write(&[0x00, 0xB0 + page, 0x00, 0x10]).unwrap();
        panel.write(&[[0x40].as_slice(), &[0; 132]].concat()).unwrap();
    }
    panel.write(&[0x00, 0xAF, 0xB0, 0x02, 0x10]).unwrap();
    panel.write(&[0x40, 0x01]).unwrap();
    panel.write(&[0x00, 0xB7, 0x01, 0x18]).unwrap();
    panel.write(&[0x40, 0x80, 0x80, 0x80]).unwrap();
    assert_eq!(lit(&panel), [(0, 0), (127, 63)], "columns 0, 1, 130 and 131 are behind the edge");
    assert!(panel.write(&[0x40, 0x01]).is_err(), "behind the last column");
    for unknown in [[0x20, 0x00].as_slice(), &[0x21, 0, 127], &[0x22, 0, 7], &[0x8D, 0x14], &[0x2E], &[0xAD, 0x8A]] {
        assert!(panel.write(&[&[0x00], unknown].concat()).is_err(), "{unknown:02X?}");
    }
    panel.write(&[0x00, 0xAE, 0xAD, 0x8A, 0xAF]).unwrap();
    assert!(panel.picture().is_dark(), "without its pump");
}

/// SSD1309 datasheet, section 9: no pump, and a lock.
#[test]
fn the_ssd1309_has_a_lock_and_no_pump() {
    let mut panel = module(PanelChip::Ssd1309, PanelSize::W128H64);
    panel.write(&[0x00, 0xAF]).unwrap();
    assert!(!panel.picture().is_dark(), "its light comes from outside");
    assert!(panel.write(&[0x00, 0x8D, 0x14]).is_err());
    panel.write(&[0x00, 0xFD, 0x16]).unwrap();
    assert!(panel.write(&[0x00, 0xAE]).is_err());
    assert!(!panel.picture().is_dark());
    panel.write(&[0x00, 0xFD, 0x12, 0xAE]).unwrap();
    assert!(panel.picture().is_dark());
}

/// SSD1306B datasheet, command AD (as the crate `ssd1306` 0.10 uses it for this panel).
#[test]
fn the_smallest_panel_needs_a_reference_for_its_current() {
    let mut panel = module(PanelChip::Ssd1306, PanelSize::W72H40);
    panel.write(&[0x00, 0x8D, 0x14, 0xA8, 39, 0xAF]).unwrap();
    assert!(panel.picture().is_dark());
    panel.write(&[0x00, 0xAD, 0x30]).unwrap();
    assert!(!panel.picture().is_dark());
    assert_eq!(panel.picture().size(), (72, 40));
}
