//! The panel in foul weather: whatever happens on the wire, the panel comes to show the newest picture, and every case is
//! told once with its remedy.

#![allow(clippy::unwrap_used, reason = "a failing step fails the test")]

use proptest::prelude::*;
use std::time::Duration;
use traylight::clock::Moment;
use traylight::show::care::Picture;
use traylight::show::panel::upkeep::{Upkeep, UpkeepEvent, time_on_bus};
use traylight_display::embedded_hal::i2c::{ErrorKind, NoAcknowledgeSource};
use traylight_display::{
    Brightness, Frame, Module, OledPanel, PanelAddress, PanelFault, PanelSize, Rotation, Sent, area,
};
use traylight_tests::pretend_bus::{PretendBus, Trouble};

fn upkeep(bus: &PretendBus, module: Module, khz: u32) -> Upkeep<OledPanel<PretendBus>> {
    let bus = bus.clone();
    let open = move || {
        let bus = bus.clone();
        Ok(OledPanel::new(bus, PanelAddress::X3C, module, Rotation::Upright, PanelFault::from_bus))
    };
    Upkeep::new(open, khz)
}

fn picture(frame: &Frame) -> Picture {
    Picture { frame: frame.clone(), brightness: Brightness::Dim }
}

fn is_seen(bus: &PretendBus, frame: &Frame) -> bool {
    let seen = bus.picture();
    let (width, height) = seen.size();
    (0..width).all(|x| (0..height).all(|y| seen.is_lit(x, y) == frame.is_lit(x as i32, y as i32)))
}

fn at(seconds: f64) -> Moment {
    Moment::after_boot(Duration::from_secs_f64(1000.0 + seconds))
}

fn spot(x: i32) -> Frame {
    let mut frame = Frame::new(PanelSize::W128H64);
    frame.invert(area(x, 8, 10, 10));
    frame
}

#[test]
fn a_lost_panel_is_tried_every_few_seconds_told_once_and_found_again() {
    let bus = PretendBus::new();
    let mut upkeep = upkeep(&bus, Module::ALL[0], 100);
    assert_eq!(upkeep.due(), None, "no picture, nothing to do");
    upkeep.take(picture(&spot(0)));
    assert_eq!(upkeep.tend(at(0.0)), Some(UpkeepEvent::Found));
    assert!(is_seen(&bus, &spot(0)));

    bus.unplug();
    upkeep.take(picture(&spot(20)));
    assert_eq!(upkeep.tend(at(10.0)), Some(UpkeepEvent::Lost(PanelFault::NotAnswering)));
    let mut now = 10.0;
    for wait in [1.0, 2.0, 5.0, 5.0, 5.0] {
        assert_eq!(upkeep.due(), Some(at(now + wait)));
        upkeep.take(picture(&spot(21)));
        assert_eq!(upkeep.tend(at(now + wait - 0.1)), None, "it is left alone until then");
        now += wait;
        assert_eq!(upkeep.tend(at(now)), None, "told once");
    }
    bus.replug();
    upkeep.take(picture(&spot(40)));
    assert_eq!(upkeep.tend(at(now + 5.0)), Some(UpkeepEvent::Found));
    assert!(is_seen(&bus, &spot(40)), "the newest, not the first that was missed");
}

#[test]
fn another_reason_is_told_even_while_the_panel_is_lost() {
    let bus = PretendBus::new();
    let mut upkeep = upkeep(&bus, Module::ALL[0], 100);
    upkeep.take(picture(&spot(0)));
    let mut told = Vec::new();
    for (second, kind) in
        [(0, ErrorKind::Bus), (1, ErrorKind::Bus), (3, ErrorKind::ArbitrationLoss), (8, ErrorKind::Bus)]
    {
        bus.trouble_in(0, Trouble::Fault(kind, 3));
        told.extend(upkeep.tend(at(f64::from(second))));
    }
    assert_eq!(told, [UpkeepEvent::Lost(PanelFault::BusStuck), UpkeepEvent::Lost(PanelFault::LostArbitration)]);
}

#[test]
fn a_panel_that_lost_its_power_unseen_is_whole_within_10_seconds_and_at_once_when_told() {
    let bus = PretendBus::new();
    let mut upkeep = upkeep(&bus, Module::ALL[0], 100);
    upkeep.take(picture(&spot(0)));
    upkeep.tend(at(0.0));
    bus.power_dip();
    assert_eq!(upkeep.due(), Some(at(10.0)), "nobody has said so, and no new picture comes");
    upkeep.tend(at(10.0));
    assert!(is_seen(&bus, &spot(0)));

    bus.power_dip();
    upkeep.distrust();
    upkeep.tend(at(62.0));
    assert!(is_seen(&bus, &spot(0)));

    bus.watch();
    upkeep.tend(at(122.0));
    assert!(!bus.seen().is_empty());
    bus.seen().iter().for_each(|seen| assert_eq!(seen, &bus.picture(), "a set-up over a lit panel is not seen"));
}

