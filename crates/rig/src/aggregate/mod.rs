//! A state of the rig boiled down for a simulation that asks its current a million times.

mod curve;
mod split;

pub use curve::{Curve, Sag};
pub use split::Split;

use crate::sweep::Node;
use crate::tree::{End, Island};
use crate::{Collapse, Load, Rig};
use curve::{POINTS, Points, curve_through};

/// How far above a collapse the curves begin, if one lies within the wanted range.
const ABOVE_COLLAPSE: f64 = 1.03;

/// One state of the rig: which devices draw what.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Aggregate {
    /// What the rig takes from the source.
    pub source: Curve,
    /// Least source voltage (V) at which every device that is on gets its least voltage, and every
    /// converter before it too. 0 if no device minds within the range; infinite if one never
    /// gets enough, whatever the source.
    pub least_source_v: f64,
    /// The device that falls short there first; none if no device minds.
    pub worst: Option<usize>,
    /// Voltage at that device (behind a converter: at the converter's input).
    pub worst_sag: Sag,
    /// The curves hold from here (V) up. Above what was asked for only if the rig collapses there;
    /// then it is also the least `least_source_v` can be.
    pub low_v: f64,
}

/// Makes aggregates of one rig. Holds its working memory, so give each thread its own clone.
///
/// Between the two voltages a curve is within 0.1 % of [`Rig::solve`], and far closer where drops
/// are a few per cent; a property test holds it to that.
#[derive(Clone)]
pub struct Aggregator<'a> {
    rig: &'a Rig,
    low_v: f64,
    high_v: f64,
    points: Points,
    /// Of the pack's own island: least voltage at the end of each leaf.
    leaf_least_v: Vec<f64>,
    hubs: Vec<HubSum>,
    /// What each island behind a converter asks of it.
    behind: Vec<Behind>,
    room: Vec<Node>,
    ends: Vec<Load>,
}

/// What hangs on a hub.
#[derive(Clone, Copy, Default)]
struct HubSum {
    /// Current at the points of voltage of this hub.
    current_a: [f64; POINTS],
    g_s: f64,
    a_a: f64,
    /// Seen from the beginning of the hub's wire.
    outer: Curve,
    need: Need,
}

/// The least voltage at a place and for whose sake: a leaf of the pack's island.
#[derive(Clone, Copy, Default)]
struct Need {
    v: f64,
    leaf: Option<usize>,
}

impl Need {
    fn or(self, other: Need) -> Need {
        if other.v > self.v { other } else { self }
    }
}

#[derive(Clone, Copy, Default)]
struct Behind {
    /// Power into the converter (W).
    input_w: f64,
    /// First device behind it that is on.
    active: Option<usize>,
    /// A device behind it that never gets enough.
    starved: Option<usize>,
    /// Least voltage at its input while something behind it is on, itself or further on.
    least_v: f64,
}

