//! ZFS pools: which there are, by what the module itself says, and the question that has `zpool` tell of their
//! devices. Reads only; nothing here can change a pool.

use super::child::{self, ChildOutput};
use super::host::Host;
use super::parse::plain::quoted;
use super::parse::zfs;
use super::parse::zfs::kstat::ZfsPoolState;
use super::parse::zfs::status::ZfsStatus;
use crate::clock::Clock;
use crate::reading::{Missing, Reason, WhyMissing};
use crate::units::Bytes;
use std::path::Path;
use std::time::Duration;

/// How long `zpool` may take. It waits for the pool's locks, and a pool in trouble may hold them for good.
const LIMIT: Duration = Duration::from_secs(10);

/// A pool that is there.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ListedZfsPool {
    /// Its name.
    pub name: String,
    /// Its number, where the module says it (since OpenZFS 2.2).
    pub guid: Option<u64>,
    /// How it stands, without waiting for anything. Under load it was seen to say `OFFLINE` for a moment: all but
    /// [`ZfsPoolState::Suspended`] is to be seen more than once before it is believed.
    pub state: Result<ZfsPoolState, Missing>,
}

/// The pools of a host in the order of their names; none where the module is not loaded.
pub fn spot(host: &Host) -> Result<Vec<ListedZfsPool>, Missing> {
    let folder = host.path("/proc/spl/kstat/zfs");
    if !host.exists(&folder) {
        return Ok(Vec::new());
    }
    // Beside the folders of pools there are the module's own tables, which are files.
    let pools = host.list(&folder)?.into_iter().filter(|name| host.exists(&folder.join(name).join("state")));
    Ok(pools
        .map(|name| {
            let pool = folder.join(&name);
            let state = host.ask(&pool.join("state"), zfs::kstat::state);
            ListedZfsPool { guid: host.ask(&pool.join("guid"), zfs::kstat::guid).ok(), state, name }
        })
        .collect())
}

/// What `zpool` tells of a pool.
#[derive(Debug, Clone, PartialEq)]
pub struct ZpoolOutput {
    /// What it is made of and how that stands.
    pub status: ZfsStatus,
    /// How much data fits into it, parity and copies not counted.
    pub size: Result<Bytes, Missing>,
}

impl ListedZfsPool {
    /// Has `zpool` tell of the pool: its status, then its size, one after the other. It may hang, and is then killed after ten seconds or, if the kernel holds
    /// on to it, waited for until it ends: ask from a thread that may be lost.
    ///
    /// # Errors
    /// The reason why nothing is known: the pool is suspended, there is no `zpool`, it did not answer in time, or it
    /// answered something else.
    pub fn ask(&self, host: &Host, clock: &Clock) -> Result<ZpoolOutput, Missing> {
        if !host.is_live() {
            return Err(Missing::from(WhyMissing::NotRecorded));
        }
        self.ask_by(Path::new("zpool"), clock)
    }

    fn ask_by(&self, tool: &Path, clock: &Clock) -> Result<ZpoolOutput, Missing> {
        if self.state == Ok(ZfsPoolState::Suspended) {
            return Err(Missing::from(WhyMissing::PoolSuspended));
        }
        let end = clock.now().plus(LIMIT);
        let run = |words: &[&str]| child::run(tool, &[words, &["--", &self.name]].concat(), clock, end);
        let status = self.status(&run, clock)?;
        // `-v` has a line for each group: what a pool holds depends on the parity of each.
        let size = run(&["list", "-HpvP"]).and_then(|list| {
            let told = if list.success { Ok(String::from_utf8_lossy(&list.output)) } else { Err(complaint(&list)) };
            let size = told.and_then(|text| zfs::list::usable(&text, &status.groups()));
            size.map(Bytes).map_err(|strange| Missing::found(Reason::Unreadable, format!("zpool list: {strange}")))
        });
        Ok(ZpoolOutput { status, size })
    }

