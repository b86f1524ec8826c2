#!/usr/bin/env python3
"""Reference for the curve of first order that agent/judge/src/forecast/outlook/fit.rs puts through readings.

Fits the same readings with SciPy and writes readings and results to first_order_fit.json beside this file; the tests
of fit.rs read that. To make it anew:

    python3 -m venv /tmp/reference && /tmp/reference/bin/pip install scipy
    /tmp/reference/bin/python tests/outside/first_order_fit.py

Estimates and standard errors are those of scipy.optimize.curve_fit (Levenberg-Marquardt or trust region, covariance
from the Jacobian). Intervals are by the definition of the profile likelihood, without the shortcut that fit.rs takes:
the value in question is made a parameter, the two others are fitted, and the value is moved by root finding until the
sum of squares has grown by the squared 90 % point of Student's t, in units of the variance.
"""

import json
import pathlib

import numpy
import scipy
from scipy.optimize import brentq, curve_fit, least_squares
from scipy.stats import t as student

SHORTEST, LONGEST = 3.0, 180.0
OF_ROUNDING = 1.0 / 12.0
STARTS = [3.5, 8.0, 20.0, 50.0, 140.0]


def model(time, end, gap, ln_tau):
    return end + gap * numpy.exp(-time / numpy.exp(ln_tau))


def fitted(time, degrees):
    """The best of several starts: estimates, covariance with a known variance, sum of squares."""
    found = None
    for tau in STARTS:
        low, high = [-numpy.inf, -numpy.inf, numpy.log(SHORTEST)], [numpy.inf, numpy.inf, numpy.log(LONGEST)]
        start = [degrees[-1], -1.0, numpy.log(tau)]
        values, covariance = curve_fit(
            model, time, degrees, p0=start, bounds=(low, high), xtol=1e-14, ftol=1e-14, gtol=1e-14, max_nfev=20000
        )
        misfit = float(((degrees - model(time, *values)) ** 2).sum())
        if found is None or misfit < found[2]:
            found = (values, covariance, misfit)
    return found


def least_misfit(time, degrees, minutes, value):
    """The least sum of squares of all curves that have this value so many minutes ahead (None: at the end)."""

    def residuals(parameters):
        gap, ln_tau = parameters
        then = 0.0 if minutes is None else numpy.exp(-minutes / numpy.exp(ln_tau))
        return value + gap * (numpy.exp(-time / numpy.exp(ln_tau)) - then) - degrees

    bounds = ([-numpy.inf, numpy.log(SHORTEST)], [numpy.inf, numpy.log(LONGEST)])
    runs = [
        least_squares(residuals, [gap, numpy.log(tau)], bounds=bounds, xtol=1e-13, ftol=1e-13, gtol=1e-13, x_scale="jac")
        for tau in STARTS
        for gap in (-3.0, 3.0)
    ]
    return min(2.0 * run.cost for run in runs)


def interval(time, degrees, minutes, best, allowed):
    """Where the profile of a value crosses what is allowed, below and above its best."""

    def excess(value):
        return least_misfit(time, degrees, minutes, value) - allowed

    def crossing(direction):
        step = 0.05
        while excess(best + direction * step) < 0.0:
            step *= 1.6
        return brentq(lambda by: excess(best + direction * by), 0.0, step, xtol=1e-4)

    return [best - crossing(-1.0), best + crossing(1.0)]


def story(end, start, tau, times):
    return end + (start - end) * numpy.exp(-numpy.asarray(times, float) / tau)


def stories():
    chance = numpy.random.default_rng(20260503)
    every_minute = numpy.arange(31.0)
    yield "exact", every_minute, story(55.0, 38.0, 12.0, every_minute)
    yield "whole degrees", every_minute, story(55.3, 38.2, 14.0, every_minute).round()
    yield "slow, whole degrees", numpy.arange(41.0), story(58.0, 36.0, 35.0, numpy.arange(41.0)).round()
    noisy = story(54.0, 38.0, 15.0, numpy.arange(41.0)) + chance.normal(0.0, 0.6, 41)
    yield "noisy", numpy.arange(41.0), noisy.round()
    yield "cooling", every_minute, story(41.0, 56.0, 10.0, every_minute).round()
    uneven = numpy.cumsum(chance.choice([1.0, 1.0, 2.0, 4.0], 18)) - 1.0
    yield "uneven times", uneven, story(52.0, 37.0, 11.0, uneven).round()
    yield "few", numpy.arange(8.0), story(56.0, 38.0, 6.0, numpy.arange(8.0)).round()
    yield "straight", every_minute, (38.0 + 0.3 * every_minute).round()
    yield "flat", every_minute, numpy.full(31, 41.0)


def result(name, times, degrees):
    time = times - times[-1]
    values, covariance, misfit = fitted(time, degrees)
    freedom = len(times) - 3
    variance = max(misfit / freedom, OF_ROUNDING)
    # curve_fit scales its covariance by the variance of the residuals; here the variance has a floor.
    errors = numpy.sqrt(numpy.diag(covariance) * (variance / max(misfit / freedom, 1e-300)))
    tau = float(numpy.exp(values[2]))
    determined = SHORTEST * 1.01 < tau < LONGEST * 0.99 and numpy.isfinite(errors).all() and name != "flat"
    allowed = misfit + variance * student.ppf(0.9, freedom) ** 2
    ahead = {
        str(minutes): interval(time, degrees, minutes, float(model(minutes, *values)), allowed) for minutes in (10, 30)
    }
    return {
        "name": name,
        "minutes": [round(float(minute), 3) for minute in times],
        "degrees": [round(float(degree), 6) for degree in degrees],
        "end": float(values[0]),
        "tau": tau if determined else None,
        "misfit": misfit,
        "end_error": float(errors[0]) if determined else None,
        "ln_tau_error": float(errors[2]) if determined else None,
        "end_interval": interval(time, degrees, None, float(values[0]), allowed),
        "interval_after": ahead,
    }


def rounded(thing):
    if isinstance(thing, float):
        return float(f"{thing:.7g}")
    if isinstance(thing, list):
        return [rounded(each) for each in thing]
    if isinstance(thing, dict):
        return {key: rounded(each) for key, each in thing.items()}
    return thing


def main():
    results = [rounded(result(*each)) for each in stories()]
    table = {"made_with": f"SciPy {scipy.__version__}, NumPy {numpy.__version__}", "sets": results}
    lines = ["{", f'"made_with": {json.dumps(table["made_with"])},', '"sets": [']
    lines += [json.dumps(each) + ("," if each is not results[-1] else "") for each in results] + ["]", "}"]
    pathlib.Path(__file__).with_suffix(".json").write_text("\n".join(lines) + "\n")
    for each in results:
        print(each["name"], {key: each[key] for key in list(each)[3:]})


if __name__ == "__main__":
    main()
