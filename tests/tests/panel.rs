//! The panel driver against the pretend panel: what is sent, what it costs, and what is seen, in fair weather and foul.

#![allow(clippy::unwrap_used, reason = "a failing step fails the test")]

use traylight_display::embedded_hal::i2c::{ErrorKind, NoAcknowledgeSource};
use traylight_display::{
    Brightness, Face, Frame, Module, OledPanel, Panel, PanelAddress, PanelFault, PanelSize, Rotation, Sent,
};
use traylight_display::{area, text};
use traylight_tests::pretend_bus::{PretendBus, Trouble};
use traylight_tests::pretend_panel::Picture;

/// A whole frame on the bus with its addressing: address, control byte, two commands of three bytes; address, control byte,
/// 1,024 bytes.
const WHOLE_FRAME: usize = 2 + 6 + 2 + 1024;

fn panel_on(bus: &PretendBus) -> OledPanel<PretendBus> {
    OledPanel::new(bus.clone(), PanelAddress::X3C, Module::ALL[0], Rotation::Upright, PanelFault::from_bus)
}

/// A panel that already shows this frame.
fn showing(frame: &Frame) -> (PretendBus, OledPanel<PretendBus>) {
    let bus = PretendBus::new();
    let mut panel = panel_on(&bus);
    panel.show(frame).unwrap();
    bus.take_messages();
    (bus, panel)
}

fn page(time: &str) -> Frame {
    let mut frame = Frame::new(PanelSize::W128H64);
    text::text(&mut frame, 0, 0, "heron", Face::Small);
    text::text_right(&mut frame, 126, 0, time, Face::Small);
    text::text(&mut frame, 0, 16, "4 recorders", Face::Medium);
    text::text(&mut frame, 0, 48, "songs 62% of 7.3T", Face::Small);
    frame
}

fn is_seen(picture: &Picture, frame: &Frame) -> bool {
    (0..64).all(|y| (0..128).all(|x| picture.is_lit(x, y) == frame.is_lit(x as i32, y as i32)))
}

#[track_caller]
fn assert_seen(picture: &Picture, frame: &Frame) {
    assert!(is_seen(picture, frame), "seen:\n{picture:?}\nwanted:\n{frame:?}");
}

#[test]
fn the_first_picture_comes_without_a_flash_of_noise() {
    let bus = PretendBus::new();
    bus.watch();
    let frame = page("14:32");
    panel_on(&bus).show(&frame).unwrap();
    for picture in bus.seen() {
        assert!(picture.is_dark() || is_seen(&picture, &frame), "{picture:?}");
    }
    assert_seen(&bus.picture(), &frame);
    assert_eq!(bus.refusals(), [""; 0]);
}

#[test]
fn the_set_up_follows_the_flow_chart() {
    // The application note of the SSD1306 (flow chart of its section 3, from memory), with horizontal addressing and the
    // pins of a 64-row panel. The chart begins by switching the display off; we do not, so that nothing flickers.
    let bus = PretendBus::new();
    panel_on(&bus).show(&page("14:32")).unwrap();
    let messages = bus.take_messages();
    assert_eq!(
        messages[0],
        [
            0x00, // commands follow
            0xE3, 0xE3, // do nothing, twice
            0x2E, // scrolling off
            0xD5, 0x80, // clock
            0xA8, 0x3F, // 64 rows
            0xD3, 0x00, 0x40, // no offset, start at line 0
            0x8D, 0x14, // charge pump on
            0x20, 0x00, // horizontal addressing
            0xDA, 0x12, // alternative row pins
            0xDB, 0x20, // deselect level
            0xA4, 0xA6, // follow the memory, not inverse
            0xA1, 0xC8, // both directions reversed: upright
            0x81, 0x2F, 0xD9, 0xF1, // brightness: current and pre-charge
        ]
    );
    assert_eq!(messages[1], [0x00, 0x21, 0x00, 0x7F, 0x22, 0x00, 0x07], "the whole memory");
    assert_eq!(messages[2].len(), 1025);
    assert_eq!(messages[2][0], 0x40);
    assert_eq!(messages[3], [0x00, 0xAF]);
    assert_eq!(messages.len(), 4);
}

