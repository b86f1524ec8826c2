//! What is open, for people: a list, or everything about one incident. The same document, nothing more.

use super::document::Document;
use super::incident_part::{Identity, Incident, TrayHandling};
use super::table::shown;
use crate::printout::{Cell, Printout, Table};
use crate::tell::words::evidence::unmeasured;
use crate::tell::words::limit;
use crate::tell::words::phrases::Language;
use crate::units::span;
use crate::verdict::IncidentId;
use crate::verdict::Standing;
use std::time::Duration;

/// The open incidents, a line each. Nothing open is said, and so is what could not be seen.
pub fn list(document: &Document) -> Printout {
    let open = &document.incidents;
    let how_many = match (open.len(), document.standing) {
        (0, Standing::Starting) => "nothing is open so far; the box is still starting".to_owned(),
        (0, Standing::NoData | Standing::SeenInPart) => "nothing is open in what was seen".to_owned(),
        (0, _) => "nothing is open".to_owned(),
        (count, _) => format!("{count} open"),
    };
    let mut out = Printout::default();
    out.line(format_args!("{}: {how_many}", document.box_name));
    if let Some(left) = document.muted_left_s {
        out.line(format_args!("muted: messages are held back for {}", since(Some(left))));
    }
    let test = document.rehearsal.iter().flat_map(|rehearsal| rehearsal.lines(Language::ENGLISH));
    test.for_each(|line| out.line(line));
    let row = |incident: &Incident| {
        vec![
            Cell::from(incident.id.to_string()),
            Cell::coloured(incident.severity.to_string(), Some(incident.severity)),
            since(incident.since_s).into(),
            shown((!incident.trays.is_empty()).then(|| incident.trays.join(" "))).into(),
            Cell::coloured(incident.headline.as_str(), Some(incident.severity)),
            if incident.acknowledged { "yes" } else { "no" }.into(),
        ]
    };
    let rows = open.iter().map(row).collect();
    let columns = [("id", 0), ("severity", 2), ("since", 1), ("tray", 3), ("title", 0), ("acknowledged", 4)];
    out.table(Table::new(columns, rows));
    if !document.unseen.is_empty() {
        out.line("");
    }
    document.unseen.iter().for_each(|unseen| out.line(format_args!("- not seen: {unseen}")));
    out
}

/// Everything about one incident.
///
/// # Errors
/// When none of this name is open; which are.
pub fn why(document: &Document, id: IncidentId) -> Result<Printout, String> {
    let found = document.incidents.iter().find(|incident| incident.id == id);
    let incident = found.ok_or_else(|| not_open(id, document.incidents.iter().map(|incident| incident.id)))?;
    let mut out = Printout::default();
    out.line(format_args!("incident {id}, {}: {}", incident.severity, incident.headline));
    let known = if incident.acknowledged { "acknowledged" } else { "not acknowledged" };
    out.line(format_args!("  since {}, {known}", since(incident.since_s)));
    out.line(format_args!("  {}", incident.sentence));
    out.line(format_args!("cause: {} ({})", incident.cause.id(), incident.confidence.word()));
    out.line(format_args!("conditions:"));
    for held in document.conditions.iter().filter(|condition| condition.incident == Some(id)) {
        let length = held.since_s.map_or_else(|| "a time that is not known".to_owned(), |held| since(Some(held)));
        out.line(format_args!("  {} of {}, {} for {length}", held.id, held.subject, held.severity));
        for limit in &held.limits {
            let origin = limit::origin(limit.origin, Language::ENGLISH);
            out.line(format_args!("    limit: {} ({origin})", limit.text));
        }
    }
    let nothing_seen = ["nothing but the conditions".to_owned()];
    block(&mut out, "evidence", if incident.evidence.is_empty() { &nothing_seen } else { &incident.evidence });
    let missing: Vec<String> =
        incident.not_measured.iter().map(|what| unmeasured(*what, Language::ENGLISH).to_owned()).collect();
    block(&mut out, "not measured", &missing);
    let drives: Vec<String> = incident.drives.iter().map(drive).collect();
    block(&mut out, "drives", &drives);
    out.line(format_args!("trays: {}", handling(incident)));
    out.line(format_args!("do: {}", incident.advice));
    out.line(format_args!("do not: {}", incident.do_not));
    if !incident.next_test.is_empty() {
        out.line(format_args!("next test: {}", incident.next_test));
    }
    Ok(out)
}

/// That an incident is not open, and which are.
pub fn not_open(id: IncidentId, open: impl Iterator<Item = IncidentId>) -> String {
    let open: Vec<String> = open.map(|id| id.to_string()).collect();
    let open = if open.is_empty() { "nothing is open".to_owned() } else { format!("open: {}", open.join(", ")) };
    format!("found no open incident {id}; {open}")
}

fn block(out: &mut Printout, name: &str, lines: &[String]) {
    if !lines.is_empty() {
        out.line(format_args!("{name}:"));
        for line in lines {
            out.line(format_args!("  {line}"));
        }
    }
}

fn drive(drive: &super::incident_part::AboutDrive) -> String {
    let tray = drive.tray.as_ref().map(|tray| format!("tray {tray}, ")).unwrap_or_default();
    let serial = drive.serial.as_deref().unwrap_or("none");
    let port = drive.port.as_deref().unwrap_or("unknown");
    let identity = match drive.identity {
        Identity::Strong => "strong: serial, world wide name and port are known",
        Identity::Medium => "medium: by its serial only",
        Identity::Weak => "weak: by its place only, so compare before you touch it",
    };
    format!("{tray}serial {serial}, port {port}; identity {identity}")
}

