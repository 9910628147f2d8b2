//! The JSON of `tilldawn rig`.

use std::collections::BTreeMap;

use plan::Plan;
use rig::{DEFERRAL, Device, DeviceCheck, Rig, SegmentCheck, SegmentSeen, Solution, StateBudget};
use serde::Serialize;
use trip::{NEARLY_EMPTY, Survey, SurveyedNight};

/// `states` are solved at `source_voltage_v`: the pack at dusk with the charge the plan begins
/// with, under the rig's heaviest steady load. `end_voltage_v` is the same with `end_soc` left.
#[derive(Serialize)]
pub(super) struct Document<'a> {
    source_voltage_v: f64,
    source_soc: f64,
    end_voltage_v: f64,
    end_soc: f64,
    states: Vec<State<'a>>,
    devices: Vec<Checked<'a>>,
    segments: Vec<Wire<'a>>,
    nights: Vec<Night<'a>>,
    cautions: Vec<String>,
    deferral: &'static str,
    remarks: Vec<String>,
    defaults: &'a [String],
}

#[derive(Serialize)]
struct State<'a> {
    name: &'a str,
    lasting_h: f64,
    /// Out of the pack, mean.
    total_w: f64,
    source_a: f64,
    /// The greatest current, with every peak at once.
    peak_a: Option<f64>,
    devices: Vec<Seen<'a>>,
    segments: Vec<Carried<'a>>,
}

/// A device in a state: its mean power and what it sees then; `peak_v` and `end_v` are what it sees
/// with every load at its greatest, at dusk and with the pack nearly empty.
#[derive(Serialize)]
struct Seen<'a> {
    name: &'a str,
    on: bool,
    w: f64,
    v: f64,
    least_v: Option<f64>,
    peak_w: Option<f64>,
    peak_v: Option<f64>,
    end_v: Option<f64>,
    /// Enough voltage at dusk, peaks counted.
    ok: bool,
    /// Enough voltage with the pack nearly empty, peaks counted.
    end_ok: bool,
}

/// A wire in a state, at mean loads.
#[derive(Serialize)]
struct Carried<'a> {
    from: &'a str,
    to: &'a str,
    a: f64,
    drop_v: f64,
    loss_w: f64,
    ampacity_a: Option<f64>,
    fuse_a: Option<f64>,
    ok: bool,
}

/// A wire over all states.
#[derive(Serialize)]
struct Wire<'a> {
    from: &'a str,
    to: &'a str,
    cable: Option<String>,
    length_m: Option<f64>,
    ohm: f64,
    steady_a: f64,
    peak_a: f64,
    peak_drop_v: f64,
    peak_drop_share: f64,
    loss_wh: f64,
    converter_wh: f64,
    ampacity_a: Option<f64>,
    fuse_a: Option<f64>,
    fuse_distance_m: Option<f64>,
    fitting_fuse_a: Option<f64>,
    ok: bool,
}

/// A device over all states.
#[derive(Serialize)]
struct Checked<'a> {
    name: &'a str,
    least_v: Option<f64>,
    dusk_v: Option<f64>,
    end_v: Option<f64>,
    ok: bool,
    /// Single changes of a wire that would do.
    advice: Vec<Change<'a>>,
}

#[derive(Serialize)]
struct Change<'a> {
    wire_to: Option<&'a str>,
    section: Option<String>,
    length_m: Option<f64>,
}

#[derive(Serialize)]
struct Night<'a> {
    evening: String,
    used_wh: f64,
    devices_wh: BTreeMap<&'a str, f64>,
    cable_wh: f64,
    converter_wh: f64,
}

impl<'a> Document<'a> {
    pub(super) fn of(plan: &'a Plan, survey: &'a Survey) -> Self {
        let (rig, found) = (&plan.gear.rig, &survey.found);
        Document {
            source_voltage_v: survey.terms.dusk_v,
            source_soc: plan.battery.soc_start,
            end_voltage_v: survey.terms.end_v,
            end_soc: NEARLY_EMPTY.min(plan.battery.soc_start),
            states: found
                .states
                .iter()
                .zip(&survey.night.states)
                .map(|(budget, state)| State::of(rig, &found.segments, budget, state))
                .collect(),
            devices: found.devices.iter().map(|check| Checked::of(rig, check)).collect(),
            segments: found.segments.iter().map(Wire::of).collect(),
            nights: survey.nights.iter().map(|night| Night::of(rig, night)).collect(),
            cautions: found.cautions.iter().map(ToString::to_string).collect(),
            deferral: DEFERRAL,
            remarks: found.remarks.iter().map(ToString::to_string).collect(),
            defaults: &plan.defaults,
        }
    }
}

