//! The commands, one file each; [`shared`] is what they share. Here are their names, help and exit codes.

mod ack;
mod alerts;
mod check;
mod demo;
mod launcher;
mod look;
mod mute;
mod panel;
mod probe;
mod rehearse;
mod run;
mod self_test;
mod shared;
mod spare;
mod terminal;

use clap::{Parser, Subcommand};
use shared::{SharedFlags, TreeFlags};
use std::io;
use std::process::ExitCode;

/// Watches a self-built storage box: its drives, pools, room, fans and links. Says what is wrong, in which tray, and what to do.
///
/// It only reads: it never wakes a sleeping drive, never writes to one, and changes nothing on the box. Drives test themselves only when their owner says so.
#[derive(Parser)]
#[command(name = "traylight", version, arg_required_else_help = true, max_term_width = 100)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Watch the box until stopped: judge, log what changes, draw the panel
    ///
    /// Works without any configuration. In a terminal the panel is drawn there, with the log above it. Send SIGHUP to read the configuration again.
    Run(SharedFlags),
    /// Look at the box once and say how it stands
    ///
    /// Asks the running agent if there is one, else reads the box itself, which takes a second. Exit code: 0 nothing wrong, 3 the system is still starting, 10 a warning is open or the box is silent, 20 a critical condition is open. Without an agent, what it finds counts immediately; a drive or file system that is not there counts after the grace period of a start. With --self-test it lets one drive test itself and follows that; exit code: 0 passed, 20 failed, 10 came to no result.
    Look(look::LookFlags),
    /// Say what is open, and with --why everything about one incident
    ///
    /// Asks the running agent if there is one, else looks at the box once. Exit code: 0 nothing wrong, 3 the system is still starting, 10 a warning is open or the box is silent, 20 a critical condition is open.
    Alerts(alerts::AlertsFlags),
    /// Say that you know of an incident: no more reminders of it, until it gets worse
    Ack(ack::AckFlags),
    /// Hold messages back for a time, while you work on the box; the log and the panel go on
    Mute(mute::MuteFlags),
    /// Play a fault as if it happened, marked TEST: on the panel, in the log and in messages; touches nothing
    ///
    /// Asks the running agent if there is one, else plays it in the terminal. --list names all faults.
    Rehearse(rehearse::RehearseFlags),
    /// Check the configuration and name every mistake
    Check(SharedFlags),
    /// Draw the pages for the box as it stands, in the terminal or as PNG files
    Panel(panel::PanelFlags),
    /// Play a story on a pretend box: no hardware needed
    Demo(demo::DemoFlags),
    /// The half of `run` that touches the hardware; `run` starts it
    #[command(hide = true)]
    Probe(TreeFlags),
    /// Starts probes for `run`; `run` starts it
    #[command(hide = true)]
    Launcher(TreeFlags),
}

/// Runs the command that was asked for.
pub fn run() -> ExitCode {
    let command = Arguments::parse().command;
    let done = spare::descriptors().and_then(|()| command.run());
    match done {
        Ok(code) => code,
        // Whoever read our output has read enough.
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => ExitCode::SUCCESS,
        Err(error) => {
            terminal::complain(error);
            ExitCode::from(1)
        }
    }
}

impl Command {
    fn run(self) -> io::Result<ExitCode> {
        match self {
            Self::Run(shared) => run::command(shared),
            Self::Look(flags) => look::command(&flags),
            Self::Alerts(flags) => alerts::command(&flags),
            Self::Ack(flags) => ack::command(&flags),
            Self::Mute(flags) => mute::command(&flags),
            Self::Rehearse(flags) => rehearse::command(&flags),
            Self::Check(shared) => check::command(&shared),
            Self::Panel(flags) => panel::command(&flags),
            Self::Demo(flags) => demo::command(&flags),
            Self::Probe(tree) => probe::command(tree),
            Self::Launcher(tree) => launcher::command(&tree),
        }
    }
}
