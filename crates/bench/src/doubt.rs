//! How sure a run's charge and energy are.
//!
//! Gain and offset of the meter are the same through a run, so they do not average out
//! (JCGM 100:2008, 5.2.2); the last digit of a steady current is taken to be so as well, which is
//! right for a noise below one digit and on the safe side above it. Noise averages out.

use quantity::uncertainty::{Budget, Part, Shape, rectangular, resolution};
use record::Resolution;

use crate::Instrument;
use crate::piece::Sum;
use crate::trace::{Stretch, Trace, quantile, stride};

pub(crate) const GAIN: &str = "gain of the current";
pub(crate) const OFFSET: &str = "offset of the current";
pub(crate) const DIGIT: &str = "last digit of the current";
pub(crate) const COUNTER_DIGITS: &str = "digits of the counter";
pub(crate) const SAMPLING: &str = "sampling";
pub(crate) const VOLTAGE_OFFSET: &str = "offset of the voltage";

/// What is not known of a charge or an energy.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Doubt {
    /// From the meter: the same in every run made with it.
    pub meter: Budget,
    /// From this run alone: ends, gaps, sampling, noise.
    pub run: Budget,
}

impl Doubt {
    /// Both together.
    #[must_use]
    pub fn whole(&self) -> Budget {
        Budget { parts: self.meter.parts.iter().chain(&self.run.parts).copied().collect() }
    }

    /// Of the same share of the value.
    #[must_use]
    pub(crate) fn scaled(&self, share: f64) -> Doubt {
        let scaled = |budget: &Budget| Budget {
            parts: budget.parts.iter().map(|part| Part { u: part.u * share, ..*part }).collect(),
        };
        Doubt { meter: scaled(&self.meter), run: scaled(&self.run) }
    }

    /// Half-width of the 95 % interval.
    #[must_use]
    pub fn expanded_95(&self) -> f64 {
        self.whole().expanded_95()
    }
}

/// The doubts of a run.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Doubts {
    /// Of the charge (Ah).
    pub capacity_ah: Doubt,
    /// Of the energy (Wh).
    pub energy_wh: Doubt,
}

/// What the meter's own errors can do to the integrals of a run.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Meter {
    pub(crate) instrument: Instrument,
    pub(crate) resolution: Resolution,
    /// Standard deviation of the current's noise (A).
    pub(crate) noise_a: f64,
    /// Readings in the run.
    pub(crate) readings: usize,
    /// The current passes over so many of its own steps.
    pub(crate) current_steps: f64,
    /// The voltage passes over so many of its own steps.
    pub(crate) voltage_steps: f64,
}

impl Meter {
    /// The law of propagation (JCGM 100:2008, 5.1.2) for ∫I dt and ∫VI dt.
    pub(crate) fn doubts(&self, sum: &Sum) -> Doubts {
        let mut doubts = Doubts::default();
        let hours = sum.duration_s / 3600.0;
        let charge_ah = sum.charge_ah.abs();
        let energy_wh = sum.energy_wh.abs();
        let mean_v = if charge_ah > 0.0 { energy_wh / charge_ah } else { 0.0 };
        let Instrument { current, voltage, clock } = self.instrument;

        let mut of_charge = |name, u_ah: f64, shape| {
            doubts.capacity_ah.meter.add(name, u_ah, shape);
            doubts.energy_wh.meter.add(name, u_ah * mean_v, shape);
        };
        of_charge(GAIN, rectangular(current.gain) * charge_ah, Shape::Rectangular);
        let offset_a = rectangular(current.constant(self.resolution.current_a));
        of_charge(OFFSET, offset_a * hours, Shape::Rectangular);
        let digit_a = resolution(self.resolution.current_a) * left_of_digit(self.current_steps);
        of_charge(DIGIT, digit_a * hours, Shape::Rectangular);
        of_charge("clock", rectangular(clock) * charge_ah, Shape::Rectangular);

        let mut of_voltage =
            |name, u_wh: f64| doubts.energy_wh.meter.add(name, u_wh, Shape::Rectangular);
        of_voltage("gain of the voltage", rectangular(voltage.gain) * energy_wh);
        let offset_v = rectangular(voltage.constant(self.resolution.voltage_v));
        of_voltage(VOLTAGE_OFFSET, offset_v * charge_ah);
        let digit_v = resolution(self.resolution.voltage_v) * left_of_digit(self.voltage_steps);
        of_voltage("last digit of the voltage", digit_v * charge_ah);

        let noise_ah = self.noise_a * hours / (self.readings.max(1) as f64).sqrt();
        doubts.capacity_ah.run.add("noise", noise_ah, Shape::Normal);
        doubts.energy_wh.run.add("noise", noise_ah * mean_v, Shape::Normal);
        doubts
    }
}

