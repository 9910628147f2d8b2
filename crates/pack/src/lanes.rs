//! Draws of one pack stepped side by side.
//!
//! [`Lanes`] holds what a step needs of each draw, a row each, so that a compiler can put them into
//! vector registers. With one lane the very same code is the scalar step. What hangs on the
//! terminals says what current flows ([`Terminals`]); nothing here allocates.
//!
//! Within a step the current is constant. The pack is shown to the terminals as a voltage behind a
//! resistance, on the *mean* of the step: for the slow part and the wells the mean of their exact
//! exponentials, for the open-circuit voltage its value at the mean state, so that the step is of
//! second order and the energy is the voltage times the charge. For a charger that holds its
//! voltage the *end* of the step is shown too, which does not ring however small the pack.
//!
//! Draws differ in their [`Figures`] and their climate; curve, time constants, charge efficiency and
//! the charge at which the resistance begins to rise are the circuit's.

use crate::{Circuit, Climate, State};

/// One number a lane.
pub type Row<const N: usize> = [f64; N];

/// Where packs stand, a row each of [`State`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct States<const N: usize> {
    /// Charge held over capacity.
    pub soc: Row<N>,
    /// Voltage across the slow part in V.
    pub v1_v: Row<N>,
    /// Difference of the wells' heights.
    pub gap: Row<N>,
}

impl<const N: usize> States<N> {
    /// All in this state.
    #[must_use]
    pub fn all(state: State) -> Self {
        Self { soc: [state.soc; N], v1_v: [state.v1_v; N], gap: [state.gap; N] }
    }

    /// One of them.
    #[must_use]
    pub fn lane(&self, lane: usize) -> State {
        State { soc: self.soc[lane], v1_v: self.v1_v[lane], gap: self.gap[lane] }
    }

    /// Sets one of them.
    pub fn put(&mut self, lane: usize, state: State) {
        (self.soc[lane], self.v1_v[lane], self.gap[lane]) = (state.soc, state.v1_v, state.gap);
    }
}

/// What differs from draw to draw of a circuit, at 25 °C.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Figures {
    /// As [`Circuit::capacity_ah`].
    pub capacity_ah: f64,
    /// As [`Circuit::r0_ohm`].
    pub r0_ohm: f64,
    /// What R0 gains when empty, in Ω: [`Circuit::rise`] of it.
    pub rise_ohm: f64,
    /// As [`Circuit::r1_ohm`]; the time constant stays the circuit's.
    pub r1_ohm: f64,
    /// As [`Circuit::charge_ohm`].
    pub charge_ohm: f64,
    /// As [`Circuit::offset_v`].
    pub offset_v: f64,
    /// As [`Wells::at_hand`](crate::Wells::at_hand); 1 without wells.
    pub at_hand: f64,
}

impl Circuit {
    /// Its own figures.
    #[must_use]
    pub fn figures(&self) -> Figures {
        Figures {
            capacity_ah: self.capacity_ah,
            r0_ohm: self.r0_ohm,
            rise_ohm: self.r0_ohm * self.rise.share,
            r1_ohm: self.r1_ohm,
            charge_ohm: self.charge_ohm,
            offset_v: self.offset_v,
            at_hand: self.wells.map_or(1.0, |wells| wells.at_hand),
        }
    }
}

/// A pack in a step as its terminals see it.
#[derive(Debug, Clone, Copy)]
pub struct Inside {
    /// Mean voltage through the step if nothing flowed (V).
    pub emf_v: f64,
    /// What each ampere takes off it (Ω).
    pub ohm: f64,
    /// Voltage at the end of the step if nothing flowed (V).
    pub end_emf_v: f64,
    /// What each ampere takes off that (Ω).
    pub end_ohm: f64,
    /// The current at which the step ends full: at most zero, as it flows in (A).
    pub full_a: f64,
    /// Of `ohm`, what turns power into heat (Ω).
    pub loss_ohm: f64,
}

