//! The parts of a dossier, each a title and its text, or the reason why there is none.

use super::contents::{Contents, LANGUAGE};
use crate::printout::{Cell, Printout, Table};
use crate::pseudonyms::IdentityKind;
use crate::serve::document::Document;
use crate::serve::{alerts, drive_detail, table, why};
use crate::survey;
use crate::tell::words::phrases::Phrases;

/// The text of a part, or why there is none.
type Part = Result<String, String>;

/// All parts, what matters first.
pub(super) fn all(contents: &Contents) -> Vec<(&'static str, Part)> {
    let of_document =
        |part: &dyn Fn(&Document) -> Part| contents.document.as_ref().map_err(Clone::clone).and_then(part);
    let state = |document: &Document| Ok(table::table(document, LANGUAGE, &contents.wall).to_string());
    let drives = |document: &Document| {
        let detail = |name: &str| drive_detail::detail(document, name, LANGUAGE, &contents.wall);
        let drives = document.drives.iter().map(|drive| Ok(format!("{}\n", detail(&drive.device)?)));
        drives.collect()
    };
    let parts = [
        ("dossier.part.program", Ok(program(contents))),
        ("dossier.part.state", of_document(&state)),
        ("dossier.part.open", of_document(&open)),
        ("dossier.part.closed", of_document(&|document| closed(document, contents))),
        ("dossier.part.survey", contents.survey.as_ref().map(survey_text).map_err(Clone::clone)),
        ("dossier.part.controllers", of_document(&|document| Ok(controllers(document)))),
        ("dossier.part.drives", of_document(&drives)),
        ("dossier.part.kernel", contents.kernel_lines.as_ref().map(|found| lines(found)).map_err(Clone::clone)),
        ("dossier.part.configuration", contents.configuration.clone()),
    ];
    parts.into_iter().map(|(key, part)| (LANGUAGE.plain(key), part)).collect()
}

fn program(contents: &Contents) -> String {
    let mut out = Printout::default();
    out.line(LANGUAGE.say("dossier.version", &[("version", &env!("CARGO_PKG_VERSION"))]));
    out.line(LANGUAGE.say("dossier.written-at", &[("time", &contents.wall.stamp())]));
    out.line(match &contents.no_agent {
        Some(why) => LANGUAGE.say("dossier.single-look", &[("why", why)]),
        None => LANGUAGE.plain("dossier.from-agent").to_owned(),
    });
    out.to_string()
}

/// Each incident in full.
fn open(document: &Document) -> Part {
    let list = alerts::list(document, LANGUAGE).to_string();
    let mut reports = document.incidents.iter().map(|incident| why::why(document, incident.id, LANGUAGE));
    reports.try_fold(list, |text, report| Ok(format!("{text}\n\n{}", report?)))
}

fn closed(document: &Document, contents: &Contents) -> Part {
    let without = || contents.no_agent.clone().unwrap_or_else(|| LANGUAGE.plain("dossier.no-history").to_owned());
    let history = document.history.as_ref().ok_or_else(without)?;
    let mut out = Printout::default();
    alerts::list_closed(history, LANGUAGE, &mut out);
    Ok(out.to_string().trim_start().to_owned())
}

fn survey_text(found: &survey::Survey) -> String {
    survey::printed(found, LANGUAGE).to_string()
}

fn controllers(document: &Document) -> String {
    let text = |value: Option<String>| Cell::from(value.unwrap_or_else(|| "-".to_owned()));
    let rows = document.controllers.iter().map(|controller| {
        let link = controller.link_gt_per_s.zip(controller.link_lanes);
        let errors = controller.bus_errors_corrected.zip(controller.bus_errors_uncorrected);
        vec![
            Cell::from(controller.place.clone()),
            Cell::from(controller.kind.to_string()),
            Cell::from(controller.id.clone()),
            text(controller.driver.clone()),
            text(link.map(|(speed, lanes)| format!("{speed} GT/s x{lanes}"))),
            text(errors.map(|(corrected, others)| format!("{corrected} + {others}"))),
            text(controller.link_power.clone()),
        ]
    });
    let keys = [
        "dossier.controller.place",
        "dossier.controller.kind",
        "dossier.controller.id",
        "dossier.controller.driver",
        "dossier.controller.link",
        "dossier.controller.errors",
        "dossier.controller.power",
    ];
    let mut out = Printout::default();
    out.table(Table::new(keys.map(|key| (LANGUAGE.plain(key), 0)), rows.collect()));
    out.to_string().trim_start().to_owned()
}

fn lines(lines: &[String]) -> String {
    let mut out = Printout::default();
    if lines.is_empty() {
        out.line(LANGUAGE.plain("dossier.no-kernel-lines"));
    }
    lines.iter().for_each(|line| out.line(line));
    out.to_string()
}

/// How many values of a kind were replaced, as a key of the tables of words.
pub(super) fn kind_key(kind: IdentityKind) -> &'static str {
    match kind {
        IdentityKind::Serial => "dossier.kind.serial",
        IdentityKind::Wwn => "dossier.kind.wwn",
        IdentityKind::Uuid => "dossier.kind.uuid",
        IdentityKind::Pool => "dossier.kind.pool",
        IdentityKind::Share => "dossier.kind.share",
        IdentityKind::Host => "dossier.kind.host",
        IdentityKind::User => "dossier.kind.user",
        IdentityKind::Address => "dossier.kind.address",
        IdentityKind::Mac => "dossier.kind.mac",
        IdentityKind::Mail => "dossier.kind.mail",
        IdentityKind::Url => "dossier.kind.url",
        IdentityKind::Secret => "dossier.kind.secret",
    }
}
