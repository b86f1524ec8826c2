//! `run`: the daemon.

use super::{Shared, read_settings};
use std::io;
use std::os::fd::AsFd;
use std::process::ExitCode;
use traylight::clock::Clock;
use traylight::run::Edges;
use traylight::serve::socket::StateSocket;
use traylight::show::outlet::Outlet;
use traylight::tell::log::{Entry, Form, Log};

/// Flags of `run`.
#[derive(clap::Args)]
pub struct Flags {
    #[command(flatten)]
    shared: Shared,
}

/// Runs until stopped.
pub fn command(flags: Flags) -> io::Result<ExitCode> {
    let Shared { config, root, run_dir, log } = flags.shared;
    let clock = Clock::of_this_machine();
    let settings = read_settings(&config).map_err(io::Error::other)?;
    let mut outlet = Outlet::new(Log::open(log.unwrap_or_else(form_for_here))?);

    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    let _inside = runtime.enter();
    let socket = match StateSocket::open(&run_dir) {
        Ok(socket) => Some(socket),
        Err(error) if error.kind() == io::ErrorKind::AddrInUse => return Err(error),
        Err(error) => {
            let why = format!("`look` cannot ask this agent, it reads the box itself: {error}");
            outlet.say(&Entry::agent(5, "state-not-served", why), &clock.wall());
            None
        }
    };
    let reload = Box::new(move || read_settings(&config));
    let done = runtime.block_on(traylight::run::run(Edges { settings, reload, root, outlet, socket, clock }));
    // A question that hangs must not hold up the end.
    runtime.shutdown_background();
    done.map(|()| ExitCode::SUCCESS)
}

/// The journal, when standard output is connected to it (systemd.exec(5), `$JOURNAL_STREAM`); else text.
#[allow(clippy::disallowed_methods, reason = "the environment is read where arguments are")]
fn form_for_here() -> Form {
    let ours = rustix::fs::fstat(std::io::stdout().as_fd()).map(|stat| format!("{}:{}", stat.st_dev, stat.st_ino));
    match (std::env::var("JOURNAL_STREAM"), ours) {
        (Ok(journal), Ok(ours)) if journal == ours => Form::Journal,
        _ => Form::Text,
    }
}
