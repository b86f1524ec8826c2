//! A curve of first order through readings, and how far from it the readings allow the truth to be.
//!
//! The model is a body that exchanges heat with steady surroundings (Newton's law of cooling):
//! `T(t) = end + gap * exp(-t / tau)`. For a given `tau` that is a straight line in `exp(-t / tau)`, and least squares
//! give `end` and `gap` at once; so only `tau` is searched, in its logarithm, between [`SHORTEST`] and [`LONGEST`].
//!
//! The interval of whatever is foretold is the one of the profile likelihood: every curve whose sum of squares is not
//! worse than the best one's by more than `z * z` variances may be the true one, and for each `tau` what is left of
//! `z * z` is spent on `end` and `gap`. Where the readings determine `tau` well this is what the covariance of the
//! parameters gives; where they show no bend it is wide on the side that they leave open, instead of falsely narrow.
//! Times are minutes from the newest reading.

use crate::forecast::student::student_t;
use traylight_data::verdict::Interval;

/// The bounds of the time constant, in minutes: a bare drive in a strong stream of air, and a full box without one.
const SHORTEST: f64 = 3.0;
const LONGEST: f64 = 180.0;
/// In how many steps the time constant is looked for between the bounds, and then between those that are allowed.
const STEPS: u32 = 16;
/// What whole degrees alone scatter by, in square degrees: a uniform distribution one degree wide.
const OF_ROUNDING: f64 = 1.0 / 12.0;
/// Fewer readings say nothing about their own scatter: three parameters are fitted.
const FEWEST: usize = 5;
/// A course is suspected of speeding up when such a curve fits better by this share of a variance. Low, since what a
/// change begins with looks straight, and straight foretells too much. In stories with quiet readings that settle three
/// degrees below a limit at most one in twenty-five is told of ahead with 0.4; with 1.6 it was up to four in ten.
const SUSPICION: f64 = 0.4;

/// The curve that fits best, and all that may be the true one instead.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    best: Curve,
    /// Curves that the readings do not refute, with what each leaves of `z`; the best one among them.
    allowed: Vec<(Curve, f64)>,
    /// The scatter of one reading, in square degrees.
    variance: f64,
}

/// The curve that fits best for one time constant.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Curve {
    /// Minutes; below zero for a curve that speeds up.
    tau: f64,
    /// Where it settles.
    end: f64,
    /// How far from there it is at the newest reading.
    gap: f64,
    /// The sum of squares that it leaves.
    misfit: f64,
    /// The number of readings, and the mean and the sum of squares of `exp(-t / tau)`, which is 1 at the newest.
    readings: f64,
    mean: f64,
    spread: f64,
}

impl Fit {
    /// The fit through readings (minutes, degrees) in the order of their times; `None` when they are too few or all of
    /// one time.
    pub fn of(readings: &[(f64, f64)]) -> Option<Self> {
        if readings.len() < FEWEST {
            return None;
        }
        let curves: Vec<Curve> = steps(SHORTEST, LONGEST).map(|tau| Curve::of(readings, tau)).collect::<Option<_>>()?;
        let best = refined(readings, &curves)?;
        let freedom = (readings.len() - 3) as f64;
        let variance = (best.misfit / freedom).max(OF_ROUNDING);
        let z = z(freedom);
        let left = |curve: &Curve| z * z - (curve.misfit - best.misfit) / variance;
        let is_allowed = |tau| Curve::of(readings, tau).is_some_and(|curve| left(&curve) >= 0.0);
        let (low, high) = (farthest(best.tau, SHORTEST, is_allowed), farthest(best.tau, LONGEST, is_allowed));
        let curves = steps(low, high).filter_map(|tau| Curve::of(readings, tau)).chain([best]);
        let allowed = curves.map(|curve| (curve, left(&curve).max(0.0).sqrt())).collect();
        Some(Self { best, allowed, variance })
    }

    /// The scatter of one reading, in degrees.
    pub fn scatter(&self) -> f64 {
        self.variance.sqrt()
    }

