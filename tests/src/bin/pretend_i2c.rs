//! `pretend-i2c NAME FOLDER`: is the device file `/dev/NAME` of an I2C bus with the pretend panel at address 0x3C.
//! Needs the kernel's `cuse` module, and root.
//!
//! What happens is seen and steered through files in FOLDER:
//!
//! | file | by | means |
//! |---|---|---|
//! | `picture` | this program | what somebody in front of the panel sees, as text |
//! | `bytes` | this program | bytes that the panel has taken so far, without addresses |
//! | `complaints` | this program | writes that the panel's datasheet does not explain, one a line |
//! | `unplugged` | the test | while it is there nothing answers; afterwards the panel is fresh from the box |
//! | `powercycle` | the test | the panel loses its power for a moment; this program takes the file away when done |
//!
//! Not its job: the kernel's messages (`cuse.rs`), I2C's ioctls (`i2c_device.rs`), the panel (`pretend_panel`).
#![allow(clippy::disallowed_methods, reason = "a program of the tests: files are its inputs and outputs")]

use std::fs::{self, File, OpenOptions};
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use traylight_tests::cuse::{READ_BUFFER, Request};
use traylight_tests::i2c_device::{Bus, EREMOTEIO, I2cDevice};
use traylight_tests::pretend_panel::PretendPanel;

const PANEL_ADDRESS: u16 = 0x3C;

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [name, folder] = arguments.as_slice() else {
        eprintln!("usage: pretend-i2c NAME FOLDER");
        return ExitCode::from(2);
    };
    match serve(name, Path::new(folder)) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("pretend-i2c: {error}");
            ExitCode::FAILURE
        }
    }
}

/// Answers the kernel until it takes the device away.
fn serve(name: &str, folder: &Path) -> io::Result<()> {
    fs::create_dir_all(folder)?;
    let mut kernel = OpenOptions::new().read(true).write(true).open("/dev/cuse")?;
    let mut device = I2cDevice::new(name, Bench::new(folder)?);
    let mut buffer = vec![0; READ_BUFFER];
    loop {
        let len = kernel.read(&mut buffer)?;
        if len == 0 {
            return Ok(());
        }
        let request = Request::from_bytes(&buffer[..len]).map_err(io::Error::other)?;
        if let Some(reply) = device.answer(&request.call) {
            match kernel.write_all(&reply.to_bytes(request.unique)) {
                // The caller was killed while it waited: nobody wants this reply any more.
                Err(error) if error.kind() == io::ErrorKind::NotFound => {}
                other => other?,
            }
        }
    }
}

/// The panel on the bench, and the folder through which it is watched.
struct Bench {
    folder: PathBuf,
    panel: PretendPanel,
    plugged: bool,
    bytes: u64,
    shown: String,
}

impl Bench {
    fn new(folder: &Path) -> io::Result<Self> {
        let mut bench =
            Self { folder: folder.into(), panel: PretendPanel::new(), plugged: true, bytes: 0, shown: String::new() };
        bench.keep_picture()?;
        Ok(bench)
    }

    fn take(&mut self, bytes: &[u8]) -> io::Result<bool> {
        let plugged = !self.folder.join("unplugged").exists();
        let powercycle = self.folder.join("powercycle");
        let cycled = powercycle.exists();
        if cycled || (plugged && !self.plugged) {
            self.panel.power_cycle();
        }
        if cycled {
            fs::remove_file(powercycle)?;
        }
        self.plugged = plugged;
        if plugged {
            if let Err(complaint) = self.panel.write(bytes) {
                let mut complaints = File::options().create(true).append(true).open(self.folder.join("complaints"))?;
                writeln!(complaints, "{complaint}")?;
            }
            self.bytes += bytes.len() as u64;
            self.replace("bytes", &format!("{}\n", self.bytes))?;
        }
        self.keep_picture()?;
        Ok(plugged)
    }

    fn keep_picture(&mut self) -> io::Result<()> {
        let seen = if self.plugged { self.panel.picture().to_text() } else { String::new() };
        if seen != self.shown || self.bytes == 0 {
            self.replace("picture", &seen)?;
            self.shown = seen;
        }
        Ok(())
    }

    /// Writes a file so that a reader finds the old text or the new one, never half of either.
    fn replace(&self, name: &str, text: &str) -> io::Result<()> {
        let fresh = self.folder.join(format!("{name}.fresh"));
        fs::write(&fresh, text)?;
        fs::rename(fresh, self.folder.join(name))
    }
}

impl Bus for Bench {
    fn write(&mut self, address: u16, bytes: &[u8]) -> Result<(), i32> {
        if address != PANEL_ADDRESS {
            return Err(EREMOTEIO);
        }
        match self.take(bytes) {
            Ok(true) => Ok(()),
            Ok(false) => Err(EREMOTEIO),
            Err(error) => {
                eprintln!("pretend-i2c: {} cannot be kept: {error}", self.folder.display());
                Err(EREMOTEIO)
            }
        }
    }
}