/// UM10204, section 3.1.5: nine clocks a byte. A frame of 1,034 bytes is 93 ms at 100 kHz.
#[test]
fn after_a_transfer_the_bus_rests_as_long_as_it_was_busy() {
    let whole = Sent { messages: 2, bytes: 1034 };
    assert_eq!(time_on_bus(whole, 100), Duration::from_micros(93_060));
    assert_eq!(time_on_bus(whole, 400), Duration::from_micros(23_265));
    for khz in [100, 400] {
        let bus = PretendBus::new();
        let mut upkeep = upkeep(&bus, Module::ALL[0], khz);
        upkeep.take(picture(&spot(0)));
        upkeep.tend(at(0.0));
        let bytes = bus.take_messages().iter().map(|message| message.len() + 1).sum();
        let busy = time_on_bus(Sent { messages: 0, bytes }, khz);
        upkeep.take(picture(&spot(9)));
        upkeep.take(picture(&spot(30)));
        assert_eq!(upkeep.due(), Some(at(0.0).plus(2 * busy)));
        assert_eq!(upkeep.tend(at(0.0).plus(busy)), None);
        assert!(is_seen(&bus, &spot(0)));
        upkeep.tend(at(0.0).plus(2 * busy));
        assert!(is_seen(&bus, &spot(30)));
        upkeep.take(picture(&spot(50)));
        upkeep.finish(at(0.0).plus(2 * busy));
        assert!(is_seen(&bus, &spot(50)), "the last picture does not wait");
    }
}

/// What may happen.
#[derive(Debug, Clone)]
enum Step {
    Draw(i32, i32, u32, u32),
    Brightness(bool),
    Fault(usize, usize, usize),
    Unplug,
    Replug,
    PowerDip { told: bool },
    Wait(u16),
}

fn steps() -> impl Strategy<Value = Vec<Step>> {
    let step = prop_oneof![
        4 => (0..120i32, 0..60i32, 1..60u32, 1..40u32).prop_map(|(x, y, w, h)| Step::Draw(x, y, w, h)),
        1 => any::<bool>().prop_map(Step::Brightness),
        3 => (0..5usize, 0..4usize, 0..1100usize).prop_map(|(soon, kind, taken)| Step::Fault(soon, kind, taken)),
        1 => Just(Step::Unplug),
        2 => Just(Step::Replug),
        2 => any::<bool>().prop_map(|told| Step::PowerDip { told }),
        4 => (0..20_000u16).prop_map(Step::Wait),
    ];
    proptest::collection::vec(step, 1..40)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    /// Any pictures, errors at any byte, power lost and plugs pulled: whenever a set-up went through, the panel equals the
    /// newest picture; and once nothing lies ahead but fair weather, it comes to.
    #[test]
    fn in_the_end_the_panel_shows_the_newest_picture(module in 0..Module::ALL.len(), steps in steps()) {
        let module = Module::ALL[module];
        let bus = PretendBus::with(module);
        let mut upkeep = upkeep(&bus, module, 400);
        let mut frame = Frame::new(module.size());
        let mut now = at(0.0);
        let mut plugged = true;
        upkeep.take(picture(&frame));
        for step in steps.into_iter().chain([Step::Replug]) {
            match step {
                Step::Draw(x, y, width, height) => {
                    frame.invert(area(x, y, width, height));
                    upkeep.take(picture(&frame));
                }
                Step::Brightness(full) => {
                    let brightness = if full { Brightness::Full } else { Brightness::Night };
                    upkeep.take(Picture { frame: frame.clone(), brightness });
                }
                Step::Fault(soon, kind, taken) => {
                    let source = NoAcknowledgeSource::Data;
                    let kinds = [
                        ErrorKind::Bus, ErrorKind::ArbitrationLoss, ErrorKind::NoAcknowledge(source), ErrorKind::Other
                    ];
                    bus.trouble_in(soon, Trouble::Fault(kinds[kind], taken));
                }
                Step::Unplug => {
                    bus.unplug();
                    plugged = false;
                }
                Step::Replug if !plugged => {
                    bus.replug();
                    plugged = true;
                }
                Step::Replug => {}
                Step::PowerDip { told } => {
                    bus.power_dip();
                    if told {
                        upkeep.distrust();
                    }
                }
                Step::Wait(milliseconds) => now = now.plus(Duration::from_millis(milliseconds.into())),
            }
            bus.take_messages();
            upkeep.tend(now);
            if bus.take_messages().last().is_some_and(|message| message == &[0x00, 0xAF]) {
                prop_assert!(is_seen(&bus, &frame), "after a set-up of {module:?}\n{:?}\n{frame:?}", bus.picture());
            }
        }
        // Faults that still lie ahead are used up; each costs at most one try.
        for _ in 0..60 {
            now = now.plus(Duration::from_secs(61));
            upkeep.tend(now);
        }
        prop_assert!(is_seen(&bus, &frame), "{module:?}\n{:?}\n{frame:?}", bus.picture());
    }
}
