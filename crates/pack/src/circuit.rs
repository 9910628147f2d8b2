//! The equivalent circuit of a pack, and its exact step at constant current.
//!
//! `v = ocv(available) − v1 − R0·i`, with one resistor-capacitor pair (`dv1/dt = i/C1 −
//! v1/(R1·C1)`) and, where the rate matters, the two wells of the kinetic battery model
//! (Manwell & McGowan, Solar Energy 50 (1993) 399). Written with the difference of the wells'
//! heights as state, the wells are one more exponential: `d gap/dt = i/(c·C) − k'·gap`.

use crate::Ocv;
use serde::{Deserialize, Serialize};

/// The two wells: a share of the charge is at hand, the rest flows after it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Wells {
    /// Share of the charge that is at hand, `c`.
    pub at_hand: f64,
    /// Rate `k' = k/(c·(1 − c))` at which the wells level out.
    pub rate_per_s: f64,
}

impl Wells {
    /// Charge in Ah that lags behind in the end, per ampere (h): `(1 − c)/(c·k')`.
    #[must_use]
    pub fn lag_h(&self) -> f64 {
        (1.0 - self.at_hand) / (self.at_hand * self.rate_per_s) / 3600.0
    }

    /// Wells that level out at the same rate, with another [`Wells::lag_h`].
    #[must_use]
    pub fn lagging(self, lag_h: f64) -> Self {
        Self { at_hand: 1.0 / (1.0 + lag_h * 3600.0 * self.rate_per_s), ..self }
    }
}

/// Resistance that rises towards empty: factor `1 + share·(1 − soc/below_soc)²` below `below_soc`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Rise {
    /// What is added when empty, as a share of the resistance when full.
    pub share: f64,
    /// Where it begins.
    pub below_soc: f64,
}

impl Rise {
    /// How far below the start of the rise: 0 above it, 1 when empty.
    #[inline(always)]
    pub fn depth(&self, available: f64) -> f64 {
        // as a product, so that a loop divides once
        let low = 1.0 - available * (1.0 / self.below_soc);
        let low = if low > 0.0 { low } else { 0.0 };
        if low < 1.0 { low } else { 1.0 }
    }
}

/// What temperature does, relative to 25 °C.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Warmth {
    /// Resistance goes with `exp(K·(1/T − 1/298.15))`; this is K, an activation energy over the
    /// gas constant.
    pub resistance_k: f64,
    /// Capacity lost per kelvin below 25 °C, as a share; gained above, up to a tenth.
    pub capacity_per_k: f64,
}

impl Warmth {
    pub(crate) fn climate(&self, temperature_c: f64) -> Climate {
        // beyond these a battery is no battery, and the factors run away
        let t_c = temperature_c.clamp(-40.0, 80.0);
        let inverse = 1.0 / (t_c + 273.15) - 1.0 / 298.15;
        let capacity = (1.0 + self.capacity_per_k * (t_c - 25.0)).clamp(0.1, 1.1);
        Climate { resistance: (self.resistance_k * inverse).exp(), stretch: 1.0 / capacity }
    }
}

/// The factors that hold at one temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Climate {
    /// On R0 and R1.
    pub resistance: f64,
    /// How much faster the voltage falls with the charge taken: one over the capacity's factor.
    pub stretch: f64,
}

impl Climate {
    /// At 25 °C.
    pub const MILD: Self = Self { resistance: 1.0, stretch: 1.0 };
}

/// The electrical model of one pack.
#[derive(Debug, Clone, PartialEq)]
pub struct Circuit {
    /// Charge from full to empty at a very low rate and 25 °C.
    pub capacity_ah: f64,
    /// Resistance that acts at once, when full and at 25 °C.
    pub r0_ohm: f64,
    /// Resistance of the slow part; 0 for none.
    pub r1_ohm: f64,
    /// Capacitance of the slow part; the time constant is `r1_ohm * c1_f`.
    pub c1_f: f64,
    /// Added to R0 while charging, divided by the share of charge still missing: what makes a
    /// lead-acid battery take less and less. 0 for none.
    pub charge_ohm: f64,
    /// Charge that comes back out over charge put in.
    pub charge_efficiency: f64,
    /// Open-circuit voltage.
    pub ocv: Ocv,
    /// Added to it everywhere; 0 but for a draw of what is uncertain.
    pub offset_v: f64,
    /// Rise of R0 towards empty.
    pub rise: Rise,
    /// What temperature does.
    pub warmth: Warmth,
    /// The wells; without them all charge is at hand.
    pub wells: Option<Wells>,
}

/// Where a pack stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct State {
    /// Charge held over capacity.
    pub soc: f64,
    /// Voltage across the slow part in V.
    pub v1_v: f64,
    /// Height of the bound well over the well at hand, in units of SoC; 0 without wells.
    pub gap: f64,
}

impl State {
    /// At rest for long, at this state of charge.
    #[must_use]
    pub fn rested(soc: f64) -> Self {
        Self { soc, v1_v: 0.0, gap: 0.0 }
    }

    /// Takes back what a step put in beyond full, as a share of the capacity: charge that went
    /// into gas, or that a protection would have refused. The caller accounts for it.
    pub fn clip_full(&mut self) -> f64 {
        let beyond = (self.soc - 1.0).max(0.0);
        self.soc -= beyond;
        beyond
    }
}

