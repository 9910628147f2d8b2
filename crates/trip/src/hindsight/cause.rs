//! What may have been other than planned, and by how much.

use jiff::civil::Date;
use plan::Supply;

use super::course::{Way, World};
use super::lens::Lens;
use crate::draws::Draw;
use crate::statistics::deviation;

/// One thing that may explain why a trip went otherwise than forecast. Each has an amount; what it
/// means stands beside it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Suspect {
    /// The pack's capacity: factor.
    Capacity,
    /// The pack's charge when the trip began (0..1).
    Charge,
    /// Resistance between the pack's cells and the meter, in the pack, a connector or a cable: what
    /// it had more (Ω).
    Resistance,
    /// The voltage everywhere, by the pack's own curve or by the meter: how much higher it was (V).
    Voltage,
    /// What a device drew: factor.
    Device(String),
    /// Something that the plan does not know and that drew all the time (W).
    Extra,
    /// The sun's harvest, on all days or on that before one evening: factor on the typical one.
    Sun(Option<Date>),
    /// What chargers gave: factor.
    Chargers,
    /// How much warmer the air was (K).
    Air,
    /// How much the record's clock is ahead (s).
    Clock,
    /// What the meter's current shows too much (A).
    MeterZero,
    /// The meter's current: factor.
    MeterGain,
}

/// A suspect with what it takes to try it.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Candidate {
    pub(super) what: Suspect,
    /// The amount at which all is as planned.
    pub(super) planned: f64,
    /// Amounts to try first, rising.
    pub(super) grid: Vec<f64>,
    /// How far off it usually is (a standard deviation): by the plan where it says.
    pub(super) usual: f64,
    /// Whether `usual` is the plan's own.
    pub(super) is_allowed_for: bool,
}

impl Candidate {
    /// How many times its usual distance an amount is off.
    pub(super) fn deviations(&self, amount: f64) -> f64 {
        (amount - self.planned) / self.usual
    }

    /// The nearest amount between the first and the last to try.
    pub(super) fn within(&self, amount: f64) -> f64 {
        let ends = self
            .grid
            .iter()
            .fold([self.planned; 2], |[low, high], at| [f64::min(low, *at), f64::max(high, *at)]);
        amount.clamp(ends[0], ends[1])
    }

    /// Has a trip go, or be seen, with this amount.
    pub(super) fn apply(&self, world: &World<'_>, amount: f64, way: &mut Way, lens: &mut Lens) {
        match &self.what {
            Suspect::Capacity => way.draw.pack = way.draw.pack.drawn(amount, 1.0, 0.0),
            Suspect::Charge => way.soc_start = amount,
            Suspect::Resistance => way.extra_ohm += amount,
            Suspect::Voltage => lens.offset_v += amount,
            Suspect::Device(name) => {
                if let Some(index) = world.plan.gear.rig.device(name) {
                    way.draw.devices[index] *= amount;
                }
            }
            Suspect::Extra => way.extra_w += amount,
            Suspect::Sun(evening) => {
                for (day, date) in way.draw.days.iter_mut().zip(world.plan.dates.evenings()) {
                    if evening.is_none_or(|evening| evening == date) {
                        day.sun *= amount;
                    }
                }
            }
            Suspect::Chargers => way.chargers *= amount,
            Suspect::Air => way.draw.days.iter_mut().for_each(|day| day.air_k += amount),
            // a clock that is ahead tells a later time than it was
            Suspect::Clock => lens.start_s -= amount,
            Suspect::MeterZero => lens.offset_a += amount,
            Suspect::MeterGain => lens.gain *= amount,
        }
    }

    /// Whether it changes what is seen of a trip only, not the trip.
    pub(super) fn is_of_the_meter(&self) -> bool {
        matches!(
            self.what,
            Suspect::Voltage | Suspect::Clock | Suspect::MeterZero | Suspect::MeterGain
        )
    }
}

/// How far off things usually are where the plan does not say (standard deviations; common practice,
/// no source).
mod usual {
    /// Of anything relative: nothing is known better.
    pub(super) const SHARE: f64 = 0.02;
    /// Of the charge at the beginning.
    pub(super) const CHARGE: f64 = 0.03;
    pub(super) const OHM: f64 = 0.003;
    /// Of a meter at a pack.
    pub(super) const VOLTAGE_V: f64 = 0.02;
    pub(super) const ZERO_A: f64 = 0.03;
    /// Of what is forgotten, as a share of the rig's own draw, and at least.
    pub(super) const EXTRA_SHARE: f64 = 0.05;
    pub(super) const EXTRA_W: f64 = 0.5;
    pub(super) const CHARGERS: f64 = 0.1;
    /// Of a clock that a person set.
    pub(super) const CLOCK_S: f64 = 600.0;
}

/// The most days whose sun is suspected one by one.
const MOST_DAYS: usize = 14;

