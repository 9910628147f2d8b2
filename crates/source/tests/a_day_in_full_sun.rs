//! A rule of thumb of the trade against the whole chain from sun to battery.
#![allow(clippy::unwrap_used, reason = "a test")]

use sky::{Aim, AirTemperature, Cloud, Place, Steps, Surroundings, light_on_panel};
use source::{Controller, Conversion, Panel, Profile};

/// Common practice, no source: a 100 W panel aimed at full sun refills about 600 Wh in about 8 h,
/// which is 75 W on the mean.
///
/// Under a clear sky at the equinox the chain gives some 10 % more: it knows no dirt, no cable and
/// no haze unless told. With the 5 % that dirt and cable usually take and the air of a hazy day
/// (turbidity 4) it comes down to the rule.
#[test]
fn a_hundred_watts_aimed_at_full_sun_give_six_hundred_watt_hours_in_eight_hours() {
    let energy_wh = |turbidity: f64, dirt_share: f64| {
        let around = Surroundings {
            turbidity,
            air: AirTemperature::Constant(20.0),
            ..Surroundings::at(Place::new(45.0, 0.0, 100.0).unwrap())
        };
        let cells =
            source::Cells::Rated { rating_w: 100.0, coefficient_per_k: -0.004, max_power_v: 18.0 };
        let panel = Panel::new(cells, dirt_share, 0.0).unwrap();
        let controller =
            Controller::new(Conversion::Mppt { efficiency: 0.95 }, 20.0, 0.0, Profile::LFP)
                .unwrap();
        let steps =
            Steps { start: "2026-03-20T08:07:00Z".parse().unwrap(), step_s: 60.0, count: 8 * 60 };
        let aim = Aim::Tracked { every_s: 3600.0 };
        light_on_panel(&around, &aim, &Cloud::Clear, steps)
            .unwrap()
            .iter()
            .map(|light| {
                let battery_v = 13.3;
                let (light_w_m2, cell_c) = (light.poa_effective_w_m2, light.cell_temp_c);
                battery_v * controller.output_a(&panel, light_w_m2, cell_c, battery_v) / 60.0
            })
            .sum::<f64>()
    };
    let (clean, usual) = (energy_wh(3.0, 0.0), energy_wh(4.0, 0.05));
    assert!((600.0..720.0).contains(&clean), "{clean} Wh clean under a clear sky");
    assert!((usual - 600.0).abs() < 40.0, "{usual} Wh with dirt, in haze");
}
