//! The rig as the step sees it: a curve of current against voltage for each set of devices.

use pack::Steady;
use rig::{AfterBrownout, Aggregate, Aggregator, Conditions, Curve, Load, Rig};

use crate::draws::Draw;
use crate::timeline::{Set, Timeline};

/// One bit a device, set where it is off though it should be on.
pub(crate) type Mask = u64;

/// Everything is off: the pack's protection has opened.
pub(crate) const ALL_OFF: Mask = Mask::MAX;

/// The mask of devices.
fn mask(devices: impl IntoIterator<Item = usize>) -> Mask {
    devices.into_iter().fold(0, |mask, device| mask | 1 << device)
}

/// The devices of a mask.
pub(crate) fn bits(mut mask: Mask) -> impl Iterator<Item = usize> {
    std::iter::from_fn(move || {
        let first = mask.trailing_zeros() as usize;
        mask &= mask.wrapping_sub(1);
        (first < MOST_DEVICES).then_some(first)
    })
}

/// The most devices a [`Mask`] holds, so that all of them off is not yet [`ALL_OFF`].
pub(crate) const MOST_DEVICES: usize = 63;

/// What the devices that are on ask of the pack, at any voltage.
#[derive(Debug, Clone, Copy)]
pub(crate) struct LoadLine {
    pub(crate) curve: Curve,
    pub(crate) floor: Floor,
}

/// Where the devices that are on begin to fail.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Floor {
    /// Least voltage of the pack at which all of them work.
    pub(crate) v: f64,
    /// The device that fails below it.
    pub(crate) first: usize,
    /// Whether it fails because no voltage satisfies it, rather than because it sees too little.
    pub(crate) collapses: bool,
}

/// The floors found for a draw of late: the same uses come back every night.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Floors {
    /// For the uses that are on (see [`Loads::pattern`]) without these devices.
    found: [Option<(usize, Mask, Floor)>; 8],
    next: usize,
}

impl Floors {
    fn of(&self, pattern: usize, off: Mask) -> Option<Floor> {
        let mut found = self.found.iter().flatten();
        found.find(|(of, without, _)| (*of, *without) == (pattern, off)).map(|(.., floor)| *floor)
    }

    fn keep(&mut self, pattern: usize, off: Mask, floor: Floor) {
        self.found[self.next] = Some((pattern, off, floor));
        self.next = (self.next + 1) % self.found.len();
    }
}

impl LoadLine {
    /// Nothing is on.
    pub(crate) const NONE: LoadLine = LoadLine {
        curve: Curve { g_s: 0.0, a_a: 0.0, m: [0.0; 4] },
        floor: Floor { v: f64::NEG_INFINITY, first: 0, collapses: false },
    };
}

/// Makes load lines. Holds working memory: one for each thread.
#[derive(Clone)]
pub(crate) struct Loads<'a> {
    rig: &'a Rig,
    only_when_clear: &'a [bool],
    sets: &'a [Set],
    /// For each set the first with the same uses on, whatever its night and air.
    patterns: Vec<usize>,
    low_v: f64,
    /// What controllers draw all the time (W).
    standing_w: f64,
    aggregator: Aggregator<'a>,
    mean: Vec<Load>,
    greatest: Vec<Load>,
    /// For each device those that go off with it when its converter drops out.
    together: Vec<Mask>,
    /// See [`Rig::restart_v`]; infinite for a device that stays off.
    restart_v: Vec<f64>,
    /// The devices that restart by themselves after a brownout.
    restarting: Mask,
}

impl<'a> Loads<'a> {
    /// For pack voltages from `low_v` to `high_v`; with the rig, which of its devices work only
    /// while the sky is clear.
    pub(crate) fn new(
        (rig, only_when_clear): (&'a Rig, &'a [bool]),
        sets: &'a [Set],
        low_v: f64,
        high_v: f64,
        standing_w: f64,
    ) -> Self {
        let off = vec![Load::OFF; rig.devices().len()];
        let devices = 0..rig.devices().len();
        let aggregator = Aggregator::new(rig, low_v, high_v);
        let pattern = |set: &Set| sets.iter().position(|like| like.uses == set.uses).unwrap_or(0);
        Loads {
            rig,
            only_when_clear,
            sets,
            patterns: sets.iter().map(pattern).collect(),
            low_v,
            standing_w,
            aggregator,
            mean: off.clone(),
            greatest: off,
            together: devices.clone().map(|device| mask(rig.fall_with(device))).collect(),
            restarting: mask(devices.clone().filter(|device| rig.restart_v(*device).is_some())),
            restart_v: devices
                .map(|device| rig.restart_v(device).unwrap_or(f64::INFINITY))
                .collect(),
        }
    }

