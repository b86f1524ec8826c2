//! Medians and other points of a sorted list.

/// The middle of the values: of an even number, the mean of the two in the middle. `None` without any.
pub fn median(values: impl IntoIterator<Item = f64>) -> Option<f64> {
    quantile(&sorted(values), 0.5)
}

/// The values in their order.
pub fn sorted(values: impl IntoIterator<Item = f64>) -> Vec<f64> {
    let mut values: Vec<f64> = values.into_iter().collect();
    values.sort_by(f64::total_cmp);
    values
}

/// The point that `share` (0 to 1) of the sorted values lie below, in a straight line between neighbours (definition 7
/// of Hyndman and Fan, The American Statistician 50, 1996; from memory). `None` without any.
pub fn quantile(sorted: &[f64], share: f64) -> Option<f64> {
    let last = sorted.len().checked_sub(1)?;
    let place = share.clamp(0.0, 1.0) * last as f64;
    let (below, above) = (sorted[place.floor() as usize], sorted[(place.ceil() as usize).min(last)]);
    // Bounded, because rounding must not put it outside of its neighbours.
    Some((below + (above - below) * place.fract()).max(below).min(above))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_median_of_an_even_number_is_between_the_two_in_the_middle() {
        assert_eq!(median([3.0, 1.0, 2.0]), Some(2.0));
        assert_eq!(median([4.0, 1.0, 2.0, 3.0]), Some(2.5));
        assert_eq!(median([]), None);
    }

    #[test]
    fn the_ends_of_a_list_are_its_extremes() {
        let values = sorted([5.0, 1.0, 9.0]);
        assert_eq!((quantile(&values, 0.0), quantile(&values, 1.0)), (Some(1.0), Some(9.0)));
        assert_eq!(quantile(&values, 0.25), Some(3.0));
    }

    #[test]
    fn what_is_no_number_breaks_nothing() {
        let values = sorted([f64::NAN, 1.0, f64::INFINITY, f64::NEG_INFINITY]);
        assert_eq!(quantile(&values, 0.0), Some(f64::NEG_INFINITY));
        assert!(quantile(&values, 1.0).is_some_and(f64::is_nan));
    }
}
