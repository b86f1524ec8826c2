//! `setup`: asks, keeps the answers, shows what would change in the configuration and writes it; or makes the label sheet.

use super::look::snapshots;
use super::prompts::Prompts;
use super::shared::{BoxFlags, PLACES, config_text};
use super::terminal::{print, screen};
use std::io;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use traylight::clock::Clock;
use traylight::printout::Printout;
use traylight::reading::Snapshot;
use traylight::sense::host::Host;
use traylight::setup::{
    Answer, Candidate, Kept, PlannedShelf, Scene, Step, Walk, Way, answer, candidates, difference, drawing, labels,
    next, replace, sheet_text, sheets_svg, spoken, with_shelves, write_sheet, wrong,
};
use traylight::tell::words::phrases::{Language, Phrases};
use traylight_config::{Settings, default_file, settle};

/// Flags of `setup`.
#[derive(clap::Args)]
pub struct SetupFlags {
    /// Write labels for the trays of the configuration into FILE: .svg to print at 100 %, or .txt
    #[arg(long, value_name = "FILE")]
    labels: Option<PathBuf>,
    #[command(flatten)]
    place: BoxFlags,
    /// The folder in which the answers are kept until setup is done
    #[arg(long, value_name = "DIR", default_value = "/var/lib/traylight", help_heading = PLACES)]
    state_dir: PathBuf,
}

/// Asks until the configuration is written, the walk pauses, or it is stopped.
pub fn command(flags: &SetupFlags) -> io::Result<ExitCode> {
    let file = &flags.place.config.config;
    let text = existing(file)?;
    let settings =
        settle(text.as_deref().unwrap_or_default(), &file.display().to_string()).map_err(io::Error::other)?;
    if let Some(sheet) = &flags.labels {
        return write_labels(sheet, &settings, flags);
    }
    let session = Session { prompts: Prompts::new()?, flags, language: settings.language, settings: &settings };
    let done = session.walk().and_then(|walk| match walk {
        Some(walk) => session.write(&walk, text.as_deref()),
        None => Ok(ExitCode::SUCCESS),
    });
    match done {
        Err(error) if error.kind() == io::ErrorKind::Interrupted => {
            session.line("setup.stopped")?;
            Ok(ExitCode::from(1))
        }
        done => done,
    }
}

/// The configuration's text; `None` where there is no file yet.
fn existing(file: &Path) -> io::Result<Option<String>> {
    match config_text(file) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(None),
        found => found,
    }
}

struct Session<'a> {
    prompts: Prompts,
    flags: &'a SetupFlags,
    settings: &'a Settings,
    language: Language,
}

