//! A trip lived by other means than the engine's, for tests: ten seconds a step, the rig solved
//! exactly at each, the pack's own circuit moved on by its own step. Slow and plain. It shares with
//! the engine only when what is meant to be on, and what the sky would give.

use pack::{Circuit, State};
use plan::Plan;
use rig::{Conditions, Load};
use source::Stage;

use crate::draws::Draw;
use crate::prepare::prepare;
use crate::timeline::{Block, Step, Timeline};

/// The longest step.
const STEP_S: f64 = 10.0;

/// How things really were.
#[derive(Debug, Clone)]
pub(crate) struct Truth {
    pub(crate) draw: Draw,
    /// Charge when the trip began.
    pub(crate) soc_start: f64,
    /// Drawn all the time by something the plan does not know (W).
    pub(crate) extra_w: f64,
    /// Between the pack and all that hangs on it, the meter included (Ω).
    pub(crate) connector_ohm: f64,
}

/// What came of it.
#[derive(Debug, Clone, Default)]
pub(crate) struct Lived {
    /// Whether each night was carried.
    pub(crate) carried: Vec<bool>,
    /// Time on the trip's clock (s), voltage (V) and current out (A) at a meter between the
    /// connector and the rig, at the end of each step; nothing while the protection was open.
    pub(crate) rows: Vec<[f64; 3]>,
}

/// What is on, and what it draws.
struct Gear<'a> {
    plan: &'a Plan,
    /// Devices that have stopped until sunrise.
    stopped: Vec<bool>,
    /// The protection is open.
    open: bool,
    /// What the pack's own heater draws.
    heater_w: f64,
}

pub(crate) fn live(plan: &Plan, truth: &Truth) -> Lived {
    let (_, timeline) = prepare(plan).unwrap();
    live_along(plan, &timeline, truth)
}

