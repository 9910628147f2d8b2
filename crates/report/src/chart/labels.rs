//! Finding room for words.

use super::Point;

/// A rectangle (px).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Place {
    pub(super) left: f64,
    pub(super) right: f64,
    pub(super) top: f64,
    pub(super) foot: f64,
}

impl Place {
    fn overlaps(&self, other: &Place) -> bool {
        self.left < other.right
            && other.left < self.right
            && self.top < other.foot
            && other.top < self.foot
    }
}

/// Gives each stretch, in the order given, the first lane in which it touches none before it.
pub(super) fn lanes(stretches: &[(f64, f64)], gap_px: f64) -> Vec<usize> {
    let mut taken: Vec<Vec<(f64, f64)>> = Vec::new();
    stretches
        .iter()
        .map(|&(left, right)| {
            let free = |lane: &Vec<(f64, f64)>| {
                lane.iter().all(|&(l, r)| right + gap_px <= l || r + gap_px <= left)
            };
            let at = taken.iter().position(free).unwrap_or(taken.len());
            if at == taken.len() {
                taken.push(Vec::new());
            }
            taken[at].push((left, right));
            at
        })
        .collect()
}

/// Moves heights apart to at least `gap_px`, within `top..=foot`, each as little as possible.
/// `None` when there is no room for all.
pub(super) fn spread(wanted: &[f64], gap_px: f64, top: f64, foot: f64) -> Option<Vec<f64>> {
    if wanted.is_empty() || (wanted.len() - 1) as f64 * gap_px > foot - top {
        return wanted.is_empty().then(Vec::new);
    }
    let mut order: Vec<usize> = (0..wanted.len()).collect();
    order.sort_by(|&a, &b| wanted[a].total_cmp(&wanted[b]));
    let mut placed = vec![0.0; wanted.len()];
    let mut least = top;
    for &at in &order {
        placed[at] = wanted[at].max(least);
        least = placed[at] + gap_px;
    }
    let mut most = foot;
    for &at in order.iter().rev() {
        placed[at] = placed[at].min(most);
        most = placed[at] - gap_px;
    }
    Some(placed)
}

/// What is in the way of a label: the lines and dots drawn (px) and the labels already placed.
#[derive(Debug, Default)]
pub(super) struct Obstacles {
    pub(super) lines: Vec<Vec<Point>>,
    pub(super) dots: Vec<Point>,
    pub(super) labels: Vec<Place>,
}

/// Room that a dot takes around its middle (px).
const DOT_PX: f64 = 4.0;
/// A label this far from everything (px) is as good as one farther away.
const FREE_PX: f64 = 6.0;

impl Obstacles {
    /// The first of the places that is free, or else the freest; it is taken from then on.
    pub(super) fn choose(&mut self, places: &[Place]) -> Option<usize> {
        let mut best = None;
        for (at, place) in places.iter().enumerate() {
            let room = self.room(place);
            if best.is_none_or(|(_, most)| room > most) {
                best = Some((at, room));
            }
            if room >= FREE_PX {
                break;
            }
        }
        let at = best?.0;
        self.labels.push(places[at]);
        Some(at)
    }

    /// Height (px) between a place and the nearest line.
    fn room(&self, place: &Place) -> f64 {
        if self.labels.iter().any(|label| label.overlaps(place)) {
            return f64::NEG_INFINITY;
        }
        let covers = |dot: &&Point| {
            (place.left - DOT_PX..place.right + DOT_PX).contains(&dot.0)
                && (place.top - DOT_PX..place.foot + DOT_PX).contains(&dot.1)
        };
        let covered = self.dots.iter().filter(covers).count();
        if covered > 0 {
            return -(covered as f64);
        }
        let mut least = f64::INFINITY;
        for line in &self.lines {
            for index in 0..=8 {
                let x = place.left + (place.right - place.left) * f64::from(index) / 8.0;
                if let Some(y) = height_at(line, x) {
                    least = least.min((place.top - y).max(y - place.foot).max(0.0));
                }
            }
        }
        least
    }
}

/// The line's height at `x`, where it has one.
fn height_at(line: &[Point], x: f64) -> Option<f64> {
    let after = line.partition_point(|point| point.0 < x);
    let b = line.get(after)?;
    let a = if after == 0 { b } else { line.get(after - 1)? };
    if x < a.0 {
        return None;
    }
    let share = if b.0 > a.0 { (x - a.0) / (b.0 - a.0) } else { 0.0 };
    let y = a.1 + share * (b.1 - a.1);
    y.is_finite().then_some(y)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_would_overlap_takes_the_next_lane() {
        assert_eq!(lanes(&[(0.0, 50.0), (40.0, 90.0), (60.0, 80.0)], 4.0), [0, 1, 0]);
    }

    #[test]
    fn close_labels_are_moved_apart_and_stay_inside() {
        assert_eq!(spread(&[50.0, 52.0, 10.0], 15.0, 0.0, 100.0), Some(vec![50.0, 65.0, 10.0]));
        assert_eq!(spread(&[99.0, 98.0], 15.0, 0.0, 100.0), Some(vec![100.0, 85.0]));
        assert_eq!(spread(&[1.0, 2.0, 3.0], 15.0, 0.0, 20.0), None);
    }

    #[test]
    fn a_label_goes_where_no_line_is() {
        let place = |left: f64, top: f64| Place { left, right: left + 40.0, top, foot: top + 14.0 };
        let mut obstacles =
            Obstacles { lines: vec![vec![(0.0, 10.0), (100.0, 90.0)]], ..Obstacles::default() };
        // the line runs through the first, well below the second
        assert_eq!(obstacles.choose(&[place(10.0, 15.0), place(60.0, 15.0)]), Some(1));
        // a dot in the second would have been worse than the line in the first
        let mut dotted = Obstacles { lines: obstacles.lines.clone(), ..Obstacles::default() };
        dotted.dots.push((80.0, 20.0));
        assert_eq!(dotted.choose(&[place(10.0, 15.0), place(60.0, 15.0)]), Some(0));
        // and the second is taken now
        assert_eq!(obstacles.choose(&[place(60.0, 15.0), place(10.0, 60.0)]), Some(1));
    }
}
