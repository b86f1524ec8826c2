#!/bin/sh
# Which device file a drive has. Runs in the guest, before other shell text.

device_of() {
    # The serial of a SCSI drive, and by its SCSI face that of a SATA drive too, stands in page 80h (SPC-4, 7.8.13).
    # Drives take a moment to appear.
    for _ in 1 2 3 4 5 6 7 8 9 10 11 12 13 14 15 16 17 18 19 20; do
        page=$(grep -lsa "$1" /sys/block/sd*/device/vpd_pg80 || true)
        if [ -n "$page" ]; then
            page=${page#/sys/block/}
            echo "/dev/${page%%/*}"
            return
        fi
        sleep 0.5
    done
    echo "no drive has the serial $1" >&2
    exit 1
}