/// With steps of its own, in which the sources may give what they like.
pub(crate) fn live_along(plan: &Plan, timeline: &Timeline, truth: &Truth) -> Lived {
    let pack = &plan.battery.pack;
    let draw = &truth.draw;
    let housing = plan.battery.housing;
    let heater = housing.and_then(|housing| housing.heater);
    let stays_off = |device: &rig::Device| device.after_brownout == rig::AfterBrownout::StaysOff;
    assert!(plan.gear.rig.devices().iter().all(stays_off), "not lived here");
    let circuit = &draw.pack;
    let cut_v = pack.limits.undervoltage_v.unwrap_or_else(|| no_gear_below_v(plan));
    let back_v = pack.limits.release_v.unwrap_or(cut_v + 1.0);
    let devices = plan.gear.rig.devices().len();
    let mut gear = Gear { plan, stopped: vec![false; devices], open: false, heater_w: 0.0 };
    let mut state = State::rested(truth.soc_start);
    let mut stage = Stage::default();
    let mut guess_v = circuit.ocv.at(truth.soc_start);
    let mut closes_s = f64::NEG_INFINITY;
    // it is as warm as the first evening
    let mut pack_c = timeline.blocks.first().map_or(0.0, |block| block.air_c + draw.air_k(0));
    let mut lived = Lived { carried: vec![true; timeline.nights], rows: Vec::new() };
    for block in &timeline.blocks {
        let air_c = block.air_c + draw.air_k(block.night);
        if block.restart {
            gear.stopped.fill(false);
            stage = Stage::default();
        }
        let uses = &timeline.sets[block.set].uses;
        pack_c = if housing.is_some() { pack_c } else { air_c };
        let heated = heater.is_some_and(|heater| heater.is_on(pack_c, gear.heater_w > 0.0));
        gear.heater_w = heater.filter(|_| heated).map_or(0.0, |heater| heater.power_w);
        for step in timeline.given(block, pack_c) {
            let climate = circuit.climate(pack_c);
            let rested = circuit.internal_v(&state, &climate) >= back_v;
            gear.open &= !(rested && step.is_supplied() && step.at_s >= closes_s);
            // what should be on is not
            lived.carried[block.night] &= !gear.open || uses.iter().all(Option::is_none);
            let parts = (block.dt_s / STEP_S).ceil().max(1.0);
            let dt_s = block.dt_s / parts;
            for part in 0..parts as usize {
                loop {
                    let (mean, greatest) =
                        gear.loads(uses, timeline.sets[block.set].air, block, draw);
                    let place = Place { circuit, climate: &climate, state: &state };
                    let flow =
                        place.flow(&gear, &mean, truth, (block, step, stage), (guess_v, pack_c));
                    let stop = match &flow {
                        Ok(_) if gear.open => None,
                        Err(device) => Some(Some(*device)),
                        Ok(flow) if flow.voltage_v <= cut_v => Some(None),
                        Ok(flow)
                            if pack.limits.discharge_a.is_some_and(|most| flow.out_a > most) =>
                        {
                            Some(None)
                        }
                        Ok(flow) => gear.starved(flow.voltage_v, &greatest).map(Some),
                    };
                    match (stop, flow) {
                        (None, Ok(flow)) => {
                            let Flow { voltage_v, out_a } = flow;
                            let heat_w = circuit.heat_w(&state, out_a, &climate);
                            if let Some(housing) = housing {
                                let heater_w = if gear.open { 0.0 } else { gear.heater_w };
                                pack_c = housing.after(pack_c, air_c, heat_w + heater_w, dt_s);
                            }
                            circuit.advance(&mut state, out_a, dt_s, &climate);
                            state.soc -= pack.idle_a * dt_s / 3600.0 / circuit.capacity_ah;
                            state.clip_full();
                            guess_v = voltage_v;
                            if let (Some(profile), true) = (block.float, block.supplied) {
                                stage = stage.after(&profile, voltage_v + 0.002, -out_a, dt_s);
                            }
                            if !gear.open {
                                let at_s = step.at_s + dt_s * (part + 1) as f64;
                                lived.rows.push([at_s, voltage_v, out_a]);
                            }
                            break;
                        }
                        (Some(Some(device)), Ok(_)) => gear.fall(device, uses),
                        (Some(Some(device)), Err(_)) => gear.stopped[device] = true,
                        (_, _) => {
                            gear.open = true;
                            let tries_again_s = if step.is_supplied() { 900.0 } else { 0.0 };
                            closes_s = step.at_s + dt_s * part as f64 + tries_again_s;
                        }
                    }
                    lived.carried[block.night] = false;
                }
            }
        }
    }
    lived
}

