//! A trip once more, with something other than planned, as a meter at the pack would see it.

use pack::Circuit;
use plan::Plan;

use crate::calendar::Calendar;
use crate::draws::{Doubt, Draw};
use crate::engine::{self, Keep};
use crate::error::TripError;
use crate::forecast::{cell_of, loads_of};
use crate::loads::ALL_OFF;
use crate::prepare::prepare;
use crate::skies::Skies;
use crate::timeline::Timeline;
use crate::trace::Trace;

/// A plan made ready to be gone through many times.
pub(super) struct World<'a> {
    pub(super) plan: &'a Plan,
    pub(super) calendar: Calendar,
    pub(super) doubt: Doubt,
    timeline: Timeline,
}

/// How a trip went.
#[derive(Debug, Clone)]
pub(super) struct Way {
    pub(super) draw: Draw,
    /// Charge of the pack when the trip began (0..1).
    pub(super) soc_start: f64,
    /// Drawn all the time by something that the plan does not know (W).
    pub(super) extra_w: f64,
    /// Between the pack and its meter, whatever the temperature (Ω).
    pub(super) extra_ohm: f64,
    /// Factor on what chargers give.
    pub(super) chargers: f64,
}

impl<'a> World<'a> {
    pub(super) fn of(plan: &'a Plan) -> Result<Self, TripError> {
        let (calendar, timeline) = prepare(plan)?;
        let skies = Skies::of_plan(plan)?.smooth();
        let doubt = Doubt::of(plan, skies, &timeline, &mut loads_of(plan, &timeline));
        Ok(Self { plan, calendar, doubt, timeline })
    }

    /// The voltage of the pack below which something that should be on is not (V).
    pub(super) fn floor_v(&self) -> f64 {
        let mut loads = loads_of(self.plan, &self.timeline);
        let steady = loads.steady(&self.timeline, &self.doubt.central());
        steady.map_or(0.0, |steady| steady.least_v)
    }

    pub(super) fn has_chargers(&self) -> bool {
        self.timeline.steps.iter().any(|step| step.charger_a > 0.0)
    }

    /// The typical trip.
    pub(super) fn as_planned(&self) -> Way {
        Way {
            draw: self.doubt.central(),
            soc_start: self.plan.battery.soc_start,
            extra_w: 0.0,
            extra_ohm: 0.0,
            chargers: 1.0,
        }
    }

    pub(super) fn run(&self, way: &Way) -> Course {
        let mut draw = way.draw.clone();
        draw.pack = behind(draw.pack, way.extra_ohm, self.plan.air.night_c.value);
        let mut cell = cell_of(self.plan);
        cell.soc_start = way.soc_start;
        let mut timeline = std::borrow::Cow::Borrowed(&self.timeline);
        if way.chargers != 1.0 {
            let timeline = timeline.to_mut();
            let held = timeline.held.iter_mut().flat_map(|held| &mut held.steps);
            for step in timeline.steps.iter_mut().chain(held) {
                step.charger_a *= way.chargers;
            }
        }
        let mut loads = loads_of(self.plan, &timeline).with_more(way.extra_w);
        let mut trace = Trace::default();
        let draws = std::array::from_ref(&draw);
        let [_] = engine::run(&timeline, &cell, &mut loads, draws, Keep::Steps(&mut trace));
        Course::of(&trace)
    }
}

/// A pack behind a resistance that neither the cold nor its charge changes: right at 25 °C and at
/// `cold_c`, and nearly so between.
fn behind(mut pack: Circuit, extra_ohm: f64, cold_c: f64) -> Circuit {
    let own_ohm = pack.r0_ohm + pack.r1_ohm;
    let of_cold = pack.climate(cold_c).resistance;
    let together = (own_ohm * of_cold + extra_ohm) / (own_ohm + extra_ohm);
    if of_cold.ln().abs() > 1e-3 {
        pack.warmth.resistance_k *= together.ln() / of_cold.ln();
    }
    pack.rise.share *= pack.r0_ohm / (pack.r0_ohm + extra_ohm);
    pack.r0_ohm += extra_ohm;
    pack
}

/// Steps that are gone through one by one before one is searched for.
const FEW: usize = 16;

/// What a meter at the pack's terminals sees, summed up over time.
#[derive(Debug, Clone)]
pub(super) struct Course {
    /// On the trip's clock.
    at_s: Vec<f64>,
    /// Voltage, current out of the pack and current of the sources, times time since the beginning.
    sums: Vec<[f64; 3]>,
}

