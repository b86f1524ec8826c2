//! `run`: the daemon.

use super::{Shared, read_settings};
use std::io;
use std::os::fd::AsFd;
use std::path::Path;
use std::process::ExitCode;
use traylight::clock::Clock;
use traylight::judge::ledger::Ledger;
use traylight::keep::{KeepFault, OutboxStore, Store};
use traylight::run::Edges;
use traylight::serve::control::Control;
use traylight::serve::socket;
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
    let Shared { config, root, run_dir, state_dir, log } = flags.shared;
    super::spare::threads()?;
    let clock = Clock::of_this_machine();
    let settings = read_settings(&config).map_err(io::Error::other)?;
    let mut outlet = Outlet::new(Log::open(log.unwrap_or_else(form_for_here))?);

    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    let _inside = runtime.enter();
    let mut without = |event, loses: &str, error: io::Error| {
        outlet.say(&Entry::agent(5, event, format!("{loses}: {error}")), &clock.wall());
    };
    let lost_state = "`look` cannot ask this agent, it reads the box itself";
    let socket = unless_taken(socket::open(&run_dir), |error| without("state-not-served", lost_state, error))?;
    let lost_control = "`ack`, `mute` and `rehearse` cannot ask this agent";
    let control = unless_taken(Control::open(&run_dir), |error| without("control-not-served", lost_control, error))?;
    let (store, ledger, entries) = kept(&state_dir, &clock);
    let outboxes = match &store {
        Some(_) => OutboxStore::open(&state_dir).and_then(|one| Ok((one, OutboxStore::open(&state_dir)?))).ok(),
        None => None,
    };
    outlet.say_all(entries, &clock.wall());
    let reload = Box::new(move || read_settings(&config));
    let edges = Edges { settings, reload, root, outlet, socket, control, store, outboxes, ledger, clock };
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

/// The store, the ledger that was kept in it, and what there is to say. Without a store the box is watched all the same.
fn kept(state_dir: &Path, clock: &Clock) -> (Option<Store>, Ledger, Vec<Entry>) {
    let open = || -> Result<_, KeepFault> {
        let (store, remarks) = Store::open(state_dir, clock.clone())?;
        let ledger = store.load_ledger()?;
        Ok((store, ledger, remarks))
    };
    match open() {
        Ok((store, ledger, remarks)) => {
            let entries = remarks.into_iter().map(|remark| Entry::agent(4, "store-begun-anew", remark));
            (Some(store), ledger, entries.collect())
        }
        Err(fault) => {
            let why = format!("a restart forgets what drives counted: {fault}");
            (None, Ledger::default(), vec![Entry::agent(5, "store-not-open", why)])
        }
    }
}

/// The journal, when standard output is connected to it (systemd.exec(5), `$JOURNAL_STREAM`); else text.
#[allow(clippy::disallowed_methods, reason = "the environment is read where arguments are")]
fn form_for_here() -> Form {
    #[allow(clippy::disallowed_methods, reason = "it is only asked what it is")]
    let ours = rustix::fs::fstat(std::io::stdout().as_fd()).map(|stat| format!("{}:{}", stat.st_dev, stat.st_ino));
    match (std::env::var("JOURNAL_STREAM"), ours) {
        (Ok(journal), Ok(ours)) if journal == ours => Form::Journal,
        _ => Form::Text,
    }
}
