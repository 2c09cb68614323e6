//! Decimation of plotted points: the minimum and maximum of each pixel column, and no point on the line
//! between its neighbours.

/// A point of the picture, in pixels.
pub type Point = (f64, f64);

/// Largest distance in px of a dropped point from the line that replaces it: the resolution of the written
/// coordinates.
const SLACK_PX: f64 = 0.1;

/// Thins a line over time to the extremes of each column of `column_px`. The result is split into runs at
/// each point that is not finite; first and last point of a run are kept.
pub fn thin(points: impl Iterator<Item = Point>, column_px: f64) -> Vec<Vec<Point>> {
    runs(points, |&point| point).iter().map(|run| thin_run(run, column_px)).collect()
}

/// Thins a track that may double back: steps under `step_px` are left out, then straight segments are
/// shortened. Each point has its time.
pub fn thin_track(points: impl Iterator<Item = (Point, f64)>, step_px: f64) -> Vec<Vec<(Point, f64)>> {
    let mut last = (f64::NAN, f64::NAN);
    let far_enough = points.filter(move |(point, _)| {
        let near = libm::hypot(point.0 - last.0, point.1 - last.1) < step_px;
        if !near {
            last = *point;
        }
        !near
    });
    runs(far_enough, |&(point, _)| point).iter().map(|run| straighten(run, |&(point, _)| point)).collect()
}

fn runs<T>(points: impl Iterator<Item = T>, place: fn(&T) -> Point) -> Vec<Vec<T>> {
    let mut runs = Vec::new();
    let mut run: Vec<T> = Vec::new();
    for point in points {
        let (x, y) = place(&point);
        if x.is_finite() && y.is_finite() {
            run.push(point);
        } else if !run.is_empty() {
            runs.push(std::mem::take(&mut run));
        }
    }
    if !run.is_empty() {
        runs.push(run);
    }
    runs
}

fn thin_run(run: &[Point], column_px: f64) -> Vec<Point> {
    let column = |point: &Point| libm::floor(point.0 / column_px);
    let mut kept: Vec<Point> = Vec::new();
    for group in run.chunk_by(|a, b| column(a) == column(b)) {
        let by_height = |a: &usize, b: &usize| group[*a].1.total_cmp(&group[*b].1);
        let lowest = (0..group.len()).min_by(by_height).unwrap_or(0);
        let highest = (0..group.len()).max_by(by_height).unwrap_or(0);
        kept.push(group[lowest.min(highest)]);
        if lowest != highest {
            kept.push(group[lowest.max(highest)]);
        }
    }
    let (first, last) = (run[0], run[run.len() - 1]);
    if kept[0] != first {
        kept.insert(0, first);
    }
    if kept[kept.len() - 1] != last {
        kept.push(last);
    }
    straighten(&kept, |&point| point)
}

/// Drops the points between two kept ones as long as all of them stay within `SLACK_PX` (Ramer 1972; Douglas
/// and Peucker 1973).
fn straighten<T: Copy>(points: &[T], place: fn(&T) -> Point) -> Vec<T> {
    let mut keep = vec![false; points.len()];
    keep[0] = true;
    keep[points.len() - 1] = true;
    let mut open = vec![(0, points.len() - 1)];
    while let Some((from, to)) = open.pop() {
        let (start, end) = (place(&points[from]), place(&points[to]));
        let far = (from + 1..to)
            .map(|i| (i, distance(place(&points[i]), start, end)))
            .max_by(|a, b| a.1.total_cmp(&b.1));
        if let Some((middle, distance)) = far
            && distance > SLACK_PX
        {
            keep[middle] = true;
            open.push((from, middle));
            open.push((middle, to));
        }
    }
    points.iter().zip(keep).filter_map(|(&point, keep)| keep.then_some(point)).collect()
}

/// Distance of `point` from the segment between `a` and `b`.
fn distance(point: Point, a: Point, b: Point) -> f64 {
    let (dx, dy) = (b.0 - a.0, b.1 - a.1);
    let length_squared = dx * dx + dy * dy;
    let along = if length_squared > 0.0 {
        (((point.0 - a.0) * dx + (point.1 - a.1) * dy) / length_squared).clamp(0.0, 1.0)
    } else {
        0.0
    };
    libm::hypot(point.0 - a.0 - along * dx, point.1 - a.1 - along * dy)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn noisy(count: usize) -> Vec<Point> {
        (0..count).map(|i| (i as f64 * 300.0 / count as f64, ((i * 7919) % 1013) as f64 / 10.0)).collect()
    }

    #[test]
    fn single_sample_peaks_survive() {
        let mut points = noisy(60_000);
        points[31_111].1 = 500.0;
        points[44_444].1 = -300.0;
        let thinned = thin(points.iter().copied(), 1.0);
        assert_eq!(thinned.len(), 1);
        let kept = &thinned[0];
        assert!(kept.len() <= 602, "{}", kept.len());
        assert!(kept.iter().any(|p| p.1 == 500.0) && kept.iter().any(|p| p.1 == -300.0));
        assert_eq!((kept[0], kept[kept.len() - 1]), (points[0], points[59_999]));
        assert!(kept.windows(2).all(|w| w[0].0 <= w[1].0), "time runs backwards");
    }

    #[test]
    fn every_column_keeps_its_extremes_within_the_slack() {
        let points = noisy(20_000);
        let kept = &thin(points.iter().copied(), 1.0)[0];
        for column in 0..300 {
            let of = |points: &[Point]| {
                points
                    .iter()
                    .filter(|p| libm::floor(p.0) as i32 == column)
                    .fold((f64::MAX, f64::MIN), |(low, high), p| (low.min(p.1), high.max(p.1)))
            };
            let (all, thinned) = (of(&points), of(kept));
            assert!(
                (all.0 - thinned.0).abs() <= SLACK_PX && (all.1 - thinned.1).abs() <= SLACK_PX,
                "{column}"
            );
        }
    }

    #[test]
    fn not_a_number_breaks_the_line() {
        let points = [(0.0, 1.0), (1.0, 2.0), (2.0, f64::NAN), (3.0, 4.0), (4.0, f64::INFINITY), (5.0, 1.0)];
        let runs = thin(points.into_iter(), 1.0);
        assert_eq!(runs, [vec![(0.0, 1.0), (1.0, 2.0)], vec![(3.0, 4.0)], vec![(5.0, 1.0)]]);
        assert!(thin([(0.0, f64::NAN)].into_iter(), 1.0).is_empty());
    }

    #[test]
    fn track_that_doubles_back_keeps_its_turning_point() {
        let there = (0..100).map(|i| ((5.0, f64::from(i)), f64::from(i)));
        let back = (0..100).map(|i| ((5.0, 99.0 - f64::from(i)), 100.0 + f64::from(i)));
        let ends = [((5.0, 0.0), 0.0), ((5.0, 99.0), 99.0), ((5.0, 0.0), 199.0)];
        assert_eq!(thin_track(there.chain(back), 0.5), [ends]);
    }

    #[test]
    fn straight_line_is_two_points() {
        let runs = thin((0..5000).map(|i| (f64::from(i) * 0.06, f64::from(i) * 0.02)), 1.0);
        assert_eq!(runs[0].len(), 2);
    }
}
