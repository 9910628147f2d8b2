//! Does the 95 % interval hold the truth 95 times in 100? Thousands of simulated meters read runs
//! whose charge and energy are known exactly, each with errors drawn from its own data sheet.

#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

use bench::{Instrument, Repeats, Settings, measure};
use quantity::uncertainty::Accuracy;
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, Normal};
use rand_pcg::Pcg64Mcg;
use record::{Record, Resolution, Samples};

/// A load of constant power on a pack whose voltage falls in a line, then bends.
struct Truth {
    power_w: f64,
    hours: f64,
}

impl Truth {
    fn voltage_v(&self, elapsed_h: f64) -> f64 {
        let x = elapsed_h / self.hours;
        13.4 - 0.8 * x - 1.6 * x.powi(8)
    }

    /// ∫P/V dt by Simpson's rule, far finer than any reading.
    fn charge_ah(&self) -> f64 {
        const STEPS: usize = 2000;
        let value =
            |nth: usize| self.power_w / self.voltage_v(self.hours * nth as f64 / STEPS as f64);
        let weight = |nth: usize| match nth {
            0 | STEPS => 1.0,
            _ if nth % 2 == 1 => 4.0,
            _ => 2.0,
        };
        let sum: f64 = (0..=STEPS).map(|nth| weight(nth) * value(nth)).sum();
        sum * self.hours / STEPS as f64 / 3.0
    }

    fn energy_wh(&self) -> f64 {
        self.power_w * self.hours
    }
}

/// How a meter is drawn.
#[derive(Debug, Clone, Copy)]
struct Sheet {
    gain: f64,
    digits: f64,
    step_a: f64,
    step_v: f64,
    noise_a: f64,
    clock: f64,
    interval_s: f64,
    rests: bool,
}

/// One meter: what it errs, within the limits of its sheet.
struct Meter {
    sheet: Sheet,
    gain_a: f64,
    offset_a: f64,
    gain_v: f64,
    offset_v: f64,
    clock: f64,
}

impl Meter {
    fn draw(sheet: Sheet, rng: &mut Pcg64Mcg) -> Meter {
        let mut within = |half_width: f64| half_width * rng.random_range(-1.0..=1.0);
        Meter {
            sheet,
            gain_a: 1.0 + within(sheet.gain),
            offset_a: within(sheet.digits * sheet.step_a),
            gain_v: 1.0 + within(sheet.gain),
            offset_v: within(sheet.digits * sheet.step_v),
            clock: 1.0 + within(sheet.clock),
        }
    }
}

fn record(truth: &Truth, meter: &Meter, rng: &mut Pcg64Mcg) -> Record {
    let &Meter { sheet, gain_a, offset_a, gain_v, offset_v, clock } = meter;
    let noise = Normal::new(0.0, sheet.noise_a).unwrap();
    // the load comes on and goes off at any instant between two readings
    let rest_h = if sheet.rests {
        0.2 + rng.random_range(0.0..1.0) * sheet.interval_s / 3600.0
    } else {
        0.0
    };
    let step_h = sheet.interval_s / 3600.0;
    let mut samples = Samples::default();
    for nth in 0.. {
        let at_h = nth as f64 * step_h - rest_h;
        let end_h = if sheet.rests { truth.hours + 0.2 } else { truth.hours + step_h * 1e-6 };
        if at_h > end_h {
            break;
        }
        let on = (0.0..=truth.hours + step_h * 1e-6).contains(&at_h);
        let voltage_v = if on { truth.voltage_v(at_h) } else { 13.0 };
        let current_a = if on { truth.power_w / voltage_v } else { 0.0 };
        let shown = |value: f64, step: f64| (value / step).round() * step;
        samples.elapsed_s.push(nth as f64 * sheet.interval_s * clock);
        samples.voltage_v.push(shown(voltage_v * gain_v + offset_v, sheet.step_v) as f32);
        let read_a = current_a * gain_a + offset_a + noise.sample(rng);
        samples.current_a.push(shown(read_a, sheet.step_a) as f32);
    }
    let resolution = Resolution {
        time_s: 1.0,
        voltage_v: sheet.step_v,
        current_a: sheet.step_a,
        ..Resolution::default()
    };
    Record { samples, resolution, ..Record::default() }
}

fn instrument(sheet: Sheet) -> Instrument {
    let accuracy = Accuracy { gain: sheet.gain, digits: sheet.digits, offset: 0.0 };
    Instrument { current: accuracy, voltage: accuracy, clock: sheet.clock }
}

