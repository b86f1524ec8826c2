//! The commands, one file each; [`shared`] is what they share. Here are their names, help and exit codes.

mod ack;
mod alerts;
mod check;
mod demo;
mod dossier;
mod dossier_file;
mod launcher;
mod look;
mod mute;
mod panel;
mod probe;
mod prompts;
mod rehearse;
mod run;
mod self_test;
mod setup;
mod shared;
mod spare;
mod survey;
mod terminal;

use clap::{CommandFactory, FromArgMatches, Parser, Subcommand};
use shared::TreeFlag;
use std::io;
use std::process::ExitCode;

/// The help of a command: what it does, how it is called, examples, then its options.
const HELP: &str = "{about-with-newline}\n{usage-heading} {usage}\n\n{before-help}{all-args}";

/// Exit codes of all commands, in the help of the program.
const EXIT_CODES: &str = "\
Exit codes:
  0   done; `look` and `alerts`: healthy; `self-test`: passed
  1   could not run
  2   wrong usage
  3   `look` and `alerts`: the system is still starting
  10  `look` and `alerts`: a warning is open, or there are no readings; `self-test`: no result
  20  `look` and `alerts`: something critical is open; `self-test`: failed

`traylight help COMMAND` explains a command.";

/// Monitors a home-built storage box: drives, pools, free space, fans and network ports. Shows what is wrong, in which tray, and what to do.
///
/// It only reads: it never wakes a sleeping drive, never writes to one, and changes nothing on the box.
#[derive(Parser)]
#[command(name = "traylight", version, arg_required_else_help = true, max_term_width = 100, after_help = EXIT_CODES)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Monitor the box until stopped: log changes, draw the panel, send alerts
    ///
    /// Works without a configuration file. On a terminal it draws the panel there, with a short line for each change above it; Ctrl-C or closing the terminal stops it. A service reads its configuration again on SIGHUP.
    #[command(before_help = "Examples:\n  traylight run\n  traylight run --config heron.toml")]
    Run(run::RunFlags),
    /// Show the state of the box: drives, pools, free space, fans and network ports
    ///
    /// Asks the running agent. If none is running, it reads the box itself, which takes a few seconds.
    #[command(
        before_help = "Examples:\n  traylight look\n  traylight look 3          the drive in tray 3 in full\n  traylight look --watch"
    )]
    Look(look::LookFlags),
    /// List what was found, what is limited and what is missing, with the commands to fix it
    ///
    /// It only reads and wakes no drive. To find a panel it sends one harmless byte to two addresses, only on I2C buses known to be wired to a pin header. On a bus that you name with --bus, other chips may react to it.
    #[command(
        before_help = "Examples:\n  traylight survey\n  traylight survey --bus i2c-3    look for a panel there, too"
    )]
    Survey(survey::SurveyFlags),
    /// Name the trays: questions on the terminal that end with a configuration
    ///
    /// Shows what would change in the file and asks before it writes. Your own comments and their order stay. Your answers are kept, also over a power-off; call it again to continue.
    #[command(
        before_help = "Examples:\n  sudo traylight setup\n  traylight setup --labels labels.svg    labels for the trays, to be printed at 100 %"
    )]
    Setup(setup::SetupFlags),
    /// Start a drive's self-test and follow it to the end
    ///
    /// Shows which drive is meant and how long the test takes, then asks. Your data is not changed.
    #[command(
        before_help = "Examples:\n  traylight self-test short 3      the drive in tray 3\n  traylight self-test long LARK    the drive whose serial ends in LARK\n  traylight self-test stop 3"
    )]
    SelfTest(self_test::SelfTestFlags),
    /// List open incidents and alert channels, or explain an incident
    ///
    /// Asks the running agent. If none is running, it reads the box itself, which takes a few seconds.
    #[command(
        before_help = "Examples:\n  traylight alerts\n  traylight alerts --all            closed incidents, too\n  traylight alerts --why 7          explain incident 7\n  traylight alerts --test keeper    send a test message to the channel keeper"
    )]
    Alerts(alerts::AlertsFlags),
    /// Acknowledge an incident: no more reminders until it gets worse
    #[command(
        before_help = "Examples:\n  traylight ack 7\n  traylight ack --accept 7    what is missing has been removed for good"
    )]
    Ack(ack::AckFlags),
    /// Hold messages back while you work on the box; log and panel continue
    #[command(before_help = "Examples:\n  traylight mute 2h\n  traylight mute --end")]
    Mute(mute::MuteFlags),
    /// Play a fault, marked TEST, on the panel, in the log and on all channels; nothing is touched
    ///
    /// The running agent plays it. If none is running, it is played in the terminal.
    #[command(
        before_help = "Examples:\n  traylight rehearse --list\n  traylight rehearse drive-gone 3\n  traylight rehearse supply --for 5min"
    )]
    Rehearse(rehearse::RehearseFlags),
    /// Check the configuration file and list every mistake in it
    #[command(before_help = "Examples:\n  traylight check\n  traylight check heron.toml")]
    Check(check::CheckFlags),
    /// Write a text file about the box for somebody who helps, without serials, names and addresses
    ///
    /// State, incidents, survey, kernel log and configuration. Serials, names and addresses become pseudonyms such as serial-1; passwords are left out. Read it before you hand it on.
    #[command(
        before_help = "Examples:\n  traylight dossier\n  traylight dossier /tmp/heron.txt\n  traylight dossier - | less"
    )]
    Dossier(dossier::DossierFlags),
    /// Draw the pages of the panel in the terminal, as pictures or as text
    #[command(before_help = "Examples:\n  traylight panel\n  traylight panel --png pages")]
    Panel(panel::PanelFlags),
    /// Play a story on a simulated box; needs no hardware
    #[command(before_help = "Example:\n  traylight demo --speed 60")]
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
    let commands = Arguments::command().mut_subcommands(|command| command.help_template(HELP));
    let arguments = commands.try_get_matches().and_then(|found| Arguments::from_arg_matches(&found));
    let done = match arguments {
        Ok(arguments) => spare::descriptors().and_then(|()| arguments.command.run()),
        Err(usage) => terminal::print_usage(&usage),
    };
    match done {
        Ok(code) => code,
        // Whoever followed us has closed our output: there is nobody to complain to.
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => ExitCode::from(1),
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
            Self::Survey(flags) => survey::command(&flags),
            Self::Setup(flags) => setup::command(&flags),
            Self::SelfTest(flags) => self_test::command(&flags),
            Self::Alerts(flags) => alerts::command(&flags),
            Self::Ack(flags) => ack::command(&flags),
            Self::Mute(flags) => mute::command(&flags),
            Self::Rehearse(flags) => rehearse::command(&flags),
            Self::Check(flags) => check::command(&flags),
            Self::Dossier(flags) => dossier::command(&flags),
            Self::Panel(flags) => panel::command(&flags),
            Self::Demo(flags) => demo::command(&flags),
            Self::Probe(tree) => probe::command(tree),
            Self::Launcher(tree) => launcher::command(&tree),
        }
    }
}
