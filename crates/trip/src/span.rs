//! What panels give between two moments.

use jiff::Timestamp;
use plan::Plan;
use sky::{AirTemperature, Cloud, Steps, light_on_panel};

use crate::{Stand, TripError};

/// Length of a step (s).
const STEP_S: f64 = 60.0;

impl Stand<'_> {
    /// What the panel would give between two moments under a clear sky, before any controller (Wh).
    ///
    /// # Errors
    /// As [`Stand::day`].
    pub fn clear_wh(&self, from: Timestamp, to: Timestamp) -> Result<f64, TripError> {
        let span_s = to.duration_since(from).as_secs_f64();
        if span_s <= 0.0 {
            return Ok(0.0);
        }
        // steps of a minute or a little less, so that they end where the span does
        let count = (span_s / STEP_S).ceil();
        let steps = Steps { start: from, step_s: span_s / count, count: count as usize };
        let lights = light_on_panel(&self.around, &self.aim, &Cloud::Clear, steps)?;
        Ok(lights.iter().map(|light| self.power_w(light)).sum::<f64>() * steps.step_s / 3600.0)
    }
}

/// What all panels of a plan would give together between two moments under a clear sky, before any
/// controller (Wh).
///
/// # Errors
/// As [`Stand::day`].
pub fn clear_wh_of_plan(plan: &Plan, from: Timestamp, to: Timestamp) -> Result<f64, TripError> {
    let air = AirTemperature::Constant(plan.air.day_c.value);
    Stand::of_plan(plan, &air).iter().map(|stand| stand.clear_wh(from, to)).sum()
}

#[cfg(test)]
mod tests {
    use jiff::SignedDuration;
    use sky::{Aim, Facing, Place, Surroundings};
    use source::Panel;

    use super::*;

    #[test]
    fn a_clear_span_is_its_part_of_the_day() {
        let panel = Panel::rated(100.0, -0.004).unwrap();
        let place = Place::new(56.9, -4.2, 430.0).unwrap();
        let around = Surroundings::at(place);
        let aim = Aim::Fixed(Facing::new(45.0, 180.0).unwrap());
        let stand = Stand { around, aim, panel: &panel };
        let date = jiff::civil::date(2026, 6, 6);
        let steps = crate::mean_day(date, &place).unwrap();
        let day = stand.day(date, steps, &Cloud::Clear).unwrap();
        let at = |hours: i64| steps.start + SignedDuration::from_hours(hours);
        let whole_wh = stand.clear_wh(at(0), at(24)).unwrap();
        assert!((whole_wh - day.panel_wh).abs() < 1e-6, "{whole_wh} {}", day.panel_wh);
        let parts_wh =
            stand.clear_wh(at(0), at(10)).unwrap() + stand.clear_wh(at(10), at(24)).unwrap();
        assert!((parts_wh - whole_wh).abs() < 1e-6);
        assert_eq!(stand.clear_wh(at(5), at(5)).unwrap(), 0.0);
    }
}
