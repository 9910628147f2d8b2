//! Holding a pack at a charger's voltage, and the energy it stores.

use crate::{Circuit, Climate, State, Step};

impl Circuit {
    /// The constant current in A that brings the terminals to `voltage_v` at the end of a step;
    /// negative while charging.
    ///
    /// It is solved with the state at the *end* of the step. Taking the state at its beginning
    /// instead has a gain of about `ocv′·dt/(3600·capacity·R0)`, which exceeds 1 for small packs
    /// at one-minute steps and rings. A charger that can give `least_a` (its limit as a negative
    /// current, plus what the load takes) makes the pack take `hold_a(…).max(least_a)`.
    #[must_use]
    pub fn hold_a(&self, state: &State, voltage_v: f64, step: &Step, climate: &Climate) -> f64 {
        // the resistances at the start: they change little in a step
        let charging = voltage_v > self.internal_v(state, climate);
        let (r0_ohm, efficiency) = if charging {
            (self.r0_charging_at(state, climate), self.charge_efficiency)
        } else {
            (self.r0_at(state, climate), 1.0)
        };
        let bound = self.wells.map_or(0.0, |w| 1.0 - w.at_hand);
        // what is at hand and the voltage at the end, both linear in the current
        let idle = State { gap: state.gap * step.gap_keep, ..*state };
        let from = self.available(&idle, climate);
        let per_a = -(step.soc_per_a + bound * step.gap_per_a) * efficiency * climate.stretch;
        let v1_v = state.v1_v * step.v1_keep;
        let ohm = step.v1_per_a + r0_ohm;
        // Newton on a rising curve of straight pieces; it ends when the piece is the right one
        let mut current_a = 0.0;
        for _ in 0..Self::HOLD_ROUNDS {
            let (ocv_v, slope) = self.ocv.at_with_slope(from + per_a * current_a);
            let off_v = ocv_v - v1_v - ohm * current_a - voltage_v;
            let next_a = current_a + off_v / (ohm - slope * per_a);
            let moved_a = next_a - current_a;
            current_a = next_a;
            if moved_a.abs() <= 1e-9 * (1.0 + current_a.abs()) {
                break;
            }
        }
        current_a
    }

    const HOLD_ROUNDS: usize = 12;

    /// Energy in Wh held at a state of charge, at rest and 25 °C: what an infinitely slow
    /// discharge would give, and what lies in the slow part's capacitor.
    #[must_use]
    pub fn stored_wh(&self, state: &State) -> f64 {
        self.capacity_ah * self.ocv.area(state.soc)
            + 0.5 * self.c1_f * state.v1_v * state.v1_v / 3600.0
    }
}
