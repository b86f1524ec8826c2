#!/bin/sh
# Loads the drivers of all kinds of drives. Runs in the guest.

set -eu

# drivetemp stays out, so that the program has to ask SATA drives for their temperature itself.
modprobe -a ahci sd_mod nvme xhci_pci usb-storage uas virtio_scsi sg