    /// With something more that draws all the time (W).
    pub(crate) fn with_more(mut self, more_w: f64) -> Self {
        self.standing_w += more_w;
        self
    }

    /// The line of a set without the devices in `off`, with a draw's factors on the loads. A floor
    /// that was found for this draw is not worked out anew.
    ///
    /// Energy follows the mean of duty cycles and peaks; the floor the greatest load, which hangs
    /// on no weather.
    pub(crate) fn line(
        &mut self,
        set: usize,
        off: Mask,
        draw: &Draw,
        floors: &mut Floors,
    ) -> LoadLine {
        let pattern = self.patterns[set];
        let peaks = self.fill(set, off, draw);
        let known = floors.of(pattern, off);
        let found = match known {
            Some(floor) => self.aggregator.source(&self.mean).map(|curve| (curve, floor)),
            None => self.aggregator.aggregate(&self.mean).and_then(|mean| {
                let greatest =
                    if peaks { self.aggregator.aggregate(&self.greatest)? } else { mean };
                Ok((mean.source, self.floor(&greatest)))
            }),
        };
        match found {
            Ok((mut curve, floor)) => {
                curve.m[0] += self.standing_w;
                if known.is_none() {
                    floors.keep(pattern, off, floor);
                }
                LoadLine { curve, floor }
            }
            Err(collapse) => self.collapsed(&collapse.at),
        }
    }

    fn floor(&self, bounds: &Aggregate) -> Floor {
        Floor {
            v: bounds.least_source_v,
            first: bounds.worst.unwrap_or_else(|| self.greatest_load()),
            collapses: bounds.low_v > self.low_v && bounds.least_source_v <= bounds.low_v,
        }
    }

    /// Which uses are on in a set: sets that differ only in their weather have the same.
    pub(crate) fn pattern(&self, set: usize) -> usize {
        self.patterns[set]
    }

    /// What goes off when a device sees too little: all that is on behind its converter.
    pub(crate) fn falling(&self, set: usize, off: Mask, device: usize) -> Mask {
        let used = self.sets[set].uses.iter().enumerate().filter(|(_, used)| used.is_some());
        self.together[device] & !off & mask(used.map(|(index, _)| index)) | 1 << device
    }

    /// How many devices there are.
    pub(crate) fn devices(&self) -> usize {
        self.rig.devices().len()
    }

    /// The devices that restart by themselves after a brownout.
    pub(crate) fn restarting(&self) -> Mask {
        self.restarting
    }

    /// How long a device is off at least before it restarts.
    pub(crate) fn restart_after_s(&self, device: usize) -> f64 {
        match self.rig.devices()[device].after_brownout {
            AfterBrownout::Restarts { after_s, .. } => after_s,
            AfterBrownout::StaysOff => f64::INFINITY,
        }
    }

    /// Those of the devices in `may` that see enough to start with this voltage at the pack, while
    /// the devices in `off` are off.
    pub(crate) fn startable(
        &mut self,
        (set, off): (usize, Mask),
        may: Mask,
        draw: &Draw,
        pack_v: f64,
    ) -> Mask {
        // no device sees more than the pack gives: most of the time this is the end of it
        let high = mask(bits(may).filter(|device| self.restart_v[*device] <= pack_v));
        if high == 0 {
            return 0;
        }
        self.fill(set, off, draw);
        let Ok(seen) = self.rig.solve(pack_v, &self.mean) else { return 0 };
        mask(
            bits(high).filter(|device| self.rig.start_v(*device, &seen) >= self.restart_v[*device]),
        )
    }

    /// What is asked of the pack on the whole: the mean of the currents at which its charge is
    /// taken, and the voltage down to which all that is ever on works. None where nothing is.
    pub(crate) fn steady(&mut self, timeline: &Timeline, draw: &Draw) -> Option<Steady> {
        let half_full_v = draw.pack.ocv.at(0.5);
        let mut floors = Floors::default();
        let lines: Vec<LoadLine> =
            (0..self.sets.len()).map(|set| self.line(set, 0, draw, &mut floors)).collect();
        let least_v =
            lines.iter().map(|line| line.floor.v).filter(|v| v.is_finite()).fold(0.0, f64::max);
        let at_v = half_full_v.max(least_v);
        let (mut squares, mut sum) = (0.0, 0.0);
        for block in &timeline.blocks {
            let current_a = lines.get(block.set).map_or(0.0, |line| line.curve.current_a(at_v));
            let length_s = block.dt_s * block.steps.len() as f64;
            squares += current_a * current_a * length_s;
            sum += current_a * length_s;
        }
        (sum > 0.0).then(|| Steady { current_a: squares / sum, least_v })
    }