impl<'a> Aggregator<'a> {
    /// For source voltages from `low_v` to `high_v`: from below the pack's cut-off to its charging
    /// voltage.
    #[must_use]
    pub fn new(rig: &'a Rig, low_v: f64, high_v: f64) -> Aggregator<'a> {
        let least_v = |end: End| match end {
            End::Device(d) => rig.devices()[d].least_voltage_v.unwrap_or(0.0),
            End::Island(_) => 0.0,
        };
        let own = &rig.islands[0];
        Aggregator {
            rig,
            low_v,
            high_v,
            points: Points::between(low_v, high_v),
            leaf_least_v: own.leaves.iter().map(|leaf| least_v(leaf.end)).collect(),
            hubs: vec![HubSum::default(); own.hubs.len()],
            behind: vec![Behind::default(); rig.islands.len()],
            room: Vec::new(),
            ends: Vec::new(),
        }
    }

    /// The aggregate of a state: what each device draws, in the order of [`Rig::devices`]; those
    /// left out are off.
    ///
    /// # Errors
    /// If the rig collapses even at the highest voltage.
    pub fn aggregate(&mut self, loads: &[Load]) -> Result<Aggregate, Collapse> {
        self.settle_behind_converters(loads)?;
        if self.sum::<true>(loads) {
            return Ok(self.finish(loads, self.low_v));
        }
        let asked = self.points.clone();
        let found = self.above_collapse(loads);
        self.points = asked;
        found
    }

    /// As [`Aggregator::aggregate`], of which it is [`Aggregate::source`] alone: for loads whose least
    /// voltages are known.
    ///
    /// # Errors
    /// If the rig collapses even at the highest voltage.
    pub fn source(&mut self, loads: &[Load]) -> Result<Curve, Collapse> {
        self.settle_behind_converters(loads)?;
        if self.sum::<false>(loads) {
            let root = &self.hubs[0];
            return Ok(self.points.curve(&root.current_a, root.g_s, root.a_a));
        }
        Ok(self.aggregate(loads)?.source)
    }

    /// Cuts the range from below until the rig stands up in all of it.
    fn above_collapse(&mut self, loads: &[Load]) -> Result<Aggregate, Collapse> {
        self.rig.solve(self.high_v, loads)?;
        let collapse_v = self.rig.collapse_v(loads);
        let low_v = (collapse_v * ABOVE_COLLAPSE).max(self.low_v).min(self.high_v);
        self.points = Points::between(low_v, self.high_v * ABOVE_COLLAPSE);
        if !self.sum::<true>(loads) {
            // stands at the top voltage, but so barely that no curve could be trusted
            let below = self.rig.solve(collapse_v / ABOVE_COLLAPSE, loads);
            return Err(below.err().unwrap_or_else(|| Collapse { at: String::new() }));
        }
        let mut found = self.finish(loads, low_v);
        found.least_source_v = found.least_source_v.max(low_v);
        Ok(found)
    }

    /// Behind a converter the voltage is steady, so is the power it asks for.
    fn settle_behind_converters(&mut self, loads: &[Load]) -> Result<(), Collapse> {
        for index in (1..self.rig.islands.len()).rev() {
            self.behind[index] = self.behind_converter(index, loads)?;
        }
        Ok(())
    }

    fn behind_converter(&mut self, index: usize, loads: &[Load]) -> Result<Behind, Collapse> {
        let rig = self.rig;
        let island = &rig.islands[index];
        let Some(converter) = rig.converter(island) else { return Ok(Behind::default()) };
        let mut behind = Behind { least_v: converter.least_input_v, ..Behind::default() };
        self.ends.clear();
        for leaf in &island.leaves {
            let (load, active) = match leaf.end {
                End::Device(d) => {
                    let load = loads.get(d).copied().unwrap_or(Load::OFF);
                    (load, (!load.is_off()).then_some(d))
                }
                End::Island(i) => {
                    behind.starved = behind.starved.or(self.behind[i].starved);
                    (Load::Power(self.behind[i].input_w), self.behind[i].active)
                }
            };
            behind.active = behind.active.or(active);
            self.ends.push(load);
        }
        let output_w = rig.settle(island, converter.output_v, &self.ends, &mut self.room)?
            * converter.output_v;
        behind.input_w = output_w + converter.loss_w(output_w);
        let ends = self.room.iter().skip(island.hubs.len());
        for (leaf, node) in island.leaves.iter().zip(ends) {
            let (device, least_v) = match leaf.end {
                End::Device(d) => {
                    let on = loads.get(d).is_some_and(|load| !load.is_off());
                    (on.then_some(d), rig.devices()[d].least_voltage_v.unwrap_or(0.0))
                }
                End::Island(i) => (self.behind[i].active, self.behind[i].least_v),
            };
            if node.volt() < least_v {
                behind.starved = behind.starved.or(device);
            }
        }
        Ok(behind)
    }

    /// Sums currents from the leaves up, and what is needed there. False if something collapses within
    /// the points.
    fn sum<const NEEDS: bool>(&mut self, loads: &[Load]) -> bool {
        let island = &self.rig.islands[0];
        self.hubs.fill(HubSum::default());
        let stands = self.sum_leaves(island, loads);
        stands && self.sum_hubs::<NEEDS>(island)
    }

    fn sum_leaves(&mut self, island: &Island, loads: &[Load]) -> bool {
        let Points { v, w, u, .. } = &self.points;
        let mut least_root = 1.0_f64;
        for (k, (leaf, &device_least_v)) in island.leaves.iter().zip(&self.leaf_least_v).enumerate()
        {
            let hub = &mut self.hubs[leaf.hub];
            let (load, least_v) = match leaf.end {
                End::Device(d) => (loads.get(d).copied().unwrap_or(Load::OFF), device_least_v),
                End::Island(i) => {
                    let behind = &self.behind[i];
                    let least_v = if behind.starved.is_some() {
                        f64::INFINITY
                    } else if behind.active.is_some() {
                        behind.least_v
                    } else {
                        0.0
                    };
                    (Load::Power(behind.input_w), least_v)
                }
            };
            let need_v = match load {
                Load::Power(0.0) => continue,
                Load::Power(watt) => {
                    let drop_v2 = leaf.ohm * watt;
                    for k in 0..POINTS {
                        // i = (P/v)·C(rP/v²), C(x) = 2/(1 + √(1 - 4x))
                        let root = 1.0 - 4.0 * drop_v2 * u[k];
                        least_root = least_root.min(root);
                        hub.current_a[k] += 2.0 * watt * w[k] / (1.0 + root.sqrt());
                    }
                    if least_v * least_v >= drop_v2 {
                        least_v + drop_v2 / least_v.max(f64::MIN_POSITIVE)
                    } else {
                        2.0 * drop_v2.sqrt() // where it collapses
                    }
                }
                Load::Current(amp) => {
                    hub.a_a += amp;
                    for current_a in &mut hub.current_a {
                        *current_a += amp;
                    }
                    if amp == 0.0 { 0.0 } else { least_v + leaf.ohm * amp }
                }
                Load::Resistance(ohm) => {
                    let siemens = 1.0 / (ohm + leaf.ohm);
                    hub.g_s += siemens;
                    for (current_a, v) in hub.current_a.iter_mut().zip(v) {
                        *current_a += siemens * v;
                    }
                    least_v * (1.0 + leaf.ohm / ohm)
                }
            };
            hub.need = hub.need.or(Need { v: need_v, leaf: Some(k) });
        }
        least_root > 0.0
    }

    fn sum_hubs<const NEEDS: bool>(&mut self, island: &Island) -> bool {
        for k in (1..island.hubs.len()).rev() {
            let ohm = island.hubs[k].ohm;
            let hub = self.hubs[k];
            let outer_v: [f64; POINTS] =
                std::array::from_fn(|k| self.points.v[k] + ohm * hub.current_a[k]);
            // more voltage before the wire must mean more behind it; the points fall
            if !outer_v.windows(2).all(|pair| pair[0] > pair[1]) {
                return false;
            }
            let share = 1.0 + ohm * hub.g_s;
            let outer = curve_through(&outer_v, &hub.current_a, hub.g_s / share, hub.a_a / share);
            self.hubs[k].outer = outer;
            let parent = &mut self.hubs[island.hubs[k].parent];
            parent.g_s += outer.g_s;
            parent.a_a += outer.a_a;
            for (current_a, &v) in parent.current_a.iter_mut().zip(&self.points.v) {
                *current_a += outer.current_a(v);
            }
            if NEEDS && hub.need.v > 0.0 {
                let inner = self.points.curve(&hub.current_a, hub.g_s, hub.a_a);
                let within_v = hub.need.v.max(0.8 * self.low_v);
                let drop_v = ohm * inner.current_a(within_v);
                let need = Need { v: hub.need.v + drop_v, leaf: hub.need.leaf };
                parent.need = parent.need.or(need);
            }
        }
        true
    }

    fn finish(&self, loads: &[Load], low_v: f64) -> Aggregate {
        let root = &self.hubs[0];
        let source = self.points.curve(&root.current_a, root.g_s, root.a_a);
        let leaf = root.need.leaf.filter(|_| root.need.v >= low_v);
        let (worst, worst_sag) = match leaf {
            Some(leaf) => (self.device_at(leaf), self.sag_at(leaf, loads)),
            None => (None, Sag::NONE),
        };
        let least_source_v = if leaf.is_some() { root.need.v } else { 0.0 };
        Aggregate { source, least_source_v, worst, worst_sag, low_v }
    }

    /// The device for whose sake a leaf needs its voltage.
    fn device_at(&self, leaf: usize) -> Option<usize> {
        match self.rig.islands[0].leaves[leaf].end {
            End::Device(d) => Some(d),
            End::Island(i) => self.behind[i].starved.or(self.behind[i].active),
        }
    }

    /// Voltage at a leaf's end: down the wires from the root, at the points.
    fn sag_at(&self, leaf: usize, loads: &[Load]) -> Sag {
        let island = &self.rig.islands[0];
        let leaf = island.leaves[leaf];
        let load = match leaf.end {
            End::Device(d) => loads.get(d).copied().unwrap_or(Load::OFF),
            End::Island(i) => Load::Power(self.behind[i].input_w),
        };
        let hub_v = self.hub_voltages(island, leaf.hub);
        self.points.sag(&hub_v.map(|v| end_v(load, leaf.ohm, v)))
    }

    fn hub_voltages(&self, island: &Island, hub: usize) -> [f64; POINTS] {
        if hub == 0 {
            return self.points.v;
        }
        let before_v = self.hub_voltages(island, island.hubs[hub].parent);
        before_v.map(|v| v - island.hubs[hub].ohm * self.hubs[hub].outer.current_a(v))
    }
}

/// Voltage at a load behind a wire.
fn end_v(load: Load, ohm: f64, hub_v: f64) -> f64 {
    match load {
        Load::Power(watt) => {
            let root = 1.0 - 4.0 * ohm * watt / (hub_v * hub_v);
            0.5 * hub_v * (1.0 + root.max(0.0).sqrt())
        }
        Load::Current(amp) => hub_v - ohm * amp,
        Load::Resistance(load_ohm) => hub_v * load_ohm / (load_ohm + ohm),
    }
}
