//! Boxes for pictures: `heron` with two to eight trays, healthy, with a warning and with something critical.

use std::sync::OnceLock;
use std::time::Duration;
use traylight::clock::Moment;
use traylight::demo::{heron, story};
use traylight::judge::{Memory, judge};
use traylight::reading::{DriveKey, Itself, Snapshot};
use traylight::rehearse::{Played, RehearsedFault, play};
use traylight::show::pages::{ChannelStatus, Page, View, draw};
use traylight::verdict::{Kind, Severity, Verdict};
use traylight_config::{PageName, Settings, settle};
use traylight_display::{Frame, PanelSize};

/// The sizes whose pictures are kept; the others are turned ones of the same.
pub const KEPT: [PanelSize; 5] =
    [PanelSize::W128H64, PanelSize::W128H32, PanelSize::W72H40, PanelSize::W64H48, PanelSize::W64H128];

/// How a box is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mood {
    /// Nothing is wrong.
    Healthy,
    /// Data is damaged on the way to a drive.
    Warning,
    /// A drive is gone, and its pool can lose no other.
    Critical,
}

impl Mood {
    /// All of them.
    pub const ALL: [Mood; 3] = [Mood::Healthy, Mood::Warning, Mood::Critical];
}

/// A box as settled, judged and read.
#[derive(Clone)]
pub struct Scene {
    /// Its settings.
    pub settings: Settings,
    /// As judged.
    pub verdict: Verdict,
    /// As read.
    pub snapshot: Snapshot,
}

/// The box with so many trays, 2 to 8, in this mood. Played once, since playing takes its time.
pub fn scene(trays: usize, mood: Mood) -> &'static Scene {
    static PLAYED: [[OnceLock<Scene>; 3]; 7] = [const { [const { OnceLock::new() }; 3] }; 7];
    PLAYED[trays - 2][mood as usize].get_or_init(|| played(trays, mood))
}

fn played(trays: usize, mood: Mood) -> Scene {
    let (settings, snapshot) = calm(trays);
    let mut memory = Memory::default();
    let (verdict, _) = judge(&settings, &mut memory, snapshot.taken, Some(&snapshot), &Itself::default());
    let fault = match mood {
        Mood::Healthy => return Scene { settings, verdict, snapshot },
        Mood::Warning => Kind::SataCrcGrowth,
        Mood::Critical => Kind::DriveGone,
    };
    match play(&settings, &memory, &snapshot, RehearsedFault::Kind(fault), Some("2")) {
        Ok(Played { verdict, snapshot, .. }) => Scene { settings, verdict, snapshot },
        Err(why) => unreachable!("{why}"),
    }
}

/// The pretend box after two minutes, with more or fewer drives than it has, one tray each, on one shelf.
fn calm(trays: usize) -> (Settings, Snapshot) {
    let elapsed = Duration::from_secs(120);
    let now = Moment::after_boot(Duration::from_secs(41 * 86_400) + elapsed);
    let mut snapshot = heron::snapshot(now, &story::scene(elapsed));
    let pattern = snapshot.drives.clone();
    snapshot.drives = (0..trays)
        .map(|place| {
            let mut drive = pattern[place % pattern.len().min(5)].clone();
            let serial = format!("HN24-{:04}", 1101 + 7 * place);
            (drive.key, drive.serial) = (DriveKey(serial.clone()), Some(serial));
            drive.device = format!("sd{}", (b'a' + place as u8) as char);
            drive.port = Some(format!("0000/1c.0/00.0/ata-{}", place + 1));
            drive
        })
        .collect();
    let members = trays.min(5);
    let pool = &mut snapshot.pools[0];
    pool.members.truncate(members);
    (pool.wanted, pool.missing) = (members as u32, Some(0));
    if members == 2 {
        pool.level = "raid1".into();
    }
    pool.groups[0].slots.truncate(members);
    let named: String = (0..trays)
        .map(|place| format!("[[shelf.tray]]\nlabel = '{}'\nserial = 'HN24-{:04}'\n", place + 1, 1101 + 7 * place))
        .collect();
    let file = format!("[box]\nname = 'heron'\n[[shelf]]\nname = 'front'\n{named}");
    (settle(&file, "heron.toml").unwrap_or_else(|problems| unreachable!("{problems}")), snapshot)
}

/// A page of the scene at some cycle of the pages.
pub fn page(scene: &Scene, page: &Page, cycle: u64, panel: PanelSize) -> Frame {
    with_view(scene, "14:32", cycle, |view| draw(page, view, panel))
}

/// Something made of the view of a scene.
pub fn with_view<T>(scene: &Scene, clock: &str, cycle: u64, make: impl FnOnce(&View<'_>) -> T) -> T {
    let time_of_day = |ago: Duration| {
        let minute = (14 * 60 + 32 + 24 * 60 - ago.as_secs() / 60 % (24 * 60)) % (24 * 60);
        format!("{:02}:{:02}", minute / 60, minute % 60)
    };
    let channel =
        |name: &str, is_confirmed, waiting| ChannelStatus { name: name.into(), is_confirmed, waiting, fails: false };
    let channels = [channel("mail", true, 0), channel("phone", true, 0)];
    let view = View {
        verdict: &scene.verdict,
        snapshot: Some(&scene.snapshot),
        settings: &scene.settings,
        channels: &channels,
        clock,
        cycle,
        time_of_day: &time_of_day,
        language: scene.settings.language,
    };
    make(&view)
}

/// The pages that there are in this mood: the owner's, and both of each incident that is worse than a notice.
pub fn pages(scene: &Scene) -> Vec<Page> {
    let open = scene.verdict.incidents.iter().filter(|incident| incident.severity >= Severity::Warning);
    let wrong = open.flat_map(|incident| [Page::Alarm(incident.id), Page::Incident(incident.id)]);
    wrong.chain(PageName::ALL.map(Page::Named)).collect()
}

/// What a page is called.
pub fn name(page: &Page) -> String {
    match page {
        Page::Named(name) => name.word().to_owned(),
        Page::Alarm(id) => format!("alarm {id}"),
        Page::Incident(id) => format!("incident {id}"),
    }
}
