//! A line through points that outliers do not bend (Theil 1950, Sen 1968), and how sure its slope is: by the rank method,
//! and by how much the steps from point to point differ.

use crate::forecast::student::student_t;
use crate::order::{median, quantile, sorted};
use std::collections::BTreeMap;

/// A line with the interval of its slope: `low <= slope <= high`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrendLine {
    /// The median of the slopes of all pairs of points.
    pub slope: f64,
    /// The line goes through the medians of both coordinates: what it is at zero.
    pub intercept: f64,
    /// The slow end of the interval.
    pub low: f64,
    /// The fast end.
    pub high: f64,
}

/// The line through points `(x, y)`. The interval is Sen's (Journal of the American Statistical Association 63, 1968,
/// equation 2.6): with the variance of Kendall's S under ties, `deviations` of the normal distribution to each side. It
/// takes the points as independent of each other.
///
/// `None` for fewer than two points with different x, and for numbers that are none or too large.
pub fn theil_sen(points: &[(f64, f64)], deviations: f64) -> Option<TrendLine> {
    let pairs = points.iter().enumerate().flat_map(|(index, first)| points[..index].iter().map(move |b| (first, b)));
    let apart = pairs.filter(|(a, b)| a.0 != b.0);
    let slopes = sorted(apart.map(|(a, b)| (a.1 - b.1) / (a.0 - b.0)));
    if !slopes.iter().all(|slope| slope.is_finite()) {
        return None;
    }
    let slope = quantile(&slopes, 0.5)?;
    let intercept = median(points.iter().map(|point| point.1))? - slope * median(points.iter().map(|point| point.0))?;

    let spread = deviations * variance_of_s(points).max(0.0).sqrt();
    let (count, last) = (slopes.len() as f64, slopes.len() - 1);
    // Ranks from 0, to even as SciPy rounds them; beyond the ends there are no slopes to name.
    let low = slopes[(((count - spread) / 2.0).round_ties_even() - 1.0).max(0.0) as usize];
    let high = slopes[(((count + spread) / 2.0).round_ties_even() as usize).min(last)];
    let line = TrendLine { slope, intercept, low, high };
    [line.slope, line.intercept, line.low, line.high].iter().all(|number| number.is_finite()).then_some(line)
}

/// The variance of Kendall's S: less where values are tied.
fn variance_of_s(points: &[(f64, f64)]) -> f64 {
    let term = |n: usize| n as f64 * (n as f64 - 1.0) * (2.0 * n as f64 + 5.0);
    let ties = |values: &dyn Fn(&(f64, f64)) -> f64| {
        let mut counts = BTreeMap::<u64, usize>::new();
        for point in points {
            *counts.entry(values(point).to_bits()).or_default() += 1;
        }
        counts.into_values().map(term).sum::<f64>()
    };
    (term(points.len()) - ties(&|point| point.0) - ties(&|point| point.1)) / 18.0
}

