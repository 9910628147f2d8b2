//! What comes back on, and when: a protection that closes again, a device that restarts.

use super::Stop;
use super::bank::{Bank, Scene};
use crate::answer::MOST_RESTARTS;
use crate::draws::Draw;
use crate::loads::{ALL_OFF, Loads, Mask, bits};
use crate::timeline::Step;

/// A protection that has opened although a source was there does not try again sooner (s; common
/// practice, no source).
const TRIES_AGAIN_S: f64 = 900.0;

/// What one draw has to remember of what is off.
#[derive(Debug, Clone)]
pub(super) struct Away {
    /// When each device was last put off, on the trip's clock.
    fell_s: Vec<f64>,
    /// How often each has come back since the last sunrise.
    restarts: Vec<usize>,
    /// Before this time the protection does not close.
    closes_s: f64,
    /// Whether the heat that opened the protection has just gone: it closes without a source.
    pub(super) cooled: bool,
}

impl Away {
    pub(super) fn new(devices: usize) -> Self {
        Away {
            fell_s: vec![f64::NEG_INFINITY; devices],
            restarts: vec![0; devices],
            closes_s: f64::NEG_INFINITY,
            cooled: false,
        }
    }

    /// Whether a protection that is open may close in these steps.
    pub(super) fn may_close(&self, steps: &[Step]) -> bool {
        self.cooled || steps.iter().any(Step::is_supplied)
    }

    /// A new day.
    pub(super) fn begin(&mut self) {
        self.restarts.fill(0);
    }

    /// Takes note of what has gone off in a step: `fallen` of the devices, or all of them.
    pub(super) fn note(&mut self, stops: &[Stop], fallen: Mask, step: &Step) {
        let Some(last) = stops.last() else { return };
        if last.device.is_none() {
            self.closes_s = last.at_s + if step.is_supplied() { TRIES_AGAIN_S } else { 0.0 };
            return;
        }
        for device in bits(fallen) {
            self.fell_s[device] = last.at_s;
        }
    }
}

impl<const N: usize> Bank<N> {
    /// Whether anything of a lane is off that may come back by itself; a protection only if it may
    /// close.
    pub(super) fn is_waiting(
        &self,
        lane: usize,
        loads: &Loads<'_>,
        may_close: impl FnOnce() -> bool,
    ) -> bool {
        let off = self.off[lane];
        if off == ALL_OFF { may_close() } else { off & loads.restarting() != 0 }
    }
}

impl Bank<1> {
    /// Puts on again, at the beginning of a step, what may come back; the devices that restart.
    pub(super) fn come_back(
        &mut self,
        scene: &Scene<'_>,
        (loads, draw): (&mut Loads<'_>, &Draw),
        away: &mut Away,
    ) -> Mask {
        let off = self.off[0];
        let back = if off == ALL_OFF {
            if self.closes(scene, away) { ALL_OFF } else { 0 }
        } else {
            self.restarts(scene, (loads, draw), away)
        };
        if back == 0 {
            return 0;
        }
        self.off[0] &= !back;
        self.take_load(0, loads, draw, scene.cell, scene.block.set);
        self.start(scene);
        if back == ALL_OFF { 0 } else { back }
    }

    /// Whether a protection that is open closes: once a source, or the end of the heat that opened
    /// it, finds the pack at rest high enough.
    fn closes(&self, scene: &Scene<'_>, away: &Away) -> bool {
        let Scene { cell, step, .. } = *scene;
        (away.cooled || step.is_supplied())
            && !self.hot[0]
            && step.at_s >= away.closes_s
            && self.rest_v(cell.circuit) >= cell.back_v()
    }

    /// The devices that have been off for long enough and see, without their load, enough to start.
    fn restarts(
        &self,
        scene: &Scene<'_>,
        (loads, draw): (&mut Loads<'_>, &Draw),
        away: &mut Away,
    ) -> Mask {
        let off = self.off[0];
        let at_s = scene.step.at_s;
        let mut may = 0;
        for device in bits(off & loads.restarting()) {
            let rested = at_s >= away.fell_s[device] + loads.restart_after_s(device);
            may |= u64::from(rested && away.restarts[device] < MOST_RESTARTS) << device;
        }
        let back = loads.startable((scene.block.set, off), may, draw, self.flow.v[0]);
        for device in bits(back) {
            away.restarts[device] += 1;
        }
        back
    }
}