/// What hangs on the terminals of packs side by side.
pub trait Terminals {
    /// Whether a current may flow in at all.
    const CHARGES: bool;

    /// Whether a current flows in at this voltage (V), that of the pack at rest.
    fn charge(&self, lane: usize, rest_v: f64) -> bool;

    /// The current out of a pack through the step (A).
    fn current_a(&mut self, lane: usize, inside: &Inside) -> f64;
}

/// What steps of one length need of each draw.
#[derive(Debug, Clone)]
pub struct Lanes<const N: usize> {
    offset_v: Row<N>,
    stretch: Row<N>,
    r0_ohm: Row<N>,
    rise_ohm: Row<N>,
    charge_ohm: Row<N>,
    capacity_ah: Row<N>,
    r1_ohm: Row<N>,
    /// Share of the charge that is not at hand at once.
    bound: Row<N>,
    pace: Pace<N>,
}

/// What hangs on the length of the step.
#[derive(Debug, Clone)]
struct Pace<const N: usize> {
    dt_s: f64,
    v1_keep: f64,
    v1_mean: f64,
    gap_keep: f64,
    gap_mean: f64,
    /// SoC, slow voltage and gap that an ampere changes by the end of the step.
    soc_per_a: Row<N>,
    v1_per_a: Row<N>,
    gap_per_a: Row<N>,
    /// The slow voltage on the step's mean.
    v1_mean_per_a: Row<N>,
    /// What the voltage sees fall of the SoC, on the mean and at the end.
    mean_per_a: Row<N>,
    end_per_a: Row<N>,
    /// Current that a missing SoC of 1 takes.
    full_a: Row<N>,
}

impl<const N: usize> Lanes<N> {
    /// Nothing is known of any lane yet: each wants [`Lanes::set`], and all of them
    /// [`Lanes::set_length`].
    #[must_use]
    pub fn new() -> Self {
        let zero = [0.0; N];
        let pace = Pace {
            dt_s: 0.0,
            v1_keep: 0.0,
            v1_mean: 0.0,
            gap_keep: 1.0,
            gap_mean: 1.0,
            soc_per_a: zero,
            v1_per_a: zero,
            gap_per_a: zero,
            v1_mean_per_a: zero,
            mean_per_a: zero,
            end_per_a: zero,
            full_a: zero,
        };
        Self {
            offset_v: zero,
            stretch: [1.0; N],
            r0_ohm: zero,
            rise_ohm: zero,
            charge_ohm: zero,
            capacity_ah: zero,
            r1_ohm: zero,
            bound: zero,
            pace,
        }
    }

    /// Sets one draw and its climate.
    pub fn set(&mut self, lane: usize, figures: &Figures, climate: &Climate) {
        self.offset_v[lane] = figures.offset_v;
        self.stretch[lane] = climate.stretch;
        self.r0_ohm[lane] = figures.r0_ohm * climate.resistance;
        self.rise_ohm[lane] = figures.rise_ohm * climate.resistance;
        self.charge_ohm[lane] = figures.charge_ohm * climate.resistance;
        self.capacity_ah[lane] = figures.capacity_ah;
        self.r1_ohm[lane] = figures.r1_ohm * climate.resistance;
        self.bound[lane] = 1.0 - figures.at_hand;
    }