/// A meter's reading, or the mean of some.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Seen {
    pub(super) voltage_v: f64,
    /// Out of the pack.
    pub(super) current_a: f64,
    /// Out of the sources, which a meter at the pack does not see.
    pub(super) source_a: f64,
}

impl Course {
    fn of(trace: &Trace) -> Self {
        let first_s = trace.moments.first().map_or(0.0, |moment| moment.at_s);
        let (mut at_s, mut sums) = (vec![first_s], vec![[0.0; 3]]);
        let mut sum = [0.0; 3];
        for moment in &trace.moments {
            // behind a protection that is open there is nothing to see
            let open = moment.off == ALL_OFF && moment.source_a == 0.0;
            let seen_v = if open { 0.0 } else { moment.voltage_v };
            let now = [seen_v, moment.current_a, moment.source_a];
            sum = [0, 1, 2].map(|of| sum[of] + now[of] * moment.dt_s);
            at_s.push(moment.at_s + moment.dt_s);
            sums.push(sum);
        }
        Self { at_s, sums }
    }

    /// The trip's beginning and end.
    pub(super) fn span_s(&self) -> [f64; 2] {
        [self.at_s.first().copied().unwrap_or(0.0), self.at_s.last().copied().unwrap_or(0.0)]
    }

    /// What came together by a moment; `near` is where in the course it was looked for last.
    fn until(&self, at_s: f64, near: &mut usize) -> [f64; 3] {
        let ends = |from: usize, count: usize| {
            self.at_s.get(from..(from + count).min(self.at_s.len())).unwrap_or_default()
        };
        // mostly it is a few steps on
        let is_behind = *near > 0 && self.at_s.get(*near - 1).is_none_or(|end_s| *end_s >= at_s);
        let on = ends(*near, FEW).iter().position(|end_s| *end_s >= at_s);
        let right = match on {
            Some(on) if !is_behind => *near + on,
            _ => self.at_s.partition_point(|end_s| *end_s < at_s),
        };
        *near = right;
        let ends = (self.sums.get(right.wrapping_sub(1)), self.sums.get(right));
        match ends {
            (Some(a), Some(b)) => {
                let (from_s, to_s) = (self.at_s[right - 1], self.at_s[right]);
                let along = if to_s > from_s { (at_s - from_s) / (to_s - from_s) } else { 1.0 };
                [0, 1, 2].map(|of| a[of] + (b[of] - a[of]) * along)
            }
            (Some(last), None) => *last,
            (None, _) => [0.0; 3],
        }
    }

    /// The means of stretches of time in their order; `None` where any of one lies outside the trip.
    pub(super) fn means(&self, spans_s: impl Iterator<Item = [f64; 2]>) -> Vec<Option<Seen>> {
        let [begins_s, ends_s] = self.span_s();
        let mut near = 0;
        spans_s
            .map(|[from_s, to_s]| {
                if from_s < begins_s || to_s > ends_s || to_s <= from_s {
                    return None;
                }
                let before = self.until(from_s, &mut near);
                let after = self.until(to_s, &mut near);
                let [voltage_v, current_a, source_a] =
                    [0, 1, 2].map(|of| (after[of] - before[of]) / (to_s - from_s));
                Some(Seen { voltage_v, current_a, source_a })
            })
            .collect()
    }

    /// Charge out of the pack between two moments (Ah), from one stretch of time to the next.
    pub(super) fn out_ah(&self, from_s: f64, to_s: f64, near: &mut usize) -> f64 {
        (self.until(to_s, near)[1] - self.until(from_s, near)[1]) / 3600.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn means_are_those_of_the_steps() {
        let course = Course {
            at_s: vec![100.0, 160.0, 220.0],
            sums: vec![[0.0; 3], [60.0 * 13.0, 60.0 * 2.0, 0.0], [60.0 * 25.0, 60.0 * 6.0, 0.0]],
        };
        let spans = [[90.0, 120.0], [130.0, 190.0], [110.0, 120.0], [200.0, 221.0]];
        let means = course.means(spans.into_iter());
        let seen = means[1].unwrap();
        assert!((seen.voltage_v - 12.5).abs() < 1e-12 && (seen.current_a - 3.0).abs() < 1e-12);
        assert!(means[0].is_none() && means[3].is_none());
        assert!((means[2].unwrap().voltage_v - 13.0).abs() < 1e-12);
        assert!((course.out_ah(0.0, 1e9, &mut 0) - 0.1).abs() < 1e-12);
    }
}
