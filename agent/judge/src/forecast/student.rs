//! Student's t, for the width of an interval that few points carry.

/// The point of Student's t that lies as far out as `z` does in the normal distribution (Abramowitz and Stegun 26.7.5,
/// from memory; three terms are right to a thousandth from five degrees of freedom on).
pub fn student_t(z: f64, freedom: f64) -> f64 {
    let first = (z.powi(3) + z) / 4.0;
    let second = (5.0 * z.powi(5) + 16.0 * z.powi(3) + 3.0 * z) / 96.0;
    let third = (3.0 * z.powi(7) + 19.0 * z.powi(5) + 17.0 * z.powi(3) - 15.0 * z) / 384.0;
    z + first / freedom + second / freedom.powi(2) + third / freedom.powi(3)
}