/// What is left of a last digit's error in the mean of readings that pass evenly over so many of
/// its steps: the error goes to and fro between the limits, and only a part of a step remains.
fn left_of_digit(steps: f64) -> f64 {
    if steps > 0.25 { 0.25 / steps } else { 1.0 }
}

impl Trace<'_> {
    /// The doubts of what flows in some stretches, which is `sum`.
    pub(crate) fn doubts(
        &self,
        instrument: Option<Instrument>,
        stretches: &[Stretch],
        sum: &Sum,
    ) -> Doubts {
        let readings: usize = stretches.iter().map(|stretch| stretch.samples.len()).sum();
        // over the middle four fifths of the readings, so that a bend at the end does not count
        let steps = |value: &dyn Fn(usize) -> f64, step: f64, noise: f64| {
            let all = stretches.iter().flat_map(|stretch| stretch.samples.clone());
            let values: Vec<f64> = all.step_by(stride(readings)).map(value).collect();
            let span = quantile(values.clone(), 0.9) - quantile(values, 0.1);
            if step > 0.0 { (span - 2.6 * noise).max(0.0) / step } else { 0.0 }
        };
        let mut instrument = instrument.unwrap_or_default();
        if self.zero_is_seen {
            // what the rests show is off by their own last digit at most
            instrument.current.digits = 0.0;
            instrument.current.offset = self.record.resolution.current_a / 2.0;
        }
        let meter = Meter {
            instrument,
            resolution: self.record.resolution,
            noise_a: self.noise_a,
            readings,
            current_steps: steps(
                &|at| self.current_a(at),
                self.record.resolution.current_a,
                self.noise_a,
            ),
            voltage_steps: steps(&|at| self.voltage_v(at), self.record.resolution.voltage_v, 0.0),
        };
        let mut doubts = meter.doubts(sum);
        let mut add = |name, [u_ah, u_wh]: [f64; 2]| {
            doubts.capacity_ah.run.add(name, u_ah, Shape::Rectangular);
            doubts.energy_wh.run.add(name, u_wh, Shape::Rectangular);
        };
        for stretch in stretches {
            for (at, apart_s) in self.ends_s(stretch) {
                let u_ah = rectangular(self.current_a(at).abs() * apart_s / 2.0 / 3600.0);
                add("ends", [u_ah, u_ah * self.voltage_v(at)]);
            }
            let inside = stretch.samples.start..stretch.samples.end - 1;
            for gap in self.gaps_in(&inside).iter().filter(|gap| gap.bridged) {
                add("gap", self.gap_doubt(gap.at));
            }
        }
        add(SAMPLING, self.sampling_doubt(stretches));
        doubts
    }

    /// In a bridged gap the current can have been anywhere between the two sides' readings and
    /// their scatter, the voltage anywhere between the two sides': the half-widths, as standard
    /// uncertainties in Ah and Wh.
    fn gap_doubt(&self, at: usize) -> [f64; 2] {
        let hours = (self.elapsed_s(at + 1) - self.elapsed_s(at)) / 3600.0;
        let [before_a, after_a] = [at, at + 1].map(|at| self.current_a(at));
        let [before_v, after_v] = [at, at + 1].map(|at| self.voltage_v(at));
        let half_a = (before_a - after_a).abs() / 2.0
            + self.noise_a.max(self.record.resolution.current_a / 2.0);
        let half_v = (before_v - after_v).abs() / 2.0;
        let mean_a = (before_a + after_a).abs() / 2.0;
        let mean_v = (before_v + after_v) / 2.0;
        let u_ah = rectangular(half_a * hours);
        [u_ah, (u_ah * mean_v).hypot(rectangular(half_v * mean_a * hours))]
    }

    /// Straight lines between readings miss what bends: a third of what leaving out every second
    /// reading changes bounds it (the error of the trapezoid falls with the square of its step).
    fn sampling_doubt(&self, stretches: &[Stretch]) -> [f64; 2] {
        let mut change = Sum::default();
        for stretch in stretches {
            let mut at = stretch.samples.start;
            while at + 2 < stretch.samples.end {
                let fine: Sum = [at, at + 1].into_iter().map(|at| self.piece(at, at + 1)).collect();
                let coarse = self.piece(at, at + 2);
                change.charge_ah += coarse.charge_ah() - fine.charge_ah;
                change.energy_wh += coarse.energy_wh() - fine.energy_wh;
                at += 2;
            }
        }
        [change.charge_ah, change.energy_wh].map(|change| rectangular(change.abs() / 3.0))
    }
}

