//! Panels that do not stand quite as they were meant to, and what that does to their harvest.
//!
//! It is worked out once for all draws: panels moved by one and a half standard deviations, under
//! four skies, and a second-order curve through what they then give in each block.

use sky::{AimError, Cloud, Light, Steps, light_off_aim};

use crate::error::TripError;
use crate::harvest::Stand;

/// What a panel's errors add to the harvest of all panels in a block, as a share of it: under each
/// of [`SKIES`] the coefficients of tilt and azimuth in standard deviations, their squares, and
/// their product.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Response([[f64; 5]; SKIES.len()]);

/// Shares of the clear sky's light. The less there is, the more of it comes from all of the sky,
/// and the less it matters where a panel faces.
const SKIES: [f64; 4] = [0.35, 0.65, 0.85, 1.0];

impl Response {
    /// Between two skies, so far along.
    #[inline]
    fn at(&self, [tilt, azimuth]: [f64; 2], sky: usize, along: f64) -> f64 {
        let [dull, bright] = [&self.0[sky], &self.0[sky + 1]];
        let terms = [tilt, azimuth, tilt * tilt, azimuth * azimuth, tilt * azimuth];
        let mut more = 0.0;
        for (term, (dull, bright)) in terms.into_iter().zip(dull.iter().zip(bright)) {
            more += term * (dull + (bright - dull) * along);
        }
        more
    }
}

/// Factor on the harvest of panels that stand so far off, in standard deviations, on a day that
/// brings this share of the clear sky's harvest.
#[inline]
pub(crate) fn factor(responses: &[Response], aims: &[[f64; 2]], sun: f64) -> f64 {
    let sky = usize::from(sun > SKIES[1]) + usize::from(sun > SKIES[2]);
    let along = ((sun - SKIES[sky]) / (SKIES[sky + 1] - SKIES[sky])).clamp(0.0, 1.0);
    let pairs = responses.iter().zip(aims);
    let more: f64 = pairs.map(|(response, aim)| response.at(*aim, sky, along)).sum();
    (1.0 + more).max(0.0)
}

/// The greatest factor that any errors up to three standard deviations have.
pub(crate) fn greatest(responses: &[Response]) -> f64 {
    const DIRECTIONS: u32 = 24;
    const FARTHEST: f64 = 3.0;
    let best = |response: &Response| {
        let angle = |at: u32| std::f64::consts::TAU * f64::from(at) / f64::from(DIRECTIONS);
        (0..DIRECTIONS)
            .map(|at| angle(at).sin_cos())
            .map(|(sin, cos)| [FARTHEST * sin, FARTHEST * cos])
            .flat_map(|at| {
                [(0, 0.0), (0, 1.0), (1, 1.0), (2, 1.0)]
                    .map(|(sky, along)| response.at(at, sky, along))
            })
            .fold(0.0, f64::max)
    };
    1.0 + responses.iter().map(best).sum::<f64>()
}

/// What a panel gives as it stands, and what its errors add to that.
#[derive(Debug)]
pub(crate) struct Moved {
    /// At even steps from the first noon, under each sky: as it stands (W), then as in [`Response`]
    /// (W).
    curves: Vec<[[f64; 6]; SKIES.len()]>,
    /// The most it gives as it stands (W).
    most_w: f64,
}

/// Where a panel is moved to, in standard deviations of tilt and azimuth.
const AT: [[f64; 2]; 6] =
    [[0.0, 0.0], [FAR, 0.0], [-FAR, 0.0], [0.0, FAR], [0.0, -FAR], [FAR, FAR]];
const FAR: f64 = 1.5;
/// Length of a step (s): light changes little in it.
const QUARTER_S: f64 = 900.0;
/// When all panels give less than this share of their most it does not matter how they stand.
const LITTLE: f64 = 0.003;