/// To each side of the slope, how far it may be off when what comes from one point to the next is independent of what
/// came before, as with room that fills by more on one day and by less on another: Student's t at `deviations` of the
/// normal distribution, times the standard error of the mean step (least squares, weighted by the width of the step).
///
/// Points must ascend in x. `None` for fewer than three, and for numbers that are none or too large.
pub fn drift_error(points: &[(f64, f64)], deviations: f64) -> Option<f64> {
    let steps = || points.windows(2).map(|pair| (pair[1].0 - pair[0].0, pair[1].1 - pair[0].1));
    if points.len() < 3 || steps().any(|(wide, _)| wide <= 0.0) {
        return None;
    }
    let freedom = (points.len() - 2) as f64;
    let (width, rise) = steps().fold((0.0, 0.0), |sum, step| (sum.0 + step.0, sum.1 + step.1));
    let mean = rise / width;
    let variance = steps().map(|(wide, high)| (high - mean * wide).powi(2) / wide).sum::<f64>() / freedom;
    let error = student_t(deviations, freedom) * (variance / width).sqrt();
    error.is_finite().then_some(error)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use serde::Deserialize;

    /// Made by `tests/outside/full_when.py` with SciPy.
    const REFERENCE: &str = include_str!("../../../../../tests/outside/full_when.json");

    #[derive(Deserialize)]
    struct Reference {
        made_with: String,
        sets: Vec<Set>,
    }

    #[derive(Deserialize)]
    struct Set {
        name: String,
        deviations: f64,
        points: Vec<(f64, f64)>,
        slope: f64,
        intercept: f64,
        low: f64,
        high: f64,
        /// None where points share a time.
        drift_error: Option<f64>,
    }

    fn reference() -> Vec<Set> {
        let reference: Reference = serde_json::from_str(REFERENCE).expect("the reference is JSON");
        assert!(reference.made_with.starts_with("SciPy 1."), "{}", reference.made_with);
        assert_eq!(reference.sets.len(), 14);
        reference.sets
    }

    fn assert_near(found: f64, wanted: f64, share: f64, what: &str) {
        assert!((found - wanted).abs() <= share * wanted.abs() + 1e-9, "{what}: found {found}, wanted {wanted}");
    }

    #[test]
    fn the_line_and_its_interval_are_scipys() {
        for set in reference() {
            let line = theil_sen(&set.points, set.deviations).expect("every set has a line");
            for (found, wanted) in
                [(line.slope, set.slope), (line.intercept, set.intercept), (line.low, set.low), (line.high, set.high)]
            {
                assert_near(found, wanted, 1e-12, &set.name);
            }
        }
    }

    /// Ours goes by a series for Student's t, which is right to a thousandth at five degrees of freedom.
    #[test]
    fn the_error_of_the_drift_is_that_of_least_squares_as_scipy_finds_it() {
        for set in reference() {
            let found = drift_error(&set.points, set.deviations);
            assert_eq!(found.is_some(), set.drift_error.is_some(), "{}", set.name);
            for (found, wanted) in found.into_iter().zip(set.drift_error) {
                assert_near(found, wanted, 1e-3, &set.name);
            }
        }
    }

    /// P. K. Sen, Journal of the American Statistical Association 63 (1968), the example at the end; the figures from
    /// memory: the paper's own list of slopes is known to have slips, 26/7 and 35/8 are the ranks it asks for.
    #[test]
    fn the_example_of_sen_comes_out() {
        let points = [(1.0, 9.0), (2.0, 15.0), (3.0, 19.0), (4.0, 20.0), (10.0, 45.0), (12.0, 55.0), (18.0, 78.0)];
        let line = theil_sen(&points, 1.811_910_673).expect("a line");
        assert_eq!((line.slope, line.low, line.high), (4.0, 26.0 / 7.0, 35.0 / 8.0));
    }

    #[test]
    fn what_is_no_line_has_none() {
        assert_eq!(theil_sen(&[], 1.6), None);
        assert_eq!(theil_sen(&[(1.0, 2.0)], 1.6), None);
        assert_eq!(theil_sen(&[(1.0, 2.0), (1.0, 5.0)], 1.6), None, "one above the other");
        assert_eq!(theil_sen(&[(0.0, 1.0), (1.0, f64::NAN), (2.0, 3.0)], 1.6), None);
        assert_eq!(drift_error(&[(0.0, 1.0), (1.0, 2.0)], 1.6), None);
        assert_eq!(drift_error(&[(0.0, 0.0), (1.0, 5.0), (0.0, 4.0), (3.0, 7.0)], 1.6), None, "not in order");
    }

    proptest! {
        #[test]
        fn whatever_the_points_the_interval_holds_the_slope(
            points in prop::collection::vec((prop::num::f64::ANY, prop::num::f64::ANY), 0..24), deviations in 0.0..50.0,
        ) {
            if let Some(line) = theil_sen(&points, deviations) {
                prop_assert!(line.low <= line.slope && line.slope <= line.high);
            }
            prop_assert!(drift_error(&points, deviations).is_none_or(|error| error >= 0.0));
        }

        /// Twice as large a volume that fills twice as fast is the same story; the day it began does not matter.
        #[test]
        fn scale_and_beginning_do_not_matter(
            values in prop::collection::vec(0..1_000_000_i64, 3..40), power in 0..40, begin in 0..1000_i32,
        ) {
            let points = |factor: f64, begin: f64| -> Vec<(f64, f64)> {
                values.iter().enumerate().map(|(day, value)| (begin + day as f64, factor * *value as f64)).collect()
            };
            let factor = 2_f64.powi(power);
            let (one, other) = (points(1.0, 0.0), points(factor, f64::from(begin)));
            let (line, scaled) = (theil_sen(&one, 1.645), theil_sen(&other, 1.645));
            let (line, scaled) = (line.expect("a line"), scaled.expect("a line"));
            prop_assert_eq!(
                (line.slope * factor, line.low * factor, line.high * factor), (scaled.slope, scaled.low, scaled.high)
            );
            let errors = drift_error(&one, 1.645).zip(drift_error(&other, 1.645)).expect("steps");
            prop_assert_eq!(errors.0 * factor, errors.1);
        }
    }
}
