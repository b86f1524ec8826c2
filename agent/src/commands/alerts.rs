//! `alerts`: what is open, as a list or as JSON; or everything about one incident.

use super::look::{BoxLook, DocumentSource, seen};
use super::shared::BoxFlags;
use super::terminal::{complain, print, print_lines};
use serde_json::Value;
use std::io;
use std::process::ExitCode;
use traylight::printout::Printout;
use traylight::serve::alerts::{list, list_closed};
use traylight::serve::control::{self, ControlRequest};
use traylight::serve::why::why;
use traylight::tell::words::phrases::Phrases;
use traylight::verdict::IncidentId;

/// What `--json` prints of the state document.
const KEYS: [&str; 11] = [
    "schema",
    "box",
    "taken_at",
    "standing",
    "muted_left_s",
    "unseen",
    "conditions",
    "incidents",
    "channels",
    "rehearsal",
    "history",
];

/// Flags of `alerts`.
#[derive(clap::Args)]
pub struct AlertsFlags {
    /// Explain one incident: what happened, the likely cause, what to do, evidence and limits
    #[arg(long, value_name = "ID", conflicts_with = "json")]
    why: Option<u32>,
    /// Send a test message with a code to this channel
    #[arg(long, value_name = "CHANNEL", conflicts_with_all = ["json", "why"])]
    test: Option<String>,
    /// Enter the code of a test message: confirms that somebody reads its channel
    #[arg(long, value_name = "CODE", conflicts_with_all = ["json", "why", "test"])]
    confirm: Option<String>,
    /// Also list closed incidents, as far back as the running agent keeps them
    #[arg(long, conflicts_with_all = ["json", "why", "test", "confirm"])]
    all: bool,
    /// Print JSON, with the keys of the state document (schema 1)
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    place: BoxFlags,
}

/// Prints what is open; the exit code says how bad it is.
pub fn command(flags: &AlertsFlags) -> io::Result<ExitCode> {
    if let Some(request) = request(flags) {
        if !flags.place.is_this_machine() {
            return Err(io::Error::other("a recorded tree has no agent: leave out --root"));
        }
        print_lines(&control::ask(&flags.place.agent.run_dir, &request)?)?;
        return Ok(ExitCode::SUCCESS);
    }
    let BoxLook { document, settings, source } = seen(&flags.place)?;
    let language = settings.language;
    match source {
        DocumentSource::Agent => {}
        DocumentSource::NoAgent => complain(language.plain("alerts.no-agent")),
        DocumentSource::SilentAgent => complain(language.plain("alerts.single-reading")),
    }
    print(&match flags.why {
        Some(id) => why(&document, IncidentId(id), language).map_err(io::Error::other)?,
        None if flags.json => {
            let mut value = serde_json::to_value(&document)?;
            if let Value::Object(object) = &mut value {
                object.retain(|key, _| KEYS.contains(&key.as_str()));
            }
            Printout::json(&value)?
        }
        None => {
            let mut out = list(&document, language);
            if flags.all {
                let none = || io::Error::other(language.plain("alerts.no-history"));
                list_closed(document.history.as_ref().ok_or_else(none)?, language, &mut out);
            }
            out
        }
    })?;
    Ok(ExitCode::from(document.exit_code()))
}

fn request(flags: &AlertsFlags) -> Option<ControlRequest> {
    let test = flags.test.clone().map(|channel| ControlRequest::TryChannel { channel });
    test.or_else(|| flags.confirm.clone().map(|code| ControlRequest::Confirm { code }))
}