impl<'a> State<'a> {
    fn of(
        rig: &'a Rig,
        segments: &'a [SegmentCheck],
        budget: &'a StateBudget,
        state: &rig::State,
    ) -> Self {
        let devices = rig.devices().iter().zip(&state.0).enumerate();
        let segments = segments.iter().filter_map(|segment| {
            let seen = seen(rig, &budget.mean, &segment.to)?;
            Some(Carried {
                from: &segment.from,
                to: &segment.to,
                a: seen.current_a,
                drop_v: seen.from_v - seen.to_v,
                loss_w: seen.loss_w,
                ampacity_a: segment.ampacity_a,
                fuse_a: segment.fuse.map(|fuse| fuse.rated_a),
                ok: segment.ok(),
            })
        });
        State {
            name: &budget.name,
            lasting_h: budget.lasting_s / 3600.0,
            total_w: budget.mean.source_w(),
            source_a: budget.mean.source_a,
            peak_a: budget.greatest_at_end.as_ref().ok().map(|peak| peak.source_a),
            devices: devices
                .filter_map(|(at, (device, used))| Seen::of(at, device, used.is_some(), budget))
                .collect(),
            segments: segments.collect(),
        }
    }
}

impl<'a> Seen<'a> {
    fn of(at: usize, device: &'a Device, on: bool, budget: &StateBudget) -> Option<Self> {
        let mean = budget.mean.devices.get(at)?;
        let peak = budget.greatest_at_dusk.as_ref().ok().and_then(|seen| seen.devices.get(at));
        let end = budget.greatest_at_end.as_ref().ok().and_then(|seen| seen.devices.get(at));
        Some(Seen {
            name: &device.name,
            on,
            w: mean.power_w,
            v: mean.voltage_v,
            least_v: device.least_voltage_v,
            peak_w: peak.map(|seen| seen.power_w),
            peak_v: peak.map(|seen| seen.voltage_v),
            end_v: end.map(|seen| seen.voltage_v),
            ok: !on || peak.is_some_and(|seen| seen.ok),
            end_ok: !on || end.is_some_and(|seen| seen.ok),
        })
    }
}

/// What the wire to a branch or device carries.
fn seen<'a>(rig: &Rig, solution: &'a Solution, to: &str) -> Option<&'a SegmentSeen> {
    match rig.branches().iter().position(|branch| branch.name == to) {
        Some(branch) => solution.branches.get(branch),
        None => solution.wires.get(rig.device(to)?),
    }
}

impl<'a> Wire<'a> {
    fn of(segment: &'a SegmentCheck) -> Self {
        let cable = segment.wire.cable;
        Wire {
            from: &segment.from,
            to: &segment.to,
            cable: cable.map(|cable| cable.section.to_string()),
            length_m: cable.map(|cable| cable.length_m),
            ohm: segment.wire.ohm(),
            steady_a: segment.steady_a,
            peak_a: segment.peak_a,
            peak_drop_v: segment.drop_v,
            peak_drop_share: segment.drop_share,
            loss_wh: segment.loss_wh,
            converter_wh: segment.converter_wh,
            ampacity_a: segment.ampacity_a,
            fuse_a: segment.fuse.map(|fuse| fuse.rated_a),
            fuse_distance_m: segment.wire.fuse.map(|fuse| fuse.distance_m),
            fitting_fuse_a: segment.fitting_fuse_a(),
            ok: segment.ok(),
        }
    }
}

impl<'a> Checked<'a> {
    fn of(rig: &'a Rig, check: &'a DeviceCheck) -> Self {
        let change = |advice: &rig::Advice| Change {
            wire_to: rig.name_at(advice.place),
            section: advice.section.map(|section| section.to_string()),
            length_m: advice.length_m,
        };
        Checked {
            name: &check.name,
            least_v: check.least_v,
            dusk_v: check.dusk_v,
            end_v: check.end_v,
            ok: check.ok,
            advice: check.advice.iter().map(change).collect(),
        }
    }
}

impl<'a> Night<'a> {
    fn of(rig: &'a Rig, night: &SurveyedNight) -> Self {
        let budget = &night.budget;
        let names = rig.devices().iter().map(|device| device.name.as_str());
        Night {
            evening: night.evening.to_string(),
            used_wh: budget.used_wh,
            devices_wh: names.zip(budget.devices_wh.iter().copied()).collect(),
            cable_wh: budget.cable_wh,
            converter_wh: budget.converter_wh,
        }
    }
}
