//! `self-test`: says what will happen, asks, lets a drive begin or end a test of itself, and follows it to its
//! end. The probe does all asking of drives; this command talks to a probe of its own and to the owner.

use super::shared::ConfigFlag;
use super::terminal::{Lines, complain, confirmed};
use std::io::{self, IsTerminal, Write};
use std::path::Path;
use std::process::ExitCode;
use std::time::Duration;
use traylight::clock::{Clock, Moment};
use traylight::judge::place_of;
use traylight::judge::request::{chosen, refusal, strained_pool};
use traylight::probe::keeper::{Keeper, ProbeEvent};
use traylight::probe::order::ProbeOrder;
use traylight::reading::{Drive, DriveKey, PastTest, SelfTest, SelfTestStep, Snapshot, TestOutcome};
use traylight::tell::words::phrases::{Language, Phrases};
use traylight::tell::words::self_test;

/// How long the drive has to answer a question.
const PATIENCE: Duration = Duration::from_secs(75);
/// A test of which nothing is seen for so long, neither that it runs nor that it was, is taken for none.
const NO_TRACE_AFTER: Duration = Duration::from_secs(60);

/// What can be asked for.
#[derive(Debug, Clone, Copy, clap::ValueEnum)]
pub enum TestChoice {
    /// Start the short test, which takes minutes
    Short,
    /// Start the long test, which takes hours because it reads the whole surface
    Long,
    /// Stop the running test
    Stop,
}

impl TestChoice {
    fn order(self) -> SelfTestStep {
        match self {
            Self::Short => SelfTestStep::Short,
            Self::Long => SelfTestStep::Extended,
            Self::Stop => SelfTestStep::Abort,
        }
    }
}

/// Flags of `self-test`.
#[derive(clap::Args)]
pub struct SelfTestFlags {
    #[arg(value_name = "STEP")]
    step: TestChoice,
    /// Which drive: the label of its tray, or the last four or more characters of its serial
    tray: String,
    /// Start without asking
    #[arg(long)]
    yes: bool,
    #[command(flatten)]
    config: ConfigFlag,
}

/// Runs the request; the exit code says what came of the test: 0 passed, 20 failed, 10 no result.
pub fn command(flags: &SelfTestFlags) -> io::Result<ExitCode> {
    let step = flags.step.order();
    if !io::stdin().is_terminal() && !flags.yes && step != SelfTestStep::Abort {
        complain("a self-test must be confirmed: expected a terminal, or --yes, found neither");
        return Ok(ExitCode::from(2));
    }
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    let done = runtime.block_on(request(flags, step));
    runtime.shutdown_background();
    done
}

