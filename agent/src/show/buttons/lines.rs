//! Lines of GPIO chips, through the kernel's character device (include/uapi/linux/gpio.h, version 2, which takes the bouncing
//! out of contacts).

use super::{Button, Said};
use gpiocdev::Request;
use gpiocdev::chip::{Chip, chips};
use gpiocdev::line::{Bias, EdgeDetection, EdgeKind};
use std::path::PathBuf;
use std::time::Duration;
use tokio::sync::mpsc::UnboundedSender;
use traylight_config as config;

/// Contacts of common buttons bounce for some milliseconds; nobody presses twice in so short a time.
const BOUNCE: Duration = Duration::from_millis(20);

/// Listens to one button until the program ends.
pub(super) fn listen(button: config::Button, said: UnboundedSender<Said>) {
    let which = format!("the button on line {} of {}", button.line, button.chip);
    let (unheard, also) = (said.clone(), which.clone());
    let work = move || {
        if let Err(why) = hear(&button, &said) {
            let _ = said.send(Said::Unheard(format!("{which}: {why}")));
        }
    };
    // Without a thread there is no button, and everything else goes on.
    if let Err(error) = std::thread::Builder::new().name("button".to_owned()).spawn(work) {
        let _ = unheard.send(Said::Unheard(format!("{also}: found \"{error}\", wanted a thread to hear it")));
    }
}

fn hear(settings: &config::Button, said: &UnboundedSender<Said>) -> Result<(), String> {
    let chip = chip(&settings.chip).ok_or("there is no GPIO chip of that name")?;
    let mut wanted = Request::builder();
    wanted.on_chip(chip).with_consumer("traylight").with_line(settings.line).as_input();
    if settings.pressed_is_low {
        wanted.as_active_low().with_bias(Bias::PullUp);
    } else {
        wanted.as_active_high().with_bias(Bias::PullDown);
    }
    wanted.with_debounce_period(BOUNCE).with_edge_detection(EdgeDetection::BothEdges);
    let lines = wanted.request().map_err(|error| error.to_string())?;
    let mut button = Button::new(settings.does);
    for event in lines.edge_events() {
        let event = event.map_err(|error| error.to_string())?;
        let intent = button.hear(event.kind == EdgeKind::Rising, Duration::from_nanos(event.timestamp_ns));
        if intent.is_some_and(|intent| said.send(Said::Wanted(intent)).is_err()) {
            break;
        }
    }
    Ok(())
}

/// The device of a chip by its label: numbers move between boots, labels do not.
fn chip(name: &str) -> Option<PathBuf> {
    if name.starts_with('/') {
        return Some(PathBuf::from(name));
    }
    let wears =
        |path: &PathBuf| Chip::from_path(path).and_then(|chip| chip.info()).is_ok_and(|info| info.label == name);
    chips().ok()?.into_iter().find(wears)
}