/// All that may have been otherwise on a trip, of whose evenings the record covers some.
/// `mean_w` is what the rig draws on the mean; `draws` tell what the plan allows the sky.
pub(super) fn candidates(
    world: &World<'_>,
    covered: &[Date],
    (has_current, has_clock): (bool, bool),
    mean_w: f64,
    draws: &[Draw],
) -> Vec<Candidate> {
    let plan = world.plan;
    let spread = &plan.battery.pack.spread;
    let of_plan = |spread: f64| spread.hypot(usual::SHARE);
    let mut all = Vec::new();
    let mut add = |what, planned, grid: &[f64], usual: f64, is_allowed_for| {
        all.push(Candidate { what, planned, grid: grid.to_vec(), usual, is_allowed_for });
    };
    let factors = [0.3, 0.5, 0.6, 0.7, 0.8, 0.87, 0.93, 1.05, 1.12, 1.25];
    add(Suspect::Capacity, 1.0, &factors, of_plan(plan.battery.pack.capacity_u()), true);
    let soc = plan.battery.soc_start;
    let charges: Vec<f64> =
        [0.2, 0.35, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0].into_iter().filter(|at| *at != soc).collect();
    add(Suspect::Charge, soc, &charges, usual::CHARGE, false);
    let circuit = &plan.battery.pack.circuit;
    let of_cold = circuit.climate(plan.air.night_c.value).resistance;
    let ohm = (circuit.r0_ohm + circuit.r1_ohm) * of_cold;
    let room_ohm = 0.8 * circuit.r0_ohm;
    let ohms = [-room_ohm, -0.4 * room_ohm, 0.5 * ohm, ohm, 2.0 * ohm, 4.0 * ohm, 8.0 * ohm];
    let usual_ohm = usual::OHM.hypot(ohm * spread.resistance);
    add(Suspect::Resistance, 0.0, &ohms, usual_ohm, true);
    let volts = [-1.0, -0.4, -0.15, -0.05, 0.05, 0.15, 0.4, 1.0];
    add(Suspect::Voltage, 0.0, &volts, usual::VOLTAGE_V.hypot(spread.ocv_v), true);
    for (device, spread) in plan.gear.rig.devices().iter().zip(&plan.gear.load_spread) {
        let what = Suspect::Device(device.name.clone());
        add(
            what,
            1.0,
            &[0.0, 0.3, 0.6, 0.8, 0.9, 1.1, 1.2, 1.35, 1.6, 2.0, 3.0, 5.0],
            of_plan(*spread),
            true,
        );
    }
    let usual_w = usual::EXTRA_W.max(usual::EXTRA_SHARE * mean_w);
    add(
        Suspect::Extra,
        0.0,
        &[0.05, 0.1, 0.2, 0.35, 0.6, 1.0, 2.0].map(|f| f * mean_w),
        usual_w,
        false,
    );
    if plan.supplies.iter().any(|supply| matches!(supply, Supply::Panel(_))) {
        let central = &world.doubt.central().days;
        let of = |draw: &Draw, night: usize| {
            let sun = |days: &[crate::skies::Day]| days.get(night).map_or(1.0, |day| day.sun);
            sun(&draw.days) / sun(central).max(1e-6)
        };
        // the day before the first evening is over when the trip begins
        let days: Vec<(usize, Date)> = plan
            .dates
            .evenings()
            .enumerate()
            .skip(1)
            .filter(|(_, evening)| covered.contains(evening))
            .collect();
        let most = 1.1 / central.first().map_or(1.0, |day| day.sun).max(0.1);
        let mut suns: Vec<f64> = [0.0, 0.2, 0.4, 0.6, 0.8, 1.2].to_vec();
        suns.extend((most > 1.3).then_some(most));
        if !days.is_empty() {
            let mean = |draw: &Draw| {
                days.iter().map(|(night, _)| of(draw, *night)).sum::<f64>() / days.len() as f64
            };
            let usual_sun = of_plan(deviation(draws.iter().map(mean)));
            add(Suspect::Sun(None), 1.0, &suns, usual_sun, true);
        }
        for (night, evening) in days.iter().filter(|_| days.len() > 1).take(MOST_DAYS) {
            let usual_sun = of_plan(deviation(draws.iter().map(|draw| of(draw, *night))));
            add(Suspect::Sun(Some(*evening)), 1.0, &suns, usual_sun, true);
        }
    }
    if world.has_chargers() {
        add(Suspect::Chargers, 1.0, &[0.0, 0.3, 0.6, 0.85, 1.15, 1.5], usual::CHARGERS, false);
    }
    let air = deviation(draws.iter().map(|draw| draw.air_k(0))).max(1.0);
    // a pack that refuses charge in frost makes a sharp edge
    let warmer: Vec<f64> = (-8..=6).filter(|at| *at != 0).map(|at| 2.0 * f64::from(at)).collect();
    add(Suspect::Air, 0.0, &warmer, air, true);
    if has_clock {
        let quarters: Vec<f64> =
            (-56..=56).filter(|at| *at != 0).map(|at| f64::from(at) * 900.0).collect();
        add(Suspect::Clock, 0.0, &quarters, usual::CLOCK_S, false);
    }
    if has_current {
        add(
            Suspect::MeterZero,
            0.0,
            &[-2.0, -0.8, -0.3, -0.1, 0.1, 0.3, 0.8, 2.0],
            usual::ZERO_A,
            false,
        );
        add(
            Suspect::MeterGain,
            1.0,
            &[0.5, 0.7, 0.85, 0.94, 1.06, 1.15, 1.3, 1.6, 2.0],
            usual::SHARE,
            false,
        );
    }
    all
}
