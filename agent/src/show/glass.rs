//! The thread that owns the panel's bus. It takes the newest frame, never holds up who draws, and finds its way back
//! to a panel that was lost.

use crate::clock::{Clock, Moment};
use linux_embedded_hal::i2cdev::linux::LinuxI2CError;
use linux_embedded_hal::{I2CError, I2cdev};
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::thread::JoinHandle;
use std::time::Duration;
use traylight_config::{Brightness as WantedBrightness, Bus, Panel};
use traylight_display::{Brightness, Frame, Glass, GlassFault, Mounting, OledPanel, PanelAddress, Sent};

/// Waits between tries at a panel that does not answer; the last one is kept up.
const BACK_OFF: [Duration; 4] =
    [Duration::from_secs(1), Duration::from_secs(5), Duration::from_secs(30), Duration::from_secs(60)];
/// A panel that lost power for a moment answers again but shows nothing: it gets its set-up again this often.
const REFRESH: Duration = Duration::from_secs(60);

/// What the thread has to say.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Report {
    /// The panel shows what it was given, after it did not or for the first time.
    Found,
    /// The panel was lost, or never found; why, with the remedy.
    Lost(GlassFault),
}

/// The handle of the thread. Dropping it lets the thread show what it has and end.
pub struct PanelThread {
    frames: Option<Sender<Frame>>,
    thread: Option<JoinHandle<()>>,
}

impl PanelThread {
    /// Starts the thread for a configured panel; `None` when there is none to be. Reports go to `report`.
    pub fn start(panel: &Panel, clock: Clock, report: impl Fn(Report) + Send + 'static) -> Option<Self> {
        if panel.bus == Bus::None {
            return None;
        }
        let (frames, wanted) = channel();
        let panel = panel.clone();
        let work = move || Owner::new(panel, clock, Box::new(report)).run(&wanted);
        let thread = std::thread::Builder::new().name("panel".to_owned()).spawn(work).ok();
        Some(Self { frames: Some(frames), thread })
    }

    /// Hands over a frame; an older one that was not shown yet is passed over.
    pub fn show(&self, frame: Frame) {
        if let Some(frames) = &self.frames {
            // The thread ends only with this handle.
            let _ = frames.send(frame);
        }
    }

    /// Shows a last frame and waits until the thread has ended. A transfer that hangs is ended by the kernel's own
    /// time limit of the bus.
    pub fn finish(mut self, last: Frame) {
        self.show(last);
        self.frames = None;
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

struct Owner {
    wanted: Panel,
    clock: Clock,
    report: Box<dyn Fn(Report)>,
    glass: Option<OledPanel<I2cdev>>,
    failures: usize,
    /// When a lost panel is tried again.
    again_at: Option<Moment>,
    told_lost: bool,
    told_found: bool,
    refreshed: Option<Moment>,
}

impl Owner {
    fn new(wanted: Panel, clock: Clock, report: Box<dyn Fn(Report)>) -> Self {
        Self {
            wanted,
            clock,
            report,
            glass: None,
            failures: 0,
            again_at: None,
            told_lost: false,
            told_found: false,
            refreshed: None,
        }
    }

    fn run(&mut self, frames: &Receiver<Frame>) {
        let mut newest: Option<Frame> = None;
        loop {
            // While the panel answers, only a new frame is a reason to wake; while it does not, time is one too.
            let next = match self.again_at {
                Some(again_at) => frames.recv_timeout(again_at.since(self.clock.now())),
                None => frames.recv().map_err(|_| RecvTimeoutError::Disconnected),
            };
            match next {
                Ok(frame) => newest = Some(frames.try_iter().last().unwrap_or(frame)),
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => return,
            }
            // Frames that come while a lost panel is left alone are kept for the next try.
            if self.again_at.is_none_or(|again_at| again_at <= self.clock.now()) {
                if let Some(frame) = &newest {
                    self.try_to_show(frame);
                }
            }
        }
    }

    fn try_to_show(&mut self, frame: &Frame) {
        match self.show(frame) {
            Ok(_) => {
                if !self.told_found {
                    (self.report)(Report::Found);
                }
                (self.failures, self.again_at, self.told_lost, self.told_found) = (0, None, false, true);
            }
            Err(fault) => {
                self.glass = None;
                let wait = BACK_OFF[self.failures.min(BACK_OFF.len() - 1)];
                self.again_at = Some(self.clock.now().plus(wait));
                self.failures += 1;
                if !self.told_lost {
                    (self.report)(Report::Lost(fault));
                }
                (self.told_lost, self.told_found) = (true, false);
            }
        }
    }

    fn show(&mut self, frame: &Frame) -> Result<Sent, GlassFault> {
        let now = self.clock.now();
        let due = self.refreshed.is_none_or(|last| now.since(last) >= REFRESH);
        let brightness = match self.wanted.brightness {
            WantedBrightness::Dim => Brightness::Dim,
            WantedBrightness::Normal => Brightness::Bright,
            WantedBrightness::Bright => Brightness::Full,
        };
        let glass = match &mut self.glass {
            Some(glass) => glass,
            None => {
                let glass = self.glass.insert(open(&self.wanted)?);
                glass.set_brightness(brightness)?;
                glass
            }
        };
        if due {
            self.refreshed = Some(now);
            glass.refresh(frame)
        } else {
            glass.show(frame)
        }
    }
}

fn open(panel: &Panel) -> Result<OledPanel<I2cdev>, GlassFault> {
    let path = match &panel.bus {
        Bus::Path(path) => PathBuf::from(path),
        Bus::AdapterName(name) => adapter(name)?,
        Bus::None => return Err(GlassFault::NoBus),
    };
    let bus = I2cdev::new(&path).map_err(|error| explained(&error))?;
    let address = if panel.address == 0x3d { PanelAddress::X3D } else { PanelAddress::X3C };
    let mounting = if panel.upside_down { Mounting::UpsideDown } else { Mounting::Upright };
    Ok(OledPanel::new(bus, address, mounting, |error: &I2CError| explained(error.inner())))
}

fn explained(error: &LinuxI2CError) -> GlassFault {
    match error {
        LinuxI2CError::Errno(number) => GlassFault::from_io(&std::io::Error::from_raw_os_error(*number)),
        LinuxI2CError::Io(error) => GlassFault::from_io(error),
    }
}

/// The device of the adapter with this name: numbers of buses move between boots, names do not.
#[allow(clippy::disallowed_methods, reason = "the panel's bus is this thread's own edge")]
fn adapter(name: &str) -> Result<PathBuf, GlassFault> {
    let folder = Path::new("/sys/class/i2c-dev");
    let entries = std::fs::read_dir(folder).map_err(|error| GlassFault::from_io(&error))?;
    let wears = |folder: &PathBuf| std::fs::read_to_string(folder.join("name")).is_ok_and(|found| found.trim() == name);
    let found = entries.filter_map(|entry| Some(entry.ok()?.path())).find(wears).ok_or(GlassFault::NoBus)?;
    Ok(Path::new("/dev").join(found.file_name().unwrap_or_default()))
}
