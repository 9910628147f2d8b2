//! Voltages of the whole rig at one instant.
//!
//! Backward and forward sweeps over the tree (Shirmohammadi, Hong, Semlyen & Luo 1988, *A
//! compensation-based power flow method for weakly meshed distribution and transmission
//! networks*). Each backward sweep carries a branch's current as a straight line in its voltage
//! instead of as a number, which makes the sweep Newton's method: four or five suffice, where
//! summing currents alone takes more the closer the rig is to collapse. From the top voltage the
//! iterates fall monotonically on the upper solution, the one a real rig sits on (Ortega &
//! Rheinboldt 1970, §13.3: the residual is convex).

use crate::solution::{DeviceSeen, SegmentSeen, Solution};
use crate::tree::{End, Island, Leaf};
use crate::{Collapse, Converter, Load, Rig};

/// Sweeps after which we give up; only reached within 1e-9 of collapse.
const MOST_SWEEPS: usize = 60;
/// Change (V) in a sweep below which the next would change nothing.
const SETTLED_V: f64 = 1e-9;
/// How closely (V) a collapse is found, and from 1 V up how often the voltage is doubled in search
/// of one at which the rig stands.
const SETTLED_COLLAPSE_V: f64 = 1e-6;
const DOUBLINGS: u32 = 20;

/// A current as a straight line in the voltage: i = fixed + slope·v.
#[derive(Clone, Copy, Default)]
struct Line {
    fixed: f64,
    slope: f64,
}

impl Line {
    fn of(load: Load, voltage_v: f64) -> Line {
        match load {
            Load::Power(w) => {
                let amp = w / voltage_v;
                Line { fixed: 2.0 * amp, slope: -amp / voltage_v }
            }
            Load::Current(a) => Line { fixed: a, slope: 0.0 },
            Load::Resistance(ohm) => Line { fixed: 0.0, slope: 1.0 / ohm },
        }
    }

    /// The same, seen from the other end of a wire; none if it collapses there.
    fn behind(self, ohm: f64) -> Option<Line> {
        let share = 1.0 + self.slope * ohm;
        (share > 0.0).then(|| Line { fixed: self.fixed / share, slope: self.slope / share })
    }

    fn at(self, voltage_v: f64) -> f64 {
        self.fixed + self.slope * voltage_v
    }
}

impl Rig {
    /// Voltages and currents everywhere, with `source_v` at the pack's terminals and each device
    /// drawing `loads` (in the order of [`Rig::devices`]; those left out are off).
    ///
    /// A converter is taken to work whatever its input; where that is below what it needs, the
    /// devices behind are marked as not `ok`.
    ///
    /// # Errors
    /// If no voltage brings a constant-power load what it asks for.
    pub fn solve(&self, source_v: f64, loads: &[Load]) -> Result<Solution, Collapse> {
        let count = self.devices().len();
        let mut solution = Solution {
            source_v,
            source_a: 0.0,
            devices: Vec::with_capacity(count),
            branches: vec![SegmentSeen::default(); self.branches().len()],
            wires: vec![SegmentSeen::default(); count],
        };
        solution.devices.resize(
            count,
            DeviceSeen { voltage_v: source_v, current_a: 0.0, power_w: 0.0, ok: true },
        );
        // power into each island's converter
        let mut input_w = vec![0.0; self.islands.len()];
        let mut room = Vec::new();
        for (index, island) in self.islands.iter().enumerate().rev() {
            let converter = self.converter(island);
            let top_v = converter.map_or(source_v, |converter| converter.output_v);
            let ends: Vec<Load> = island
                .leaves
                .iter()
                .map(|leaf| match leaf.end {
                    End::Device(d) => loads.get(d).copied().unwrap_or(Load::OFF),
                    End::Island(i) => Load::Power(input_w[i]),
                })
                .collect();
            let top_a = self.settle(island, top_v, &ends, &mut room)?;
            self.write_down(island, &room, &ends, top_v, &mut solution);
            match (converter, island.branch) {
                (Some(converter), Some(b)) => {
                    let output_w = top_v * top_a;
                    let loss_w = converter.loss_w(output_w);
                    input_w[index] = output_w + loss_w;
                    solution.branches[b].converter_w = loss_w;
                }
                _ => solution.source_a = top_a,
            }
        }
        self.judge(loads, &mut solution);
        Ok(solution)
    }

