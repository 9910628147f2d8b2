//! A lane at this very moment, between two steps.

use pack::Circuit;

use super::bank::{Bank, Scene};
use super::solve::Supply;

/// Enough rounds of Newton's method from anywhere near.
const SURE_ROUNDS: usize = 12;

impl Bank<1> {
    /// Voltage at the terminals and current out of the pack, with what is on; none where no voltage
    /// satisfies it.
    fn now(&self, scene: &Scene<'_>) -> Option<(f64, f64)> {
        let (emf_v, ohm) = self.pack.now(scene.cell.circuit, 0, &self.states.lane(0));
        let supply = scene.block.supplied.then(|| Supply::of(scene.step, self.charging.sun[0]));
        let mut v = self.flow.v[0];
        for _ in 0..SURE_ROUNDS {
            let (load_a, load_slope) = self.lines.at(0, v);
            let (source_a, source_slope) = supply.map_or((0.0, 0.0), |supply| supply.at(v));
            let off_v = emf_v - ohm * (load_a - source_a) - v;
            let next = v + off_v / (1.0 + ohm * (load_slope - source_slope));
            // where no voltage satisfies the load Newton's method runs away; a constant power has
            // its last solution at half the emf
            let next = next.max(0.4 * emf_v).min(2.0 * emf_v);
            let moved_v = (next - v).abs();
            v = next;
            // Newton's method doubles the digits: the next would change the last of them only
            if moved_v < 1e-6 {
                // a pack that the cold leaves empty has none at all
                return (v > 0.0).then_some((v, (emf_v - v) / ohm));
            }
        }
        None
    }

    /// The voltage at the terminals; 0 where no voltage satisfies what is on.
    pub(super) fn now_v(&self, scene: &Scene<'_>) -> f64 {
        self.now(scene).map_or(0.0, |(v, _)| v)
    }

    /// The current out of the pack; nothing where no voltage satisfies what is on.
    pub(super) fn now_a(&self, scene: &Scene<'_>) -> f64 {
        self.now(scene).map_or(0.0, |(_, current_a)| current_a)
    }

    /// The voltage at the terminals if nothing flowed.
    pub(super) fn rest_v(&self, circuit: &Circuit) -> f64 {
        self.pack.now(circuit, 0, &self.states.lane(0)).0
    }

    /// Has the next step's solution start from what flows now, since the load is a new one.
    pub(super) fn start(&mut self, scene: &Scene<'_>) {
        if let Some((v, current_a)) = self.now(scene) {
            (self.flow.v[0], self.flow.current_a[0]) = (v, current_a);
        }
    }
}