impl Session<'_> {
    fn line(&self, key: &str) -> io::Result<()> {
        self.lines([self.language.plain(key)])
    }

    fn lines(&self, lines: impl IntoIterator<Item = impl std::fmt::Display>) -> io::Result<()> {
        let mut out = Printout::default();
        lines.into_iter().for_each(|line| out.line(line));
        print(&out)
    }

    /// All questions up to the last. `None`: the walk pauses until the power was off.
    fn walk(&self) -> io::Result<Option<Walk>> {
        let kept = Kept::at(&self.flags.state_dir, &self.flags.place.config.config);
        self.line("setup.intro")?;
        let mut walk = self.resumed(&kept)?;
        let mut is_kept = true;
        let mut scene = self.look(None)?;
        if walk == Walk::begin() && scene.drives.is_empty() {
            return Err(io::Error::other(self.language.plain("setup.no-drives")));
        }
        loop {
            let step = next(&walk, &scene);
            if step == Step::Write {
                return Ok(Some(walk));
            }
            let has_pools = scene.drives.iter().any(|drive| !drive.pools.is_empty());
            let words = spoken(&step, has_pools, self.language);
            if walk.way.is_some() {
                self.draw(&walk.shelves)?;
            }
            self.lines(&words.before)?;
            if step.is_pause() {
                self.line("setup.paused")?;
                return Ok(None);
            }
            let given = self.ask(&step, &words.question, words.proposed.as_deref())?;
            match given.and_then(|given| answer(&walk, &scene, &given).map_err(|why| wrong(&why, self.language))) {
                Ok(after) => walk = after,
                Err(why) => self.lines([why])?,
            }
            if let (true, Err(why)) = (is_kept, kept.save(&walk)) {
                is_kept = false;
                self.lines([self.language.say("setup.not-kept", &[("why", &why)])])?;
            }
            // Drives come and go while their owner is at the box.
            if walk.way.is_some() && !walk.is_agreed {
                scene = self.look(Some(&scene.drives))?;
            }
        }
    }

    /// Where it was stopped the last time, if the owner wants to continue there.
    fn resumed(&self, kept: &Kept) -> io::Result<Walk> {
        match kept.load() {
            Ok(Some(walk)) if walk != Walk::begin() => {
                let ways = ["setup.go-on", "setup.begin"].map(|key| self.language.plain(key));
                let chosen = self.prompts.choice(self.language.plain("setup.resume"), &ways)?;
                Ok(if chosen.ok_or(io::ErrorKind::Interrupted)? == 0 { walk } else { Walk::begin() })
            }
            Ok(_) => Ok(Walk::begin()),
            Err(file) => {
                self.lines([self.language.say("setup.unusable", &[("file", &file)])])?;
                Ok(Walk::begin())
            }
        }
    }

    /// The box as it is now; drives that have come or gone since the last question are named.
    fn look(&self, before: Option<&[Candidate]>) -> io::Result<Scene<'_>> {
        let (drives, boot) = (candidates(&seen(self.flags)?), boot(self.flags));
        if let Some(before) = before {
            for (key, some, others) in
                [("setup.connected", &drives[..], before), ("setup.disconnected", before, &drives[..])]
            {
                let is_only_here = |drive: &&Candidate| !others.iter().any(|other| other.key == drive.key);
                let changed: Vec<String> = some.iter().filter(is_only_here).map(|drive| drive.key.clone()).collect();
                if !changed.is_empty() {
                    self.lines([self.language.say(key, &[("drives", &changed.join(", "))])])?;
                }
            }
        }
        let shelf_word = self.language.plain("setup.shelf");
        Ok(Scene { drives, boot, configured: &self.settings.shelves, shelf_word })
    }

    fn draw(&self, shelves: &[PlannedShelf]) -> io::Result<()> {
        let mut out = Printout::default();
        out.line("");
        out.drawing(&drawing(shelves, screen().columns));
        print(&out)
    }

    /// The answer to a step; the inner error is why it is none.
    fn ask(&self, step: &Step, question: &str, proposed: Option<&str>) -> io::Result<Result<Answer, String>> {
        let stopped = || io::Error::from(io::ErrorKind::Interrupted);
        match step {
            Step::Way => {
                let ways = [Way::Serials, Way::Ports, Way::OneByOne];
                let words = ["setup.serials-way", "setup.ports-way", "setup.one-by-one-way"];
                let chosen = self.prompts.choice(question, &words.map(|key| self.language.plain(key)))?;
                Ok(Ok(Answer::Way(ways[chosen.ok_or_else(stopped)?])))
            }
            Step::Shelves { .. } | Step::Labels { .. } | Step::Serial { .. } => {
                let text = self.prompts.text(question, proposed, None)?.ok_or_else(stopped)?;
                Ok(Ok(Answer::Text(text)))
            }
            _ => Ok(self.confirmed(question)?.map(Answer::Yes)),
        }
    }

    /// Yes or no, by the word or its first letter.
    fn confirmed(&self, question: &str) -> io::Result<Result<bool, String>> {
        let help = self.language.plain("setup.yes-or-no");
        let text = self.prompts.text(question, None, Some(help))?.ok_or(io::ErrorKind::Interrupted)?;
        let typed = text.trim().to_lowercase();
        let is = |key: &str| {
            let word = self.language.plain(key);
            typed == word || (typed.chars().count() == 1 && word.starts_with(&typed))
        };
        Ok(match (is("setup.yes"), is("setup.no")) {
            (true, _) => Ok(true),
            (_, true) => Ok(false),
            _ => Err(self.language.plain("setup.wrong.yes-or-no").to_owned()),
        })
    }

    /// Shows what would change, asks, and writes it.
    fn write(&self, walk: &Walk, text: Option<&str>) -> io::Result<ExitCode> {
        let file = &self.flags.place.config.config;
        let name = file.display().to_string();
        let fresh = default_file();
        let before = text.unwrap_or(&fresh);
        let after = with_shelves(before, &walk.shelves).map_err(io::Error::other)?;
        // What `check` would refuse is not written.
        settle(&after, &name).map_err(io::Error::other)?;
        let kept = Kept::at(&self.flags.state_dir, file);
        if text == Some(&*after) {
            self.lines([self.language.say("setup.no-changes", &[("file", &name)])])?;
            kept.forget();
            return Ok(ExitCode::SUCCESS);
        }
        let title = if text.is_some() { "setup.changes" } else { "setup.new-file" };
        self.lines([String::new(), self.language.say(title, &[("file", &name)])])?;
        let mut out = Printout::default();
        difference(before, &after).iter().for_each(|line| out.to_enter(line));
        print(&out)?;
        let question = self.language.say("setup.write", &[("file", &name)]);
        let is_wanted = loop {
            match self.confirmed(&question)? {
                Ok(is_wanted) => break is_wanted,
                Err(why) => self.lines([why])?,
            }
        };
        if !is_wanted {
            self.line("setup.not-written")?;
            return Ok(ExitCode::from(1));
        }
        if let Err(why) = replace(file, text, &after) {
            self.not_written(walk, &name, &why)?;
            return Ok(ExitCode::from(1));
        }
        kept.forget();
        self.lines([self.language.say("setup.written", &[("file", &name)])])?;
        let mut out = Printout::default();
        out.line(self.language.plain("setup.reload"));
        out.to_enter("sudo systemctl reload traylight");
        out.line(self.language.plain("setup.print-labels"));
        out.to_enter("traylight setup --labels labels.svg");
        print(&out)?;
        Ok(ExitCode::SUCCESS)
    }

    /// Nothing is lost: the answers are kept, and the lines are printed.
    fn not_written(&self, walk: &Walk, name: &str, why: &io::Error) -> io::Result<()> {
        let mut out = Printout::default();
        out.line(self.language.say("setup.failed", &[("file", &name), ("why", why)]));
        if why.kind() == io::ErrorKind::PermissionDenied {
            out.line(self.language.plain("setup.as-root"));
            out.to_enter("sudo traylight setup");
        }
        out.line(self.language.plain("setup.lines"));
        let lines = with_shelves("", &walk.shelves).map_err(io::Error::other)?;
        lines.lines().for_each(|line| out.to_enter(line));
        print(&out)
    }
}

