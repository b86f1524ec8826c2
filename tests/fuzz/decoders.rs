//! Bytes that a search by coverage made up, for every decoder of what drives and the kernel say, and for whole sessions
//! with drives. Nothing may panic, no number may overflow, and what no drive may make happen must not happen. The first
//! byte chooses; the rest is what is said.

#![no_main]

use libfuzzer_sys::fuzz_target;
use traylight::probe::wire::Decoder;
use traylight::reading::{Missing, Power, Reason, SelfTestStep, Snapshot};
use traylight::sense::ask::ata::AtaDrive;
use traylight::sense::ask::command::{Ata, Command, Nvme, Scsi};
use traylight::sense::ask::nvme::NvmeDrive;
use traylight::sense::ask::scsi::ScsiDrive;
use traylight::sense::ask::{Failure, Reply, Told, Transport, Wanted};
use traylight::sense::parse::kernel_log::lines::LogReader;
use traylight::sense::parse::named::disk_of;
use traylight::sense::parse::quirks::{Quirks, is_weak_serial};
use traylight::sense::parse::scsi::sense_data::{Answering, sense};
use traylight::sense::parse::{ata, bytes, counter, kernel_log, md, mounts, nvme, plain, scsi, sysfs};
use traylight::units::Celsius;

fuzz_target!(|said: &[u8]| {
    let Some((&choice, said)) = said.split_first() else { return };
    match choice {
        0 => sense_data(said),
        1 => ata_pages(said),
        2 => ata_pages(&summed(said)),
        3 => scsi_pages(said),
        4 => nvme_pages(said),
        5 => texts(said),
        6 => messages(said),
        7..=9 => sessions(choice - 7, said),
        10 => kernel_log(said),
        _ => {}
    }
});

fn sense_data(said: &[u8]) {
    for answering in [Answering::Scsi, Answering::Bridge, Answering::Kernel] {
        if let Ok(told) = sense(said, answering) {
            let _ = (told.meaning(), ata::smart::overall(&told), ata::recovery::recovery_limit(&told));
            let _ = scsi::power::scsi_power(&told);
            if ata::power::power_mode(&told).is_ok() {
                assert!(told.carried_out().is_ok(), "a power mode without registers that can be believed");
            }
        }
    }
}

/// The bytes with the last of each page of 512 set so that the sum is right; no search finds that by itself.
fn summed(said: &[u8]) -> Vec<u8> {
    let mut pages = said.to_vec();
    for page in pages.chunks_exact_mut(512) {
        page[511] = bytes::sum(&page[..511]).wrapping_neg();
    }
    pages
}

fn ata_pages(said: &[u8]) {
    if let Ok(drive) = ata::identify::identify(said) {
        assert!(drive.serial.or(drive.model).is_some_and(|text| !text.chars().any(char::is_control)));
    }
    if let Ok(data) = ata::smart::smart_data(said) {
        let mut counters = ata::attributes::counters(&data.attributes, "Songbird HB4000");
        counter::drop_contradicted_hours(&mut counters);
        if let Ok(limits) = ata::smart::thresholds(said) {
            data.attributes.iter().for_each(|attribute| _ = limits.standing(attribute));
        }
    }
    let _ = (ata::logs::directory(said), ata::logs::phy_events(said), ata::statistics::supported_pages(said));
    let _ = (ata::sct::sct_status(said), ata::errors::summary(said), ata::self_test::log(said));
    let _ = (ata::self_test::pages_to_the_newest(said), ata::self_test::extended_log(said));
    for number in 0..=8 {
        let _ = ata::statistics::counters(said, number);
        let _ = (ata::errors::extended(said, number.into()), ata::errors::extended_entry(said, number.into()));
    }
}

fn scsi_pages(said: &[u8]) {
    let _ = (scsi::logs::supported_pages(said), scsi::logs::temperature(said), scsi::logs::exceptions(said));
    let _ = (scsi::logs::start_stop(said), scsi::logs::wear(said), scsi::errors::scan(said));
    let _ = (scsi::errors::self_tests(said), scsi::errors::phy_errors(said));
    for code in [0x02, 0x03, 0x05] {
        let _ = scsi::errors::error_counters(said, code);
    }
    let _ = (scsi::vpd::serial(said), scsi::vpd::world_wide_name(said), scsi::vpd::ata_drive(said));
}

fn nvme_pages(said: &[u8]) {
    let _ = (nvme::identify::controller(said), nvme::logs::self_tests(said), nvme::logs::newest_error(said));
    if let Ok(health) = nvme::health::health(said) {
        assert!(health.counters().iter().all(|counter| counter.value >= 0));
    }
}

fn texts(said: &[u8]) {
    mounts::mountinfo::volumes(mounts::mountinfo::mounts(said));
    let text = &*String::from_utf8_lossy(said);
    let _ = (sysfs::udev::properties(text), sysfs::block::stat(text), sysfs::block::in_flight(text), is_weak_serial(text));
    let _ = (md::array::running(text), md::array::member_count(text), md::array::slot(text), md::array::member_state(text, md::array::slot(text).ok().flatten()));
    let mut lines = text.lines();
    let action = lines.next().and_then(|line| md::array::action(line).ok());
    let _ = action.map(|action| md::array::activity(action, lines.next(), lines.next()));
    let _ = (md::array::missing(text, md::array::MOST_MEMBERS), md::layout::raid10(text, 4));
    let _ = (sysfs::hwmon::drive_temperature(text, Some(Celsius(100.0))), sysfs::hwmon::board_temperature(text));
    let _ = (sysfs::hwmon::speed(text), sysfs::hwmon::duty(text), sysfs::hwmon::potential(text), sysfs::hwmon::drive_limit(text));
    let names: Vec<&str> = text.split('/').collect();
    let _ = sysfs::place::place(&names, sysfs::place::Ata { port_no: Some(1), multiplied: text.len() % 2 == 0 });
    assert!(plain::device_text(text).is_none_or(|shown| !shown.chars().any(char::is_control)));
    assert!(plain::quoted(text).chars().count() < 400);
}