    /// Where it settles.
    pub fn end(&self) -> Interval {
        self.interval(|_| 0.0)
    }

    /// How warm it is so many minutes after the newest reading.
    pub fn after(&self, minutes: f64) -> Interval {
        self.interval(|curve| (-minutes / curve.tau).exp())
    }

    /// What is foretold where `exp(-t / tau)` has the value that `decay` gives.
    fn interval(&self, decay: impl Fn(&Curve) -> f64) -> Interval {
        let middle = self.best.at(decay(&self.best));
        let mut interval = Interval { low: middle, middle, high: middle };
        for (curve, left) in &self.allowed {
            let decay = decay(curve);
            let (at, off) = (curve.at(decay), left * self.scatter() * curve.error(decay));
            interval.low = interval.low.min(at - off);
            interval.high = interval.high.max(at + off);
        }
        interval
    }

    /// True when a curve that speeds up fits better than every one that settles: the readings are not of one course.
    pub fn speeds_up(&self, readings: &[(f64, f64)]) -> bool {
        let misfits = steps(SHORTEST, LONGEST).filter_map(|tau| Some(Curve::of(readings, -tau)?.misfit));
        let least = misfits.fold(f64::INFINITY, f64::min);
        let freedom = (readings.len().max(FEWEST) - 3) as f64;
        self.best.misfit - least > SUSPICION * (least / freedom).max(OF_ROUNDING)
    }
}

impl Curve {
    fn of(readings: &[(f64, f64)], tau: f64) -> Option<Self> {
        let newest = readings.last()?.0;
        // Decays are 1 at the oldest reading, or nearly so, and never large: none overflows.
        let origin = if tau > 0.0 { readings.first()?.0 } else { newest };
        let decays: Vec<f64> = readings.iter().map(|(time, _)| (-(time - origin) / tau).exp()).collect();
        let pairs = || decays.iter().zip(readings).map(|(decay, (_, degrees))| (decay, degrees));
        let count = readings.len() as f64;
        let mean_decay = decays.iter().sum::<f64>() / count;
        let mean_degrees = readings.iter().map(|(_, degrees)| degrees).sum::<f64>() / count;
        let spread = decays.iter().map(|decay| (decay - mean_decay).powi(2)).sum::<f64>();
        let common = pairs().map(|(decay, degrees)| (decay - mean_decay) * (degrees - mean_degrees)).sum::<f64>();
        let slope = common / spread;
        let end = mean_degrees - slope * mean_decay;
        let misfit = pairs().map(|(decay, degrees)| (degrees - end - slope * decay).powi(2)).sum::<f64>();
        let at_newest = *decays.last()?;
        let curve = Self {
            tau,
            end,
            gap: slope * at_newest,
            misfit,
            readings: count,
            mean: mean_decay / at_newest,
            spread: spread / (at_newest * at_newest),
        };
        [curve.end, curve.gap, curve.misfit, curve.mean, curve.spread].iter().all(|x| x.is_finite()).then_some(curve)
    }

    fn at(&self, decay: f64) -> f64 {
        self.end + self.gap * decay
    }

    /// The standard error there, as a multiple of the scatter: that of a straight line.
    fn error(&self, decay: f64) -> f64 {
        (1.0 / self.readings + (decay - self.mean).powi(2) / self.spread).sqrt()
    }
}

/// Time constants from one to another, by equal factors.
fn steps(from: f64, to: f64) -> impl Iterator<Item = f64> {
    (0..=STEPS).map(move |step| from * (to / from).powf(f64::from(step) / f64::from(STEPS)))
}

/// The time constant farthest from the best one, towards a bound, that is still allowed: by halving.
fn farthest(best: f64, bound: f64, is_allowed: impl Fn(f64) -> bool) -> f64 {
    if is_allowed(bound) {
        return bound;
    }
    let (mut inside, mut outside) = (best, bound);
    for _ in 0..12 {
        let middle = (inside * outside).sqrt();
        if is_allowed(middle) {
            inside = middle;
        } else {
            outside = middle;
        }
    }
    inside
}

