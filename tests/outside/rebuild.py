#!/usr/bin/env python3
"""Reference for agent/judge/src/forecast/rebuild: the chance of an unreadable sector, and the time that is left.

Writes rebuild.json beside this file; the tests of risk.rs and pace.rs read that. To make it anew:

    python3 -m venv /tmp/reference && /tmp/reference/bin/pip install numpy mpmath
    /tmp/reference/bin/python tests/outside/rebuild.py

Chances are 1 - (1 - rate)^bits, multiplied out with 60 digits in mpmath. Times are the remaining bytes over NumPy's
quantiles (its default, linear) of the speeds.
"""

import json
import pathlib

import mpmath
import numpy

mpmath.mp.dps = 60
BITS_PER_ERROR = {
    "desktop-disk": mpmath.mpf(10) ** 14,
    "server-disk": mpmath.mpf(10) ** 15,
    "desktop-flash": mpmath.mpf(10) ** 16,
    "server-flash": mpmath.mpf(10) ** 17,
}
TB = 10**12


def rebuilds():
    for tb in (4, 8, 12, 16):
        yield [(tb * TB, "desktop-disk")]
    yield [(4 * TB, "desktop-disk")] * 2
    yield [(8 * TB, "server-disk")] * 3
    yield [(12 * TB, "desktop-disk")] * 5
    yield [(1, "server-flash")]
    yield [(512, "desktop-disk")]
    yield [(2**64 - 1, "server-flash")]
    yield [(2**64 - 1, "desktop-disk")] * 3
    yield [(2 * TB, "desktop-flash"), (3 * TB, "server-disk"), (123456789012, "desktop-disk")]


def chance(reads):
    well = mpmath.mpf(1)
    for size, drive_class in reads:
        well *= (1 - 1 / BITS_PER_ERROR[drive_class]) ** (8 * size)
    return float(1 - well)


def paces():
    chance = numpy.random.default_rng(20260520)
    yield 3_900_000_000_000, chance.normal(180e6, 25e6, 60)
    yield 12 * TB, chance.gamma(4.0, 30e6, 37)
    yield 500, numpy.array([1.0, 2.0, 3.0, 4.0, 5.0])
    yield 8 * TB, numpy.full(10, 150e6)


def main():
    risks = [
        {"reads": [{"bytes": size, "class": of} for size, of in reads], "chance": chance(reads)} for reads in rebuilds()
    ]
    times = []
    for remaining, speeds in paces():
        seconds = [remaining / float(speed) for speed in numpy.quantile(speeds, [0.9, 0.5, 0.1])]
        times.append({"remaining": remaining, "speeds": speeds.tolist(), "seconds": seconds})
    lines = ["{", f'"made_with": "mpmath {mpmath.__version__}, NumPy {numpy.__version__}",']
    for name, sets, end in (("risks", risks, ","), ("paces", times, "")):
        lines += [f'"{name}": ['] + [json.dumps(each) + "," for each in sets[:-1]] + [json.dumps(sets[-1]), "]" + end]
    pathlib.Path(__file__).with_suffix(".json").write_text("\n".join(lines + ["}"]) + "\n")
    for each in risks:
        print(each)


if __name__ == "__main__":
    main()