fn handling(incident: &Incident) -> String {
    let labels = incident.handled_trays.join(" ");
    match incident.handling {
        TrayHandling::NoTray => "this is not about trays".to_owned(),
        TrayHandling::PullNothing => "take none out".to_owned(),
        TrayHandling::LeaveIn if labels.is_empty() => "leave all in".to_owned(),
        TrayHandling::LeaveIn => format!("leave {labels} in"),
        TrayHandling::Compare => "which one it is in is not certain: compare the serial".to_owned(),
        TrayHandling::MayPull => format!("{labels} may be taken out; what to do says how"),
        TrayHandling::PutBack => format!("put {labels} back; what to do says how"),
    }
}

fn since(seconds: Option<u64>) -> String {
    seconds.map_or_else(|| "not known".to_owned(), |seconds| span(Duration::from_secs(seconds)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::Moment;
    use crate::demo::{self, heron, story};
    use crate::judge::{Memory, judge};

    /// The pretend box after so many minutes of its story.
    fn document(minutes: u64) -> Document {
        let settings = demo::settings().expect("the pretend box has settings");
        let (mut memory, mut last) = (Memory::default(), None);
        for second in (0..=60 * minutes).step_by(2) {
            let elapsed = Duration::from_secs(second);
            let now = Moment::after_boot(Duration::from_secs(86_400) + elapsed);
            let snapshot = heron::snapshot(now, &story::scene(elapsed));
            let (verdict, _) = judge(&settings, &mut memory, now, Some(&snapshot), &crate::reading::Itself::default());
            last = Some((verdict, snapshot));
        }
        let (verdict, snapshot) = last.expect("the story has a first second");
        Document::new(&settings, &verdict, &snapshot, &demo::dawn().expect("there is a dawn"))
    }

    #[test]
    fn nothing_open_is_said_and_what_was_not_seen_as_well() {
        let mut calm = document(1);
        assert_eq!(list(&calm).to_string(), "heron: nothing is open\n");
        calm.standing = Standing::NoData;
        calm.unseen = vec!["everything: silent for 3 min".to_owned()];
        calm.muted_left_s = Some(2_520);
        assert_eq!(
            list(&calm).to_string(),
            "heron: nothing is open in what was seen\nmuted: messages are held back for 42 min\n\n\
             - not seen: everything: silent for 3 min\n"
        );
    }

    #[test]
    fn each_open_incident_has_a_line_and_can_say_why() {
        let document = document(26);
        let text = list(&document).to_string();
        assert_eq!(text.lines().count(), 3 + document.incidents.len(), "{text}");
        let gone =
            document.incidents.iter().find(|incident| incident.headline.contains("TRAY 3")).expect("tray 3 went");
        assert!(text.contains(&format!("{}   critical", gone.id)), "{text}");
        let why = why(&document, gone.id).expect("it is open").to_string();
        for wanted in [
            "cause: ",
            "  drive-gone of drive HN24-LARK, critical for",
            "    limit: gone for 10 s, or immediately when its pool is missing it (default)",
            "tray 3, serial HN24-LARK, port 0000/1c.0/00.0/ata-3; identity medium: by its serial only",
            "do: ",
            "do not: ",
        ] {
            assert!(why.contains(wanted), "{wanted} is not in:\n{why}");
        }
    }

    /// Names of mounts, ports and what is mounted are chosen by whoever may mount or plug.
    #[test]
    fn a_hostile_name_steers_no_terminal() {
        const HOSTILE: &str = "/srv/\x1b]0;all is well\x07\x1b[2J\u{9b}1m\u{202e}\nnothing is open";
        let settings = demo::settings().expect("the pretend box has settings");
        let (now, mut memory) = (Moment::after_boot(Duration::from_secs(86_400)), Memory::for_a_single_look());
        let mut snapshot = heron::snapshot(now, &story::scene(Duration::ZERO));
        snapshot.volumes[0].mount = HOSTILE.to_owned();
        snapshot.volumes[0].writing = crate::reading::Writing::StoppedByError;
        snapshot.unmounted.push(crate::reading::Unmounted { mount: HOSTILE.into(), source: HOSTILE.into() });
        snapshot.links[0].name = HOSTILE.to_owned();
        let (verdict, _) = judge(&settings, &mut memory, now, Some(&snapshot), &crate::reading::Itself::default());
        let document = Document::new(&settings, &verdict, &snapshot, &demo::dawn().expect("there is a dawn"));
        assert!(!document.incidents.is_empty());
        let each = document.incidents.iter().map(|incident| why(&document, incident.id).expect("it is open"));
        let wall = demo::dawn().expect("there is a dawn");
        let table = super::super::table::table(&document, Language::ENGLISH, &wall);
        for printout in each.chain([list(&document), table, Printout::json(&document).expect("it is JSON")]) {
            let text = printout.to_string();
            assert!(!text.contains(|c| crate::text::misleads(c) && c != '\n'), "{text:?}");
            assert!(!text.lines().any(|line| line.starts_with("nothing is open")), "{text}");
        }
    }

    #[test]
    fn what_is_not_open_names_what_is() {
        let why = |minutes| why(&document(minutes), IncidentId(99)).expect_err("it is not open");
        assert_eq!(why(1), "found no open incident 99; nothing is open");
        assert!(why(26).starts_with("found no open incident 99; open: "), "{}", why(26));
    }
}
