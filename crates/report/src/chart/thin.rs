//! Long series cut down to what a picture can show.

use super::Point;

/// Distance (px) by which a thinned line may differ from the whole one.
const TOLERANCE_PX: f64 = 0.08;

/// More points than this are more than any drawing of ours can show.
const MOST_POINTS: usize = 8000;

/// Cuts a long series of values in order of `x` down before it becomes a layer: what is kept of
/// each stretch is its first, least, greatest and last value, so that no spike is lost.
#[must_use]
pub fn condensed(count: usize, point: impl Fn(usize) -> Point) -> Vec<Point> {
    if count <= MOST_POINTS {
        return (0..count).map(point).collect();
    }
    let stretch = count.div_ceil(MOST_POINTS / 4);
    let mut kept = Vec::with_capacity(MOST_POINTS);
    for first in (0..count).step_by(stretch) {
        let last = (first + stretch).min(count) - 1;
        let by_value = |&a: &usize, &b: &usize| point(a).1.total_cmp(&point(b).1);
        let lowest = (first..=last).min_by(by_value).unwrap_or(first);
        let highest = (first..=last).max_by(by_value).unwrap_or(first);
        let mut picked = [first, lowest.min(highest), lowest.max(highest), last].to_vec();
        picked.dedup();
        kept.extend(picked.into_iter().map(&point));
    }
    kept
}

/// Cuts a line (in pixels, in order of `x`) down to its first, least, greatest and last point in
/// each column of a pixel: every spike stays. What then lies on a straight line is left out too.
pub(super) fn line(points: &[Point]) -> Vec<Point> {
    straightened(&columns(points))
}

/// As [`line`], for lines that go in steps: no point is left out that begins a new level.
pub(super) fn steps(points: &[Point]) -> Vec<Point> {
    let mut kept = columns(points);
    let last = kept.last().copied();
    kept.dedup_by(|later, earlier| (later.1 - earlier.1).abs() < 1e-6);
    if let Some(last) = last
        && kept.last() != Some(&last)
    {
        kept.push(last);
    }
    kept
}

/// Cuts a band down to its lowest and highest edge in each column of a pixel.
pub(super) fn band(points: &[(f64, f64, f64)]) -> (Vec<Point>, Vec<Point>) {
    let mut low = Vec::new();
    let mut high = Vec::new();
    for column in points.chunk_by(|a, b| same_column(a.0, b.0)) {
        if column.len() <= 4 {
            // a step within a column stays upright
            low.extend(column.iter().map(|point| (point.0, point.1)));
            high.extend(column.iter().map(|point| (point.0, point.2)));
            continue;
        }
        let (Some(first), Some(last)) = (column.first(), column.last()) else { continue };
        let lowest = column.iter().map(|point| point.1).fold(f64::NEG_INFINITY, f64::max);
        let highest = column.iter().map(|point| point.2).fold(f64::INFINITY, f64::min);
        let x = (first.0 + last.0) / 2.0;
        low.push((x, lowest));
        high.push((x, highest));
    }
    // the ends stay where they are
    if let (Some(first), Some(last)) = (points.first(), points.last()) {
        for edge in [&mut low, &mut high] {
            if let Some(end) = edge.first_mut() {
                end.0 = first.0;
            }
            if let Some(end) = edge.last_mut() {
                end.0 = last.0;
            }
        }
    }
    (straightened(&low), straightened(&high))
}

fn same_column(a: f64, b: f64) -> bool {
    a.floor() == b.floor()
}

fn columns(points: &[Point]) -> Vec<Point> {
    let mut kept = Vec::new();
    for column in points.chunk_by(|a, b| same_column(a.0, b.0)) {
        if column.len() <= 4 {
            kept.extend_from_slice(column);
            continue;
        }
        let by_height = |&a: &usize, &b: &usize| column[a].1.total_cmp(&column[b].1);
        let lowest = (0..column.len()).min_by(by_height).unwrap_or(0);
        let highest = (0..column.len()).max_by(by_height).unwrap_or(0);
        let mut picked = [0, lowest.min(highest), lowest.max(highest), column.len() - 1].to_vec();
        picked.dedup();
        kept.extend(picked.into_iter().map(|at| column[at]));
    }
    kept
}

