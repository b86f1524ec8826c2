#!/bin/sh
# Fits out a box whose parts get unplugged: drives of several kinds, a network port with its cable in, a fan, a thermometer
# on the board. Runs in the guest, after devices.sh and chips.sh.

set -eu

modprobe -a ahci sd_mod nvme xhci_pci usb-storage virtio_scsi sg virtio_net i2c-dev adt7475 lm75
modprobe i2c-stub chip_addr=0x2e,0x48

fan_chip
board_has_degrees 30
echo lm75 0x48 >"/sys/bus/i2c/devices/i2c-$(chip_bus)/new_device"

! command -v udevadm >/dev/null || udevadm settle
for port in /sys/class/net/*/device; do
    port=${port%/device}
    port=${port##*/}
    ip link set "$port" up 2>/dev/null || busybox ip link set "$port" up
done
