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
use shared::TreeFlag;
use std::io;
use std::process::ExitCode;

/// Monitors a self-built storage box: drives, pools, free space, fans and network ports. Shows what is wrong, in which tray, and what to do.
///
/// It only reads: it never wakes a sleeping drive, never writes to one, and changes nothing on the box.
///
/// Exit codes of `look` and `alerts`: 0 healthy, 3 the system is still starting, 10 a warning is open or the box is silent, 20 a critical condition is open. Of all commands: 1 could not run, 2 wrong usage.
#[derive(Parser)]
#[command(name = "traylight", version, arg_required_else_help = true, max_term_width = 100)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Monitor the box until stopped: log what changes, draw the panel, send alerts
    ///
    /// Works without configuration. In a terminal the panel is drawn there, with the log above it. SIGHUP reads the configuration again.
    #[command(after_help = "Example: traylight run --config heron.toml")]
    Run(run::RunFlags),
    /// Show the state of the box
    ///
    /// Asks the running agent, or reads the box itself if none runs, which takes a second.
    #[command(
        after_help = "Examples: traylight look\n          traylight look 3          the drive in tray 3 in full\n          traylight look --watch"
    )]
    Look(look::LookFlags),
    /// Let one drive test itself, and follow the test
    ///
    /// First shows which drive is meant and how long the test takes, and asks. No data is changed. Exit code: 0 passed, 20 failed, 10 no result.
    #[command(
        after_help = "Examples: traylight self-test short 3       the drive in tray 3\n          traylight self-test long LARK     the drive whose serial ends in LARK\n          traylight self-test stop 3"
    )]
    SelfTest(self_test::SelfTestFlags),
    /// List what is open, or explain one incident
    ///
    /// Asks the running agent, or reads the box itself if none runs.
    #[command(after_help = "Examples: traylight alerts --why 7\n          traylight alerts --test keeper")]
    Alerts(alerts::AlertsFlags),
    /// Stop the reminders of an incident until it gets worse
    #[command(after_help = "Examples: traylight ack 7\n          traylight ack --accept 7")]
    Ack(ack::AckFlags),
    /// Hold messages back while you work on the box; log and panel go on
    #[command(after_help = "Examples: traylight mute 2h\n          traylight mute --end")]
    Mute(mute::MuteFlags),
    /// Play a fault, marked TEST, on the panel, in the log and on all channels; touches nothing
    ///
    /// The running agent plays it; if none runs, it is played in the terminal.
    #[command(after_help = "Examples: traylight rehearse drive-gone 3\n          traylight rehearse supply --for 5min")]
    Rehearse(rehearse::RehearseFlags),
    /// List every mistake in the configuration
    #[command(after_help = "Examples: traylight check\n          traylight check heron.toml")]
    Check(check::CheckFlags),
    /// Draw the pages of the panel in the terminal, as pictures or as text
    #[command(after_help = "Examples: traylight panel\n          traylight panel --png pages")]
    Panel(panel::PanelFlags),
    /// Play a story on a pretend box; needs no hardware
    #[command(after_help = "Example: traylight demo --speed 60")]
    Demo(demo::DemoFlags),
    /// The half of `run` that touches the hardware; `run` starts it
    #[command(hide = true)]
    Probe(TreeFlag),
    /// Starts probes for `run`; `run` starts it
    #[command(hide = true)]
    Launcher(TreeFlag),
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
            Self::Run(flags) => run::command(flags),
            Self::Look(flags) => look::command(&flags),
            Self::SelfTest(flags) => self_test::command(&flags),
            Self::Alerts(flags) => alerts::command(&flags),
            Self::Ack(flags) => ack::command(&flags),
            Self::Mute(flags) => mute::command(&flags),
            Self::Rehearse(flags) => rehearse::command(&flags),
            Self::Check(flags) => check::command(&flags),
            Self::Panel(flags) => panel::command(&flags),
            Self::Demo(flags) => demo::command(&flags),
            Self::Probe(tree) => probe::command(tree),
            Self::Launcher(tree) => launcher::command(&tree),
        }
    }
}
