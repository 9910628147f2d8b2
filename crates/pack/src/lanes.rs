//! Many packs stepped side by side: how fast the circuit can be stepped when nothing else is asked.
//!
//! It is the circuit's own measure of speed, held against [`Circuit`] to the last bit and against
//! a bare loop by the benchmark `step`. The trip's draws do not run on it: their step solves the
//! wiring, the sources and the pack together, second order in time, in arrays of the trip's own.
//! Whoever steps packs under given demands and nothing else (many packs, one load each) can.
//!
//! [`Lanes`] holds sixteen packs that share one open-circuit curve and differ in capacity,
//! resistance, offset, temperature and state. Every operation is the same arithmetic in the same
//! order as that of [`Circuit`], so each lane equals the scalar step to the last bit; the rows
//! only let the compiler do four at a time. Nothing here allocates.
//!
//! All methods are inlined into their caller: a loop compiled for a wider instruction set with
//! `#[target_feature]` gets them in that form. [`Lanes::step`] chooses at run time by itself.

use crate::charge::End;
use crate::demand::Demand;
use crate::{Circuit, Climate, Ocv, Rise, State};

/// Packs side by side.
pub const LANES: usize = 16;

/// One number a lane.
pub type Row = [f64; LANES];

/// What hangs on each lane's terminals: the rows of [`Demand`].
#[derive(Debug, Clone, PartialEq)]
pub struct Demands {
    /// Conductance in S.
    pub g_s: Row,
    /// Constant current in A.
    pub a_a: Row,
    /// Constant power in W.
    pub m1_w: Row,
    /// In W·V².
    pub m2_wv2: Row,
    /// In W·V⁴.
    pub m3_wv4: Row,
}

impl Demands {
    /// The same demand in every lane.
    #[must_use]
    pub fn all(demand: Demand) -> Self {
        Self {
            g_s: [demand.g_s; LANES],
            a_a: [demand.a_a; LANES],
            m1_w: [demand.m1_w; LANES],
            m2_wv2: [demand.m2_wv2; LANES],
            m3_wv4: [demand.m3_wv4; LANES],
        }
    }

    /// Sets the demand of one lane.
    pub fn set(&mut self, lane: usize, demand: Demand) {
        self.g_s[lane] = demand.g_s;
        self.a_a[lane] = demand.a_a;
        self.m1_w[lane] = demand.m1_w;
        self.m2_wv2[lane] = demand.m2_wv2;
        self.m3_wv4[lane] = demand.m3_wv4;
    }

    /// The demand of one lane.
    #[must_use]
    #[inline(always)]
    pub fn lane(&self, lane: usize) -> Demand {
        Demand {
            g_s: self.g_s[lane],
            a_a: self.a_a[lane],
            m1_w: self.m1_w[lane],
            m2_wv2: self.m2_wv2[lane],
            m3_wv4: self.m3_wv4[lane],
        }
    }
}

/// What flowed in a step.
#[derive(Debug, Clone, PartialEq)]
pub struct Flow {
    /// At the terminals, at the start of the step.
    pub voltage_v: Row,
    /// Out of the pack, through the step.
    pub current_a: Row,
    /// 1 where the demand was met, 0 where it has no solution (voltage collapse; nothing then
    /// flows).
    pub met: Row,
}

impl Flow {
    /// Before the first step: near these voltages.
    #[must_use]
    pub fn near(voltage_v: f64) -> Self {
        Self { voltage_v: [voltage_v; LANES], current_a: [0.0; LANES], met: [1.0; LANES] }
    }
}

/// Sixteen packs.
#[derive(Debug, Clone)]
pub struct Lanes {
    /// Charge held over capacity.
    pub soc: Row,
    /// Voltage across the slow part in V.
    pub v1_v: Row,
    /// Difference of the wells' heights.
    pub gap: Row,
    ocv: Ocv,
    rise: Rise,
    bound: f64,
    efficiency: f64,
    resists_charge: bool,
    offset_v: Row,
    stretch: Row,
    r0_ohm: Row,
    charge_ohm: Row,
    soc_per_a: Row,
    v1_keep: Row,
    v1_per_a: Row,
    gap_keep: Row,
    gap_per_a: Row,
}

