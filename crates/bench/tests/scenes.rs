//! What happens on real benches and nights, played on a simple pack whose answers are known.

#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

mod common;

use bench::{Family, Gear, Load, PhaseKind, Run, RunKind, Settings, measure};
use common::assert_within;
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;
use record::{Record, Resolution, Samples};

/// A pack of 40 Ah: 13.4 V full, 12.4 V empty at rest, 40 mΩ; and its logger.
struct Pack {
    samples: Samples,
    elapsed_s: f64,
    delivered_ah: f64,
    interval_s: f64,
    noise_a: f64,
    rng: Pcg64Mcg,
}

impl Pack {
    fn full(interval_s: f64) -> Pack {
        let rng = Pcg64Mcg::seed_from_u64(7);
        Pack {
            samples: Samples::default(),
            elapsed_s: 0.0,
            delivered_ah: 0.0,
            interval_s,
            noise_a: 0.0,
            rng,
        }
    }

    fn open_v(&self) -> f64 {
        13.4 - self.delivered_ah / 40.0
    }

    /// A current for some hours, positive out.
    fn at(&mut self, current_a: f64, hours: f64) -> &mut Pack {
        self.as_it_goes(hours, |_| current_a)
    }

    fn as_it_goes(&mut self, hours: f64, current_a: impl Fn(&Pack) -> f64) -> &mut Pack {
        for _ in 0..(hours * 3600.0 / self.interval_s).round() as usize {
            let current_a = current_a(self);
            let voltage_v = self.open_v() - 0.04 * current_a;
            self.log(voltage_v, current_a);
            self.delivered_ah += current_a * self.interval_s / 3600.0;
        }
        self
    }

    /// No voltage at the terminals.
    fn dead(&mut self, hours: f64) -> &mut Pack {
        for _ in 0..(hours * 3600.0 / self.interval_s).round() as usize {
            self.log(0.1, 0.0);
        }
        self
    }

    /// Time in which nothing is logged and this current flows.
    fn unlogged(&mut self, current_a: f64, hours: f64) -> &mut Pack {
        self.elapsed_s += hours * 3600.0;
        self.delivered_ah += current_a * hours;
        self
    }

    fn log(&mut self, voltage_v: f64, current_a: f64) {
        let noise_a =
            self.noise_a * (self.rng.random_range(-1.0..1.0) + self.rng.random_range(-1.0..1.0));
        self.samples.elapsed_s.push(self.elapsed_s);
        self.samples.voltage_v.push(((voltage_v * 1e3).round() * 1e-3) as f32);
        self.samples.current_a.push((((current_a + noise_a) * 1e3).round() * 1e-3) as f32);
        self.elapsed_s += self.interval_s;
    }

    fn record(&self) -> Record {
        let resolution = Resolution { voltage_v: 1e-3, current_a: 1e-3, ..Resolution::default() };
        Record { samples: self.samples.clone(), resolution, ..Record::default() }
    }

    fn runs(&self) -> Vec<Run> {
        measure(&self.record(), &Settings::default()).unwrap()
    }
}

fn kinds(runs: &[Run]) -> Vec<RunKind> {
    runs.iter().map(|run| run.kind).collect()
}

#[test]
fn a_discharge_in_portions_is_one() {
    let mut pack = Pack::full(10.0);
    pack.at(0.0, 0.5)
        .at(5.0, 2.0)
        .at(0.0, 0.25)
        .at(5.0, 3.0)
        .dead(0.02)
        .at(0.0, 0.1)
        .at(5.0, 1.0)
        .dead(0.5);
    let runs = pack.runs();
    assert_eq!(kinds(&runs), [RunKind::Discharge]);
    let got = runs[0].discharge.as_ref().unwrap();
    assert_within("Ah", got.capacity_ah, 30.0, 1e-3);
    assert_within("s", got.duration_s, 6.0 * 3600.0, 1.0);
    assert_eq!(runs[0].phases.last().unwrap().kind, PhaseKind::Open);
    assert_within("rest before", got.rest_before_v.unwrap(), 13.4, 1e-3);
    assert_eq!(got.rest_after_v, None, "the terminals were dead");
}

