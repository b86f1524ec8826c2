//! How much an array of each level holds: as the program reads it, as mdadm says it, and by what is published of the level.

use super::heron::Heron;
use crate::lab::error::LabError;
use crate::lab::report::{Failed, Report};

const CHUNK_KIB: u64 = 64;
/// What an array of each level holds, from the room for data on each of its members, in KiB. md(4): RAID 0 uses all whole
/// chunks of every member; RAID 1 the smallest member alone; RAID 4 and 5 give one member's worth to parity, RAID 6 two;
/// RAID 10 with two copies has half.
const LEVELS: [(u32, fn(&[u64]) -> u64); 6] = [
    (0, |rooms| rooms.iter().copied().map(whole_chunks).sum()),
    (1, smallest),
    (4, |rooms| whole_chunks(smallest(rooms)) * (rooms.len() as u64 - 1)),
    (5, |rooms| whole_chunks(smallest(rooms)) * (rooms.len() as u64 - 1)),
    (6, |rooms| whole_chunks(smallest(rooms)) * (rooms.len() as u64 - 2)),
    (10, |rooms| whole_chunks(smallest(rooms)) * rooms.len() as u64 / 2),
];

/// Makes an array of each level from four loop devices of different sizes, all at once, and says of each member: the
/// array's name, its size in sectors, and where its data begins, in sectors.
const MAKE: &str = r#"
modprobe loop max_loop=24
mkdir /tmp/sizes
make() {
    chunk=--chunk=64
    [ "$level" != 1 ] || chunk=
    mdadm --create "/dev/md2$level" --run --assume-clean --metadata=1.2 --level="$level" $chunk --raid-devices=4 $members
}
number=0
for level in 0 1 4 5 6 10; do
    members=
    for mib in 20 21 22 23; do
        truncate -s "${mib}M" "/tmp/sizes/$number" && losetup "/dev/loop$number" "/tmp/sizes/$number" || exit 1
        members="$members /dev/loop$number"
        number=$((number + 1))
    done
    make >"/tmp/sizes/words.$level" 2>&1 &
    all="$all $!:$level:$(echo $members | tr ' ' ,)"
done
for one in $all; do
    IFS=: read -r process level members <<END
$one
END
    wait "$process" || { cat "/tmp/sizes/words.$level"; exit 1; }
    for member in $(echo "$members" | tr , ' '); do
        offset=$(mdadm --examine "$member" | sed -n 's/ *Data Offset : \([0-9]*\) sectors/\1/p')
        echo "md2$level $(blockdev --getsz "$member") $offset"
    done
done
"#;
const UNMAKE: &str = "for level in 0 1 4 5 6 10; do mdadm --stop /dev/md2$level || exit 1; done 2>&1
    losetup --detach-all && rm -r /tmp/sizes";

/// Plays it in a box that has md.
pub fn play(report: &mut Report, heron: &mut Heron) -> Result<(), Failed> {
    let members = report
        .step("an array of each level is made from members of different sizes", || heron.machine.must_run(MAKE, 120))?;
    let check = report.step("look: each array has the size that mdadm says, and that its level gives", || {
        let look = heron.look()?;
        for (level, formula) in LEVELS {
            let name = format!("md2{level}");
            let detail = heron.machine.must_run(&format!("mdadm --detail /dev/{name}"), 60)?;
            let by_mdadm = said(&detail, "Array Size").and_then(|size| size.split(' ').next()?.parse::<u64>().ok());
            let by_level = formula(&rooms(&members, &name));
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

/// The room for data on each member of an array, in KiB.
fn rooms(members: &str, array: &str) -> Vec<u64> {
    let room = |line: &str| {
        let mut numbers = line.strip_prefix(array)?.strip_prefix(' ')?.split(' ').map(str::parse::<u64>);
        let (size, offset) = (numbers.next()?.ok()?, numbers.next()?.ok()?);
        Some((size - offset) / 2)
    };
    members.lines().filter_map(room).collect()
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
    fn rooms_are_those_of_one_array_only() {
        assert_eq!(rooms("md21 40960 2048\nmd210 40960 0\nmd21 43008 2048\n", "md21"), [19456, 20480]);
    }

    #[test]
    fn a_value_is_found_by_its_whole_key() {
        let detail = "     Raid Devices : 4\n    Total Devices : 3\n            State : clean, degraded \n";
        assert_eq!(said(detail, "Devices"), None);
        assert_eq!(said(detail, "State"), Some("clean, degraded"));
    }
}
