//! When a smooth curve lies below a level: the stretches of time, with their ends refined.

/// A stretch of time in seconds.
pub(crate) type Stretch = (f64, f64);

/// Grid on which a curve is looked at, s. A body's altitude has one hump and one dip a day; each
/// is refined, so that a graze shorter than the grid is not missed.
const GRID_S: f64 = 600.0;
/// How closely ends are refined, s.
const CLOSE_S: f64 = 1e-3;

/// A curve over `0..=length_s`, looked at on a grid once.
pub(crate) struct Curve<F> {
    of: F,
    length_s: f64,
    /// Instants and values; between two neighbours the curve only rises or only falls.
    knots: Vec<(f64, f64)>,
}

impl<F: Fn(f64) -> f64> Curve<F> {
    pub(crate) fn new(of: F, length_s: f64) -> Self {
        let knots = knots(&of, length_s);
        Self { of, length_s, knots }
    }

    /// The stretches in which the curve lies below a level, in order.
    pub(crate) fn below(&self, level: f64) -> Vec<Stretch> {
        let mut stretches = Vec::new();
        let mut since = self.knots.first().and_then(|(_, at)| (*at < level).then_some(0.0));
        for pair in self.knots.windows(2) {
            let &[from, to] = pair else { continue };
            match (since, to.1 < level) {
                (None, true) => since = Some(root(&self.of, level, from, to)),
                (Some(start), false) => {
                    stretches.push((start, root(&self.of, level, from, to)));
                    since = None;
                }
                _ => {}
            }
        }
        if let Some(start) = since {
            stretches.push((start, self.length_s));
        }
        stretches
    }

    /// When the curve is lowest, and how low.
    pub(crate) fn lowest(&self) -> (f64, f64) {
        self.knots.iter().copied().min_by(|a, b| a.1.total_cmp(&b.1)).unwrap_or((0.0, f64::NAN))
    }
}

/// The stretches common to both lists, each in order.
pub(crate) fn both(a: &[Stretch], b: &[Stretch]) -> Vec<Stretch> {
    let overlap = |x: &Stretch, y: &Stretch| (x.0.max(y.0), x.1.min(y.1));
    a.iter()
        .flat_map(|x| b.iter().map(move |y| overlap(x, y)))
        .filter(|(start, end)| start < end)
        .collect()
}

/// Total length, s.
pub(crate) fn total_s(stretches: &[Stretch]) -> f64 {
    // a sum of nothing is -0
    stretches.iter().map(|(start, end)| end - start).sum::<f64>() + 0.0
}

/// Grid points with the curve's humps and dips among them. The grid reaches a step beyond both
/// ends, so that one just inside an end is seen too.
fn knots(curve: &impl Fn(f64) -> f64, length_s: f64) -> Vec<(f64, f64)> {
    let steps = (length_s / GRID_S).ceil().max(1.0);
    let grid: Vec<(f64, f64)> = (0..=steps as usize + 2)
        .map(|step| length_s * (step as f64 - 1.0) / steps)
        .map(|at| (at, curve(at)))
        .collect();
    let turns = grid.windows(3).filter_map(|three| {
        let &[a, b, c] = three else { return None };
        let (rise, fall) = (b.1 - a.1, c.1 - b.1);
        (rise * fall < 0.0).then(|| turning_point(curve, a.0, c.0, rise > 0.0))
    });
    let mut knots: Vec<(f64, f64)> = turns.map(|at| (at, curve(at))).collect();
    knots.extend(grid);
    knots.retain(|(at, _)| (0.0..=length_s).contains(at));
    knots.sort_by(|a, b| a.0.total_cmp(&b.0));
    knots
}

/// The top (or bottom) of a single hump (or dip) between two instants, by golden section.
fn turning_point(curve: &impl Fn(f64) -> f64, mut from: f64, mut to: f64, top: bool) -> f64 {
    const GOLDEN: f64 = 0.618_033_988_749_894_9;
    let height = |at: f64| if top { curve(at) } else { -curve(at) };
    while to - from > 0.05 {
        let (left, right) = (to - GOLDEN * (to - from), from + GOLDEN * (to - from));
        if height(left) > height(right) {
            to = right;
        } else {
            from = left;
        }
    }
    f64::midpoint(from, to)
}

/// Where the curve crosses the level between two instants on either side of it, by bisection with
/// a false-position guess to speed it up.
fn root(curve: &impl Fn(f64) -> f64, level: f64, from: (f64, f64), to: (f64, f64)) -> f64 {
    let (mut at_from, mut at_to) = (from.1 - level, to.1 - level);
    let (mut from, mut to) = (from.0, to.0);
    while to - from > CLOSE_S {
        let guess = from + (to - from) * at_from / (at_from - at_to);
        // A guess that hugs an end would creep; look a little to its inner side.
        let nudged = guess.clamp(from + 0.01 * (to - from), to - 0.01 * (to - from));
        for at in [nudged, f64::midpoint(from, to)] {
            if at <= from || at >= to {
                continue;
            }
            let value = curve(at) - level;
            if (value < 0.0) == (at_from < 0.0) {
                (from, at_from) = (at, value);
            } else {
                (to, at_to) = (at, value);
            }
        }
    }
    f64::midpoint(from, to)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_graze_shorter_than_the_grid_is_found() {
        // A dip of 20 s about t = 12 345 s.
        let curve = Curve::new(|t: f64| ((t - 12_345.0) / 1000.0).powi(2), 86_400.0);
        let found = curve.below(1e-4);
        assert_eq!(found.len(), 1);
        assert!((found[0].0 - 12_335.0).abs() < 0.01, "{found:?}");
        assert!((found[0].1 - 12_355.0).abs() < 0.01, "{found:?}");
        assert!((curve.lowest().0 - 12_345.0).abs() < 0.1);
    }

    #[test]
    fn a_graze_in_the_first_grid_step_is_found() {
        // A hump of 400 s about t = 250 s, over before the first look.
        let curve = Curve::new(|t: f64| -((t - 250.0) / 1000.0).powi(2), 86_400.0);
        let found = curve.below(-0.04);
        assert_eq!(found.len(), 2, "{found:?}");
        assert!((found[0].1 - 50.0).abs() < 0.01 && (found[1].0 - 450.0).abs() < 0.01);
    }

    #[test]
    fn stretches_overlap() {
        assert_eq!(both(&[(0.0, 5.0), (8.0, 9.0)], &[(3.0, 8.5)]), [(3.0, 5.0), (8.0, 8.5)]);
        assert_eq!(total_s(&[(3.0, 5.0), (8.0, 8.5)]), 2.5);
    }
}
