//! A plan made ready: sized by a search, forecast, and lived with what was hidden.

use plan::Plan;

use super::plans::Shape;
use super::truths::{Hidden, Truth};
use crate::draws::{Doubt, Draw};
use crate::engine::{self, Cell, Keep};
use crate::forecast::{cell_of, loads_of};
use crate::loads::Loads;
use crate::prepare::prepare;
use crate::skies::Skies;
use crate::tally::{Lottery, Tally};
use crate::timeline::Timeline;
use crate::truth::{self, live};

/// A plan made ready.
pub(super) struct Ready<'a> {
    pub(super) plan: &'a Plan,
    pub(super) timeline: Timeline,
    doubt: Doubt,
}

impl<'a> Ready<'a> {
    pub(super) fn of(plan: &'a Plan) -> Self {
        let (_, timeline) = prepare(plan).unwrap();
        let skies = Skies::of_plan(plan).unwrap();
        let doubt = Doubt::of(plan, skies, &timeline, &mut loads_of(plan, &timeline));
        Self { plan, timeline, doubt }
    }

    /// Draws of the plan with a factor on its loads.
    pub(super) fn drawn(&self, load: f64, seed: u64, draws: usize) -> Tally {
        let Self { plan, timeline, doubt } = self;
        let (cell, loads) = (&cell_of(plan), &loads_of(plan, timeline));
        let mut tally = Tally::new(timeline.nights);
        tally.draw(&Lottery { timeline, cell, loads, doubt, load, seed }, draws);
        tally
    }

    /// The factor on its loads at which its last night is so sure.
    fn load(&self, wanted: f64, seed: u64, draws: usize) -> f64 {
        let (mut low, mut high) = (0.02_f64, 20.0_f64);
        while high / low > 1.01 {
            let middle = (low * high).sqrt();
            // a first look will do far off
            let draws = if high / low > 1.5 { 16 } else { draws };
            let last = self.drawn(middle, seed, draws).nights().last().map(|last| last.share);
            *(if last >= Some(wanted) { &mut low } else { &mut high }) = middle;
        }
        (low * high).sqrt()
    }

    /// What may be hidden.
    pub(super) fn hidden(&self, shape: &Shape) -> Hidden<'_> {
        // the mean current at which the charge is taken
        let mut mean_a = 0.0;
        if !self.plan.battery.pack.variants.is_empty() {
            let lived = live(self.plan, &as_it_is(self.doubt.central(), self.plan));
            let sum = |of: fn(f64) -> f64| -> f64 {
                lived.rows.iter().map(|row| of(row[2].max(0.0))).sum()
            };
            mean_a = sum(|a| a * a) / sum(|a| a);
        }
        Hidden::of(self.plan, shape.clearness, mean_a)
    }

    /// What a truth comes to in the engine.
    pub(super) fn goes(&self, loads: &mut Loads<'_>, truth: &Truth) -> Vec<bool> {
        let cell = Cell { circuit: &truth.draw.pack, ..cell_of(self.plan) };
        let draws = std::array::from_ref(&truth.draw);
        let [outcome] = engine::run(&truth.timeline, &cell, loads, draws, Keep::Ends);
        outcome.failures.iter().map(Option::is_none).collect()
    }
}

/// The plan with a pack of such a size that its last night is about as sure as wanted.
pub(super) fn sized(shape: &Shape, seed: u64, draws: usize) -> Plan {
    let mut capacity_ah = 40.0;
    for _ in 0..2 {
        capacity_ah /= Ready::of(&shape.plan(capacity_ah)).load(shape.wanted, seed, draws);
    }
    shape.plan(capacity_ah)
}

/// A truth in which nothing is hidden but what the draw says.
pub(super) fn as_it_is(draw: Draw, plan: &Plan) -> truth::Truth {
    let soc_start = plan.battery.soc_start;
    truth::Truth { draw, soc_start, extra_w: 0.0, connector_ohm: 0.0 }
}
