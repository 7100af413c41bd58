//! Straight lines between the printed points of a table.

/// The value at `x` on the straight lines between `points`, whose abscissae rise; `None` outside them and for NaN.
pub(crate) fn on_straight_lines(points: &[(f64, f64)], x: f64) -> Option<f64> {
    let (first, last) = (points.first()?, points.last()?);
    if !(first.0..=last.0).contains(&x) {
        return None;
    }
    let upper = points.partition_point(|point| point.0 < x).max(1);
    let ((x0, y0), (x1, y1)) = (points[upper - 1], *points.get(upper)?);
    Some(y0 + (y1 - y0) * (x - x0) / (x1 - x0))
}

#[cfg(test)]
mod tests {
    use super::on_straight_lines;

    const POINTS: [(f64, f64); 3] = [(0.0, 10.0), (1.0, 20.0), (3.0, 0.0)];

    #[test]
    fn points_are_met_and_gaps_are_straight() {
        let at = |x| on_straight_lines(&POINTS, x);
        assert_eq!([at(0.0), at(1.0), at(3.0)], [Some(10.0), Some(20.0), Some(0.0)]);
        assert_eq!([at(0.5), at(2.0)], [Some(15.0), Some(10.0)]);
    }

    #[test]
    fn nothing_is_stated_outside() {
        for x in [-0.1, 3.1, f64::NAN, f64::INFINITY] {
            assert_eq!(on_straight_lines(&POINTS, x), None);
        }
        assert_eq!(on_straight_lines(&[], 1.0), None);
        assert_eq!(on_straight_lines(&[(1.0, 2.0)], 1.0), None);
    }
}
