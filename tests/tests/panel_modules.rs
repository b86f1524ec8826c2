//! Every module in every direction: what is sent to it, and that its picture stands upright before who looks at it.

#![allow(clippy::unwrap_used, reason = "a failing step fails the test")]

use traylight_display::{
    Frame, Module, OledPanel, Panel, PanelAddress, PanelChip, PanelFault, PanelSize, Rotation, area,
};
use traylight_tests::pretend_bus::PretendBus;
use traylight_tests::pretend_panel::{Picture, PretendPanel};

const ROTATIONS: [Rotation; 4] = [Rotation::Upright, Rotation::Quarter, Rotation::Half, Rotation::ThreeQuarters];

fn panel(bus: &PretendBus, module: Module, rotation: Rotation) -> OledPanel<PretendBus> {
    OledPanel::new(bus.clone(), PanelAddress::X3C, module, rotation, PanelFault::from_bus)
}

/// A picture that no turn and no mirror leaves as it was, with light in every corner.
fn lopsided(size: PanelSize) -> Frame {
    let (width, height) = (size.width() as i32, size.height() as i32);
    let mut frame = Frame::new(size);
    (0..height).for_each(|y| frame.set(0, y, true));
    (0..height.min(width)).for_each(|y| frame.set(y, y, true));
    frame.set(width - 3, height - 1, true);
    frame.set(width - 1, 0, true);
    frame.invert(area(width / 2, 3, 5, 9));
    frame
}

/// Whether who looks at a module that is turned so sees this frame: geometry alone, no word of the driver's.
fn is_seen(picture: &Picture, rotation: Rotation, frame: &Frame) -> bool {
    let (width, height) = picture.size();
    (0..width).all(|x| {
        (0..height).all(|y| {
            // Where the module's pixel is to the viewer when the module is turned clockwise.
            let (seen_x, seen_y) = match rotation {
                Rotation::Upright => (x, y),
                Rotation::Quarter => (height - 1 - y, x),
                Rotation::Half => (width - 1 - x, height - 1 - y),
                Rotation::ThreeQuarters => (y, width - 1 - x),
            };
            picture.is_lit(x, y) == frame.is_lit(seen_x as i32, seen_y as i32)
        })
    })
}

#[test]
fn every_module_shows_upright_pictures_however_it_is_built_in() {
    for module in Module::ALL {
        for rotation in ROTATIONS {
            let bus = PretendBus::with(module);
            bus.watch();
            let mut panel = panel(&bus, module, rotation);
            let mut frame = lopsided(panel.size());
            panel.show(&frame).unwrap();
            assert!(is_seen(&bus.picture(), rotation, &frame), "{module:?} {rotation:?}\n{:?}", bus.picture());
            let flashed = |seen: &Picture| !seen.is_dark() && !is_seen(seen, rotation, &frame);
            assert!(!bus.seen().iter().any(flashed), "{module:?}: noise was seen on the way");
            // Then only what changes, then a refresh that nobody sees.
            frame.invert(area(1, 5, 20, 9));
            panel.show(&frame).unwrap();
            assert!(is_seen(&bus.picture(), rotation, &frame), "{module:?} {rotation:?} after a change");
            let before = bus.seen().len();
            panel.refresh(&frame).unwrap();
            assert!(bus.seen()[before..].iter().all(|seen| is_seen(seen, rotation, &frame)), "{module:?} flickers");
            assert_eq!(bus.refusals(), [""; 0], "{module:?} {rotation:?}");
        }
    }
}

#[test]
fn a_picture_for_other_panel_is_refused_before_anything_is_sent() {
    let bus = PretendBus::new();
    let mut panel = panel(&bus, Module::ALL[0], Rotation::Quarter);
    let fault = panel.show(&Frame::new(PanelSize::W128H64)).unwrap_err();
    assert_eq!(fault.to_string(), "expected a picture of 64 by 128 pixels, found 128 by 64");
    assert!(bus.take_messages().is_empty());
}

