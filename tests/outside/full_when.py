#!/usr/bin/env python3
"""Reference for the line that agent/judge/src/forecast/fill/slope.rs puts through the room of a volume, day by day.

Fits the same points with SciPy and writes points and results to full_when.json beside this file; the tests of slope.rs
read that. To make it anew:

    python3 -m venv /tmp/reference && /tmp/reference/bin/pip install scipy
    /tmp/reference/bin/python tests/outside/full_when.py

Slope, intercept and interval are those of scipy.stats.theilslopes. The error of the drift is a least-squares fit of the
steps from point to point with scipy.optimize.curve_fit, each step weighted by its width, times scipy.stats.t.
"""

import json
import pathlib

import numpy
import scipy
from scipy.optimize import curve_fit
from scipy.stats import norm, t as student, theilslopes


def stories():
    chance = numpy.random.default_rng(20260517)

    def days(count):
        return numpy.arange(float(count))

    # Sen's own example.
    yield "Sen 1968", [1, 2, 3, 4, 10, 12, 18], [9, 15, 19, 20, 45, 55, 78], 0.93
    yield "exact", days(7), 12.0 + 3.5 * days(7), 0.9
    yield "a week", days(7), (29.0 * days(7) + chance.normal(0, 20, 7)).round(3), 0.9
    yield "a month with noise", days(30), (29.0 * days(30) + chance.normal(0, 80, 30)).round(3), 0.9
    yield "a month of uneven days", days(30), numpy.cumsum(chance.gamma(1.0, 29.0, 30)).round(3), 0.9
    yield "ninety days", days(90), (4e12 - 2.5e9 * days(90) + chance.normal(0, 3e10, 90)).round(), 0.9
    yield "without trend", days(40), chance.normal(500, 30, 40).round(3), 0.95
    yield "with ties", days(24), (2.0 * days(24)).round(-1), 0.8
    yield "mostly ties", days(30), (0.08 * days(30) + chance.normal(0, 0.7, 30)).round(), 0.9
    shared = numpy.floor(days(30) / 5.0)
    yield "five a day", shared, (3.0 * shared + chance.normal(0, 9, 30)).round(2), 0.9
    yield "weekly", days(35), 50.0 * numpy.floor(days(35) / 7.0), 0.9
    outliers = 10.0 * days(21)
    outliers[[4, 11]] += [900.0, -700.0]
    yield "outliers", days(21), outliers, 0.9
    gaps = numpy.cumsum(chance.choice([1.0, 1.0, 1.0, 2.0, 5.0], 25))
    yield "days missing", gaps, (1000 - 7.0 * gaps + chance.normal(0, 6, 25)).round(3), 0.9
    yield "flat", days(12), numpy.full(12, 77.0), 0.9


def drift_error(x, y, confidence):
    if (numpy.diff(x) <= 0).any():
        return None
    # The fit needs numbers near one to see how sure it is.
    scale = max(numpy.ptp(y), 1.0)
    width, rise = numpy.diff(x), numpy.diff(y) / scale
    _, covariance = curve_fit(lambda wide, rate: rate * wide, width, rise, p0=[1.0], sigma=numpy.sqrt(width))
    return float(scale * numpy.sqrt(covariance[0, 0]) * student.ppf(0.5 + confidence / 2.0, len(x) - 2))


def result(name, x, y, confidence):
    x, y = numpy.asarray(x, float), numpy.asarray(y, float)
    line = theilslopes(y, x, confidence, method="separate")
    return {
        "name": name,
        "deviations": float(norm.ppf(0.5 + confidence / 2.0)),
        "points": [list(point) for point in zip(x.tolist(), y.tolist())],
        "slope": float(line.slope),
        "intercept": float(line.intercept),
        "low": float(line.low_slope),
        "high": float(line.high_slope),
        "drift_error": drift_error(x, y, confidence),
    }


def main():
    results = [result(*each) for each in stories()]
    lines = ["{", f'"made_with": "SciPy {scipy.__version__}, NumPy {numpy.__version__}",', '"sets": [']
    lines += [json.dumps(each) + ("," if each is not results[-1] else "") for each in results] + ["]", "}"]
    pathlib.Path(__file__).with_suffix(".json").write_text("\n".join(lines) + "\n")
    for each in results:
        print({key: value for key, value in each.items() if key != "points"})


if __name__ == "__main__":
    main()
