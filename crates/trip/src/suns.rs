//! What panels give under a clear sky, worked out once for panels that are alike.

use std::sync::Arc;

use plan::{Plan, Supply};
use sky::{Aim, AimError, AirTemperature, Cloud, Light, Steps, Surroundings, light_on_panel};
use source::{Conversion, Panel};

use crate::aim::Moved;
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
    /// What it would give if it stood otherwise.
    moved: Arc<Moved>,
}

/// A panel, how it stands, how far off that it may stand, and whether its controller tracks.
type Kind = (Panel, Aim, AimError, bool);

/// What stands where, and what was worked out of it so far.
pub(crate) struct Suns {
    around: Surroundings,
    steps: Steps,
    lights: Vec<(Aim, Arc<[Light]>)>,
    outputs: Vec<(Kind, Output)>,
}

/// What comes out of a panel as it stands, and moved.
type Output = (Arc<[f64]>, Arc<Moved>);

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
            let (output, moved) = self.output(panel, tracks)?;
            suns.push(PanelSun {
                output,
                moved,
                tracks,
                passed_on,
                cap_a: panel.controller.current_limit_a(),
                waits_c: panel.charges_above_c.unwrap_or(f64::NEG_INFINITY),
            });
        }
        Ok(suns)
    }

    fn output(&mut self, supply: &plan::Panel, tracks: bool) -> Result<Output, TripError> {
        let plan::Panel { panel, aim, aim_spread, .. } = supply;
        let kind = (*panel, aim.clone(), *aim_spread, tracks);
        if let Some((_, output)) = self.outputs.iter().find(|(known, _)| *known == kind) {
            return Ok(output.clone());
        }
        let lights = self.lights(aim)?;
        let stand = Stand { around: self.around.clone(), aim: aim.clone(), panel };
        let taken = |light: &Light| taken_w(panel, tracks, light);
        let moved = Moved::of((&stand, aim_spread), self.steps, taken)?;
        let per_v = if tracks { 1.0 } else { 1.0 / SWITCHING_V };
        let output = lights.iter().map(|light| per_v * taken(light)).collect();
        let output = (output, Arc::new(moved));
        self.outputs.push((kind, output.clone()));
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

/// The panels of a plan where they stand, each with whether its controller tracks.
pub(crate) fn stands<'a>(plan: &'a Plan, air: &AirTemperature) -> Vec<(Stand<'a>, bool)> {
    let tracks = plan.supplies.iter().filter_map(|supply| match supply {
        Supply::Panel(panel) => Some(panel.controller.conversion() != Conversion::Pwm),
        Supply::Charger(_) => None,
    });
    Stand::of_plan(plan, air).into_iter().zip(tracks).collect()
}

/// What a tracking controller takes from a panel, or a switching one at the battery's voltage (W):
/// cool cells give more power and hardly more current.
pub(crate) fn taken_w(panel: &Panel, tracks: bool, light: &Light) -> f64 {
    let (effective_w_m2, cell_c) = (light.poa_effective_w_m2, light.cell_temp_c);
    if tracks {
        panel.power_w(effective_w_m2, cell_c)
    } else {
        SWITCHING_V * panel.current_a(effective_w_m2, cell_c, SWITCHING_V)
    }
}

impl PanelSun {
    /// The pack's temperature that it waits for.
    pub(crate) fn waits_c(&self) -> f64 {
        self.waits_c
    }

    /// What it would give if it stood otherwise, and the share of it that is passed on.
    pub(crate) fn moved(&self) -> (&Moved, f64) {
        (&self.moved, self.passed_on)
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