/// Leaves out points within the tolerance of the line between those kept
/// (Douglas & Peucker 1973, with the distance taken vertically).
fn straightened(points: &[Point]) -> Vec<Point> {
    if points.len() < 3 {
        return points.to_vec();
    }
    let mut keep = vec![false; points.len()];
    keep[0] = true;
    keep[points.len() - 1] = true;
    let mut open = vec![(0, points.len() - 1)];
    while let Some((from, to)) = open.pop() {
        let (a, b) = (points[from], points[to]);
        let width = b.0 - a.0;
        let off = |p: Point| {
            let share = if width > 0.0 { (p.0 - a.0) / width } else { 0.0 };
            let vertical = (p.1 - (a.1 + share * (b.1 - a.1))).abs();
            // points above each other: the line goes up and down there
            if width > 0.0 { vertical } else { vertical.min((p.1 - b.1).abs()) }
        };
        let farthest = (from + 1..to).max_by(|&i, &j| off(points[i]).total_cmp(&off(points[j])));
        if let Some(at) = farthest
            && off(points[at]) > TOLERANCE_PX
        {
            keep[at] = true;
            open.push((from, at));
            open.push((at, to));
        }
    }
    points.iter().zip(keep).filter_map(|(&point, keep)| keep.then_some(point)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_spike_of_one_sample_in_a_million_stays() {
        let points: Vec<Point> = (0..1_000_000)
            .map(|i| (f64::from(i) / 1250.0, if i == 345_678 { 3.0 } else { 100.0 }))
            .collect();
        let thin = line(&points);
        assert!(thin.len() < 10, "{}", thin.len());
        assert!(thin.iter().any(|point| point.1 == 3.0));
        assert_eq!((thin[0], thin[thin.len() - 1]), (points[0], points[999_999]));
    }

    #[test]
    fn a_long_series_is_condensed_with_its_spikes() {
        let point = |at: usize| (at as f64, if at == 123_456 { -7.0 } else { 1.0 });
        let kept = condensed(1_000_000, point);
        assert!(kept.len() <= MOST_POINTS && kept.contains(&(123_456.0, -7.0)));
        assert_eq!((kept[0].0, kept[kept.len() - 1].0), (0.0, 999_999.0));
        assert!(kept.windows(2).all(|pair| pair[0].0 < pair[1].0));
        assert_eq!(condensed(5, point).len(), 5);
        assert_eq!(condensed(0, point), []);
    }

    #[test]
    fn a_noisy_line_is_bounded_by_the_picture() {
        let points: Vec<Point> =
            (0..100_000).map(|i| (f64::from(i) / 125.0, f64::from((i * 7919) % 101))).collect();
        assert!(line(&points).len() <= 4 * 801);
    }

    #[test]
    fn a_straight_line_is_two_points_and_a_bend_three() {
        let line_of = |f: fn(f64) -> f64| -> Vec<Point> {
            line(&(0..500).map(|i| (f64::from(i), f(f64::from(i)))).collect::<Vec<_>>())
        };
        assert_eq!(line_of(|x| 3.0 - 0.5 * x).len(), 2);
        assert_eq!(line_of(|x| (x - 200.0).abs()).len(), 3);
    }

    #[test]
    fn steps_keep_every_level() {
        let points: Vec<Point> =
            (0..300).map(|i| (f64::from(i), f64::from(i / 100) * 10.0)).collect();
        assert_eq!(steps(&points), [(0.0, 0.0), (100.0, 10.0), (200.0, 20.0), (299.0, 20.0)]);
    }

    #[test]
    fn a_band_keeps_its_steps() {
        let points = [(0.0, 9.0, 5.0), (100.0, 9.0, 5.0), (100.0, 9.0, 1.0), (200.0, 9.0, 1.0)];
        let (_, high) = band(&points);
        assert_eq!(high, [(0.0, 5.0), (100.0, 5.0), (100.0, 1.0), (200.0, 1.0)]);
    }

    #[test]
    fn a_band_keeps_its_widest() {
        // pixels grow downwards: the low edge has the greater y
        let points: Vec<_> = (0..5000)
            .map(|i| (f64::from(i) / 10.0, if i == 2222 { 90.0 } else { 60.0 }, 40.0))
            .collect();
        let (low, high) = band(&points);
        assert!(low.iter().any(|point| point.1 == 90.0));
        assert_eq!(high.len(), 2);
    }
}