    /// Whether anything is meant to be on in a set.
    pub(crate) fn any_on(&self, set: usize) -> bool {
        self.sets[set].uses.iter().any(Option::is_some)
    }

    /// Each device's load in a set: the means, for the exact solution of an instant.
    pub(crate) fn means(&mut self, set: usize, off: Mask, draw: &Draw) -> &[Load] {
        self.fill(set, off, draw);
        &self.mean
    }

    /// Fills in both lists of loads. True if they differ.
    fn fill(&mut self, set: usize, off: Mask, draw: &Draw) -> bool {
        let Set { uses, night, air } = &self.sets[set];
        // what waits for a clear sky draws all of its power while it works, and less on the mean
        let clear = night.map_or(1.0, |night| draw.clear(night));
        // warmer air holds more water: the dew point goes with it, but for how damp it is
        let warmer_k = night.map_or(0.0, |night| draw.air_k(night));
        let damper_k = night.map_or(0.0, |night| draw.dew_k(night));
        let air = air.map(|usual| {
            let air_c = usual.air_c + warmer_k;
            let dew_point_c = (usual.dew_point_c + warmer_k + damper_k).min(air_c);
            Conditions { air_c, dew_point_c, cloud: 1.0 - clear, ..usual }
        });
        let mut peaks = false;
        for (index, (device, chosen)) in self.rig.devices().iter().zip(uses).enumerate() {
            let used = chosen.filter(|_| off >> index & 1 == 0).map(|at| &device.uses[at]);
            let factor = draw.devices[index];
            let waits = self.only_when_clear.get(index).copied().unwrap_or(false);
            let kept = if waits { factor * clear } else { factor };
            (self.mean[index], self.greatest[index]) = match used {
                Some(used) => {
                    let mean = air.map_or_else(|| used.mean(), |air| used.mean_in(&air));
                    (mean.times(kept), used.greatest().times(factor))
                }
                None => (Load::OFF, Load::OFF),
            };
            peaks |= self.mean[index] != self.greatest[index];
        }
        peaks
    }

    /// A set that no voltage satisfies: the one named, or else the greatest, has to go.
    fn collapsed(&self, at: &str) -> LoadLine {
        let on = |index: &usize| !self.greatest[*index].is_off();
        let first = self.rig.device(at).filter(on).unwrap_or_else(|| self.greatest_load());
        LoadLine { floor: Floor { v: f64::INFINITY, first, collapses: true }, ..LoadLine::NONE }
    }

    /// The least voltage of the pack that the lines are made for.
    pub(crate) fn low_v(&self) -> f64 {
        self.low_v
    }

    pub(crate) fn standing_w(&self) -> f64 {
        self.standing_w
    }

    fn greatest_load(&self) -> usize {
        let power_w = |index: &usize| self.greatest[*index].power_w(12.0);
        (0..self.greatest.len()).max_by(|a, b| power_w(a).total_cmp(&power_w(b))).unwrap_or(0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::draws::Doubt;
    use crate::forecast::loads_of;
    use crate::prepare::prepare;
    use crate::skies::{Day, Skies};

    #[test]
    fn damper_air_asks_more_of_a_heater_against_dew_up_to_fog() {
        let text = r#"
            format = 1
            [site]
            latitude = "50 N"
            longitude = "0 E"
            zone = "Europe/London"
            [air]
            night = "4 °C"
            day = "14 °C"
            humidity = "90 % ± 10 %"
            [trip]
            first_evening = "2026-10-09"
            [pack]
            chemistry = "LFP"
            rated = "40 Ah"
            [rig.devices.strip]
            power = "30 W"
            when = "night"
            dew = { aperture = "200 mm", margin = "2 K" }
        "#;
        let plan = plan::Plan::parse("plan.toml", std::path::Path::new(""), text).unwrap();
        let (_, timeline) = prepare(&plan).unwrap();
        let mut loads = loads_of(&plan, &timeline);
        let skies = Skies::of_plan(&plan).unwrap();
        let usual = Doubt::of(&plan, skies, &timeline, &mut loads).central();
        let set = timeline.sets.iter().rposition(|set| set.air.is_some()).unwrap();
        let mut asks_a = |dew_k: f64| {
            let day = Day { dew_k, ..usual.days[0] };
            let draw = Draw { days: vec![day], ..usual.clone() };
            loads.line(set, 0, &draw, &mut Floors::default()).curve.current_a(12.0)
        };
        let [dry, usual, damp, fog, more] = [-2.0, 0.0, 1.0, 20.0, 30.0].map(&mut asks_a);
        assert!(dry < usual && usual < damp && damp < fog, "{dry}, {usual}, {damp}, {fog} A");
        // the dew point is never above the air
        assert_eq!(fog, more);
    }
}
