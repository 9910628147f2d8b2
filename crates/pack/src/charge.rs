//! Holding a pack at a charger's voltage, and the energy it stores.

use crate::{Circuit, Climate, Ocv, State, Step};

impl Circuit {
    /// The constant current in A that brings the terminals to `voltage_v` at the end of a step;
    /// negative while charging.
    ///
    /// It is solved with the state at the *end* of the step. Taking the state at its beginning
    /// instead has a gain of about `ocv′·dt/(3600·capacity·R0)`, which exceeds 1 for small packs
    /// at one-minute steps and rings.
    #[must_use]
    pub fn hold_a(&self, state: &State, voltage_v: f64, step: &Step, climate: &Climate) -> f64 {
        let charging = voltage_v > self.internal_v(state, climate);
        self.end(state, charging, step, climate).hold_a(voltage_v, 0.0)
    }

    /// `current_a`, unless it would charge the terminals above `voltage_v` by the end of the
    /// step; then the current that ends the step there: a charger at its voltage limit.
    #[must_use]
    #[inline]
    pub fn limit_a(
        &self,
        state: &State,
        current_a: f64,
        voltage_v: f64,
        step: &Step,
        climate: &Climate,
    ) -> f64 {
        let end = self.end(state, current_a < 0.0, step, climate);
        if end.voltage_v(current_a) > voltage_v {
            end.hold_a(voltage_v, current_a)
        } else {
            current_a
        }
    }

    #[inline(always)]
    pub(crate) fn end(
        &self,
        state: &State,
        charging: bool,
        step: &Step,
        climate: &Climate,
    ) -> End<'_> {
        // the resistances at the start: they change little in a step
        let (r0_ohm, efficiency) = if charging {
            (self.r0_charging_at(state, climate), self.charge_efficiency)
        } else {
            (self.r0_at(state, climate), 1.0)
        };
        let bound = self.wells.map_or(0.0, |w| 1.0 - w.at_hand);
        let idle = State { gap: state.gap * step.gap_keep, ..*state };
        End {
            ocv: &self.ocv,
            offset_v: self.offset_v,
            from: self.available(&idle, climate),
            per_a: -(step.soc_per_a + bound * step.gap_per_a) * efficiency * climate.stretch,
            v1_v: state.v1_v * step.v1_keep,
            ohm: step.v1_per_a + r0_ohm,
        }
    }

    /// Energy in Wh held in a state, as warm as the battery is: what an infinitely slow discharge
    /// would give of each well, and what lies in the slow part's capacitor.
    ///
    /// In the cold it is less, and comes back with the warmth: charge is kept, the voltage at which
    /// it can be had is not.
    #[must_use]
    pub fn stored_wh(&self, state: &State, climate: &Climate) -> f64 {
        let at_hand = self.wells.map_or(1.0, |wells| wells.at_hand);
        let of_well = |soc: f64| {
            let seen = 1.0 - (1.0 - soc) * climate.stretch;
            (self.ocv.area(seen) + self.offset_v * seen) / climate.stretch
        };
        let (here, bound) =
            (state.soc - (1.0 - at_hand) * state.gap, state.soc + at_hand * state.gap);
        self.capacity_ah * (at_hand * of_well(here) + (1.0 - at_hand) * of_well(bound))
            + 0.5 * self.c1_f * state.v1_v * state.v1_v / 3600.0
    }
}

/// The end of a step as it depends on the current.
pub(crate) struct End<'a> {
    pub(crate) ocv: &'a Ocv,
    pub(crate) offset_v: f64,
    /// What would be at hand without current, and what a current adds.
    pub(crate) from: f64,
    pub(crate) per_a: f64,
    /// Voltage across the slow part without current, and what a current takes from the voltage.
    pub(crate) v1_v: f64,
    pub(crate) ohm: f64,
}

impl End<'_> {
    /// Newton on a rising curve of straight pieces: it is exact once the piece is the right one,
    /// which takes two or three rounds. Always the same number, so that many can be solved side
    /// by side.
    pub(crate) const ROUNDS: usize = 5;

    #[inline(always)]
    pub(crate) fn voltage_v(&self, current_a: f64) -> f64 {
        self.ocv.at(self.from + self.per_a * current_a) + self.offset_v
            - self.v1_v
            - self.ohm * current_a
    }

    #[inline(always)]
    pub(crate) fn hold_a(&self, voltage_v: f64, near_a: f64) -> f64 {
        let mut current_a = near_a;
        for _ in 0..Self::ROUNDS {
            current_a = self.nearer_a(voltage_v, current_a);
        }
        current_a
    }

    /// How much the voltage at the end falls per ampere, in Ω.
    pub(crate) fn stiffness_ohm(&self, current_a: f64) -> f64 {
        let (_, slope) = self.ocv.at_with_slope(self.from + self.per_a * current_a);
        self.ohm - slope * self.per_a
    }

    /// One round of Newton.
    #[inline(always)]
    pub(crate) fn nearer_a(&self, voltage_v: f64, current_a: f64) -> f64 {
        let (ocv_v, slope) = self.ocv.at_with_slope(self.from + self.per_a * current_a);
        let off_v = ocv_v + self.offset_v - self.v1_v - self.ohm * current_a - voltage_v;
        current_a + off_v / (self.ohm - slope * self.per_a)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Chemistry, Pack};
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn the_step_ends_at_the_voltage(
            which in 0..5usize,
            rated_ah in 5.0..300.0f64,
            soc in 0.0..0.995f64,
            v1_v in -0.1..0.1f64,
            gap in -0.05..0.05f64,
            temperature_c in -10.0..40.0f64,
            dt_s in 1.0..300.0f64,
        ) {
            let pack = Pack::typical(Chemistry::ALL[which], rated_ah).unwrap();
            let circuit = &pack.circuit;
            let climate = circuit.climate(temperature_c);
            let gap = if circuit.wells.is_some() { gap } else { 0.0 };
            let start = State { soc, v1_v, gap };
            let step = circuit.step(dt_s, &climate);
            let wanted_v = pack.limits.charge_v.unwrap();
            let held_a = circuit.hold_a(&start, wanted_v, &step, &climate);
            let much_a = held_a - 0.3 * rated_ah;
            let limited_a = circuit.limit_a(&start, much_a, wanted_v, &step, &climate);
            prop_assert!((limited_a - held_a).abs() < 1e-3 * rated_ah);
            let little_a = (held_a + 0.1).min(-1e-6);
            prop_assume!(little_a > held_a);
            let kept_a = circuit.limit_a(&start, little_a, wanted_v, &step, &climate);
            prop_assert_eq!(kept_a, little_a);
            let mut end = start;
            circuit.advance_by(&mut end, held_a, &step);
            // with the resistance that the step began with
            let r0_ohm = circuit.r0_charging_at(&start, &climate);
            let got_v = circuit.internal_v(&end, &climate) - r0_ohm * held_a;
            prop_assert!((got_v - wanted_v).abs() < 1e-3, "{} V with {} A", got_v, held_a);
        }
    }
}
