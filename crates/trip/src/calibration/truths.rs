//! What a trip may really be like, drawn from what a plan says and what the documents say it means,
//! by other means than the forecast's: see the statement beside each.
//!
//! Panels are moved themselves and stand under each day's own light, packs are whole circuits with
//! a curve of their own.

use plan::{COVERAGE_95, Plan, Supply};
use sky::AimError;

use super::cells;
use super::days::{Days, Sky};
use super::dice::Dice;
use super::light::{Field, Given, meant};
use crate::draws::Draw;
use crate::skies::Day;
use crate::timeline::{Step, Timeline};

/// One truth: what deviates, and the steps with what the panels really give in them.
pub(super) struct Truth {
    pub(super) draw: Draw,
    pub(super) timeline: Timeline,
}

/// All that is hidden of one plan.
pub(super) struct Hidden<'a> {
    plan: &'a Plan,
    field: Field<'a>,
    days: Days,
    /// Standard deviation of the capacity from what lies outside the measured currents.
    outside: f64,
}

/// docs/sky.md: "keep 0.65 of a departure from day to day".
const AIR_KEPT: f64 = 0.65;

impl<'a> Hidden<'a> {
    /// `stated`: the standard deviation of the clearness, where the plan states one. `current_a`:
    /// the mean current at which the plan takes its charge.
    pub(super) fn of(plan: &'a Plan, stated: Option<f64>, current_a: f64) -> Self {
        let field = Field::of(plan);
        let days = Days::of(plan, &field, stated);
        let outside = cells::outside(&plan.battery.pack, current_a);
        Self { plan, field, days, outside }
    }

    pub(super) fn draw(&self, dice: &mut Dice) -> Truth {
        let plan = self.plan;
        let nights = plan.dates.nights;
        let standard = |given: &quantity::Given| given.plus_minus.unwrap_or(0.0) / COVERAGE_95;
        // docs/sky.md: "lowest and highest wander together by the greater of the two stated spreads"
        let air_k = standard(&plan.air.night_c).max(standard(&plan.air.day_c));
        let air = dice.row(nights, AIR_KEPT);
        // docs/trip.md: "a shift of the dew point by the ± of `humidity` or `dew_point`, up to fog,
        // that lasts as the air's does"
        let damp = dice.row(nights, AIR_KEPT);
        let damp_k = standard(&plan.air.dew_point_c);
        let skies = self.days.draw(dice);
        // docs/plan-file.md: "± says how near a hand brings it, once for the trip"
        let off: Vec<AimError> = (plan.supplies.iter())
            .map(|supply| {
                let at = [dice.normal(), dice.normal()];
                let Supply::Panel(panel) = supply else { return AimError::NONE };
                panel.aim.error(&panel.aim_spread, at)
            })
            .collect();
        // docs/trip.md: "a factor, by the ± of the plan"
        let devices = plan.gear.load_spread.iter();
        let devices = devices.map(|spread| (1.0 + spread * dice.normal()).max(0.05)).collect();
        let pack = cells::drawn(&plan.battery.pack, self.outside, dice);
        let day = |night: usize| {
            let wandering = [air_k * air[night], damp_k * damp[night]];
            let [air_k, dew_k] = skies[night].air_and_dew_k.unwrap_or(wandering);
            // what arrives is in the steps
            Day { sun: 1.0, clear: skies[night].clear, air_k, dew_k }
        };
        let days = (0..nights).map(day).collect();
        let draw = Draw { pack, days, devices, aims: Vec::new() };
        let timeline = self.steps(&draw, &skies, &off);
        Truth { draw, timeline }
    }

    /// The steps with what the panels give under each day's sky, each panel as it stands.
    fn steps(&self, draw: &Draw, skies: &[Sky], off: &[AimError]) -> Timeline {
        let mut timeline = self.field.timeline.clone();
        let days: Vec<Vec<Given<'_>>> = (skies.iter().zip(&draw.days).enumerate())
            .map(|(night, (sky, day))| {
                let mut given = self.field.given(night, sky.light, off, day.air_k);
                // the harvest is stated: the sky says how it lies in the day, and what a panel
                // gains or loses by how it stands
                if let Some(stated) = sky.harvest {
                    let found = meant(&given);
                    let factor = if found > 0.0 { stated / found } else { 0.0 };
                    given.iter_mut().for_each(|panel| panel.scale(factor));
                }
                given
            })
            .collect();
        for block in &mut timeline.blocks {
            block.aims.clear();
            let fill = |step: &mut Step, below_c: f64| {
                (step.panel_w, step.panel_cap_a, step.panel_a) = (0.0, 0.0, 0.0);
                for panel in days[block.night].iter().filter(|panel| panel.waits_c < below_c) {
                    panel.add_to(step, step.at_s + 0.5 * block.dt_s);
                }
            };
            for at in block.steps.clone() {
                fill(&mut timeline.steps[at], f64::INFINITY);
                for held in &mut timeline.held {
                    fill(&mut held.steps[at], held.below_c);
                }
            }
        }
        timeline
    }
}
