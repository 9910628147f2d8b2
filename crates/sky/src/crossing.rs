//! When a smooth curve lies below a level: the stretches of time, with their ends refined.

/// A stretch of time in seconds.
pub(crate) type Stretch = (f64, f64);

/// Grid on which a curve is looked at, s. A body's altitude has one hump and one dip a day; each
/// is refined, so that a graze shorter than the grid is not missed.
const GRID_S: f64 = 600.0;
/// How closely ends are refined, s.
const CLOSE_S: f64 = 1e-3;

/// The stretches of `0..=length_s` in which the curve lies below the level, in order.
pub(crate) fn below(curve: impl Fn(f64) -> f64, level: f64, length_s: f64) -> Vec<Stretch> {
    let knots = knots(&curve, length_s);
    let under = |at: f64| curve(at) < level;
    let mut stretches = Vec::new();
    let mut since = under(0.0).then_some(0.0);
    for pair in knots.windows(2) {
        let &[from, to] = pair else { continue };
        match (since, under(to)) {
            (None, true) => since = Some(root(&curve, level, from, to)),
            (Some(start), false) => {
                stretches.push((start, root(&curve, level, from, to)));
                since = None;
            }
            _ => {}
        }
    }
    if let Some(start) = since {
        stretches.push((start, length_s));
    }
    stretches
}

/// When the curve is lowest.
pub(crate) fn lowest(curve: impl Fn(f64) -> f64, length_s: f64) -> f64 {
    knots(&curve, length_s)
        .into_iter()
        .min_by(|a, b| curve(*a).total_cmp(&curve(*b)))
        .unwrap_or(0.0)
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
    stretches.iter().map(|(start, end)| end - start).sum()
}

/// Grid points with the curve's humps and dips among them: between two knots it only rises or
/// only falls.
fn knots(curve: &impl Fn(f64) -> f64, length_s: f64) -> Vec<f64> {
    let steps = (length_s / GRID_S).ceil().max(1.0) as usize;
    let grid = |step: usize| length_s * step as f64 / steps as f64;
    let mut knots = Vec::with_capacity(steps + 4);
    knots.push(0.0);
    let mut before: Option<(f64, f64)> = None;
    let mut last = (0.0, curve(0.0));
    for step in 1..=steps {
        let next = (grid(step), curve(grid(step)));
        if let Some(before) = before {
            let (rise, fall) = (last.1 - before.1, next.1 - last.1);
            if rise * fall < 0.0 {
                let turn = turning_point(curve, before.0, next.0, rise > 0.0);
                // The knot pushed last is `last.0`; keep the list in order around it.
                if turn < last.0 {
                    knots.insert(knots.len() - 1, turn);
                } else {
                    knots.push(turn);
                }
            }
        }
        knots.push(next.0);
        before = Some(last);
        last = next;
    }
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
fn root(curve: &impl Fn(f64) -> f64, level: f64, mut from: f64, mut to: f64) -> f64 {
    let (mut at_from, mut at_to) = (curve(from) - level, curve(to) - level);
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
        let curve = |t: f64| ((t - 12_345.0) / 1000.0).powi(2);
        let found = below(curve, 1e-4, 86_400.0);
        assert_eq!(found.len(), 1);
        assert!((found[0].0 - 12_335.0).abs() < 0.01, "{found:?}");
        assert!((found[0].1 - 12_355.0).abs() < 0.01, "{found:?}");
        assert!((lowest(curve, 86_400.0) - 12_345.0).abs() < 0.1);
    }

    #[test]
    fn stretches_overlap() {
        assert_eq!(both(&[(0.0, 5.0), (8.0, 9.0)], &[(3.0, 8.5)]), [(3.0, 5.0), (8.0, 8.5)]);
        assert_eq!(total_s(&[(3.0, 5.0), (8.0, 8.5)]), 2.5);
    }
}