/// The best curve between the neighbours of the best one looked at, by the golden section.
fn refined(readings: &[(f64, f64)], curves: &[Curve]) -> Option<Curve> {
    const GOLDEN: f64 = 0.618_033_988_749_894_9;
    let best = (0..curves.len()).min_by(|&a, &b| curves[a].misfit.total_cmp(&curves[b].misfit))?;
    let mut low = curves[best.saturating_sub(1)].tau.ln();
    let mut high = curves[(best + 1).min(curves.len() - 1)].tau.ln();
    let mut found = curves[best];
    for _ in 0..20 {
        let inner = [high - GOLDEN * (high - low), low + GOLDEN * (high - low)];
        let [left, right] = inner.map(|ln_tau| Curve::of(readings, ln_tau.exp()));
        let (left, right) = (left?, right?);
        if left.misfit < right.misfit {
            high = inner[1];
        } else {
            low = inner[0];
        }
        found = [found, left, right].into_iter().min_by(|a, b| a.misfit.total_cmp(&b.misfit))?;
    }
    Some(found)
}

/// How many standard errors an interval of 80 % is wide on each side, with so many degrees of freedom.
fn z(freedom: f64) -> f64 {
    student_t(1.2816, freedom)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use serde::Deserialize;
    use std::collections::BTreeMap;

    /// Made by `tests/outside/first_order_fit.py` with SciPy.
    const REFERENCE: &str = include_str!("../../../../../tests/outside/first_order_fit.json");

    #[derive(Deserialize)]
    struct Reference {
        made_with: String,
        sets: Vec<Set>,
    }

    #[derive(Deserialize)]
    struct Set {
        name: String,
        minutes: Vec<f64>,
        degrees: Vec<f64>,
        end: f64,
        tau: Option<f64>,
        misfit: f64,
        end_error: Option<f64>,
        ln_tau_error: Option<f64>,
        end_interval: [f64; 2],
        interval_after: BTreeMap<u32, [f64; 2]>,
    }

    impl Set {
        fn readings(&self) -> Vec<(f64, f64)> {
            let newest = self.minutes.last().expect("a set has readings");
            self.minutes.iter().zip(&self.degrees).map(|(minute, degrees)| (minute - newest, *degrees)).collect()
        }
    }

    fn reference() -> Vec<Set> {
        let reference: Reference = serde_json::from_str(REFERENCE).expect("the reference is JSON");
        assert!(reference.made_with.starts_with("SciPy 1."), "{}", reference.made_with);
        assert_eq!(reference.sets.len(), 9);
        reference.sets
    }

    /// `found` is within a share of `scale` of what was wanted.
    fn assert_near(found: f64, wanted: f64, share: f64, scale: f64, what: &str) {
        assert!((found - wanted).abs() <= share * scale + 1e-6, "{what}: found {found}, wanted {wanted} ({scale})");
    }

    #[test]
    fn the_best_curve_is_scipys() {
        let mut with_tau = 0;
        for set in reference() {
            let fit = Fit::of(&set.readings()).expect("every set has a fit");
            assert_near(fit.end().middle, set.end, 1e-4, set.end, &set.name);
            assert_near(fit.best.misfit, set.misfit, 1e-6, set.misfit, &set.name);
            if let Some(tau) = set.tau {
                assert_near(fit.best.tau, tau, 1e-3, tau, &set.name);
                with_tau += 1;
            }
        }
        assert_eq!(with_tau, 7, "the straight and the flat one have no time constant");
    }

    /// SciPy's are found without going through time constants, and with Student's t itself: 3 % of the width are
    /// allowed for the steps of the time constant.
    #[test]
    fn the_intervals_are_those_of_the_profile_likelihood_as_scipy_finds_them() {
        for set in reference() {
            let fit = Fit::of(&set.readings()).expect("every set has a fit");
            let ahead = set.interval_after.iter().map(|(minutes, wanted)| (fit.after(f64::from(*minutes)), wanted));
            for (found, [low, high]) in ahead.chain([(fit.end(), &set.end_interval)]) {
                assert_near(found.low, *low, 0.03, high - low, &set.name);
                assert_near(found.high, *high, 0.03, high - low, &set.name);
            }
        }
    }

    /// Where the time constant is well determined, half an interval is as many standard errors as it should be; the
    /// standard errors are those of `curve_fit`, from the Jacobian.
    #[test]
    fn a_well_determined_interval_is_that_of_the_covariance() {
        let mut compared = 0;
        for set in reference() {
            let (Some(end_error), Some(ln_tau_error)) = (set.end_error, set.ln_tau_error) else { continue };
            let fit = Fit::of(&set.readings()).expect("every set has a fit");
            let z = z((set.minutes.len() - 3) as f64);
            if ln_tau_error < 0.12 {
                let end = fit.end();
                assert_near((end.high - end.low) / (2.0 * z), end_error, 0.1, end_error, &set.name);
                let allowed = fit.allowed.iter().map(|(curve, _)| curve.tau.ln());
                let (low, high) =
                    allowed.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), ln| (low.min(ln), high.max(ln)));
                // No finer than the steps between the bounds.
                let step = (LONGEST / SHORTEST).ln() / f64::from(STEPS);
                assert!((high - low - 2.0 * z * ln_tau_error).abs() <= 2.0 * step, "{}: tau {low} to {high}", set.name);
                compared += 1;
            }
        }
        assert_eq!(compared, 6);
    }

    /// Student's t at 90 % (Abramowitz and Stegun, table 26.10, from memory).
    #[test]
    fn the_width_is_students() {
        for (freedom, wanted) in [(3.0, 1.638), (5.0, 1.476), (10.0, 1.372), (30.0, 1.310)] {
            assert_near(z(freedom), wanted, 0.01, wanted, "t");
        }
    }

    #[test]
    fn what_speeds_up_is_of_no_one_course() {
        let flat_then_steep =
            |minute: u32| (f64::from(minute), if minute < 20 { 38.0 } else { f64::from(minute) + 18.0 });
        let readings: Vec<(f64, f64)> = (0..30).map(flat_then_steep).collect();
        assert!(Fit::of(&readings).expect("a fit").speeds_up(&readings));
        // Of a straight or flat course nobody can say which way it bends.
        for set in reference().into_iter().filter(|set| set.tau.is_some()) {
            let readings = set.readings();
            assert!(!Fit::of(&readings).expect("a fit").speeds_up(&readings), "{}", set.name);
        }
    }

    proptest! {
        /// Whatever the readings, nothing panics, and an interval is one.
        #[test]
        fn any_readings_give_a_fit_or_none(
            mut readings in prop::collection::vec((any::<i32>().prop_map(|ms| f64::from(ms) / 6e4), prop::num::f64::NORMAL | prop::num::f64::ZERO), 0..50),
            ahead in 0.0..1e6_f64,
        ) {
            readings.sort_by(|a, b| a.0.total_cmp(&b.0));
            let fit = Fit::of(&readings);
            prop_assert!(readings.len() >= FEWEST || fit.is_none());
            if let Some(fit) = fit {
                for interval in [fit.end(), fit.after(ahead)] {
                    prop_assert!(interval.low <= interval.middle && interval.middle <= interval.high, "{interval:?}");
                }
                fit.speeds_up(&readings);
            }
        }

        #[test]
        fn readings_of_one_time_give_no_fit(time in -1e3..1e3_f64, degrees in prop::collection::vec(1.0..95.0_f64, 0..50)) {
            let readings: Vec<(f64, f64)> = degrees.into_iter().map(|degrees| (time, degrees)).collect();
            prop_assert!(Fit::of(&readings).is_none());
        }
    }
}