impl Gear<'_> {
    /// Mean and greatest loads.
    fn loads(
        &self,
        uses: &[Option<usize>],
        air: Option<Conditions>,
        block: &Block,
        draw: &Draw,
    ) -> (Vec<Load>, Vec<Load>) {
        let warmer_k = draw.air_k(block.night);
        let air = air.map(|air| {
            let air_c = air.air_c + warmer_k;
            let dew_point_c = air.dew_point_c + warmer_k + draw.dew_k(block.night);
            let cloud = 1.0 - draw.clear(block.night);
            Conditions { air_c, dew_point_c: dew_point_c.min(air_c), cloud, ..air }
        });
        let devices = self.plan.gear.rig.devices().iter().zip(uses).enumerate();
        devices
            .map(|(index, (device, on))| {
                let on = on.filter(|_| !self.stopped[index] && !self.open);
                let Some(used) = on.map(|on| &device.uses[on]) else {
                    return (Load::OFF, Load::OFF);
                };
                let factor = draw.devices[index];
                let waits = self.plan.gear.only_when_clear[index];
                let share = if waits { draw.clear(block.night) } else { 1.0 };
                let mean = air.map_or_else(|| used.mean(), |air| used.mean_in(&air));
                (mean.times(factor * share), used.greatest().times(factor))
            })
            .unzip()
    }

    /// Stops a device that sees too little, with all that is on behind its converter.
    fn fall(&mut self, device: usize, uses: &[Option<usize>]) {
        self.stopped[device] = true;
        for other in self.plan.gear.rig.fall_with(device) {
            self.stopped[other] |= uses[other].is_some();
        }
    }

    /// The device that has least of what it needs, if it has too little.
    fn starved(&self, voltage_v: f64, greatest: &[Load]) -> Option<usize> {
        let rig = &self.plan.gear.rig;
        let seen = match rig.solve(voltage_v, greatest) {
            Ok(seen) => seen,
            Err(collapse) => return Some(self.named(&collapse.at, greatest)),
        };
        let spare_v = |index: &usize| {
            seen.devices[*index].voltage_v - rig.devices()[*index].least_voltage_v.unwrap_or(0.0)
        };
        (0..greatest.len())
            .filter(|index| !greatest[*index].is_off() && !seen.devices[*index].ok)
            .min_by(|a, b| spare_v(a).total_cmp(&spare_v(b)))
    }

    fn named(&self, name: &str, loads: &[Load]) -> usize {
        let power_w = |index: &usize| loads[*index].power_w(12.0);
        self.plan.gear.rig.device(name).filter(|index| !loads[*index].is_off()).unwrap_or_else(
            || (0..loads.len()).max_by(|a, b| power_w(a).total_cmp(&power_w(b))).unwrap(),
        )
    }
}

/// The pack at one moment.
struct Place<'a> {
    circuit: &'a Circuit,
    climate: &'a pack::Climate,
    state: &'a State,
}

struct Flow {
    voltage_v: f64,
    out_a: f64,
}

impl Place<'_> {
    /// Where pack, rig and sources agree; or the device that no voltage satisfies.
    fn flow(
        &self,
        gear: &Gear<'_>,
        mean: &[Load],
        truth: &Truth,
        (block, step, stage): (&Block, &Step, Stage),
        (guess_v, pack_c): (f64, f64),
    ) -> Result<Flow, usize> {
        let sun = truth.draw.harvest(block);
        let own_w = truth.extra_w + controllers_w(gear.plan) + gear.heater_w;
        let standing_w = if gear.open { 0.0 } else { own_w };
        let load_a = |v: f64| {
            let seen = gear.plan.gear.rig.solve(v, mean).map_err(|at| gear.named(&at.at, mean))?;
            Ok::<f64, usize>(seen.source_a + standing_w / v)
        };
        let source_a = |v: f64| {
            let tracked_a = (step.panel_w * sun / v).min(step.panel_cap_a);
            tracked_a + step.panel_a * sun + step.charger_a
        };
        let at = |out_a: f64| {
            self.circuit.terminal_v(self.state, out_a, self.climate) - truth.connector_ohm * out_a
        };
        // secant steps from the last voltage
        let off_v = |v: f64| Ok::<f64, usize>(at(load_a(v)? - source_a(v)) - v);
        let (mut a, mut b) = (guess_v, guess_v - 0.01);
        let (mut off_a, mut off_b) = (off_v(a)?, off_v(b)?);
        for _ in 0..60 {
            if off_b.abs() < 1e-7 || off_a == off_b {
                break;
            }
            let next = (b - off_b * (b - a) / (off_b - off_a)).clamp(0.5 * b, 1.5 * b);
            (a, off_a) = (b, off_b);
            b = next;
            off_b = off_v(b)?;
        }
        let mut out_a = load_a(b)? - source_a(b);
        if block.supplied {
            let hold_v = block.float.map_or(block.hold_v, |profile| stage.limit_v(&profile));
            let inner_v = self.circuit.internal_v(self.state, self.climate);
            let ohm = self.circuit.r0_charging_at(self.state, self.climate) + truth.connector_ohm;
            let held_a = (inner_v - hold_v) / ohm;
            let room_ah = (1.0 - self.state.soc) * self.circuit.capacity_ah;
            let full_a = -room_ah * 3600.0 / STEP_S / self.circuit.charge_efficiency;
            let most_a = if pack_c < block.no_charge_below_c { 0.0 } else { block.most_charge_a };
            out_a = out_a.max(held_a.max(full_a).max(-most_a).min(load_a(hold_v)?));
        }
        Ok(Flow { voltage_v: at(out_a), out_a })
    }
}

