//! How much an array of each level holds: as the program reads it, as mdadm says it, and by what is published of the level.

use super::heron::Heron;
use crate::lab::error::LabError;
use crate::lab::report::{Failed, Report};

const CHUNK_KIB: u64 = 64;
/// What an array of each level holds, from the room for data on each of its members, in KiB. md(4): RAID 0 uses all whole
/// chunks of every member; RAID 1 the smallest member alone; RAID 4 and 5 give one member's worth to parity, RAID 6 two;
/// RAID 10 with two copies has half.
const LEVELS: [(u32, Formula); 6] = [
    (0, |rooms| rooms.iter().copied().map(whole_chunks).sum()),
    (1, smallest),
    (4, |rooms| whole_chunks(smallest(rooms)) * (rooms.len() as u64 - 1)),
    (5, |rooms| whole_chunks(smallest(rooms)) * (rooms.len() as u64 - 1)),
    (6, |rooms| whole_chunks(smallest(rooms)) * (rooms.len() as u64 - 2)),
    (10, |rooms| whole_chunks(smallest(rooms)) * rooms.len() as u64 / 2),
];

type Formula = fn(&[u64]) -> u64;

/// The sizes of the members.
const MEMBERS_MIB: [u64; 4] = [20, 21, 22, 23];
/// Makes an array of each level from four loop devices of these sizes, all at once, and prints where the data of each
/// member begins, in sectors, as mdadm says: four lines a level.
const MAKE: &str = r#"
modprobe loop max_loop=24
mkdir /tmp/sizes
make() {
    chunk=--chunk=64
    [ "$level" != 1 ] || chunk=
    mdadm --create "/dev/md2$level" --run --assume-clean --metadata=1.2 --level="$level" $chunk --raid-devices=4 $members
}
number=0 processes=
for level in 0 1 4 5 6 10; do
    members=
    for mib in 20 21 22 23; do
        truncate -s "${mib}M" "/tmp/sizes/$number" && losetup "/dev/loop$number" "/tmp/sizes/$number" || exit 1
        members="$members /dev/loop$number"
        number=$((number + 1))
    done
    make >"/tmp/sizes/words.$level" 2>&1 &
    processes="$processes $!"
    all="$all $members"
done
for process in $processes; do
    wait "$process" || { cat /tmp/sizes/words.*; exit 1; }
done
mdadm --examine $all | sed -n 's/ *Data Offset : \([0-9]*\) sectors/\1/p'
"#;
const UNMAKE: &str = "for level in 0 1 4 5 6 10; do mdadm --stop /dev/md2$level || exit 1; done 2>&1
    losetup --detach-all && rm -r /tmp/sizes";

/// Plays it in a box that has md.
pub fn play(report: &mut Report, heron: &mut Heron) -> Result<(), Failed> {
    let offsets = report.step("an array of each level is made from members of different sizes", || {
        let words = heron.machine.must_run(MAKE, 120)?;
        let offsets: Vec<u64> = words.lines().filter_map(|line| line.parse().ok()).collect();
        if offsets.len() == LEVELS.len() * MEMBERS_MIB.len() {
            return Ok(offsets);
        }
        Err(LabError::unexpected("mdadm --examine", "where the data of each member begins", words))
    })?;
    let check = report.step("look: each array has the size that mdadm says, and that its level gives", || {
        let look = heron.look()?;
        for ((level, formula), offsets) in LEVELS.into_iter().zip(offsets.chunks(MEMBERS_MIB.len())) {
            let name = format!("md2{level}");
            let detail = heron.machine.must_run(&format!("mdadm --detail /dev/{name}"), 60)?;
            let by_mdadm = said(&detail, "Array Size").and_then(|size| size.split(' ').next()?.parse::<u64>().ok());
            let by_level = formula(&rooms(offsets));
            let by_program = look.item("pools", "name", &name)?.value("/size_bytes").as_u64().map(|bytes| bytes / 1024);
            if by_mdadm != Some(by_level) || by_program != Some(by_level) {
                let found = format!("{by_program:?} by the program, {by_mdadm:?} by mdadm");
                return Err(LabError::unexpected(
                    format!("the size of RAID {level}"),
                    format!("{by_level} KiB"),
                    found,
                ));
            }
        }
        Ok(())
    });
    report.step("they are taken apart again", || heron.machine.must_run(UNMAKE, 60).map(drop))?;
    check
}

/// The room for data on each member of an array, in KiB, from where its data begins, in sectors.
fn rooms(offsets: &[u64]) -> Vec<u64> {
    MEMBERS_MIB.into_iter().zip(offsets).map(|(mib, offset)| mib * 1024 - offset / 2).collect()
}

fn whole_chunks(room: u64) -> u64 {
    room / CHUNK_KIB * CHUNK_KIB
}

fn smallest(rooms: &[u64]) -> u64 {
    rooms.iter().copied().min().unwrap_or(0)
}

/// What `mdadm --detail` says under a key.
pub fn said<'a>(detail: &'a str, key: &str) -> Option<&'a str> {
    detail
        .lines()
        .filter_map(|line| line.split_once(" : "))
        .find(|(found, _)| found.trim() == key)
        .map(|(_, it)| it.trim())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_value_is_found_by_its_whole_key() {
        let detail = "     Raid Devices : 4\n    Total Devices : 3\n            State : clean, degraded \n";
        assert_eq!(said(detail, "Devices"), None);
        assert_eq!(said(detail, "State"), Some("clean, degraded"));
    }
}
