//! What is uncertain, drawn at random.
//!
//! Draw `k` of a seed is the same whatever else is drawn, on any number of threads, and for two
//! plans that differ in one thing only: pack, days, damp, devices and aims have streams of their
//! own, and a day or a device more comes last in its stream.

use std::cell::RefCell;

use pack::Circuit;
use plan::{Plan, Supply};
use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64;

use crate::aim;
use crate::loads::Loads;
use crate::skies::{Day, Skies};
use crate::timeline::{Block, Timeline};

/// One draw.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Draw {
    /// The pack; its curve, time constants and charge efficiency are those of the central case.
    pub(crate) pack: Circuit,
    /// What the sky does, by night: on the day before it and in the night.
    pub(crate) days: Vec<Day>,
    /// Factor on each device's load.
    pub(crate) devices: Vec<f64>,
    /// How far each panel stands off its tilt and azimuth, in standard deviations: once for the
    /// trip.
    pub(crate) aims: Vec<[f64; 2]>,
}

/// What is uncertain of a trip.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Doubt {
    pub(crate) pack: pack::Doubt,
    pub(crate) skies: Skies,
    /// Relative standard uncertainty of each device's load.
    pub(crate) devices: Vec<f64>,
    /// How many panels there are.
    pub(crate) panels: usize,
}

/// What has a random stream of its own.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Subject {
    Pack,
    Sky,
    Gear,
    Aim,
    Damp,
}

impl Doubt {
    /// Of a plan, under its skies. What it asks of its pack says how far that is from what was
    /// measured.
    pub(crate) fn of(
        plan: &Plan,
        skies: Skies,
        timeline: &Timeline,
        loads: &mut Loads<'_>,
    ) -> Self {
        let pack = &plan.battery.pack;
        let devices = plan.gear.load_spread.clone();
        let central = central(&pack.circuit, &skies, devices.len(), 0);
        let pack = pack::Doubt::of(pack, || loads.steady(timeline, &central));
        let is_panel = |supply: &&Supply| matches!(supply, Supply::Panel(_));
        let panels = plan.supplies.iter().filter(is_panel).count();
        Self { pack, skies, devices, panels }
    }

    /// The central case: nothing deviates.
    pub(crate) fn central(&self) -> Draw {
        central(self.pack.central(), &self.skies, self.devices.len(), self.panels)
    }

    /// Draw number `number` of a seed.
    pub(crate) fn draw(&self, seed: u64, number: u64) -> Draw {
        self.draw_from(normals(seed, number))
    }

    /// The draw that belongs to independent standard-normal numbers. However they fall, it asks for
    /// as many of each subject, in the same order.
    pub(crate) fn draw_from(&self, normal: impl FnMut(Subject) -> f64) -> Draw {
        let normal = RefCell::new(normal);
        let ask = |subject: Subject| (normal.borrow_mut())(subject);
        Draw {
            pack: self.pack.draw(|| ask(Subject::Pack)),
            days: self.skies.draw(|| ask(Subject::Sky), || ask(Subject::Damp)),
            devices: self
                .devices
                .iter()
                .map(|spread| factor(*spread, ask(Subject::Gear)))
                .collect(),
            aims: (0..self.panels).map(|_| [ask(Subject::Aim), ask(Subject::Aim)]).collect(),
        }
    }
}

/// The standard-normal numbers of draw `number` of a seed, one after the other of each subject.
pub(crate) fn normals(seed: u64, number: u64) -> impl FnMut(Subject) -> f64 {
    let subjects = [Subject::Pack, Subject::Sky, Subject::Gear, Subject::Aim, Subject::Damp];
    let mut streams = subjects.map(|subject| {
        let stream = (subject as u128) << u64::BITS | u128::from(number);
        Pcg64::new(u128::from(seed), stream)
    });
    move |subject| StandardNormal.sample(&mut streams[subject as usize])
}

fn central(pack: &Circuit, skies: &Skies, devices: usize, panels: usize) -> Draw {
    Draw {
        pack: pack.clone(),
        days: skies.central(),
        devices: vec![1.0; devices],
        aims: vec![[0.0; 2]; panels],
    }
}

impl Draw {
    /// Share of the clear-sky harvest that arrives on the day before a night.
    pub(crate) fn sun(&self, night: usize) -> f64 {
        self.days.get(night).map_or(1.0, |day| day.sun)
    }

    /// Share of the clear-sky harvest that arrives in a block, of panels that stand as they do.
    pub(crate) fn harvest(&self, block: &Block) -> f64 {
        let sun = self.sun(block.night);
        sun * aim::factor(&block.aims, &self.aims, sun)
    }

    /// Share of a night without cloud.
    pub(crate) fn clear(&self, night: usize) -> f64 {
        self.days.get(night).map_or(1.0, |day| day.clear)
    }

    /// Air against the usual (K), on the day before a night and in it.
    pub(crate) fn air_k(&self, night: usize) -> f64 {
        self.days.get(night).map_or(0.0, |day| day.air_k)
    }

    /// Dew point against what is usual in such air (K).
    pub(crate) fn dew_k(&self, night: usize) -> f64 {
        self.days.get(night).map_or(0.0, |day| day.dew_k)
    }
}

/// A normal factor about 1, kept off the values that can't be.
fn factor(spread: f64, z: f64) -> f64 {
    (1.0 + spread * z).max(0.05)
}

#[cfg(test)]
mod tests {
    use ::pack::{Chemistry, Pack, Spread, Warmth};
    use plan::Sun;

    use super::*;