    /// The source voltage (V) below which the rig collapses with these loads; 0 if it never does.
    #[must_use]
    pub fn collapse_v(&self, loads: &[Load]) -> f64 {
        let stands = |source_v: f64| self.solve(source_v, loads).is_ok();
        let Some(mut standing_v) =
            (0..DOUBLINGS).map(|k| f64::from(1u32 << k)).find(|&v| stands(v))
        else {
            return f64::INFINITY;
        };
        let mut fallen_v = 0.0;
        while standing_v - fallen_v > SETTLED_COLLAPSE_V {
            let middle_v = 0.5 * (standing_v + fallen_v);
            if stands(middle_v) { standing_v = middle_v } else { fallen_v = middle_v }
        }
        if fallen_v > 0.0 { standing_v } else { 0.0 }
    }

    /// The converter that feeds an island; none for the pack's own.
    pub(crate) fn converter(&self, island: &Island) -> Option<Converter> {
        self.branches().get(island.branch?)?.converter
    }

    /// As [`Island::settle`], with a collapse named.
    pub(crate) fn settle(
        &self,
        island: &Island,
        top_v: f64,
        ends: &[Load],
        room: &mut Vec<Node>,
    ) -> Result<f64, Collapse> {
        island.settle(top_v, ends, room).map_err(|place| self.collapse(island, place))
    }

    fn collapse(&self, island: &Island, place: Place) -> Collapse {
        let branch = |b: Option<usize>| b.and_then(|b| self.branches().get(b)).map(|b| &b.name);
        let name = match place {
            Place::Hub(hub) => branch(island.hubs[hub].branch.or(island.branch)),
            Place::Leaf(leaf) => match island.leaves[leaf].end {
                End::Device(d) => self.devices().get(d).map(|d| &d.name),
                End::Island(i) => branch(self.islands[i].branch),
            },
        };
        Collapse { at: name.cloned().unwrap_or_default() }
    }

    /// Reads an island's settled voltages into the solution. `volts` holds hubs, then leaves.
    fn write_down(
        &self,
        island: &Island,
        volts: &[Node],
        ends: &[Load],
        top_v: f64,
        solution: &mut Solution,
    ) {
        let (hubs, leaves) = volts.split_at(island.hubs.len());
        let segment = |from_v: f64, node: &Node, ohm: f64| SegmentSeen {
            from_v,
            to_v: node.volt,
            current_a: node.amp,
            loss_w: node.amp * node.amp * ohm,
            converter_w: 0.0,
        };
        for (hub, node) in island.hubs.iter().zip(hubs).skip(1) {
            if let Some(b) = hub.branch {
                solution.branches[b] = segment(hubs[hub.parent].volt, node, hub.ohm);
            }
        }
        for ((leaf, node), load) in island.leaves.iter().zip(leaves).zip(ends) {
            let from_v = if leaf.hub == 0 { top_v } else { hubs[leaf.hub].volt };
            let seen = segment(from_v, node, leaf.ohm);
            match leaf.end {
                End::Device(d) => {
                    solution.wires[d] = seen;
                    solution.devices[d] = DeviceSeen {
                        voltage_v: node.volt,
                        current_a: node.amp,
                        power_w: load.power_w(node.volt),
                        ok: true,
                    };
                }
                End::Island(i) => {
                    if let Some(b) = self.islands[i].branch {
                        let converter_w = solution.branches[b].converter_w;
                        solution.branches[b] = SegmentSeen { converter_w, ..seen };
                    }
                }
            }
        }
    }