impl Moved {
    /// A panel with standard deviations of its aim, and what it gives in light, over the time of
    /// some steps.
    pub(crate) fn of(
        (stand, deviation): (&Stand<'_>, &AimError),
        steps: Steps,
        gives_w: impl Fn(&Light) -> f64,
    ) -> Result<Self, TripError> {
        let count = (steps.step_s * steps.count as f64 / QUARTER_S).ceil() as usize + 1;
        let steps = Steps { step_s: QUARTER_S, count, ..steps };
        let aim = (&stand.aim, AT.map(|at| stand.aim.error(deviation, at)));
        let mut curves = vec![[[0.0; 6]; SKIES.len()]; count];
        for (sky, share) in SKIES.into_iter().enumerate() {
            let lights = light_off_aim(&stand.around, aim, &Cloud::Share(share), steps)?;
            for (curve, lights) in curves.iter_mut().zip(lights) {
                curve[sky] = through(lights.map(|light| gives_w(&light)));
            }
        }
        let most_w = curves.iter().map(|curve| curve[SKIES.len() - 1][0]).fold(0.0, f64::max);
        Ok(Self { curves, most_w })
    }

    /// At a time, by sky.
    fn at(&self, at_s: f64) -> [[f64; 6]; SKIES.len()] {
        let along = (at_s / QUARTER_S - 0.5).max(0.0);
        let left = along as usize;
        let dark = [[0.0; 6]; SKIES.len()];
        let [a, b] = [left, left + 1].map(|step| self.curves.get(step).unwrap_or(&dark));
        let along = along - left as f64;
        std::array::from_fn(|sky| {
            std::array::from_fn(|of| a[sky][of] + (b[sky][of] - a[sky][of]) * along)
        })
    }
}

/// The second-order curve through what a panel gives where it is moved to.
fn through([here, steeper, flatter, on, back, both]: [f64; 6]) -> [f64; 6] {
    let [steeper, flatter, on, back, both] = [steeper, flatter, on, back, both].map(|w| w - here);
    let (t, a) = ((steeper - flatter) / (2.0 * FAR), (on - back) / (2.0 * FAR));
    let square = FAR * FAR;
    let (tt, aa) = ((steeper + flatter) / (2.0 * square), (on + back) / (2.0 * square));
    [here, t, a, tt, aa, (both - steeper - on) / square]
}

/// The responses of all panels, each with the share of its power that is passed on, in a block
/// about a time; none where they give next to nothing.
pub(crate) fn responses(panels: &[(&Moved, f64)], at_s: f64) -> Vec<Response> {
    let curves = || panels.iter().map(|(panel, passed_on)| (panel.at(at_s), *passed_on));
    let mut all_w = [0.0; SKIES.len()];
    for (curve, passed_on) in curves() {
        for (all_w, [here, ..]) in all_w.iter_mut().zip(curve) {
            *all_w += passed_on * here;
        }
    }
    let most_w: f64 = panels.iter().map(|(panel, passed_on)| passed_on * panel.most_w).sum();
    if all_w[0] <= LITTLE * most_w {
        return Vec::new();
    }
    let of_panel = |(curve, passed_on): ([[f64; 6]; SKIES.len()], f64)| {
        Response(std::array::from_fn(|sky| {
            let [_, more @ ..] = curve[sky];
            more.map(|w| passed_on * w / all_w[sky])
        }))
    };
    curves().map(of_panel).collect()
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use plan::{Plan, Supply};
    use sky::{AirTemperature, light_off_aim};

    use super::*;
    use crate::calendar::Calendar;
    use crate::prepare::{air_hours, prepare};

    fn plan(month: &str, stands: &str) -> Plan {
        let text = format!(
            r#"
format = 1
[site]
latitude = "52 N"
longitude = "0 E"
horizon = [[0, 2], [120, 8], [240, 3]]
[trip]
first_evening = "2026-{month}-10"
nights = 2
[pack]
chemistry = "LFP"
rated = "40 Ah"
[rig.devices.mount]
power = "9 W"
when = "night"
[sources.panel]
panel = "100 W"
{stands}
controller = {{ kind = "MPPT", absorb = "14.4 V" }}
"#
        );
        Plan::parse("plan.toml", Path::new(""), &text).unwrap()
    }

    /// What the panel gives over the trip's days (Wh), moved itself.
    fn moved_wh(plan: &Plan, at: [f64; 2], cloud: &Cloud) -> f64 {
        let evenings = plan.dates.evenings();
        let calendar = Calendar::new(&plan.site.place, &plan.site.zone, evenings).unwrap();
        let air = air_hours(plan, &calendar, calendar.ends_s()).unwrap();
        let stand = &Stand::of_plan(plan, &AirTemperature::Hourly(air))[0];
        let Supply::Panel(panel) = &plan.supplies[0] else { panic!() };
        let error = stand.aim.error(&panel.aim_spread, at);
        let count = (calendar.ends_s() / 60.0) as usize;
        let steps = Steps { start: calendar.noon, step_s: 60.0, count };
        let lights = light_off_aim(&stand.around, (&stand.aim, [error]), cloud, steps).unwrap();
        let from = (calendar.begins_s() / 60.0) as usize;
        lights[from..].iter().map(|[light]| 0.95 * stand.power_w(light) / 60.0).sum()
    }

    const AIMS: [[f64; 2]; 6] =
        [[1.0, 0.0], [0.0, -1.0], [1.0, -1.0], [2.0, 2.0], [-2.0, 0.0], [0.0, 2.5]];

    /// The whole trip's harvest, against that of the panel itself moved. On dull days the days'
    /// shape is another too, of which the curve knows nothing.
    #[test]
    fn a_curve_says_what_a_moved_panel_gives() {
        let mut greatest = 0.0_f64;
        for month in ["06", "12"] {
            for stands in [
                "tilt = \"45°\"\nazimuth = \"180°\"",
                "tilt = \"65° ± 8°\"\nazimuth = \"130° ± 15°\"",
                "flat = true",
                "turned_every = \"2 h\"",
                "aims = [{ from = \"06:00\", tilt = \"60°\", azimuth = \"135°\" }, { from = \"13:00\", tilt = \"60°\", azimuth = \"225°\" }]",
            ] {
                let plan = plan(month, stands);
                let (_, timeline) = prepare(&plan).unwrap();
                let by_curve_wh = |at: [f64; 2], sun: f64| -> f64 {
                    let of_block = |block: &crate::timeline::Block| {
                        let steps = &timeline.steps[block.steps.clone()];
                        let clear_w: f64 = steps.iter().map(|step| step.panel_w).sum();
                        factor(&block.aims, &[at], sun) * clear_w * block.dt_s / 3600.0
                    };
                    timeline.blocks.iter().map(of_block).sum()
                };
                for (sun, room, far_room) in [
                    (1.0, 0.002, 0.012),
                    (0.8, 0.015, 0.04),
                    (0.5, 0.015, 0.04),
                    (0.3, 0.002, 0.006),
                ] {
                    let cloud = Cloud::Share(sun);
                    let meant_wh = [moved_wh(&plan, [0.0; 2], &cloud), by_curve_wh([0.0; 2], sun)];
                    for at in AIMS {
                        let moved = moved_wh(&plan, at, &cloud) / meant_wh[0];
                        let curve = by_curve_wh(at, sun) / meant_wh[1];
                        let room = if at[0].hypot(at[1]) > 1.5 { far_room } else { room };
                        assert!(
                            (curve - moved).abs() < room,
                            "{month}, {stands}, off by {at:?} on a day of {sun}: {curve}, {moved}"
                        );
                        greatest = greatest.max((moved - 1.0).abs());
                    }
                }
            }
        }
        assert!(greatest > 0.2, "nothing hangs on it here: {greatest}");
    }

    #[test]
    fn two_panels_that_err_apart_err_less() {
        let one = plan("12", "flat = true");
        let mut two = one.clone();
        two.supplies.push(one.supplies[0].clone());
        let [(_, one), (_, two)] = [&one, &two].map(|plan| prepare(plan).unwrap());
        let noon = |timeline: &crate::timeline::Timeline| {
            let most = |block: &&crate::timeline::Block| timeline.steps[block.steps.start].panel_w;
            let noon = timeline.blocks.iter().max_by(|a, b| most(a).total_cmp(&most(b)));
            noon.unwrap().aims.clone()
        };
        let (one, two) = (noon(&one), noon(&two));
        let leaning = [1.0, 0.5];
        let alone = factor(&one, &[leaning], 1.0) - 1.0;
        assert!(alone < -0.05, "{alone}");
        assert!((factor(&two, &[leaning; 2], 1.0) - 1.0 - alone).abs() < 1e-12);
        let half = factor(&two, &[leaning, [0.0; 2]], 1.0) - 1.0;
        assert!((half - 0.5 * alone).abs() < 1e-12, "{half} {alone}");
        assert!(greatest(&one) > factor(&one, &[[-2.9, 0.0]], 1.0));
    }
}