    /// A measured pack: what its fit left open is one variant, 1 % of the capacity and as much
    /// resistance as that takes.
    fn measured() -> Pack {
        let mut pack = Pack::typical(Chemistry::Lfp, 50.0).unwrap();
        pack.spread = Spread { capacity: 0.02, resistance: 0.2, ocv_v: 0.01, ..Spread::default() };
        pack.variants = vec![pack.circuit.drawn(1.01, 1.1, 0.0)];
        pack
    }

    fn doubt() -> Doubt {
        Doubt {
            pack: ::pack::Doubt::of(&measured(), || None),
            skies: Skies::alike(&Sun { mean: 0.65, spread: 0.2, persistence: 0.29 }, 2, [2.0, 1.5]),
            devices: vec![0.1, 0.0],
            panels: 1,
        }
    }

    #[test]
    fn a_draw_is_the_same_every_time_and_whatever_is_added_behind() {
        let mut more = doubt();
        more.devices.push(0.3);
        more.panels = 2;
        let (one, again, other) = (doubt().draw(7, 3), doubt().draw(7, 3), more.draw(7, 3));
        assert_eq!(one, again);
        assert_eq!(
            (&one.pack, &one.days, one.devices[0], one.aims[0]),
            (&other.pack, &other.days, other.devices[0], other.aims[0])
        );
        assert_ne!(one, doubt().draw(7, 4));
        assert_ne!(one, doubt().draw(8, 3));
        // of another pack it is the same trip, and what the first one's fit left open comes last
        let plain = Pack { variants: Vec::new(), ..measured() };
        let plain = Doubt { pack: ::pack::Doubt::of(&plain, || None), ..doubt() }.draw(7, 3);
        assert_eq!((&plain.days, &plain.devices), (&one.days, &one.devices));
        assert_eq!((plain.pack.offset_v, plain.pack.warmth), (one.pack.offset_v, one.pack.warmth));
        assert_ne!(plain.pack.capacity_ah, one.pack.capacity_ah);
    }

    #[test]
    fn in_the_central_case_nothing_deviates() {
        let central = doubt().central();
        assert_eq!(central.pack, measured().circuit);
        assert_eq!((central.sun(0), central.air_k(1)), (0.65, 0.0));
        assert_eq!((central.devices, central.aims), (vec![1.0, 1.0], vec![[0.0, 0.0]]));
    }

    #[test]
    fn draws_have_the_mean_the_spread_and_the_persistence_asked_for() {
        let doubt = doubt();
        let draws: Vec<Draw> = (0..20_000).map(|number| doubt.draw(1, number)).collect();
        let mean_of =
            |of: &dyn Fn(&Draw) -> f64| draws.iter().map(of).sum::<f64>() / draws.len() as f64;
        let check = |what: &str, of: &dyn Fn(&Draw) -> f64, mean: f64, spread: f64| {
            let found = mean_of(of);
            let deviation = mean_of(&|draw| (of(draw) - found).powi(2)).sqrt();
            // five standard errors of the mean, and of the deviation
            let room = 5.0 * spread / (draws.len() as f64).sqrt();
            assert!((found - mean).abs() <= room + 1e-12, "{what}: mean {found}, not {mean}");
            assert!(
                (deviation - spread).abs() <= room + 0.01 * spread,
                "{what}: spread {deviation}, not {spread}"
            );
        };
        let central = measured().circuit;
        let of_central = |of: fn(&Circuit) -> f64| {
            let whole = of(&central);
            move |draw: &Draw| of(&draw.pack) / whole
        };
        // of the spread and of the fit
        let capacity = of_central(|circuit| circuit.capacity_ah);
        check("capacity", &capacity, 1.0, 0.02_f64.hypot(0.01));
        let log_ohm = of_central(|circuit| circuit.r0_ohm);
        check("resistance", &|draw| log_ohm(draw).ln(), -0.005, 0.2_f64.hypot(0.1));
        check("open circuit", &|draw| draw.pack.offset_v, 0.0, 0.01);
        let warmth = |of: fn(&Warmth) -> f64| {
            let whole = of(&central.warmth);
            move |draw: &Draw| (of(&draw.pack.warmth) / whole).ln()
        };
        check("resistance in the cold", &warmth(|w| w.resistance_k), 0.0, 0.25);
        check("capacity in the cold", &warmth(|w| w.capacity_per_k), 0.0, 0.4);
        check("air", &|draw| draw.air_k(0), 0.0, 2.0);
        check("dew point", &|draw| draw.dew_k(0), 0.0, 1.5);
        check("second night's dew point", &|draw| draw.dew_k(1), 0.0, 1.5);
        check("second day's air", &|draw| draw.air_k(1), 0.0, 2.0);
        check("first day's sun", &|draw| draw.sun(0), 0.65, 0.2);
        check("second day's sun", &|draw| draw.sun(1), 0.65, 0.2);
        check("a device", &|draw| draw.devices[0], 1.0, 0.1);
        check("a panel's tilt", &|draw| draw.aims[0][0], 0.0, 1.0);
        check("a panel's azimuth", &|draw| draw.aims[0][1], 0.0, 1.0);
        check("a sure device", &|draw| draw.devices[1], 1.0, 0.0);
        let together = mean_of(&|draw| (draw.sun(0) - 0.65) * (draw.sun(1) - 0.65)) / 0.04;
        // the copula's correlation is that of the normal variables; of the shares a little less
        assert!((0.24..0.32).contains(&together), "correlation from day to day {together}");
        let warmer = mean_of(&|draw| draw.air_k(0) * draw.air_k(1)) / 4.0;
        assert!((0.60..0.70).contains(&warmer), "correlation of the air {warmer}");
        let damper = mean_of(&|draw| draw.dew_k(0) * draw.air_k(0)) / 3.0;
        assert!(damper.abs() < 0.03, "damp hangs on warmth {damper}");
    }
}
