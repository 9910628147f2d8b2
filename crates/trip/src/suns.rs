//! What panels give under a clear sky, worked out once for panels that are alike.

use std::sync::Arc;

use plan::Supply;
use sky::{Aim, Cloud, Light, Steps, Surroundings, light_on_panel};
use source::{Conversion, Panel};

use crate::error::TripError;
use crate::harvest::Stand;
use crate::timeline::{STEP_S, Step};

/// What one panel gives under a clear sky, at even steps from the first noon.
#[derive(Debug, Clone)]
pub(crate) struct PanelSun {
    /// Out of the panel: watts for a tracking controller, amperes for a switching one.
    output: Arc<[f64]>,
    tracks: bool,
    /// Share of it that the controller passes on.
    passed_on: f64,
    cap_a: f64,
    waits_c: f64,
}

/// A panel, how it stands, and whether its controller tracks.
type Kind = (Panel, Aim, bool);

/// What stands where, and what was worked out of it so far.
pub(crate) struct Suns {
    around: Surroundings,
    steps: Steps,
    lights: Vec<(Aim, Arc<[Light]>)>,
    outputs: Vec<(Kind, Arc<[f64]>)>,
}

/// The battery voltage at which the current of a panel on a switching controller is taken; the
/// panel's current hardly depends on it.
const SWITCHING_V: f64 = 13.6;

impl Suns {
    pub(crate) fn new(around: Surroundings, steps: Steps) -> Self {
        Suns { around, steps, lights: Vec::new(), outputs: Vec::new() }
    }

    /// Those of the panels among sources.
    pub(crate) fn of(&mut self, supplies: &[Supply]) -> Result<Vec<PanelSun>, TripError> {
        let mut suns = Vec::new();
        for supply in supplies {
            let Supply::Panel(panel) = supply else { continue };
            let (tracks, passed_on) = match panel.controller.conversion() {
                Conversion::Mppt { efficiency } => (true, efficiency),
                Conversion::Pwm => (false, 1.0),
            };
            suns.push(PanelSun {
                output: self.output(&panel.panel, &panel.aim, tracks)?,
                tracks,
                passed_on,
                cap_a: panel.controller.current_limit_a(),
                waits_c: panel.charges_above_c.unwrap_or(f64::NEG_INFINITY),
            });
        }
        Ok(suns)
    }

    fn output(&mut self, panel: &Panel, aim: &Aim, tracks: bool) -> Result<Arc<[f64]>, TripError> {
        let kind = (*panel, aim.clone(), tracks);
        if let Some((_, output)) = self.outputs.iter().find(|(known, _)| *known == kind) {
            return Ok(Arc::clone(output));
        }
        let lights = self.lights(aim)?;
        let stand = Stand { around: self.around.clone(), aim: aim.clone(), panel };
        let switched_a = |light: &Light| {
            panel.current_a(light.poa_effective_w_m2, light.cell_temp_c, SWITCHING_V)
        };
        let output: Arc<[f64]> = lights
            .iter()
            .map(|light| if tracks { stand.power_w(light) } else { switched_a(light) })
            .collect();
        self.outputs.push((kind, Arc::clone(&output)));
        Ok(output)
    }

    fn lights(&mut self, aim: &Aim) -> Result<Arc<[Light]>, TripError> {
        if let Some((_, lights)) = self.lights.iter().find(|(known, _)| known == aim) {
            return Ok(Arc::clone(lights));
        }
        let lights = light_on_panel(&self.around, aim, &Cloud::Clear, self.steps)?;
        let lights: Arc<[Light]> = lights.into();
        self.lights.push((aim.clone(), Arc::clone(&lights)));
        Ok(lights)
    }
}

impl PanelSun {
    /// The pack's temperature that it waits for.
    pub(crate) fn waits_c(&self) -> f64 {
        self.waits_c
    }

    /// Adds what it gives to a step with this middle.
    pub(crate) fn add_to(&self, step: &mut Step, middle_s: f64) {
        // the values are those of the middles of even steps
        let along = (middle_s / STEP_S - 0.5).max(0.0);
        let left = along as usize;
        let (Some(a), Some(b)) = (self.output.get(left), self.output.get(left + 1)) else { return };
        let output = self.passed_on * (a + (b - a) * (along - left as f64));
        if self.tracks {
            step.panel_w += output;
            step.panel_cap_a += self.cap_a;
        } else {
            step.panel_a += output.min(self.cap_a);
        }
    }
}
