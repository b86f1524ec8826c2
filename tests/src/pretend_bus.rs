//! A pretend I2C bus with a pretend panel on it, for tests: it records what passes and fails when told to.
//!
//! What the panel does with the bytes is in `pretend_panel`.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use traylight_display::Module;
use traylight_display::embedded_hal::i2c::{Error, ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};

use crate::pretend_panel::{Picture, PretendPanel};

/// A bus with a panel at 0x3C. Its clones are the same bus: one for the driver, one for the test.
#[derive(Clone)]
pub struct PretendBus(Arc<Mutex<Inside>>);

/// What goes wrong with a transfer.
#[derive(Debug, Clone, Copy)]
pub enum Trouble {
    /// The transfer fails with this kind of error after the panel took so many bytes of the message.
    Fault(ErrorKind, usize),
    /// The panel loses power and gets it back just before. The transfer itself succeeds.
    PowerDip,
}

/// The error of the pretend bus.
#[derive(Debug, Clone, Copy)]
pub struct BusError(ErrorKind);

struct Inside {
    panel: PretendPanel,
    transfers: usize,
    troubles: BTreeMap<usize, Trouble>,
    unplugged: bool,
    messages: Vec<Vec<u8>>,
    refusals: Vec<String>,
    watched: Option<Vec<Picture>>,
}

impl PretendBus {
    /// A bus without faults, with the usual panel that was just given power.
    #[allow(clippy::new_without_default, reason = "the panel has no default either")]
    pub fn new() -> PretendBus {
        PretendBus::with(Module::ALL[0])
    }

    /// A bus without faults, with this module that was just given power.
    pub fn with(module: Module) -> PretendBus {
        PretendBus(Arc::new(Mutex::new(Inside {
            panel: PretendPanel::of(module),
            transfers: 0,
            troubles: BTreeMap::new(),
            unplugged: false,
            messages: Vec::new(),
            refusals: Vec::new(),
            watched: None,
        })))
    }

    /// Lets a coming transfer go wrong; 0 is the next one.
    pub fn trouble_in(&self, transfers: usize, trouble: Trouble) {
        let mut inside = self.inside();
        let at = inside.transfers + transfers;
        inside.troubles.insert(at, trouble);
    }

    /// Takes the panel off the bus, and its power with it.
    pub fn unplug(&self) {
        self.inside().unplugged = true;
    }

    /// Puts the panel back: it answers, and has forgotten everything.
    pub fn replug(&self) {
        let mut inside = self.inside();
        inside.unplugged = false;
        inside.panel.power_cycle();
    }

    /// Takes the panel's power away for a moment. It goes on answering.
    pub fn power_dip(&self) {
        self.inside().panel.power_cycle();
    }

    /// What is seen on the panel now.
    pub fn picture(&self) -> Picture {
        self.inside().panel.picture()
    }

    /// The panel's contrast register.
    pub fn contrast(&self) -> u8 {
        self.inside().panel.contrast()
    }

    /// The messages that were acknowledged since last asked, without their address.
    pub fn take_messages(&self) -> Vec<Vec<u8>> {
        std::mem::take(&mut self.inside().messages)
    }

    /// What the panel refused to understand so far. (A real one acknowledges it all the same.)
    pub fn refusals(&self) -> Vec<String> {
        self.inside().refusals.clone()
    }

    /// From now on keeps what is seen after every message.
    pub fn watch(&self) {
        self.inside().watched = Some(Vec::new());
    }

    /// What was seen since `watch`, one picture a message.
    pub fn seen(&self) -> Vec<Picture> {
        self.inside().watched.clone().unwrap_or_default()
    }

    fn inside(&self) -> MutexGuard<'_, Inside> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Inside {
    fn transfer(&mut self, address: u8, message: &[u8]) -> Result<(), ErrorKind> {
        let trouble = self.troubles.remove(&self.transfers);
        self.transfers += 1;
        if address != 0x3C || self.unplugged {
            return Err(ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address));
        }
        match trouble {
            Some(Trouble::Fault(kind, taken)) => {
                self.deliver(&message[..taken.min(message.len())]);
                return Err(kind);
            }
            Some(Trouble::PowerDip) => self.panel.power_cycle(),
            None => {}
        }
        self.deliver(message);
        self.messages.push(message.to_vec());
        Ok(())
    }

    fn deliver(&mut self, message: &[u8]) {
        self.refusals.extend(self.panel.write(message).err());
        if let Some(watched) = &mut self.watched {
            watched.push(self.panel.picture());
        }
    }
}

impl Error for BusError {
    fn kind(&self) -> ErrorKind {
        self.0
    }
}

impl ErrorType for PretendBus {
    type Error = BusError;
}

impl I2c for PretendBus {
    /// Each write is a message of its own, as Linux sends them, repeated start and all.
    fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), BusError> {
        let mut inside = self.inside();
        operations.iter().try_for_each(|operation| match operation {
            Operation::Write(message) => inside.transfer(address, message).map_err(BusError),
            Operation::Read(_) => Err(BusError(ErrorKind::Other)),
        })
    }
}
