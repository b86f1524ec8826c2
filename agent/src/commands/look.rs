//! `look`: the state of the box as tables, one drive in full, or JSON; once, or again and again.

use super::shared::BoxFlags;
use super::terminal::{self, Watched, complain, print};
use std::io;
use std::path::Path;
use std::process::ExitCode;
use std::time::Duration;
use tokio::signal::unix::{Signal, SignalKind, signal};
use traylight::clock::Clock;
use traylight::judge::{Memory, judge};
use traylight::printout::Printout;
use traylight::probe::keeper::{Keeper, ProbeEvent};
use traylight::reading::{Itself, Snapshot};
use traylight::serve::document::Document;
use traylight::serve::socket::{self, Answered};
use traylight::serve::{drive_detail, table};
use traylight::tell::words::phrases::Phrases;
use traylight::verdict::Verdict;
use traylight_config::{Language, Settings};

/// How long one look may take; the probe needs about a second.
const PATIENCE: Duration = Duration::from_secs(30);
/// From one look to the next of `--watch`.
const PAUSE: Duration = Duration::from_secs(2);

/// Flags of `look`.
#[derive(clap::Args)]
pub struct LookFlags {
    /// Show one drive in full: the label of its tray, its device name, or the last four or more characters of its serial
    tray: Option<String>,
    /// Show it again every two seconds, until Ctrl-C
    #[arg(long, conflicts_with = "json")]
    watch: bool,
    /// Print the state document (schema 1)
    #[arg(long, conflicts_with = "tray")]
    json: bool,
    #[command(flatten)]
    place: BoxFlags,
}

/// Prints the state; the exit code says how bad it is.
pub fn command(flags: &LookFlags) -> io::Result<ExitCode> {
    if flags.watch {
        return watch(flags);
    }
    let look = seen(&flags.place)?;
    print(&if flags.json { Printout::json(&look.document)? } else { page(flags, &look)? })?;
    Ok(ExitCode::from(look.document.exit_code()))
}

fn page(flags: &LookFlags, BoxLook { document, settings, .. }: &BoxLook) -> io::Result<Printout> {
    let (language, wall) = (settings.language, Clock::of_this_machine().wall());
    match &flags.tray {
        Some(name) => drive_detail::detail(document, name, language, &wall).map_err(io::Error::other),
        None => Ok(table::table(document, language, &wall)),
    }
}

/// Shows it again and again until the terminal is closed or somebody ends it.
fn watch(flags: &LookFlags) -> io::Result<ExitCode> {
    if !terminal::is_there() {
        return Err(io::Error::other("expected a terminal for --watch, found a pipe or a file; leave --watch out"));
    }
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    let mut signals = {
        let _inside = runtime.enter();
        Signals::new()?
    };
    // A mistake in the call is no full screen of its own.
    let mut next = page(flags, &seen(&flags.place)?)?;
    let mut watched = Watched::new()?;
    loop {
        watched.show(&next)?;
        if runtime.block_on(signals.next())? == Next::End {
            return Ok(ExitCode::SUCCESS);
        }
        next = page(flags, &seen(&flags.place)?)?;
    }
}

/// What happens while `--watch` waits.
#[derive(PartialEq, Eq)]
enum Next {
    Look,
    End,
}

/// The signals that `--watch` listens to.
struct Signals {
    ends: [Signal; 3],
    resized: Signal,
}

impl Signals {
    fn new() -> io::Result<Self> {
        let ends = [signal(SignalKind::interrupt())?, signal(SignalKind::terminate())?, signal(SignalKind::hangup())?];
        Ok(Self { ends, resized: signal(SignalKind::window_change())? })
    }

    async fn next(&mut self) -> io::Result<Next> {
        let [interrupt, terminate, hang_up] = &mut self.ends;
        Ok(tokio::select! {
            _ = interrupt.recv() => Next::End,
            _ = terminate.recv() => Next::End,
            _ = hang_up.recv() => Next::End,
            _ = self.resized.recv() => Next::Look,
            () = tokio::time::sleep(PAUSE) => Next::Look,
        })
    }
}