#[test]
fn a_refresh_is_not_seen_and_heals_a_panel_that_lost_its_power() {
    let frame = page("14:32");
    let (bus, mut panel) = showing(&frame);
    bus.watch();
    panel.refresh(&frame).unwrap();
    assert_eq!(bus.seen().len(), 4, "set-up, where the picture goes, the picture, on");
    bus.seen().iter().for_each(|picture| assert_seen(picture, &frame));

    bus.power_dip();
    assert_eq!(panel.show(&frame), Ok(Sent::default()), "writes are acknowledged, nothing is noticed");
    assert!(bus.picture().is_dark());
    panel.refresh(&frame).unwrap();
    assert_seen(&bus.picture(), &frame);
}

#[test]
fn only_changes_travel() {
    let (bus, mut panel) = showing(&page("14:32"));
    let cost = |panel: &mut OledPanel<PretendBus>, frame: &Frame| {
        bus.take_messages();
        let sent = panel.show(frame).unwrap();
        let messages = bus.take_messages();
        let bytes = messages.iter().map(|message| 1 + message.len()).sum();
        assert_eq!(sent, Sent { messages: messages.len(), bytes }, "the count is what was on the bus");
        assert_seen(&bus.picture(), frame);
        sent.bytes
    };

    let nothing = cost(&mut panel, &page("14:32"));
    let one_digit = cost(&mut panel, &page("14:33"));
    let four_digits = cost(&mut panel, &page("20:00"));
    let mut inverted = page("20:00");
    inverted.invert(area(0, 0, 128, 64));
    let everything = cost(&mut panel, &inverted);
    let refresh = panel.refresh(&inverted).unwrap().bytes;
    println!(
        "bytes on the bus: no change {nothing}, one digit {one_digit}, four digits {four_digits}, whole picture \
         {everything}, set-up with whole picture {refresh}"
    );
    assert_eq!(nothing, 0);
    assert!(one_digit * 10 < WHOLE_FRAME, "{one_digit}");
    assert!(four_digits * 10 < WHOLE_FRAME, "{four_digits}");
    assert!(everything <= WHOLE_FRAME, "{everything}");
    assert_eq!(refresh, WHOLE_FRAME + 28 + 3);
}

#[test]
fn an_unplugged_panel_is_reported_and_comes_back_whole() {
    let (bus, mut panel) = showing(&page("14:32"));
    bus.unplug();
    for _ in 0..3 {
        assert_eq!(panel.show(&page("14:33")), Err(PanelFault::NotAnswering));
    }
    bus.replug();
    panel.show(&page("14:33")).unwrap();
    assert_seen(&bus.picture(), &page("14:33"));
}

#[test]
fn a_panel_at_the_other_address_is_not_found_at_this_one() {
    let bus = PretendBus::new();
    let mut panel = OledPanel::new(bus, PanelAddress::X3D, Module::ALL[0], Rotation::Upright, PanelFault::from_bus);
    assert_eq!(panel.show(&page("14:32")), Err(PanelFault::NotAnswering));
}

#[test]
fn a_transfer_cut_anywhere_leaves_no_trace_after_the_next_one() {
    let lengths: Vec<usize> = {
        let bus = PretendBus::new();
        let mut panel = panel_on(&bus);
        panel.show(&page("14:32")).unwrap();
        panel.show(&page("14:33")).unwrap();
        bus.take_messages().iter().map(Vec::len).collect()
    };
    for (message, length) in lengths.iter().enumerate() {
        for taken in (0..=*length).filter(|taken| *taken < 40 || taken % 97 == 0) {
            let bus = PretendBus::new();
            let mut panel = panel_on(&bus);
            bus.trouble_in(message, Trouble::Fault(ErrorKind::Bus, taken));
            let outcomes = ["14:32", "14:33"].map(|time| panel.show(&page(time)));
            assert!(outcomes.contains(&Err(PanelFault::BusStuck)));
            panel.show(&page("14:33")).unwrap();
            assert_seen(&bus.picture(), &page("14:33"));
        }
    }
}