#[cfg(test)]
mod tests {
    use quantity::uncertainty::Accuracy;
    use serde_json::Value;

    use super::*;

    /// Worked cases: JCGM 100:2008 5.1, 4.3.7, 5.2.2 and F.2.2.1, checked by Monte Carlo there.
    #[test]
    fn integrated_runs() {
        let path = concat!(
            env!("CARGO_MANIFEST_DIR"),
            "/../../tests/reference/uncertainty/uncertainty_more.json"
        );
        let all: Value = serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap();
        for case in all["integrated_runs"].as_array().unwrap() {
            let given = |key: &str| case["inputs"][key].as_f64().unwrap();
            let hours = given("hours");
            let charge_ah = given("current_a") * hours;
            let mean_v = (given("voltage_start_v") + given("voltage_end_v")) / 2.0;
            let meter = Meter {
                instrument: Instrument {
                    current: Accuracy {
                        gain: given("current_gain"),
                        digits: 0.0,
                        offset: given("current_offset_a"),
                    },
                    voltage: Accuracy {
                        gain: given("voltage_gain"),
                        digits: 0.0,
                        offset: given("voltage_offset_v"),
                    },
                    clock: given("clock_ppm") * 1e-6,
                },
                resolution: Resolution {
                    voltage_v: given("voltage_resolution_v"),
                    current_a: given("current_resolution_a"),
                    ..Resolution::default()
                },
                noise_a: given("current_noise_sd_a"),
                readings: (hours * 3600.0 / given("interval_s")) as usize,
                current_steps: 0.0,
                voltage_steps: (given("voltage_start_v") - given("voltage_end_v"))
                    / given("voltage_resolution_v"),
            };
            let energy_wh = charge_ah * mean_v;
            let doubts = meter.doubts(&Sum { duration_s: hours * 3600.0, charge_ah, energy_wh });
            for (what, doubt, key) in [
                ("Ah", &doubts.capacity_ah, "u_capacity_ah"),
                ("Wh", &doubts.energy_wh, "u_energy_wh"),
            ] {
                let (got, expected) = (doubt.whole().standard(), case[key].as_f64().unwrap());
                assert!((got / expected - 1.0).abs() < 1e-6, "{what}: {got} {expected}");
            }
            // where 20,000 simulated meters had 95 % of their results; the shape of the sum is
            // met to two hundredths
            for (doubt, key) in [
                (&doubts.capacity_ah, "half_width_95_capacity_ah"),
                (&doubts.energy_wh, "half_width_95_energy_wh"),
            ] {
                let (got, expected) =
                    (doubt.expanded_95(), case["monte_carlo"][key].as_f64().unwrap());
                assert!((got / expected - 1.0).abs() < 0.02, "{key}: {got} {expected}");
            }
        }
    }
}