async fn request(flags: &SelfTestFlags, step: SelfTestStep) -> io::Result<ExitCode> {
    let settings = flags.config.settings()?;
    let clock = Clock::of_this_machine();
    let language = settings.language;
    let keeper = Keeper::new(Path::new("/"), clock.clone())?;
    let mut session = Session { keeper, clock, drive: None, language };
    let snapshot = session.next_snapshot().await?;
    let meant = chosen(&settings, &snapshot, &flags.tray)
        .map_err(|found| io::Error::other(self_test::not_one(&flags.tray, &found, language)))?;
    let (key, place) = (meant.key.clone(), place_of(&settings, meant));

    let since = session.clock.now();
    session.attend(key)?;
    let snapshot = session.until(|drive| drive.power.taken > since || drive.stalled_since.is_some()).await?;
    let drive = session.of(&snapshot)?;
    if let Some(why) = refusal(drive, step) {
        return Err(io::Error::other(self_test::refusal(&place, step, &why, language)));
    }
    let mut out = Lines::of_this_terminal();
    for line in self_test::announcement(drive, &place, step, strained_pool(&snapshot, drive), language) {
        out.line(capital(&line))?;
    }
    let before = record(drive);
    if step != SelfTestStep::Abort
        && !flags.yes
        && !confirmed(language.plain("self-test.command.confirm"), language.plain("self-test.command.yes"))?
    {
        out.line(language.plain("self-test.command.not-started"))?;
        return Ok(ExitCode::from(1));
    }

    let since = session.clock.now();
    session.begin(step)?;
    let answered = |drive: &Drive| drive.test_request.as_ref().is_some_and(|request| request.at > since);
    let snapshot = session.until(answered).await?;
    let answer = session.of(&snapshot)?.test_request.clone().map(|request| request.answer);
    if let Some(Err(why)) = answer {
        return Err(io::Error::other(language.say("self-test.command.refused", &[("why", &language.missing(&why))])));
    }
    if step == SelfTestStep::Abort {
        out.line(language.plain("self-test.command.stopped"))?;
        return Ok(ExitCode::SUCCESS);
    }
    out.line(language.plain("self-test.command.started"))?;
    let (outcome, failed_at_lba) = session.follow(snapshot, &before, since, &mut out).await?;
    let Some(outcome) = outcome else {
        out.line(language.plain("self-test.command.no-trace"))?;
        return Ok(ExitCode::from(10));
    };
    out.line(format_args!("{}.", capital(&self_test::over(outcome, failed_at_lba, language))))?;
    if outcome == TestOutcome::Failed {
        out.line(language.plain("self-test.command.back-up"))?;
    }
    Ok(ExitCode::from(match outcome {
        TestOutcome::Passed => 0,
        TestOutcome::Ended | TestOutcome::CouldNotFinish => 10,
        TestOutcome::Failed => 20,
    }))
}

/// The session with the probe about one drive.
struct Session {
    keeper: Keeper,
    clock: Clock,
    drive: Option<DriveKey>,
    language: Language,
}

impl Session {
    fn attend(&mut self, drive: DriveKey) -> io::Result<()> {
        self.drive = Some(drive.clone());
        self.keeper.tell(ProbeOrder::Attend(drive))
    }

    fn begin(&mut self, step: SelfTestStep) -> io::Result<()> {
        let drive = self.drive.clone().ok_or_else(|| io::Error::other("no drives found"))?;
        self.keeper.tell(ProbeOrder::SelfTest { drive, step })
    }

    /// The next snapshot.
    async fn next_snapshot(&mut self) -> io::Result<Snapshot> {
        match self.keeper.next_event().await? {
            ProbeEvent::Snapshot(snapshot) => Ok(*snapshot),
            ProbeEvent::Lost { why, .. } => {
                Err(io::Error::other(self.language.say("self-test.command.probe-failed", &[("why", &why)])))
            }
        }
    }

    /// The first snapshot in which the drive has what is waited for.
    async fn until(&mut self, is_there: impl Fn(&Drive) -> bool) -> io::Result<Snapshot> {
        let language = self.language;
        let span = language.span(PATIENCE);
        let late = language.say("self-test.command.no-response", &[("span", &span)]);
        let wait = async {
            loop {
                let snapshot = self.next_snapshot().await?;
                if is_there(self.of(&snapshot)?) {
                    return Ok(snapshot);
                }
            }
        };
        let late = |_| io::Error::new(io::ErrorKind::TimedOut, late);
        tokio::time::timeout(PATIENCE, wait).await.map_err(late)?
    }

    /// The drive, in a snapshot.
    fn of<'a>(&self, snapshot: &'a Snapshot) -> io::Result<&'a Drive> {
        let found = snapshot.drives.iter().find(|drive| Some(&drive.key) == self.drive.as_ref());
        found.ok_or_else(|| io::Error::other(self.language.plain("self-test.command.drive-gone")))
    }

    /// Shows how the test goes on until it is over; what came of it, if there was one.
    async fn follow(
        &mut self,
        mut snapshot: Snapshot,
        before: &[PastTest],
        since: Moment,
        out: &mut Lines<io::Stdout>,
    ) -> io::Result<(Option<TestOutcome>, Option<u64>)> {
        let mut shown = Progress { shown: None, language: self.language };
        let mut was_seen = false;
        loop {
            let drive = self.of(&snapshot)?;
            if let Some(tests) = drive.self_tests.get().filter(|_| drive.self_tests.taken > since) {
                if let SelfTest::Running { remaining_percent } = tests.now {
                    was_seen = true;
                    shown.show(remaining_percent, out)?;
                } else if was_seen || record(drive) != before {
                    shown.end(out)?;
                    return Ok(outcome(tests.now, &tests.past));
                }
            }
            if !was_seen && self.clock.now().since(since) > NO_TRACE_AFTER {
                return Ok((None, None));
            }
            snapshot = self.next_snapshot().await?;
        }
    }
}