    /// Sets the length of the steps, after any lane is set.
    pub fn set_length(&mut self, circuit: &Circuit, dt_s: f64) {
        let pace = &mut self.pace;
        if dt_s != pace.dt_s {
            // what is left of an exponential at the end of the step, and on average through it
            let pair = |rate_per_s: f64| {
                let x = rate_per_s * dt_s;
                if x > 0.0 { ((-x).exp(), -(-x).exp_m1() / x) } else { (1.0, 1.0) }
            };
            let tau_s = circuit.r1_ohm * circuit.c1_f;
            (pace.v1_keep, pace.v1_mean) = if tau_s > 0.0 { pair(1.0 / tau_s) } else { (0.0, 0.0) };
            (pace.gap_keep, pace.gap_mean) =
                circuit.wells.map_or((1.0, 1.0), |wells| pair(wells.rate_per_s));
            pace.dt_s = dt_s;
        }
        let (gap_keep, gap_mean) = (pace.gap_keep, pace.gap_mean);
        let (v1_keep, v1_mean) = (pace.v1_keep, pace.v1_mean);
        for lane in 0..N {
            let (capacity_ah, bound) = (self.capacity_ah[lane], self.bound[lane]);
            let soc_per_a = dt_s / (3600.0 * capacity_ah);
            // where the gap ends up, for each ampere
            let gap_full = circuit
                .wells
                .map_or(0.0, |w| 1.0 / ((1.0 - bound) * capacity_ah * 3600.0 * w.rate_per_s));
            let (gap_per_a, gap_mean_per_a) =
                ((1.0 - gap_keep) * gap_full, (1.0 - gap_mean) * gap_full);
            pace.soc_per_a[lane] = soc_per_a;
            pace.v1_per_a[lane] = self.r1_ohm[lane] * (1.0 - v1_keep);
            pace.gap_per_a[lane] = gap_per_a;
            pace.v1_mean_per_a[lane] = self.r1_ohm[lane] * (1.0 - v1_mean);
            pace.mean_per_a[lane] = self.stretch[lane] * (0.5 * soc_per_a + bound * gap_mean_per_a);
            pace.end_per_a[lane] = self.stretch[lane] * (soc_per_a + bound * gap_per_a);
            pace.full_a[lane] = 1.0 / (circuit.charge_efficiency * soc_per_a);
        }
    }

    /// One lane alone.
    #[must_use]
    pub fn lane(&self, lane: usize) -> Lanes<1> {
        let one = |row: &Row<N>| [row[lane]];
        let pace = &self.pace;
        Lanes {
            offset_v: one(&self.offset_v),
            stretch: one(&self.stretch),
            r0_ohm: one(&self.r0_ohm),
            rise_ohm: one(&self.rise_ohm),
            charge_ohm: one(&self.charge_ohm),
            capacity_ah: one(&self.capacity_ah),
            r1_ohm: one(&self.r1_ohm),
            bound: one(&self.bound),
            pace: Pace {
                dt_s: pace.dt_s,
                v1_keep: pace.v1_keep,
                v1_mean: pace.v1_mean,
                gap_keep: pace.gap_keep,
                gap_mean: pace.gap_mean,
                soc_per_a: one(&pace.soc_per_a),
                v1_per_a: one(&pace.v1_per_a),
                gap_per_a: one(&pace.gap_per_a),
                v1_mean_per_a: one(&pace.v1_mean_per_a),
                mean_per_a: one(&pace.mean_per_a),
                end_per_a: one(&pace.end_per_a),
                full_a: one(&pace.full_a),
            },
        }
    }

    /// A lane at this very moment: the voltage behind R0 (V), R0 while discharging (Ω).
    #[must_use]
    pub fn now(&self, circuit: &Circuit, lane: usize, state: &State) -> (f64, f64) {
        let missing = 1.0 - state.soc + self.bound[lane] * state.gap;
        let available = 1.0 - missing * self.stretch[lane];
        let internal_v = at_least(circuit.ocv.at(available) + self.offset_v[lane]) - state.v1_v;
        (internal_v, self.r0_ohm(circuit, lane, available))
    }

    /// R0 while discharging, risen towards empty (Ω).
    #[inline(always)]
    fn r0_ohm(&self, circuit: &Circuit, lane: usize, available: f64) -> f64 {
        let low = circuit.rise.depth(available);
        self.r0_ohm[lane] + self.rise_ohm[lane] * (low * low)
    }

