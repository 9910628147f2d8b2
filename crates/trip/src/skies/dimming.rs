//! What clouds take from a panel's harvest: less of it than of the light on the level where the
//! panel lies flat, more where it is tilted to the sun, whose beam goes first.

use plan::{ClearnessDay, Plan};
use sky::{AirTemperature, Cloud, Steps, light_on_panel};

use super::spread::Spread;
use crate::error::TripError;
use crate::harvest::Stand;
use crate::suns::{stands, taken_w};

/// Steps of a day's light (s): coarse, and good to 0.2 % of a day.
const STEP_S: f64 = 600.0;
const DAY_S: f64 = 86_400.0;
/// Parts of the clear sky's light between which the harvest is taken as straight.
const PARTS: usize = 10;

/// The panels' harvest over that of a clear day, for even parts of the clear sky's light on the
/// level from none to all.
struct Dimming([f64; PARTS + 1]);

impl Dimming {
    fn of(stands: &[(Stand<'_>, bool)], steps: Steps) -> Result<Self, TripError> {
        let energy = |cloud: &Cloud| -> Result<f64, TripError> {
            let mut sum = 0.0;
            for (stand, tracks) in stands {
                let lights = light_on_panel(&stand.around, &stand.aim, cloud, steps)?;
                let taken = lights.iter().map(|light| taken_w(stand.panel, *tracks, light));
                sum += taken.sum::<f64>();
            }
            Ok(sum)
        };
        let clear = energy(&Cloud::Clear)?;
        let mut shares = std::array::from_fn(|part| part as f64 / PARTS as f64);
        if clear > 0.0 {
            for share in shares.iter_mut().take(PARTS).skip(1) {
                *share = energy(&Cloud::Share(*share))? / clear;
            }
        }
        Ok(Self(shares))
    }

    /// For a share of the clear sky's light; above 1 beam and diffuse grow alike.
    fn at(&self, share: f64) -> f64 {
        if share >= 1.0 {
            return share;
        }
        let along = share.max(0.0) * PARTS as f64;
        let part = (along as usize).min(PARTS - 1);
        let (from, to) = (self.0[part], self.0[part + 1]);
        from + (to - from) * (along - part as f64)
    }
}

/// The days of a plan whose clearness is known, in terms of its panels' harvest.
pub(super) fn spreads(plan: &Plan, days: &[ClearnessDay]) -> Result<Vec<Spread>, TripError> {
    let mean_c = f64::midpoint(plan.air.night_c.value, plan.air.day_c.value);
    let stands = stands(plan, &AirTemperature::Constant(mean_c));
    let mut spreads = Vec::with_capacity(days.len());
    for (day, evening) in days.iter().zip(plan.dates.evenings()) {
        // a day without sun tells nothing of clouds, and its night counts as clear
        let Some(clearness) = &day.clearness else {
            spreads.push(Spread::certain([1.0, 1.0]));
            continue;
        };
        let start = plan.site.place.mean_midnight(evening)?;
        let count = (DAY_S / STEP_S) as usize;
        let dimming = Dimming::of(&stands, Steps { start, step_s: STEP_S, count })?;
        spreads.push(Spread::from_quantiles(|below| {
            let share = day.level.share_of_clear(clearness.quantile(below));
            [dimming.at(share), 1.0 - sky::cloud_cover(share)]
        }));
    }
    Ok(spreads)
}

#[cfg(test)]
mod tests {
    use plan::Weather;

    use super::*;

    /// Cells stay cool under cloud, which gives more power and hardly more current.
    #[test]
    fn a_switching_controller_gains_nothing_by_cool_cells() {
        let mean = |kind: &str| {
            let text = format!(
                r#"
format = 1
[site]
latitude = "36.1 N"
longitude = "79.95 W"
[air]
night = "14 °C"
day = "26 °C"
[trip]
first_evening = "2027-06-14"
[weather]
clearness = "40 % ± 20 %"
[pack]
chemistry = "LFP"
rated = "40 Ah"
[rig.devices.mount]
power = "9 W"
when = "night"
[sources.panel]
panel = "100 W"
flat = true
controller = {{ kind = "{kind}", absorb = "14.4 V" }}
"#
            );
            let plan = Plan::parse("plan.toml", std::path::Path::new(""), &text).unwrap();
            let Weather::Clearness(days) = &plan.weather else { panic!("{:?}", plan.weather) };
            let light = 0.4 / days[0].level.clear_day();
            spreads(&plan, days).unwrap()[0].mean().sun / light
        };
        let (tracking, switching) = (mean("MPPT"), mean("PWM"));
        assert!((1.04..1.10).contains(&tracking), "{tracking} of the light's share");
        assert!((0.98..1.02).contains(&switching), "{switching} of the light's share");
    }
}