/// The shares of runs whose 95 % interval held the true charge and the true energy.
fn held(sheet: Sheet, runs: usize, rng: &mut Pcg64Mcg) -> [f64; 2] {
    let instrument = Some(instrument(sheet));
    let mut held = [0.0; 2];
    for _ in 0..runs {
        let intervals = rng.random_range(150..250);
        let odd = if sheet.rests { rng.random_range(0.0..1.0) } else { 0.0 };
        let truth = Truth {
            power_w: rng.random_range(20.0..60.0),
            hours: (f64::from(intervals) + odd) * sheet.interval_s / 3600.0,
        };
        let settings = Settings { instrument, ..Settings::default() };
        let got = measure(&record(&truth, &Meter::draw(sheet, rng), rng), &settings).unwrap();
        let got = got[0].discharge.as_ref().unwrap();
        held[0] += f64::from((got.capacity_ah - truth.charge_ah()).abs() <= got.capacity_u_ah);
        held[1] += f64::from((got.energy_wh - truth.energy_wh()).abs() <= got.energy_u_wh);
    }
    held.map(|held| held / runs as f64)
}

const GOOD: Sheet = Sheet {
    gain: 0.005,
    digits: 2.0,
    step_a: 0.01,
    step_v: 0.01,
    noise_a: 0.002,
    clock: 1e-4,
    interval_s: 60.0,
    rests: false,
};

/// A pack that gives 2 % more or less from run to run, five runs by one meter: the interval is
/// about what it gives in the long run.
#[test]
fn the_interval_of_repeats_holds_the_mean() {
    const SETS: usize = 500;
    let mut rng = Pcg64Mcg::seed_from_u64(5);
    let spread = Normal::new(0.0, 0.02).unwrap();
    let settings = Settings { instrument: Some(instrument(GOOD)), ..Settings::default() };
    // in proportion to the time the load was on: the shape of the curve is the same
    let mean_ah = Truth { power_w: 40.0, hours: 3.0 }.charge_ah();
    let mut held = 0.0;
    for _ in 0..SETS {
        let meter = Meter::draw(GOOD, &mut rng);
        let runs: Vec<_> = (0..5)
            .map(|_| {
                let truth = Truth { power_w: 40.0, hours: 3.0 * (1.0 + spread.sample(&mut rng)) };
                let record = record(&truth, &meter, &mut rng);
                measure(&record, &settings).unwrap().remove(0).discharge.unwrap()
            })
            .collect();
        let repeats = Repeats::of_capacity(&runs.iter().collect::<Vec<_>>()).unwrap();
        held += f64::from((repeats.mean - mean_ah).abs() <= repeats.u_95);
    }
    let share = held / SETS as f64;
    assert!((0.93..=0.97).contains(&share), "{share}");
}

#[test]
fn the_interval_holds_the_truth() {
    const RUNS: usize = 500;
    let good = GOOD;
    let sheets = [
        ("a usual meter", good),
        ("gain rules", Sheet { gain: 0.02, ..good }),
        ("offset rules", Sheet { gain: 0.001, digits: 5.0, ..good }),
        ("rests show the offset", Sheet { rests: true, digits: 4.0, ..good }),
        (
            "ends rule",
            Sheet {
                rests: true,
                gain: 0.001,
                interval_s: 120.0,
                step_a: 0.001,
                digits: 1.0,
                ..good
            },
        ),
        ("a coarse display", Sheet { gain: 0.002, digits: 0.0, step_a: 0.1, ..good }),
        ("a noisy one", Sheet { noise_a: 0.05, ..good }),
        ("a bad clock", Sheet { clock: 0.01, gain: 0.002, ..good }),
    ];
    let mut rng = Pcg64Mcg::seed_from_u64(20_26);
    let mut whole = [0.0; 2];
    for (name, sheet) in sheets {
        let shares = held(sheet, RUNS, &mut rng);
        for share in shares {
            // 500 runs show 95 % to within three hundredths; a doubt on the safe side may hold more
            assert!((0.92..=0.985).contains(&share), "{name}: {shares:?}");
        }
        whole = [whole[0] + shares[0], whole[1] + shares[1]];
    }
    let whole = whole.map(|share| share / sheets.len() as f64);
    for share in whole {
        assert!((0.93..=0.97).contains(&share), "{whole:?}");
    }
}