fn seen(flags: &SetupFlags) -> io::Result<Snapshot> {
    let [snapshot] = snapshots(&flags.place.tree.root, &Clock::of_this_machine())?;
    Ok(snapshot)
}

/// The kernel's id of this start of the box (Documentation/admin-guide/sysctl/kernel.rst, `random`).
fn boot(flags: &SetupFlags) -> Option<String> {
    let host = Host::at(&flags.place.tree.root);
    let id = host.attribute(&host.path("/proc/sys/kernel/random/boot_id")).ok()?;
    Some(id.trim().to_owned()).filter(|id| !id.is_empty())
}

/// Writes the labels of the trays that the configuration names; more than fit on a sheet of paper are on further ones.
fn write_labels(file: &Path, settings: &Settings, flags: &SetupFlags) -> io::Result<ExitCode> {
    let language = settings.language;
    let shelves: Vec<PlannedShelf> = settings.shelves.iter().map(PlannedShelf::of).collect();
    if shelves.is_empty() {
        return Err(io::Error::other(
            "expected named trays in the configuration, found none; run: sudo traylight setup",
        ));
    }
    let labels = labels(&shelves, &candidates(&seen(flags)?));
    let sheets = match file.extension().and_then(|end| end.to_str()) {
        Some("svg") => sheets_svg(&labels, language),
        Some("txt") => vec![sheet_text(&labels, language).to_string()],
        _ => {
            let found = file.display();
            return Err(io::Error::other(format!("expected a file that ends in .svg or .txt, found {found}")));
        }
    };
    for (index, sheet) in sheets.iter().enumerate() {
        let file = if index == 0 { file.to_owned() } else { numbered(file, index + 1) };
        let at = |error| io::Error::other(format!("{}: {error}", file.display()));
        write_sheet(&file, sheet).map_err(at)?;
        let name = file.display().to_string();
        let mut out = Printout::default();
        out.line(language.say("setup.labels-written", &[("file", &name)]));
        print(&out)?;
    }
    Ok(ExitCode::SUCCESS)
}

/// `labels.svg` as `labels-2.svg`.
fn numbered(file: &Path, number: usize) -> PathBuf {
    let part = |part: Option<&std::ffi::OsStr>| part.unwrap_or_default().to_string_lossy().into_owned();
    file.with_file_name(format!("{}-{number}.{}", part(file.file_stem()), part(file.extension())))
}
