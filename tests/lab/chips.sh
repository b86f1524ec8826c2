#!/bin/sh
# Chips on a bus whose registers can be written to: the module i2c-stub is that bus. Runs in the guest, before other shell
# text that has loaded it, with the chips' drivers.

chip_bus() {
    bus=$(grep -l 'SMBus stub' /sys/bus/i2c/devices/i2c-*/name)
    bus=${bus%/name}
    echo "${bus##*-}"
}

# Registers of the ADT7475: identity 3Dh to 3Fh; tachometer 1 in 28h (low) and 29h, in periods of 90 kHz a turn, here
# 0F00h = 3840, which is 90000 * 60 / 3840 = 1406 turns a minute; FFFFh, no turns, on the other three; temperatures 25h to
# 27h, offset by 64, here 99 for 35 degrees; 5Ch to 5Eh E0h, fans driven by hand; 30h to 32h FFh, as fast as they can.
fan_chip() {
    bus=$(chip_bus)
    for pair in 0x3d=0x75 0x3e=0x41 0x3f=0x69 0x28=0x00 0x29=0x0f \
        0x2a=0xff 0x2b=0xff 0x2c=0xff 0x2d=0xff 0x2e=0xff 0x2f=0xff \
        0x25=99 0x26=99 0x27=99 0x5c=0xe0 0x5d=0xe0 0x5e=0xe0 0x30=0xff 0x31=0xff 0x32=0xff; do
        i2cset -y "$bus" 0x2e "${pair%=*}" "${pair#*=}"
    done
    echo adt7475 0x2e >"/sys/bus/i2c/devices/i2c-$bus/new_device"
}

# So many turns a minute of fan 1; 0 is a fan that stands still.
fan_turns() {
    periods=65535
    [ "$1" -eq 0 ] || periods=$((5400000 / $1))
    # By force: the chip has its driver by now.
    i2cset -f -y "$(chip_bus)" 0x2e 0x28 $((periods % 256))
    i2cset -f -y "$(chip_bus)" 0x2e 0x29 $((periods / 256))
}

# So many whole degrees at an LM75: register 0, the high byte first.
board_has_degrees() {
    i2cset -f -y "$(chip_bus)" 0x48 0 "$1" w
}