/// The state of the box, and where it comes from: an agent knows more than a single look.
pub struct BoxLook {
    pub document: Document,
    /// What the configuration says.
    pub settings: Settings,
    /// Where the document comes from.
    pub source: DocumentSource,
}

/// Where a document comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DocumentSource {
    Agent,
    /// A look of our own: no agent runs here.
    NoAgent,
    /// A look of our own: the agent that runs here gave no state.
    SilentAgent,
}

/// Asks the running agent, or reads the box where there is none, or none that answers.
pub fn seen(place: &BoxFlags) -> io::Result<BoxLook> {
    let settings = place.config.settings()?;
    let clock = Clock::of_this_machine();
    let source = match agents_document(place, &clock, settings.language) {
        Ok(document) => return Ok(BoxLook { document, settings, source: DocumentSource::Agent }),
        Err(Some(why)) => {
            complain(settings.language.say("look.without-agent", &[("why", &why)]));
            DocumentSource::SilentAgent
        }
        Err(None) => DocumentSource::NoAgent,
    };
    let (verdict, snapshot) = one_look(&settings, &place.tree.root, &clock)?;
    let document = Document::new(&settings, &verdict, &snapshot, &clock.wall()).without_history();
    Ok(BoxLook { document, settings, source })
}

/// The state as the running agent has it; why it gave none, or nothing where none runs. It knows what it saw before. It
/// monitors this machine, not a recorded tree.
pub fn agents_document(place: &BoxFlags, clock: &Clock, language: Language) -> Result<Document, Option<String>> {
    let answered = match place.is_this_machine() {
        true => socket::ask(&place.agent.run_dir, clock),
        false => Answered::Nobody,
    };
    match answered {
        Answered::State(state) => {
            serde_json::from_str(&state).map_err(|error| Some(language.say("look.incomplete", &[("found", &error)])))
        }
        Answered::Silent(why) => Err(Some(why.words(language))),
        Answered::Nobody => Err(None),
    }
}

/// One look without an agent: two snapshots, since rates need two, judged without any patience. There is no history to
/// wait for: what is beyond a limit now counts now. Only what is not there at all may still appear after a start.
pub fn one_look(settings: &Settings, root: &Path, clock: &Clock) -> io::Result<(Verdict, Snapshot)> {
    let [first, second] = snapshots(root, clock)?;
    let mut memory = Memory::for_a_single_look();
    judge(settings, &mut memory, first.taken, Some(&first), &Itself::default());
    let (verdict, _) = judge(settings, &mut memory, second.taken, Some(&second), &Itself::default());
    Ok((verdict, second))
}

/// The next snapshots of a probe of our own.
pub fn snapshots<const COUNT: usize>(root: &Path, clock: &Clock) -> io::Result<[Snapshot; COUNT]> {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    let found = runtime.block_on(async {
        let mut keeper = Keeper::new(root, clock.clone())?;
        let all = async {
            let mut snapshots = Vec::with_capacity(COUNT);
            while snapshots.len() < COUNT {
                snapshots.push(next_snapshot(&mut keeper).await?);
            }
            Ok::<_, io::Error>(snapshots)
        };
        let late = |_| io::Error::new(io::ErrorKind::TimedOut, format!("no reading within {} s", PATIENCE.as_secs()));
        tokio::time::timeout(PATIENCE, all).await.map_err(late)?
    });
    runtime.shutdown_background();
    found?.try_into().map_err(|_| io::Error::other("the probe sent too few readings"))
}

async fn next_snapshot(keeper: &mut Keeper) -> io::Result<Snapshot> {
    match keeper.next_event().await? {
        ProbeEvent::Snapshot(snapshot) => Ok(*snapshot),
        ProbeEvent::Lost { why, .. } => Err(io::Error::other(format!("the probe failed: {why}"))),
    }
}
