#!/bin/sh
# Makes three pools of md: RAID 5 with a spare, RAID 6, RAID 10. Runs in the guest, after devices.sh.
# The drives are empty, so that all redundancy is right from the start: hence --assume-clean.

set -eu

modprobe -a ahci virtio_scsi sd_mod raid0 raid1 raid10 raid456

processes=
pool() {
    name=$1 serials=$2
    shift 2
    members=
    for serial in $serials; do
        device=$(device_of "$serial")
        members="$members $device"
    done
    # shellcheck disable=SC2086 # the members are words
    mdadm --create "/dev/$name" --run --assume-clean --metadata=1.2 "$@" $members &
    processes="$processes $!"
}

pool md5 "OWL-1 OWL-2 OWL-3 OWL-4" --level=5 --raid-devices=3 --spare-devices=1
pool md6 "JAY-1 JAY-2 JAY-3 JAY-4" --level=6 --raid-devices=4
pool md10 "TIT-1 TIT-2 TIT-3 TIT-4" --level=10 --layout=n2 --raid-devices=4
for process in $processes; do
    wait "$process"
done