#[test]
fn brightness_is_sent_once_outlives_a_power_dip_and_changes_no_pixel() {
    let frame = page("14:32");
    let bus = PretendBus::new();
    let mut panel = panel_on(&bus);
    assert_eq!(panel.set_brightness(Brightness::Night), Ok(Sent::default()), "the set-up will bring it");
    panel.show(&frame).unwrap();
    assert_eq!(bus.contrast(), 0x01);

    let first = panel.set_brightness(Brightness::Full).unwrap();
    let again = panel.set_brightness(Brightness::Full).unwrap();
    assert_eq!((first.messages, again), (1, Sent::default()));
    assert_eq!(bus.contrast(), 0xFF);
    assert_eq!(panel.show(&frame), Ok(Sent::default()), "what the glass shows is still known");

    bus.power_dip();
    panel.refresh(&frame).unwrap();
    assert_eq!(bus.contrast(), 0xFF);

    bus.trouble_in(0, Trouble::Fault(ErrorKind::ArbitrationLoss, 2));
    assert_eq!(panel.set_brightness(Brightness::Dim), Err(PanelFault::LostArbitration));
    panel.show(&frame).unwrap();
    assert_eq!(bus.contrast(), 0x2F);
    assert_seen(&bus.picture(), &frame);
}

#[test]
fn the_driver_says_nothing_the_datasheet_does_not_know() {
    let bus = PretendBus::new();
    let mut panel = panel_on(&bus);
    for level in [Brightness::Night, Brightness::Dim, Brightness::Bright, Brightness::Full] {
        panel.show(&page("14:32")).unwrap();
        panel.set_brightness(level).unwrap();
        panel.refresh(&page("14:33")).unwrap();
    }
    assert_eq!(bus.refusals(), [""; 0]);
}

/// Any sequence of pictures and faults: once a `show` said yes, the panel equals the frame. Only a loss of power that no
/// error tells of is beyond it, until the next refresh.
#[test]
fn after_any_weather_a_yes_means_the_panel_shows_the_frame() {
    let mut faults = 0;
    for seed in 0..200 {
        let mut dice = Dice(seed);
        let bus = PretendBus::new();
        let mut panel = panel_on(&bus);
        let mut frame = Frame::new(PanelSize::W128H64);
        for step in 0..20 {
            frame = dice.changed(&frame);
            let dip = dice.one_in(6);
            if dice.one_in(3) {
                let kinds = [
                    ErrorKind::Bus,
                    ErrorKind::ArbitrationLoss,
                    ErrorKind::NoAcknowledge(NoAcknowledgeSource::Data),
                    ErrorKind::Other,
                ];
                let kind = kinds[dice.below(4)];
                bus.trouble_in(dice.below(4), Trouble::Fault(kind, dice.below(1100)));
            }
            if dip {
                bus.power_dip();
            }
            if dice.one_in(8) {
                let level = [Brightness::Night, Brightness::Bright][dice.below(2)];
                faults += usize::from(panel.set_brightness(level).is_err());
            }
            // The agent refreshes after a loss of power; how soon is its business, so here it is at once.
            let mut outcome = if dip { panel.refresh(&frame) } else { panel.show(&frame) };
            while outcome.is_err() {
                faults += 1;
                outcome = panel.show(&frame);
            }
            assert!(is_seen(&bus.picture(), &frame), "seed {seed}, step {step}");
        }
    }
    assert!(faults > 500, "only {faults} faults: the weather was too fair to prove anything");
}

/// Repeatable chance.
struct Dice(u64);

impl Dice {
    fn below(&mut self, limit: usize) -> usize {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as usize % limit
    }

    fn one_in(&mut self, chances: usize) -> bool {
        self.below(chances) == 0
    }

    /// The frame with a few spots, a rectangle or everything changed, or nothing.
    fn changed(&mut self, frame: &Frame) -> Frame {
        let mut changed = frame.clone();
        match self.below(4) {
            0 => {}
            1 => (0..self.below(12)).for_each(|_| {
                let (x, y) = (self.below(128) as i32, self.below(64) as i32);
                changed.set(x, y, !frame.is_lit(x, y));
            }),
            2 => {
                let (x, y) = (self.below(128) as i32, self.below(64) as i32);
                changed.invert(area(x, y, self.below(60) as u32, self.below(40) as u32));
            }
            _ => changed.invert(area(0, 0, 128, 64)),
        }
        changed
    }
}