#[test]
fn pulses_or_a_load_that_was_switched_twice() {
    let mut switched = Pack::full(1.0);
    switched
        .at(0.0, 0.1)
        .at(5.0, 0.01)
        .at(0.0, 0.02)
        .at(5.0, 0.01)
        .at(0.0, 0.02)
        .at(5.0, 2.0)
        .at(0.0, 0.1);
    assert_eq!(kinds(&switched.runs()), [RunKind::Discharge]);
    let mut pulsed = Pack::full(1.0);
    pulsed.at(0.0, 0.1).at(20.0, 10.0 / 3600.0).at(0.0, 0.02).at(-10.0, 10.0 / 3600.0).at(0.0, 0.1);
    let runs = pulsed.runs();
    assert_eq!(kinds(&runs), [RunKind::Pulses]);
    assert_eq!(runs[0].resistances.len(), 4);
    for step in &runs[0].resistances {
        // the pack's own, to the last digits of 1 mV and 1 mA at 10 A and more
        assert_within("Ω", step.ohm, 0.04, 2e-4);
    }
}

#[test]
fn nights_without_a_recharge_between() {
    let mut pack = Pack::full(60.0);
    for _ in 0..3 {
        for _ in 0..5 {
            pack.at(0.5, 0.8).at(2.0, 0.2);
        }
        pack.at(0.0, 10.0);
    }
    let runs = pack.runs();
    assert_eq!(kinds(&runs), [RunKind::Field]);
    let field = runs[0].field.as_ref().unwrap();
    assert_eq!(field.nights.len(), 3);
    for night in &field.nights {
        assert_within("Ah", night.charge_ah, 4.0, 0.02);
    }
}

#[test]
fn gear_that_switches_at_every_reading() {
    // a base load of 0.4 A and 3 A on top every other minute: the switching is no noise
    let mut pack = Pack::full(60.0);
    for _ in 0..200 {
        pack.at(0.4, 1.0 / 60.0).at(3.4, 1.0 / 60.0);
    }
    let runs = pack.runs();
    assert_eq!(kinds(&runs), [RunKind::Field]);
    let field = runs[0].field.as_ref().unwrap();
    let amperes: Vec<f64> = field.levels.iter().map(|level| level.current_a).collect();
    assert_eq!(field.levels.len(), 2, "{amperes:?}");
    assert_within("low", amperes[0], 0.4, 1e-3);
    assert_within("high", amperes[1], 3.4, 1e-3);
    assert_within("half of the time", field.levels[0].share_of_time, 0.5, 0.01);
}

#[test]
fn a_load_and_a_panel_on_one_shunt() {
    // clouds over a panel that about covers the load: the difference changes its sign all day
    let mut pack = Pack::full(60.0);
    pack.at(3.0, 6.0);
    for nth in 0..200 {
        pack.at(if nth % 2 == 0 { -2.0 } else { 2.5 }, 3.0 / 60.0);
    }
    pack.at(3.0, 6.0);
    let runs = pack.runs();
    assert_eq!(kinds(&runs), [RunKind::Field]);
    assert_within(
        "Ah",
        runs[0].discharge.as_ref().unwrap().capacity_ah,
        36.0 + 100.0 * 2.5 * 0.05,
        0.6,
    );
}

#[test]
fn a_logger_that_was_off_by_day() {
    let mut pack = Pack::full(60.0);
    pack.at(1.0, 8.0).unlogged(0.0, 10.0).at(1.0, 8.0).unlogged(0.0, 10.0).at(1.0, 8.0);
    let runs = pack.runs();
    let got = runs[0].discharge.as_ref().unwrap();
    // the last minute of each night has no reading after it
    assert_within("Ah", got.capacity_ah, 24.0 - 3.0 / 60.0, 1e-3);
    assert!(
        runs[0].notices.iter().any(|said| said.contains("nothing is counted")),
        "{:?}",
        runs[0].notices
    );
}

#[test]
fn a_hole_in_a_steady_run_is_bridged_and_doubted() {
    let mut whole = Pack::full(10.0);
    whole.at(4.0, 8.0);
    let mut holed = Pack::full(10.0);
    holed.at(4.0, 3.0).unlogged(4.0, 0.5).at(4.0, 4.5);
    let [whole, holed] = [whole, holed].map(|pack| pack.runs()[0].discharge.clone().unwrap());
    assert_within("Ah", holed.capacity_ah, whole.capacity_ah, 1e-3);
    assert!(holed.energy_u_wh > whole.energy_u_wh);
    assert!(holed.capacity_u_ah > whole.capacity_u_ah);
}