/// What one length of step needs, worked out once.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// The length in s.
    pub dt_s: f64,
    pub(crate) soc_per_a: f64,
    pub(crate) v1_keep: f64,
    pub(crate) v1_per_a: f64,
    pub(crate) gap_keep: f64,
    pub(crate) gap_per_a: f64,
}

impl Circuit {
    /// A circuit with constant resistances, no wells and no effect of temperature.
    #[must_use]
    pub fn plain(capacity_ah: f64, ocv: Ocv, r0_ohm: f64, r1_ohm: f64, c1_f: f64) -> Self {
        Self {
            capacity_ah,
            r0_ohm,
            r1_ohm,
            c1_f,
            charge_ohm: 0.0,
            charge_efficiency: 1.0,
            ocv,
            offset_v: 0.0,
            rise: Rise { share: 0.0, below_soc: 1.0 },
            warmth: Warmth { resistance_k: 0.0, capacity_per_k: 0.0 },
            wells: None,
        }
    }

    /// The same circuit with factors on its capacity and on all its resistances, and a shift of
    /// its open-circuit voltage: one draw of what is uncertain. The time constant stays.
    #[must_use]
    pub fn drawn(&self, capacity: f64, resistance: f64, offset_v: f64) -> Self {
        Self {
            capacity_ah: self.capacity_ah * capacity,
            r0_ohm: self.r0_ohm * resistance,
            r1_ohm: self.r1_ohm * resistance,
            c1_f: self.c1_f / resistance,
            charge_ohm: self.charge_ohm * resistance,
            offset_v: self.offset_v + offset_v,
            ..self.clone()
        }
    }

    /// The factors at a battery temperature in °C.
    #[must_use]
    pub fn climate(&self, temperature_c: f64) -> Climate {
        self.warmth.climate(temperature_c)
    }

    /// The state of charge that the voltage sees: of the well at hand, stretched by the cold.
    #[must_use]
    #[inline(always)]
    pub fn available(&self, state: &State, climate: &Climate) -> f64 {
        let bound = self.wells.map_or(0.0, |w| 1.0 - w.at_hand);
        1.0 - (1.0 - state.soc + bound * state.gap) * climate.stretch
    }

    /// Voltage in V behind R0: `ocv − v1`.
    #[must_use]
    #[inline(always)]
    pub fn internal_v(&self, state: &State, climate: &Climate) -> f64 {
        self.ocv.at(self.available(state, climate)) + self.offset_v - state.v1_v
    }

    /// R0 in Ω while discharging, at this state and temperature.
    #[must_use]
    #[inline(always)]
    pub fn r0_at(&self, state: &State, climate: &Climate) -> f64 {
        let low = self.rise.depth(self.available(state, climate));
        self.r0_ohm * climate.resistance * (1.0 + self.rise.share * low * low)
    }

    /// R0 in Ω while charging: what resists charge near full comes on top.
    #[must_use]
    #[inline]
    pub fn r0_charging_at(&self, state: &State, climate: &Climate) -> f64 {
        self.r0_at(state, climate) + self.charge_ohm * climate.resistance / Self::missing(state.soc)
    }

    /// The share of charge still missing, as far as it resists charge.
    #[must_use]
    #[inline(always)]
    pub fn missing(soc: f64) -> f64 {
        let missing = 1.0 - soc;
        if missing > 0.01 { missing } else { 0.01 }
    }

    /// Voltage in V at the terminals while `current_a` flows.
    #[must_use]
    #[inline]
    pub fn terminal_v(&self, state: &State, current_a: f64, climate: &Climate) -> f64 {
        let r0_ohm = if current_a < 0.0 {
            self.r0_charging_at(state, climate)
        } else {
            self.r0_at(state, climate)
        };
        self.internal_v(state, climate) - r0_ohm * current_a
    }

    /// What a step of this length needs, for a loop of equal steps.
    #[must_use]
    pub fn step(&self, dt_s: f64, climate: &Climate) -> Step {
        let tau_s = self.r1_ohm * self.c1_f;
        let v1_keep = if tau_s > 0.0 { (-dt_s / tau_s).exp() } else { 0.0 };
        let (gap_keep, gap_per_a) = match self.wells {
            Some(w) => {
                let x = w.rate_per_s * dt_s;
                let full = 1.0 / (w.at_hand * self.capacity_ah * 3600.0 * w.rate_per_s);
                ((-x).exp(), -(-x).exp_m1() * full)
            }
            None => (1.0, 0.0),
        };
        Step {
            dt_s,
            soc_per_a: dt_s / (3600.0 * self.capacity_ah),
            v1_keep,
            v1_per_a: self.r1_ohm * climate.resistance * (1.0 - v1_keep),
            gap_keep,
            gap_per_a,
        }
    }

    /// Moves the state on by one prepared step with a constant current; exact.
    #[inline]
    pub fn advance_by(&self, state: &mut State, current_a: f64, step: &Step) {
        let stored_a = if current_a < 0.0 { current_a * self.charge_efficiency } else { current_a };
        state.soc -= stored_a * step.soc_per_a;
        state.v1_v = state.v1_v * step.v1_keep + current_a * step.v1_per_a;
        state.gap = state.gap * step.gap_keep + stored_a * step.gap_per_a;
    }

    /// Moves the state on by `dt_s` with a constant current; exact.
    pub fn advance(&self, state: &mut State, current_a: f64, dt_s: f64, climate: &Climate) {
        self.advance_by(state, current_a, &self.step(dt_s, climate));
    }
}
