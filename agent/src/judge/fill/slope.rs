//! A line through points that outliers do not bend (Theil 1950, Sen 1968), and how sure its slope is: by the rank method,
//! and by how much the steps from point to point differ.

use crate::judge::order::{median, quantile, sorted};
use std::collections::BTreeMap;

/// A line with the interval of its slope: `low <= slope <= high`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
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
pub fn theil_sen(points: &[(f64, f64)], deviations: f64) -> Option<Line> {
    let pairs = points.iter().enumerate().flat_map(|(index, first)| points[..index].iter().map(move |b| (first, b)));
    let apart = pairs.filter(|(a, b)| a.0 != b.0);
    let slopes = sorted(apart.map(|(a, b)| (a.1 - b.1) / (a.0 - b.0)));
    let slope = quantile(&slopes, 0.5)?;
    let intercept = median(points.iter().map(|point| point.1))? - slope * median(points.iter().map(|point| point.0))?;

    let spread = deviations * variance_of_s(points).max(0.0).sqrt();
    let (count, last) = (slopes.len() as f64, slopes.len() - 1);
    // Ranks from 0, to even as SciPy rounds them; beyond the ends there are no slopes to name.
    let low = slopes[(((count - spread) / 2.0).round_ties_even() - 1.0).max(0.0) as usize];
    let high = slopes[(((count + spread) / 2.0).round_ties_even() as usize).min(last)];
    let line = Line { slope, intercept, low: low.min(slope), high: high.max(slope) };
    [line.slope, line.intercept, line.low, line.high].iter().all(|number| number.is_finite()).then_some(line)
}

/// The variance of Kendall's S: less where values are tied.
fn variance_of_s(points: &[(f64, f64)]) -> f64 {
    let term = |n: usize| n as f64 * (n as f64 - 1.0) * (2.0 * n as f64 + 5.0);
    let ties = |values: &dyn Fn(&(f64, f64)) -> f64| {
        let mut counts = BTreeMap::<u64, usize>::new();
        for point in points {
            // Both zeros are one value.
            *counts.entry((values(point) + 0.0).to_bits()).or_default() += 1;
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

/// The point of Student's t that lies as far out as `z` does in the normal distribution (Abramowitz and Stegun 26.7.5,
/// from memory; three terms are right to a thousandth from five degrees of freedom on).
fn student_t(z: f64, freedom: f64) -> f64 {
    let first = (z.powi(3) + z) / 4.0;
    let second = (5.0 * z.powi(5) + 16.0 * z.powi(3) + 3.0 * z) / 96.0;
    let third = (3.0 * z.powi(7) + 19.0 * z.powi(5) + 17.0 * z.powi(3) - 15.0 * z) / 384.0;
    z + first / freedom + second / freedom.powi(2) + third / freedom.powi(3)
}