/// What came of the newest test, and the sector that failed first.
fn outcome(now: SelfTest, past: &[PastTest]) -> (Option<TestOutcome>, Option<u64>) {
    let outcome = match now {
        SelfTest::Passed => Some(TestOutcome::Passed),
        SelfTest::Ended => Some(TestOutcome::Ended),
        SelfTest::CouldNotFinish => Some(TestOutcome::CouldNotFinish),
        SelfTest::Failed => Some(TestOutcome::Failed),
        SelfTest::Never | SelfTest::Running { .. } => None,
    };
    let newest = past.first().filter(|newest| Some(newest.outcome) == outcome);
    (outcome, newest.and_then(|newest| newest.failed_at_lba))
}

fn record(drive: &Drive) -> Vec<PastTest> {
    // Their ages grow without a new test.
    let past = drive.self_tests.get().map(|tests| tests.past.clone()).unwrap_or_default();
    past.into_iter().map(|test| PastTest { age_hours: None, ..test }).collect()
}

/// How the test goes on: one line that changes in a terminal, else a line for every ten percent.
struct Progress {
    shown: Option<Option<u8>>,
    language: Language,
}

impl Progress {
    fn show(&mut self, remaining_percent: Option<u8>, out: &mut Lines<impl Write>) -> io::Result<()> {
        let tenths = |left: Option<u8>| left.map(|left| left.div_ceil(10));
        let is_new = match out.in_place {
            true => self.shown != Some(remaining_percent),
            false => self.shown.map(tenths) != Some(tenths(remaining_percent)),
        };
        if !is_new {
            return Ok(());
        }
        self.shown = Some(remaining_percent);
        let line = capital(&self_test::running(remaining_percent, self.language));
        if out.in_place { out.replace(line) } else { out.line(line) }
    }

    fn end(&self, out: &mut Lines<impl Write>) -> io::Result<()> {
        if out.in_place && self.shown.is_some() { out.line("") } else { Ok(()) }
    }
}

fn capital(text: &str) -> String {
    let mut text = text.to_owned();
    if let Some(first) = text.get_mut(..1) {
        first.make_ascii_uppercase();
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lines(in_place: bool, left: &[Option<u8>]) -> String {
        let mut out = Lines::kept(in_place);
        let mut progress = Progress { shown: None, language: Language::ENGLISH };
        left.iter().for_each(|&left| progress.show(left, &mut out).expect("memory takes it"));
        progress.end(&mut out).expect("memory takes it");
        out.text()
    }

    #[test]
    fn a_pipe_gets_a_line_for_every_ten_percent() {
        let said = lines(false, &[Some(100), Some(95), Some(91), Some(90), Some(90), Some(83), Some(80)]);
        assert_eq!(said, "Self-test running, 100 % left\nSelf-test running, 90 % left\nSelf-test running, 80 % left\n");
    }

    #[test]
    fn a_terminal_gets_one_line_that_changes() {
        let said = lines(true, &[Some(90), Some(90), Some(89)]);
        assert_eq!(said.matches('\n').count(), 1);
        assert!(said.starts_with("\rSelf-test running, 90 % left\x1b[K\r") && said.ends_with("89 % left\x1b[K\n"));
    }

    #[test]
    fn a_drive_that_does_not_say_how_far_it_is_is_told_of_once() {
        assert_eq!(lines(false, &[None, None, None]).lines().count(), 1);
    }
}