impl Lanes {
    /// Draws of one circuit (see [`Circuit::drawn`]) with their states and climates, for steps of
    /// `dt_s`. Where there are fewer than sixteen the last is repeated; `None` if there is none.
    #[must_use]
    pub fn new(draws: &[(&Circuit, State, Climate)], dt_s: f64) -> Option<Self> {
        let &(first, ..) = draws.first()?;
        let mut lanes = Self {
            soc: [0.0; LANES],
            v1_v: [0.0; LANES],
            gap: [0.0; LANES],
            ocv: first.ocv.clone(),
            rise: first.rise,
            bound: first.wells.map_or(0.0, |w| 1.0 - w.at_hand),
            efficiency: first.charge_efficiency,
            resists_charge: first.charge_ohm > 0.0,
            offset_v: [0.0; LANES],
            stretch: [0.0; LANES],
            r0_ohm: [0.0; LANES],
            charge_ohm: [0.0; LANES],
            soc_per_a: [0.0; LANES],
            v1_keep: [0.0; LANES],
            v1_per_a: [0.0; LANES],
            gap_keep: [0.0; LANES],
            gap_per_a: [0.0; LANES],
        };
        for lane in 0..LANES {
            let (circuit, state, climate) = draws.get(lane).or(draws.last())?;
            lanes.place(lane, state);
            lanes.prepare(lane, circuit, climate, dt_s);
        }
        Some(lanes)
    }

    /// Sets one lane's state.
    pub fn place(&mut self, lane: usize, state: &State) {
        self.soc[lane] = state.soc;
        self.v1_v[lane] = state.v1_v;
        self.gap[lane] = state.gap;
    }

    /// One lane's state.
    #[must_use]
    pub fn state(&self, lane: usize) -> State {
        State { soc: self.soc[lane], v1_v: self.v1_v[lane], gap: self.gap[lane] }
    }

    /// Sets what one lane's step needs: anew when its temperature or the step's length changes.
    pub fn prepare(&mut self, lane: usize, circuit: &Circuit, climate: &Climate, dt_s: f64) {
        let step = circuit.step(dt_s, climate);
        self.offset_v[lane] = circuit.offset_v;
        self.stretch[lane] = climate.stretch;
        self.r0_ohm[lane] = circuit.r0_ohm * climate.resistance;
        self.charge_ohm[lane] = circuit.charge_ohm * climate.resistance;
        self.soc_per_a[lane] = step.soc_per_a;
        self.v1_keep[lane] = step.v1_keep;
        self.v1_per_a[lane] = step.v1_per_a;
        self.gap_keep[lane] = step.gap_keep;
        self.gap_per_a[lane] = step.gap_per_a;
    }

    #[inline(always)]
    fn available(&self, lane: usize) -> f64 {
        1.0 - (1.0 - self.soc[lane] + self.bound * self.gap[lane]) * self.stretch[lane]
    }

    /// Voltage in V behind R0, and R0 in Ω while discharging, of one lane.
    #[inline(always)]
    fn behind(&self, lane: usize) -> (f64, f64) {
        let available = self.available(lane);
        let internal_v = self.ocv.at(available) + self.offset_v[lane] - self.v1_v[lane];
        (internal_v, self.r0_from(lane, available))
    }

    #[inline(always)]
    fn r0_from(&self, lane: usize, available: f64) -> f64 {
        let low = self.rise.depth(available);
        self.r0_ohm[lane] * (1.0 + self.rise.share * low * low)
    }

    /// What is added to R0 while charging, of one lane.
    #[inline(always)]
    fn against_charge(&self, lane: usize) -> f64 {
        self.charge_ohm[lane] / Circuit::missing(self.soc[lane])
    }

    /// Voltage in V behind R0, and R0 in Ω while discharging.
    #[inline(always)]
    pub fn internal(&self, internal_v: &mut Row, r0_ohm: &mut Row) {
        for lane in 0..LANES {
            (internal_v[lane], r0_ohm[lane]) = self.behind(lane);
        }
    }

    /// Meets the demands from the present state: voltages and currents, starting from the
    /// voltages that `flow` holds.
    #[inline(always)]
    pub fn meet(&self, demands: &Demands, flow: &mut Flow) {
        if self.resists_charge {
            self.meet_with(demands, flow, |lane, demand, internal_v| {
                let charging = demand.current_a(internal_v).0 < 0.0;
                if charging { self.against_charge(lane) } else { 0.0 }
            });
        } else {
            self.meet_with(demands, flow, |_, _, _| 0.0);
        }
    }