    fn status(
        &self,
        run: &impl Fn(&[&str]) -> Result<ChildOutput, Missing>,
        clock: &Clock,
    ) -> Result<ZfsStatus, Missing> {
        let json = run(&["status", "-P", "-j", "--json-int"])?;
        if json.success {
            if let Ok(status) = self.own(zfs::status_json::pools(&json.output, clock.epoch_seconds())) {
                return Ok(status);
            }
        }
        // Before OpenZFS 2.3 there is no such option.
        let text = run(&["status", "-P", "-p"])?;
        let told = if text.success { zfs::status_text::pools(&text.output) } else { Err(complaint(&text)) };
        self.own(told).map_err(|strange| Missing::found(Reason::Unreadable, format!("zpool status: {strange}")))
    }

    /// The one pool that was asked for, among those told of.
    fn own(&self, told: Result<Vec<ZfsStatus>, String>) -> Result<ZfsStatus, String> {
        let found = told?.into_iter().find(|status| status.name == self.name);
        let mut status = found.ok_or_else(|| format!("found no pool {}", quoted(&self.name)))?;
        if let (Some(told), Some(wanted)) = (status.guid, self.guid.filter(|_| status.guid != self.guid)) {
            return Err(format!("expected the pool with the number {wanted}, found {told}"));
        }
        status.guid = status.guid.or(self.guid);
        Ok(status)
    }
}

