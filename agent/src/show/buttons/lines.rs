//! Lines of GPIO chips, through the kernel's character device (include/uapi/linux/gpio.h, version 2, which takes the bouncing
//! out of contacts).

use super::press::{ButtonEvent, PressedButton};
use gpiocdev::Request;
use gpiocdev::chip::{Chip, chips};
use gpiocdev::line::{Bias, EdgeDetection, EdgeKind};
use rustix::event::{PollFd, PollFlags, poll};
use std::io;
use std::os::unix::net::UnixStream;
use std::path::PathBuf;
use std::thread::JoinHandle;
use std::time::Duration;
use tokio::sync::mpsc::UnboundedSender;
use traylight_config::Button;

/// Contacts of common buttons bounce for some milliseconds; nobody presses twice in so short a time.
const BOUNCE: Duration = Duration::from_millis(20);

/// A button that is listened to.
pub(super) struct Listening {
    /// The other end is readable once this one is closed.
    stop: Option<UnixStream>,
    thread: Option<JoinHandle<()>>,
}

impl Listening {
    /// Starts to listen.
    pub(super) fn start(button: Button, which: String, said: UnboundedSender<ButtonEvent>) -> io::Result<Self> {
        let (stop, stopped) = UnixStream::pair()?;
        let work = move || {
            if let Err(why) = watch(&button, &stopped, &said) {
                let _ = said.send(ButtonEvent::Unavailable(format!("{which}: {why}")));
            }
        };
        let thread = std::thread::Builder::new().name("button".to_owned()).spawn(work)?;
        Ok(Self { stop: Some(stop), thread: Some(thread) })
    }
}

impl Drop for Listening {
    fn drop(&mut self) {
        self.stop = None;
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

fn watch(settings: &Button, stopped: &UnixStream, said: &UnboundedSender<ButtonEvent>) -> Result<(), String> {
    let chip = chip(&settings.chip).ok_or("no GPIO chip of this name")?;
    let mut wanted = Request::builder();
    wanted.on_chip(chip).with_consumer("traylight").with_line(settings.line).as_input();
    if settings.active_low {
        wanted.as_active_low().with_bias(Bias::PullUp);
    } else {
        wanted.as_active_high().with_bias(Bias::PullDown);
    }
    wanted.with_debounce_period(BOUNCE).with_edge_detection(EdgeDetection::BothEdges);
    let lines = wanted.request().map_err(|error| error.to_string())?;
    let mut button = PressedButton::new(settings.action);
    while pressed_before(&lines, stopped).map_err(|error| error.to_string())? {
        let event = lines.read_edge_event().map_err(|error| error.to_string())?;
        let intent = button.edge(event.kind == EdgeKind::Rising, Duration::from_nanos(event.timestamp_ns));
        if intent.is_some_and(|intent| said.send(ButtonEvent::Wanted(intent)).is_err()) {
            break;
        }
    }
    Ok(())
}

/// Waits until the line has an event, or until nobody listens any more: then false.
fn pressed_before(lines: &Request, stopped: &UnixStream) -> rustix::io::Result<bool> {
    loop {
        let mut waited = [PollFd::new(lines, PollFlags::IN), PollFd::new(stopped, PollFlags::IN)];
        match poll(&mut waited, None) {
            Err(rustix::io::Errno::INTR) => {}
            polled => return polled.map(|_| waited[1].revents().is_empty()),
        }
    }
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