    #[inline(always)]
    fn meet_with(
        &self,
        demands: &Demands,
        flow: &mut Flow,
        added_ohm: impl Fn(usize, &Demand, f64) -> f64,
    ) {
        for lane in 0..LANES {
            let (internal_v, r0_ohm) = self.behind(lane);
            let demand = demands.lane(lane);
            let ohm = r0_ohm + added_ohm(lane, &demand, internal_v);
            let solved = demand.newton(internal_v, ohm, flow.voltage_v[lane]);
            let met = if solved.holds(internal_v) { 1.0 } else { 0.0 };
            flow.met[lane] = met;
            flow.voltage_v[lane] = if met > 0.0 { solved.voltage_v } else { internal_v };
            flow.current_a[lane] = if met > 0.0 { solved.current_a } else { 0.0 };
        }
    }

    /// Cuts currents that would charge the terminals above these voltages by the end of the step
    /// (see [`Circuit::limit_a`]): chargers at their voltage limit.
    #[inline(always)]
    pub fn limit(&self, voltage_v: &Row, current_a: &mut Row) {
        if self.resists_charge {
            self.limit_with(voltage_v, current_a, |lane| self.against_charge(lane));
        } else {
            self.limit_with(voltage_v, current_a, |_| 0.0);
        }
    }

    #[inline(always)]
    fn limit_with(&self, voltage_v: &Row, current_a: &mut Row, added_ohm: impl Fn(usize) -> f64) {
        let end = |lane: usize, current_a: f64| {
            let charging = current_a < 0.0;
            let available = self.available(lane);
            let added_ohm = if charging { added_ohm(lane) } else { 0.0 };
            End {
                ocv: &self.ocv,
                offset_v: self.offset_v[lane],
                from: 1.0
                    - (1.0 - self.soc[lane] + self.bound * (self.gap[lane] * self.gap_keep[lane]))
                        * self.stretch[lane],
                per_a: -(self.soc_per_a[lane] + self.bound * self.gap_per_a[lane])
                    * (if charging { self.efficiency } else { 1.0 })
                    * self.stretch[lane],
                v1_v: self.v1_v[lane] * self.v1_keep[lane],
                ohm: self.v1_per_a[lane] + (self.r0_from(lane, available) + added_ohm),
            }
        };
        let ends: [End<'_>; LANES] = std::array::from_fn(|lane| end(lane, current_a[lane]));
        let mut ends_v = [0.0; LANES];
        for lane in 0..LANES {
            ends_v[lane] = ends[lane].voltage_v(current_a[lane]);
        }
        // most of a day no lane is at its limit
        let mut above = 0.0;
        for lane in 0..LANES {
            above += if ends_v[lane] > voltage_v[lane] { 1.0 } else { 0.0 };
        }
        if above == 0.0 {
            return;
        }
        let mut held_a = *current_a;
        for _ in 0..End::ROUNDS {
            for lane in 0..LANES {
                held_a[lane] = ends[lane].nearer_a(voltage_v[lane], held_a[lane]);
            }
        }
        for lane in 0..LANES {
            current_a[lane] =
                if ends_v[lane] > voltage_v[lane] { held_a[lane] } else { current_a[lane] };
        }
    }

    /// Moves every lane on by one step with constant currents; exact.
    #[inline(always)]
    pub fn advance(&mut self, current_a: &Row) {
        for lane in 0..LANES {
            let current_a = current_a[lane];
            let stored_a = if current_a < 0.0 { current_a * self.efficiency } else { current_a };
            self.soc[lane] -= stored_a * self.soc_per_a[lane];
            self.v1_v[lane] =
                self.v1_v[lane] * self.v1_keep[lane] + current_a * self.v1_per_a[lane];
            self.gap[lane] = self.gap[lane] * self.gap_keep[lane] + stored_a * self.gap_per_a[lane];
        }
    }

    /// Meets the demands and moves on by one step: with AVX2 where the machine has it.
    pub fn step(&mut self, demands: &Demands, flow: &mut Flow) {
        #[cfg(target_arch = "x86_64")]
        if std::arch::is_x86_feature_detected!("avx2") {
            #[allow(unsafe_code)] // the only way to choose an instruction set at run time
            // SAFETY: the processor was just found to have AVX2.
            unsafe {
                self.step_avx2(demands, flow);
            }
            return;
        }
        self.step_portable(demands, flow);
    }

    /// As [`Lanes::step`], for any machine.
    #[inline(always)]
    pub fn step_portable(&mut self, demands: &Demands, flow: &mut Flow) {
        self.meet(demands, flow);
        let current_a = flow.current_a;
        self.advance(&current_a);
    }

    #[cfg(target_arch = "x86_64")]
    #[target_feature(enable = "avx2")]
    fn step_avx2(&mut self, demands: &Demands, flow: &mut Flow) {
        self.step_portable(demands, flow);
    }
}