fn complaint(outcome: &ChildOutput) -> String {
    let said = String::from_utf8_lossy(&outcome.complaints);
    format!("expected a pool, found {}", quoted(said.lines().next().unwrap_or_default().trim()))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::disallowed_methods, reason = "tests write the files that they read")]
    use super::*;
    use crate::sense::parse::zfs::status::ZfsMemberState;
    use std::fs;
    use std::path::PathBuf;

    const JSON: &str = include_str!("../../parse/src/zfs/samples/2.3-checksums.json");
    const TEXT: &str = include_str!("../../parse/src/zfs/samples/2.3-offline.txt");

    fn tank() -> ListedZfsPool {
        ListedZfsPool { name: "tank".into(), guid: Some(16_264_776_641_714_663_669), state: Ok(ZfsPoolState::Degraded) }
    }

    /// A tool that answers as this script does, in a folder that holds `json`, `text` and `list`.
    fn tool(folder: &Path, script: &str) -> PathBuf {
        fs::write(folder.join("json"), JSON).unwrap();
        fs::write(folder.join("text"), TEXT).unwrap();
        fs::write(folder.join("list"), LIST).unwrap();
        let path = folder.join("zpool");
        let whole = format!("#!/bin/sh\ncd {}\necho \"$@\" >> asked\n{script}\n", folder.display());
        // Written by another process: a file that any thread of this one has open for writing cannot be run.
        let write = ["-c", "printf %s \"$1\" > \"$0\" && chmod 755 \"$0\""];
        let written = std::process::Command::new("sh").args(write).arg(&path).arg(whole).status();
        assert!(written.unwrap().success());
        path
    }

    /// What comes of it, and what the tool was asked, in a thread with as little room as a worker has.
    fn answer(spotted: ListedZfsPool, script: &str) -> (Result<ZpoolOutput, Missing>, String) {
        let folder = tempfile::tempdir().unwrap();
        let tool = tool(folder.path(), script);
        let question = move || spotted.ask_by(&tool, &Clock::of_this_machine());
        let told = std::thread::Builder::new().stack_size(128 << 10).spawn(question).unwrap().join().unwrap();
        (told, fs::read_to_string(folder.path().join("asked")).unwrap_or_default())
    }

    #[test]
    fn pools_are_the_folders_with_a_state() {
        let folder = tempfile::tempdir().unwrap();
        let host = Host::at(folder.path());
        assert_eq!(spot(&host), Ok(Vec::new()), "no module");

        let kstat = folder.path().join("proc/spl/kstat/zfs");
        for (file, text) in [
            ("tank/state", "SUSPENDED\n"),
            ("tank/guid", "16264776641714663669\n"),
            ("songs/state", "ONLINE\n"),
            ("odd/state", "WONDERFUL\n"),
            ("empty/iostats", "7 1 0x01\n"),
            ("arcstats", "9 1 0x01 147 39984 1 2\n"),
        ] {
            fs::create_dir_all(kstat.join(file).parent().unwrap()).unwrap();
            fs::write(kstat.join(file), text).unwrap();
        }
        let found = spot(&host).unwrap();
        let told: Vec<_> = found.iter().map(|pool| (pool.name.as_str(), pool.guid, pool.state.clone().ok())).collect();
        let wanted = [
            ("odd", None, None),
            ("songs", None, Some(ZfsPoolState::Online)),
            ("tank", Some(16_264_776_641_714_663_669), Some(ZfsPoolState::Suspended)),
        ];
        assert_eq!(told, wanted);
        assert_eq!(found[0].ask(&host, &Clock::of_this_machine()).unwrap_err().reason, Reason::NotRead);
    }

    /// The list that the tool gave of the pool in the samples, but for its columns from the fourth on.
    const LIST: &str = "tank\t2147483648\t236426240\n\traidz1-0\t2147483648\t236426240\n\t/dev/sda1\t723517440\t-\n";

    #[test]
    fn one_question_in_json_is_enough_and_the_size_comes_after_it() {
        let (told, asked) = answer(tank(), "case \"$*\" in list*) cat list;; *) cat json;; esac");
        let told = told.unwrap();
        assert_eq!((told.status.members().len(), told.size), (4, Ok(Bytes(1_431_655_765))));
        assert_eq!(asked, "status -P -j --json-int -- tank\nlist -HpvP -- tank\n");
    }

    /// What is known of its members is worth having without its size.
    #[test]
    fn a_size_that_is_not_told_takes_nothing_else_away() {
        let (told, _) = answer(tank(), "case \"$*\" in list*) echo \"no space\" >&2; exit 1;; *) cat json;; esac");
        let told = told.unwrap();
        let why = Missing::found(Reason::Unreadable, "zpool list: expected a pool, found `no space`");
        assert_eq!(told.size, Err(why));
        assert_eq!(told.status.members().len(), 4);
    }

    /// As OpenZFS 2.2 and older answer to what they do not know: usage on the error channel, and 2.
    #[test]
    fn an_older_tool_is_asked_again_in_words() {
        let (told, asked) =
            answer(tank(), "case \"$*\" in *-j*) echo \"invalid option 'j'\" >&2; exit 2;; esac; cat text");
        let status = told.unwrap().status;
        assert_eq!(status.members()[2].standing, ZfsMemberState::Offline);
        assert_eq!(status.guid, tank().guid, "text has no number: the module's is taken");
        assert_eq!(asked, "status -P -j --json-int -- tank\nstatus -P -p -- tank\nlist -HpvP -- tank\n");
    }

    #[test]
    fn json_that_was_cut_is_made_good_by_words() {
        let (told, _) = answer(tank(), "case \"$*\" in *-j*) head -c 2000 json;; *) cat text;; esac");
        assert_eq!(told.unwrap().status.members()[2].standing, ZfsMemberState::Offline);
    }

    #[test]
    fn a_suspended_pool_is_left_alone() {
        let (told, asked) = answer(ListedZfsPool { state: Ok(ZfsPoolState::Suspended), ..tank() }, "cat json");
        assert_eq!(told, Err(WhyMissing::PoolSuspended.into()));
        assert_eq!(asked, "");
    }

    #[test]
    fn what_the_tool_complains_of_is_told() {
        let (told, _) = answer(tank(), "echo \"cannot open: no such pool\" >&2; exit 1");
        assert_eq!(
            told,
            Err(Missing::found(Reason::Unreadable, "zpool status: expected a pool, found `cannot open: no such poo…`"))
        );
        let (told, _) =
            answer(ListedZfsPool { guid: Some(7), ..tank() }, "case \"$*\" in *-j*) cat json;; *) exit 1;; esac");
        assert_eq!(told, Err(Missing::found(Reason::Unreadable, "zpool status: expected a pool, found nothing")));
        let (told, _) = answer(ListedZfsPool { name: "songs".into(), ..tank() }, "cat text");
        assert_eq!(told, Err(Missing::found(Reason::Unreadable, "zpool status: found no pool `songs`")));
    }

    #[test]
    fn without_the_tool_there_is_a_reason() {
        let why = tank().ask_by(Path::new("/nowhere/zpool"), &Clock::of_this_machine()).unwrap_err();
        assert_eq!(why, Missing::from(WhyMissing::NotInstalled).and_found("/nowhere/zpool"));
    }
}