    /// Marks devices that see too little, or hang on a converter that does.
    fn judge(&self, loads: &[Load], solution: &mut Solution) {
        let mut works = vec![true; self.islands.len()];
        for (index, island) in self.islands.iter().enumerate() {
            for leaf in &island.leaves {
                match leaf.end {
                    End::Device(d) => {
                        let seen = &mut solution.devices[d];
                        let least_v = self.devices()[d].least_voltage_v.unwrap_or(0.0);
                        let off = loads.get(d).is_none_or(|load| load.is_off());
                        seen.ok = off || (works[index] && seen.voltage_v >= least_v - SETTLED_V);
                    }
                    End::Island(i) => {
                        let fed = self.islands[i].branch.is_none_or(|b| {
                            self.branches()[b].converter.is_none_or(|converter| {
                                solution.branches[b].to_v >= converter.least_input_v - SETTLED_V
                            })
                        });
                        works[i] = works[index] && fed;
                    }
                }
            }
        }
    }
}

/// Working memory of a hub or leaf.
#[derive(Clone, Copy)]
pub(crate) struct Node {
    volt: f64,
    amp: f64,
    /// What it and all behind it take, seen from the beginning of its wire.
    line: Line,
}

impl Node {
    pub(crate) fn volt(&self) -> f64 {
        self.volt
    }
}

#[derive(Clone, Copy)]
enum Place {
    Hub(usize),
    Leaf(usize),
}

impl Island {
    /// Settles the voltages with `top_v` at the root; returns the current out of the root. `room`
    /// then holds hubs and leaves in order.
    fn settle(&self, top_v: f64, ends: &[Load], room: &mut Vec<Node>) -> Result<f64, Place> {
        room.clear();
        let fresh = Node { volt: top_v, amp: 0.0, line: Line::default() };
        room.resize(self.hubs.len() + self.leaves.len(), fresh);
        let (hubs, leaves) = room.split_at_mut(self.hubs.len());
        for _ in 0..MOST_SWEEPS {
            self.backward(ends, hubs, leaves)?;
            let moved_v = self.forward(top_v, hubs, leaves)?;
            if moved_v <= SETTLED_V {
                break;
            }
        }
        Ok(hubs[0].line.at(top_v))
    }

    fn backward(&self, ends: &[Load], hubs: &mut [Node], leaves: &mut [Node]) -> Result<(), Place> {
        for hub in hubs.iter_mut() {
            hub.line = Line::default();
        }
        let add = |hub: &mut Node, line: Line| {
            hub.line.fixed += line.fixed;
            hub.line.slope += line.slope;
        };
        for (k, ((leaf, node), &load)) in self.leaves.iter().zip(leaves).zip(ends).enumerate() {
            let line = Line::of(load, node.volt).behind(leaf.ohm).ok_or(Place::Leaf(k))?;
            node.line = line;
            add(&mut hubs[leaf.hub], line);
        }
        for k in (1..self.hubs.len()).rev() {
            let hub = self.hubs[k];
            let line = hubs[k].line.behind(hub.ohm).ok_or(Place::Hub(k))?;
            hubs[k].line = line;
            add(&mut hubs[hub.parent], line);
        }
        Ok(())
    }