/// Far below what any device needs: where a pack without a protection is taken to be cut off.
fn no_gear_below_v(plan: &Plan) -> f64 {
    let needed_v = plan.gear.rig.devices().iter().filter_map(|device| device.least_voltage_v);
    let full_v = plan.battery.pack.circuit.ocv.at(1.0);
    0.9 * needed_v.fold(0.8 * full_v, f64::min)
}

/// What controllers draw all the time.
fn controllers_w(plan: &Plan) -> f64 {
    let panels = plan.supplies.iter().filter_map(|supply| match supply {
        plan::Supply::Panel(panel) => Some(panel.controller.own_draw_w()),
        plan::Supply::Charger(_) => None,
    });
    panels.sum()
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;
    use crate::draws::Doubt;
    use crate::engine::{self, Keep};
    use crate::forecast::{cell_of, loads_of};
    use crate::skies::Skies;
    use crate::trace::Trace;

    /// The example with a pack that is stated.
    #[test]
    fn it_is_the_trip_that_the_engine_goes() {
        let text = include_str!("../../../examples/heather-ridge.toml")
            .replace("record = \"records/pack-one-discharge.csv\"\n", "");
        let plan = Plan::parse("plan.toml", Path::new(""), &text).unwrap();
        let (_, timeline) = prepare(&plan).unwrap();
        let (cell, mut loads) = (cell_of(&plan), loads_of(&plan, &timeline));
        let doubt = Doubt::of(&plan, Skies::of_plan(&plan).unwrap(), &timeline, &mut loads);
        let draw = doubt.central();
        let mut trace = Trace::default();
        let keep = Keep::Steps(&mut trace);
        let [outcome] =
            engine::run(&timeline, &cell, &mut loads, std::array::from_ref(&draw), keep);
        let truth = Truth { draw, soc_start: 1.0, extra_w: 0.0, connector_ohm: 0.0 };
        let lived = live(&plan, &truth);
        let carried: Vec<bool> = outcome.failures.iter().map(Option::is_none).collect();
        assert_eq!(lived.carried, carried);
        let mut off: Vec<[f64; 2]> = Vec::new();
        for moment in trace.moments.iter().filter(|moment| moment.dt_s == 60.0) {
            let (from_s, to_s) = (moment.at_s, moment.at_s + moment.dt_s);
            let first = lived.rows.partition_point(|row| row[0] < from_s + 1e-3);
            let rows = &lived.rows[first..first + 6];
            assert!((rows[5][0] - to_s).abs() < 1e-3);
            let mean = |which: usize| rows.iter().map(|row| row[which]).sum::<f64>() / 6.0;
            let (off_v, off_a) = (mean(1) - moment.voltage_v, mean(2) - moment.current_a);
            // ten seconds are long where something is switched, or a held charge begins
            let [room_v, room_a] = if moment.source_a > 0.0 { [0.02, 0.2] } else { [0.01, 0.01] };
            assert!(off_v.abs() < room_v && off_a.abs() < room_a, "{off_v} V, {off_a} A, {from_s}");
            off.push([off_v.abs(), off_a.abs()]);
        }
        assert!(off.len() > 3000, "{}", off.len());
        for (which, room) in [(0, 2e-3), (1, 2e-3)] {
            let mut off: Vec<f64> = off.iter().map(|off| off[which]).collect();
            off.sort_by(f64::total_cmp);
            let most = off[off.len() * 95 / 100];
            assert!(most < room, "{which}: nineteen of twenty within {most}");
        }
    }
}