/// Records of the kernel's log, one after another with a NUL between them, and the same bytes as a message of its.
fn kernel_log(said: &[u8]) {
    let mut lines = LogReader::default();
    for bytes in said.split(|byte| *byte == 0) {
        if let Ok(record) = kernel_log::record::record(bytes) {
            assert!(!record.text.chars().any(char::is_control));
            assert!(record.facility == 0 || !kernel_log::record::may_be_the_kernels(bytes), "{record:?}");
        }
        let told = lines.take(bytes);
        assert!(told.len() <= 5, "{told:?}");
    }
    let _ = (sysfs::uevent::is_worth_a_look(0, said), sysfs::uevent::event(0, said));
    let text = &*String::from_utf8_lossy(said);
    assert!(text.starts_with(disk_of(text)));
}

fn messages(said: &[u8]) {
    let mut decoder = Decoder::default();
    for piece in said.chunks(7) {
        decoder.push(piece);
        if decoder.next_message::<Snapshot>().is_err() {
            return;
        }
    }
}

/// A drive that says what is left to say: a byte for the kind of answer, then as much as was asked for.
struct Babbler<'a> {
    left: &'a [u8],
    answering: Answering,
    sent: Vec<Command>,
}

impl Babbler<'_> {
    fn say(&mut self, length: usize) -> Vec<u8> {
        let (said, left) = self.left.split_at(length.min(self.left.len()));
        self.left = left;
        said.to_vec()
    }
}

impl Transport for Babbler<'_> {
    fn send(&mut self, command: &Command) -> Result<Reply, Failure> {
        self.sent.push(*command);
        let length = match command {
            Command::Ata(command) => command.data_length(),
            // Enough for a page of each kind, so that a session needs few bytes.
            Command::Scsi(command) => command.data_length().min(64),
            Command::Nvme(command) => command.data_length().min(564),
        };
        match self.say(1).first() {
            None | Some(0) => Err(Failure::NotSupported("babble".to_owned())),
            Some(1) => Err(Failure::Missing(Missing::of(Reason::TimedOut))),
            Some(2) if length == 0 => Ok(Reply { data: Vec::new(), sense: self.say(22) }),
            Some(2) => Ok(Reply { data: self.say(length), sense: Vec::new() }),
            Some(3) => Ok(Reply { data: summed(&self.say(length)), sense: Vec::new() }),
            // As long as was asked for, however little is left.
            Some(_) => {
                let mut data = self.say(length);
                data.resize(command_length(command), 0);
                Ok(Reply { data, sense: Vec::new() })
            }
        }
    }

    fn answering(&self) -> Answering {
        self.answering
    }
}

fn command_length(command: &Command) -> usize {
    match command {
        Command::Ata(command) => command.data_length(),
        Command::Scsi(command) => command.data_length(),
        Command::Nvme(command) => command.data_length(),
    }
}

/// Two sessions in a row; the first byte says what is wanted.
fn sessions(kind: u8, said: &[u8]) {
    let Some((&wish, left)) = said.split_first() else { return };
    let bit = |bit: u8| wish >> bit & 1 != 0;
    let wanted = Wanted {
        temperature: bit(0),
        health: bit(1),
        in_use: bit(2),
        afresh: bit(3),
        self_tests: bit(5),
        step: bit(6).then_some(SelfTestStep::Short),
        by_owner: bit(7),
    };
    let answering = if bit(4) { Answering::Bridge } else { Answering::Kernel };
    let mut drive = Babbler { left, answering, sent: Vec::new() };
    let (mut ata, mut scsi, mut nvme) =
        (AtaDrive::new(None, Quirks::default()), ScsiDrive::default(), NvmeDrive::default());
    for wanted in [wanted, Wanted { afresh: false, ..wanted }] {
        drive.sent.clear();
        let told = match kind {
            0 => ata.ask(&mut drive, wanted),
            1 => scsi.ask(&mut drive, wanted),
            _ => nvme.ask(&mut drive, wanted),
        };
        holds(&told, &drive.sent, wanted);
    }
}

/// What holds after any session.
fn holds(told: &Told, sent: &[Command], wanted: Wanted) {
    let tests = |command: &Command| {
        matches!(
            command,
            Command::Ata(Ata::SelfTest(_)) | Command::Scsi(Scsi::SelfTest(_)) | Command::Nvme(Nvme::SelfTest(_))
        )
    };
    assert!(wanted.step.is_some() || !sent.iter().any(tests), "nobody asked for a self-test");
    assert!(wanted.self_tests || told.self_tests.is_none());
    assert!(sent.len() <= 64, "{} commands in one session", sent.len());
    assert!(wanted.health || told.health.is_none());
    assert!(told.broke_off.is_none() || told.health.is_none(), "half a health was told");
    if let Some(Ok(Celsius(now))) = told.temperature {
        assert!((1.0..=125.0).contains(&now), "{now}");
    }
    let only_whether = |command: &Command| {
        matches!(command, Command::Ata(Ata::CheckPowerMode) | Command::Scsi(Scsi::RequestSense) | Command::Nvme(_))
    };
    if told.power == Ok(Power::Asleep) && !wanted.in_use {
        assert!(sent.iter().all(only_whether), "a sleeping drive was asked more: {sent:?}");
    }
    for counter in told.health.iter().flat_map(|health| &health.counters) {
        assert!(counter.value >= 0 || counter.unit == counter::CounterUnit::Celsius, "{counter:?}");
    }
}