    /// Moves all lanes on by one step. Besides what the terminals draw, each pack loses `idle_a`.
    #[inline(always)]
    pub fn step<T: Terminals>(
        &self,
        circuit: &Circuit,
        idle_a: f64,
        states: &mut States<N>,
        terminals: &mut T,
    ) {
        // each form has no branch left in it
        match (circuit.wells.is_some(), circuit.charge_ohm > 0.0 && T::CHARGES) {
            (false, false) => self.step_as::<false, false, T>(circuit, idle_a, states, terminals),
            (false, true) => self.step_as::<false, true, T>(circuit, idle_a, states, terminals),
            (true, false) => self.step_as::<true, false, T>(circuit, idle_a, states, terminals),
            (true, true) => self.step_as::<true, true, T>(circuit, idle_a, states, terminals),
        }
    }

    #[inline(always)]
    // one index into many rows is what becomes vector registers
    #[allow(clippy::needless_range_loop)]
    fn step_as<const WELLS: bool, const RESISTS: bool, T: Terminals>(
        &self,
        circuit: &Circuit,
        idle_a: f64,
        states: &mut States<N>,
        terminals: &mut T,
    ) {
        let pace = &self.pace;
        let (mut rest, mut ocv_v, mut slope_v) = ([0.0; N], [0.0; N], [0.0; N]);
        for lane in 0..N {
            let gap = if WELLS { self.bound[lane] * states.gap[lane] * pace.gap_mean } else { 0.0 };
            rest[lane] = 1.0 - (1.0 - states.soc[lane] + gap) * self.stretch[lane];
        }
        for lane in 0..N {
            (ocv_v[lane], slope_v[lane]) = circuit.ocv.at_with_slope(rest[lane]);
        }
        for lane in 0..N {
            let (soc, v1_v, gap) = (states.soc[lane], states.v1_v[lane], states.gap[lane]);
            let rest_v = at_least(ocv_v[lane] + self.offset_v[lane]);
            let mut r0_ohm = self.r0_ohm(circuit, lane, rest[lane]);
            if T::CHARGES && RESISTS {
                let against_ohm = self.charge_ohm[lane] / Circuit::missing(soc);
                r0_ohm += if terminals.charge(lane, rest_v) { against_ohm } else { 0.0 };
            }
            let loss_ohm = r0_ohm + pace.v1_mean_per_a[lane];
            let end_gap = if WELLS { self.bound[lane] * gap * pace.gap_keep } else { 0.0 };
            let end_rest = 1.0 - (1.0 - soc + end_gap) * self.stretch[lane];
            let end_rest_v = rest_v + slope_v[lane] * (end_rest - rest[lane]);
            let current_a = terminals.current_a(
                lane,
                &Inside {
                    emf_v: rest_v - v1_v * pace.v1_mean,
                    ohm: loss_ohm + slope_v[lane] * pace.mean_per_a[lane],
                    end_emf_v: end_rest_v - v1_v * pace.v1_keep,
                    end_ohm: r0_ohm + pace.v1_per_a[lane] + slope_v[lane] * pace.end_per_a[lane],
                    full_a: (soc - 1.0) * pace.full_a[lane],
                    loss_ohm,
                },
            );
            let stored_a =
                if current_a < 0.0 { current_a * circuit.charge_efficiency } else { current_a };
            states.soc[lane] = soc - (stored_a + idle_a) * pace.soc_per_a[lane];
            states.v1_v[lane] = v1_v * pace.v1_keep + current_a * pace.v1_per_a[lane];
            if WELLS {
                states.gap[lane] = gap * pace.gap_keep + stored_a * pace.gap_per_a[lane];
            }
        }
    }
}

impl<const N: usize> Default for Lanes<N> {
    fn default() -> Self {
        Self::new()
    }
}

/// The curve goes on below empty, where a pack gets that is emptied and then grows cold. No pack
/// turns round there, and a source can charge it again.
#[inline(always)]
fn at_least(ocv_v: f64) -> f64 {
    if ocv_v > LEAST_V { ocv_v } else { LEAST_V }
}

/// Far below what anything runs on (V).
const LEAST_V: f64 = 1.0;