/// The set-up of each module to the byte, and where its picture goes.
#[test]
fn what_is_sent_to_each_controller() {
    let sent = |controller, size, rotation| {
        let module = Module::new(controller, size).unwrap();
        let bus = PretendBus::with(module);
        let mut panel = panel(&bus, module, rotation);
        panel.show(&Frame::new(panel.size())).unwrap();
        bus.take_messages()
    };
    let hex = |message: &[u8]| message.iter().map(|byte| format!("{byte:02X}")).collect::<Vec<_>>().join(" ");
    let set_ups = [
        (
            (PanelChip::Ssd1306, PanelSize::W128H64, Rotation::Half),
            "00 E3 E3 2E D5 80 A8 3F D3 00 40 8D 14 20 00 DA 12 DB 20 A4 A6 A0 C0 81 2F D9 F1",
        ),
        (
            (PanelChip::Ssd1306, PanelSize::W128H32, Rotation::Upright),
            "00 E3 E3 2E D5 80 A8 1F D3 00 40 8D 14 20 00 DA 02 DB 20 A4 A6 A1 C8 81 2F D9 F1",
        ),
        (
            (PanelChip::Ssd1306, PanelSize::W72H40, Rotation::Upright),
            "00 E3 E3 2E D5 80 A8 27 D3 00 40 8D 14 AD 30 20 00 DA 12 DB 20 A4 A6 A1 C8 81 2F D9 F1",
        ),
        (
            (PanelChip::Ssd1306, PanelSize::W64H48, Rotation::Quarter),
            "00 E3 E3 2E D5 80 A8 2F D3 00 40 8D 14 20 00 DA 12 DB 20 A4 A6 A0 C0 81 2F D9 F1",
        ),
        (
            (PanelChip::Ssd1309, PanelSize::W128H64, Rotation::Upright),
            "00 E3 E3 FD 12 2E D5 A1 A8 3F D3 00 40 20 00 DA 12 DB 34 A4 A6 A1 C8 81 2F D9 22",
        ),
        (
            (PanelChip::Sh1106, PanelSize::W128H64, Rotation::ThreeQuarters),
            "00 E3 E3 D5 50 A8 3F D3 00 40 DA 12 DB 35 A4 A6 A1 C8 81 2F D9 22",
        ),
    ];
    for ((controller, size, rotation), set_up) in set_ups {
        let messages = sent(controller, size, rotation);
        assert_eq!(hex(&messages[0]), set_up, "{controller:?} {size:?}");
        assert_eq!(messages.last().unwrap(), &[0x00, 0xAF]);
    }
    let windows = [
        (PanelSize::W128H64, "00 21 00 7F 22 00 07", 1025),
        (PanelSize::W128H32, "00 21 00 7F 22 00 03", 513),
        (PanelSize::W72H40, "00 21 1C 63 22 00 04", 361),
        (PanelSize::W64H48, "00 21 20 5F 22 00 05", 385),
    ];
    for (size, window, length) in windows {
        let messages = sent(PanelChip::Ssd1306, size, Rotation::Upright);
        assert_eq!((hex(&messages[1]).as_str(), messages[2].len()), (window, length));
    }
    let pages = sent(PanelChip::Sh1106, PanelSize::W128H64, Rotation::Upright);
    assert_eq!((hex(&pages[1]).as_str(), pages[2].len()), ("00 B0 02 10", 129));
    assert_eq!((hex(&pages[15]).as_str(), pages[16].len(), pages.len()), ("00 B7 02 10", 129, 18));
}

/// Outside judge: what the library luma.oled 3.16 sends for the same modules (`tests/outside/panel_streams.py`). Its picture
/// must be seen on the pretend panel as well, and what says how the panel is wired must be what we say. Commands that a
/// datasheet does not know are passed over, as real controllers do; luma sends some.
#[test]
fn another_driver_is_understood_too_and_says_the_same_of_the_wiring() {
    let table: Vec<serde_json::Value> = serde_json::from_str(include_str!("../outside/panel_streams.json")).unwrap();
    for row in &table {
        let number = |key: &str| row[key].as_u64().unwrap() as u32;
        let module = Module::ALL
            .into_iter()
            .find(|module| format!("{:?}", module.controller()) == row["controller"].as_str().unwrap())
            .and_then(|module| {
                let size = PanelSize::ALL.into_iter();
                let wanted = |size: &PanelSize| (size.width(), size.height()) == (number("width"), number("height"));
                Module::new(module.controller(), size.into_iter().find(wanted)?)
            })
            .unwrap();
        let theirs: Vec<Vec<u8>> =
            row["messages"].as_array().unwrap().iter().map(|message| bytes(message.as_str().unwrap())).collect();
        let mut panel = PretendPanel::of(module);
        for message in &theirs {
            let _ = panel.write(message);
        }
        let (width, height) = (number("width") as i32, number("height") as i32);
        let mut frame = Frame::new(module.size());
        for y in 0..height {
            frame.set(0, y, true);
            frame.set(y % width, y, true);
        }
        frame.set(width - 3, height - 1, true);
        assert!(is_seen(&panel.picture(), Rotation::Upright, &frame), "{module:?}\n{:?}", panel.picture());

        let bus = PretendBus::with(module);
        self::panel(&bus, module, Rotation::Upright).show(&frame).unwrap();
        let ours = bus.take_messages();
        for command in [0xA8, 0xDA, 0xD3] {
            let argument = |messages: &[Vec<u8>]| {
                let at = messages[0].iter().skip(1).position(|byte| *byte == command).unwrap() + 1;
                messages[0][at + 1]
            };
            assert_eq!(argument(&ours), argument(&theirs), "{module:?}: {command:02X}");
        }
        let data = |messages: &[Vec<u8>]| -> Vec<u8> {
            let last = messages.iter().rev().filter(|message| message[0] == 0x40);
            let mut data: Vec<&[u8]> = last.map(|message| &message[1..]).collect();
            data.reverse();
            let all = data.concat();
            all[all.len() - (width * height / 8) as usize..].to_vec()
        };
        assert_eq!(data(&ours), data(&theirs), "{module:?}: the picture's bytes");
        let windows =
            |messages: &[Vec<u8>]| messages.iter().rev().find(|message| message[0..2] == [0x00, 0x21]).cloned();
        assert_eq!(windows(&ours), windows(&theirs), "{module:?}: where they go");
    }
    assert_eq!(table.len(), 5);
}

fn bytes(hex: &str) -> Vec<u8> {
    (0..hex.len()).step_by(2).map(|at| u8::from_str_radix(&hex[at..at + 2], 16).unwrap()).collect()
}