#[test]
fn three_stages_of_a_lead_acid_charger() {
    let mut pack = Pack::full(30.0);
    pack.delivered_ah = 30.0;
    let limited = |limit_v: f64| {
        move |pack: &Pack| -(8.0_f64).min(((limit_v - pack.open_v()) / 0.04).max(0.02))
    };
    pack.at(0.0, 0.2).as_it_goes(5.15, limited(13.6));
    // at float the voltage is held lower and next to nothing flows
    for _ in 0..200 {
        pack.log(13.1, -0.12);
    }
    let runs = pack.runs();
    assert_eq!(kinds(&runs), [RunKind::Recharge]);
    let phases: Vec<PhaseKind> = runs[0].phases.iter().map(|phase| phase.kind).collect();
    assert_eq!(
        phases,
        [PhaseKind::Rest, PhaseKind::ConstantCurrent, PhaseKind::ConstantVoltage, PhaseKind::Float]
    );
    let got = runs[0].recharge.as_ref().unwrap();
    // 8 A drop 0.32 V: the limit takes over at 13.28 V open-circuit, 25.2 Ah on
    assert_within("bulk", got.cc_s, 25.2 / 8.0 * 3600.0, 60.0);
    assert_within("absorption", got.cc_s + got.cv_s, 5.15 * 3600.0, 60.0);
    assert_within("limit", got.cv_voltage_v.unwrap(), 13.6, 2e-3);
}

#[test]
fn a_noisy_meter_on_a_constant_power() {
    let mut pack = Pack::full(5.0);
    pack.noise_a = 0.03;
    pack.at(0.0, 0.3).as_it_goes(6.0, |pack| 60.0 / (pack.open_v() - 0.2)).at(0.0, 0.3);
    let expected_ah = pack.delivered_ah;
    let runs = pack.runs();
    assert_eq!(kinds(&runs), [RunKind::Discharge]);
    assert_eq!(runs[0].phases.len(), 3, "{:?}", runs[0].phases);
    let got = runs[0].discharge.as_ref().unwrap();
    assert_within("Ah", got.capacity_ah, expected_ah, got.capacity_u_ah.max(0.005));
}

#[test]
fn a_short_pulse_back_does_not_cut_a_discharge() {
    let mut pack = Pack::full(1.0);
    pack.at(8.0, 1.0).at(-0.5, 0.01).at(8.0, 1.0);
    assert_eq!(kinds(&pack.runs()), [RunKind::Discharge]);
}

#[test]
fn behind_a_lead() {
    let mut pack = Pack::full(10.0);
    pack.at(5.0, 7.5);
    let share = |cutoff_v: f64, at_gear: Option<Gear>| {
        let settings = Settings { cutoff_v, at_gear, ..Settings::default() };
        let run = measure(&pack.record(), &settings).unwrap().remove(0);
        let got = run.discharge.unwrap();
        (got.above_cutoff.share, got.at_gear.map(|gear| gear.share), run.notices.join("\n"))
    };
    // 5 A through 60 mΩ take 0.3 V: 12.5 V at the gear are 12.8 V at the terminals
    let (at_terminals, none, _) = share(12.8, None);
    assert_eq!(none, None);
    for load in [Load::Recorded, Load::Current(5.0)] {
        let (_, at_gear, said) = share(12.5, Some(Gear { lead_ohm: 0.06, load }));
        assert_within("share", at_gear.unwrap(), at_terminals, 1e-6);
        assert!(!said.contains("the gear takes"), "{said}");
    }
    let (_, _, said) = share(12.5, Some(Gear { lead_ohm: 0.06, load: Load::Power(120.0) }));
    assert!(said.contains("would stand lower"), "{said}");
}

#[test]
fn a_cold_test_is_told_and_normalised() {
    let mut pack = Pack::full(60.0);
    pack.at(2.0, 10.0);
    let mut record = pack.record();
    record.samples.temperature_c = Some(vec![5.0; record.samples.len()]);
    let settings = Settings { family: Some(Family::LeadAcid), ..Settings::default() };
    let run = measure(&record, &settings).unwrap().remove(0);
    let got = run.discharge.unwrap();
    // ten hours: 1 + 0.006 · (5 - 20) = 0.91 (IEC 60896)
    assert_within("at 20 °C", got.capacity_at_20_c_ah.unwrap(), got.capacity_ah / 0.91, 1e-9);
    assert!(run.notices.iter().any(|said| said.contains("IEC 60896")), "{:?}", run.notices);
    assert_eq!(run.mean_temperature_c, Some(5.0));
}
