//! `run`: the daemon.

use super::shared::{BoxFlags, PLACES, read_settings};
use super::terminal::{has_terminal, log_form};
use std::io;
use std::path::PathBuf;
use std::process::ExitCode;
use traylight::clock::Clock;
use traylight::keep::Opened;
use traylight::probe::keeper::Keeper;
use traylight::rights;
use traylight::run::Edges;
use traylight::send::log::{Form, Log};
use traylight::serve::control::Control;
use traylight::serve::socket::StateSocket;
use traylight::show::outlet::Outlet;
use traylight::tell::log::LogEntry;

/// Flags of `run`.
#[derive(clap::Args)]
pub struct RunFlags {
    /// The log format [default: journal under systemd, short on a terminal, else text]
    #[arg(long, value_name = "FORM", help_heading = PLACES)]
    log: Option<Form>,
    #[command(flatten)]
    place: BoxFlags,
    /// The folder for data that is kept across restarts
    #[arg(long, value_name = "DIR", default_value = "/var/lib/traylight", help_heading = PLACES)]
    state_dir: PathBuf,
}

/// Runs until stopped.
pub fn command(flags: RunFlags) -> io::Result<ExitCode> {
    let RunFlags { log, place: BoxFlags { config, agent, tree }, state_dir } = flags;
    let (config, root, run_dir) = (config.config, tree.root, agent.run_dir);
    super::spare::threads()?;
    let clock = Clock::of_this_machine();
    let settings = read_settings(&config).map_err(io::Error::other)?;
    // Only what asks drives may need rights. From here on this process, which speaks to the network, has none.
    let keeper = Keeper::new(&root, clock.clone())?;
    rights::give_up()?;
    let outlet = Outlet::new(Log::open(log.unwrap_or_else(log_form))?, settings.language)?;

    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    let _inside = runtime.enter();
    let without = |event, loses: &str, error: io::Error| {
        outlet.say(&LogEntry::agent(5, event, format!("{loses}: {error}")), &clock.wall());
    };
    let lost_state = "`look` cannot ask this agent, it reads the box itself";
    let socket = unless_taken(StateSocket::open(&run_dir), |error| without("state-not-served", lost_state, error))?;
    let lost_control = "`ack`, `mute` and `rehearse` cannot ask this agent";
    let control = unless_taken(Control::open(&run_dir), |error| without("control-not-served", lost_control, error))?;
    let kept = Opened::open(&state_dir, clock.clone());
    let terminal = has_terminal().then(|| config.clone());
    let reload = Box::new(move || read_settings(&config));
    let edges = Edges { settings, reload, keeper, outlet, socket, control, kept, state_dir, clock, terminal };
    let done = runtime.block_on(traylight::run::run(edges));
    // A question that hangs must not hold up the end.
    runtime.shutdown_background();
    done.map(|()| ExitCode::SUCCESS).map_err(super::spare::explained)
}

/// What was opened. Without it the box is watched all the same, unless another agent has it.
fn unless_taken<T>(opened: io::Result<T>, not: impl FnOnce(io::Error)) -> io::Result<Option<T>> {
    match opened {
        Err(error) if error.kind() != io::ErrorKind::AddrInUse => {
            not(error);
            Ok(None)
        }
        opened => opened.map(Some),
    }
}