    /// Returns the greatest change of voltage.
    fn forward(&self, top_v: f64, hubs: &mut [Node], leaves: &mut [Node]) -> Result<f64, Place> {
        let mut moved_v = 0.0_f64;
        let mut place = |node: &mut Node, from_v: f64, ohm: f64| {
            node.amp = node.line.at(from_v);
            let volt = from_v - ohm * node.amp;
            moved_v = moved_v.max((volt - node.volt).abs());
            node.volt = volt;
            volt > 0.0
        };
        hubs[0].volt = top_v;
        for k in 1..self.hubs.len() {
            let hub = self.hubs[k];
            let from_v = hubs[hub.parent].volt;
            if !place(&mut hubs[k], from_v, hub.ohm) {
                return Err(Place::Hub(k));
            }
        }
        for (k, (&Leaf { hub, ohm, .. }, node)) in self.leaves.iter().zip(leaves).enumerate() {
            if !place(node, hubs[hub].volt, ohm) {
                return Err(Place::Leaf(k));
            }
        }
        Ok(moved_v)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::schedule::When;
    use crate::{Branch, Device, Wire};

    fn device(name: &str, feed: Option<&str>, ohm: f64) -> Device {
        Device {
            feed: feed.map(str::to_owned),
            wire: Wire::resistance(ohm),
            ..Device::new(name, Load::OFF, When::always())
        }
    }

    fn branch(name: &str, ohm: f64, converter: Option<Converter>) -> Branch {
        Branch { name: name.to_owned(), feed: None, wire: Wire::resistance(ohm), converter }
    }

    #[test]
    fn one_device_behind_a_wire() {
        let rig = Rig::new(vec![], vec![device("mount", None, 0.1)]).unwrap();
        // P = 30 W behind 0.1 Ω at 12.5 V: v² - 12.5 v + 3 = 0
        let volt = (12.5 + f64::sqrt(12.5 * 12.5 - 12.0)) / 2.0;
        for (load, volt) in [
            (Load::Power(30.0), volt),
            (Load::Current(2.0), 12.3),
            (Load::Resistance(4.9), 12.5 * 4.9 / 5.0),
            (Load::OFF, 12.5),
        ] {
            let seen = rig.solve(12.5, &[load]).unwrap();
            assert!((seen.devices[0].voltage_v - volt).abs() < 1e-12, "{load:?}: {seen:?}");
            assert!((seen.source_w() - seen.load_w() - seen.cable_w()).abs() < 1e-9, "{load:?}");
        }
    }

    #[test]
    fn neighbours_share_the_drop_of_their_branch() {
        let devices = vec![device("camera", Some("hub"), 0.0), device("mount", Some("hub"), 0.0)];
        let rig = Rig::new(vec![branch("hub", 0.1, None)], devices).unwrap();
        let seen = rig.solve(12.0, &[Load::Current(1.0), Load::Current(4.0)]).unwrap();
        assert!((seen.devices[0].voltage_v - 11.5).abs() < 1e-12);
        assert_eq!(seen.devices[0].voltage_v, seen.devices[1].voltage_v);
    }

    #[test]
    fn collapse_is_named() {
        let rig = Rig::new(vec![], vec![device("mount", None, 0.01), device("heater", None, 0.5)])
            .unwrap();
        // v² = 4 r P = 4 · 0.5 · 72 = 144
        assert!(rig.solve(12.0001, &[Load::OFF, Load::Power(72.0)]).is_ok());
        let error = rig.solve(11.9999, &[Load::OFF, Load::Power(72.0)]).unwrap_err();
        assert_eq!(error.at, "heater");
        assert!((rig.collapse_v(&[Load::OFF, Load::Power(72.0)]) - 12.0).abs() < 1e-5);
        assert_eq!(rig.collapse_v(&[Load::OFF, Load::Resistance(5.0)]), 0.0);
    }

    #[test]
    fn a_converter_takes_constant_power_and_needs_its_input() {
        let converter =
            Converter { least_input_v: 11.5, ..Converter::rated(19.0, 0.6, 90.0, 0.92) };
        let laptop = Device { least_voltage_v: Some(18.5), ..device("laptop", Some("19 V"), 0.2) };
        let rig = Rig::new(vec![branch("19 V", 0.05, Some(converter))], vec![laptop]).unwrap();
        let seen = rig.solve(12.5, &[Load::Current(2.0)]).unwrap();
        assert!((seen.devices[0].voltage_v - 18.6).abs() < 1e-12 && seen.devices[0].ok);
        let balance_w = seen.source_w() - seen.load_w() - seen.cable_w() - seen.converter_w();
        assert!(balance_w.abs() < 1e-9, "{balance_w}");
        assert!((seen.converter_w() - converter.loss_w(38.0)).abs() < 1e-9);
        assert!(!rig.solve(11.6, &[Load::Current(2.0)]).unwrap().devices[0].ok);
        assert!(rig.solve(11.6, &[Load::OFF]).unwrap().devices[0].ok);
    }
}
