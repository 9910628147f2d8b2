//! `tilldawn night --season`.

use std::process::ExitCode;

use jiff::Timestamp;
use jiff::civil::Date;
use plan::{Plan, Supply};
use report::Season;
use serde::Serialize;
use sky::{Aim, Facing, Place, SeasonNight, Surroundings};
use trip::{Per, gathered};

use crate::args::{self, By};
use crate::output::{Failure, print, print_json, provenance, remark, write_file};

/// A year of evenings.
const EVENINGS: usize = 365;

pub(crate) fn run(
    asked: &args::Night,
    plan: Option<&Plan>,
    place: Place,
    first: Date,
) -> Result<ExitCode, Failure> {
    let usual = Surroundings::at(place);
    let site = plan.map(|plan| &plan.site);
    let around = Surroundings {
        horizon: site.map(|site| site.horizon.clone()).unwrap_or_default(),
        turbidity: asked
            .light
            .turbidity
            .or(site.map(|site| site.turbidity))
            .unwrap_or(usual.turbidity),
        albedo: asked.light.albedo.or(site.map(|site| site.albedo)).unwrap_or(usual.albedo),
        ..usual
    };
    let aim = asked
        .facing
        .aim()?
        .or_else(|| plan.and_then(year_round))
        .unwrap_or(Aim::Fixed(Facing::FLAT));
    let nights = sky::season(&around, &aim, first, EVENINGS)?;
    let zone = asked.zone.clone().or_else(|| site.map(|site| site.zone.clone()));
    let season = Season {
        site: site.map_or("", |site| site.name.as_str()),
        around: &around,
        aim: &aim,
        nights: &nights,
        zone: &zone.unwrap_or_else(|| place.hour_clock()),
    };
    let per = match asked.by {
        By::Week => Per::Week,
        By::Month => Per::Month,
    };
    if asked.json {
        print_json(&Document::of(&nights, per))?;
    } else {
        print(&report::season_text(&season, per))?;
    }
    if let Some(path) = &asked.report {
        let files = plan.iter().map(|plan| plan.file.clone()).collect();
        write_file(path, &report::season_page(&season, provenance(files, None)))?;
        remark(&format!("report written to {}", path.display()));
    }
    Ok(ExitCode::SUCCESS)
}

/// How the plan's first panel stands, if it stands so all year.
fn year_round(plan: &Plan) -> Option<Aim> {
    let panels = plan.supplies.iter().filter_map(|supply| match supply {
        Supply::Panel(panel) => Some(&panel.aim),
        Supply::Charger(_) => None,
    });
    panels.into_iter().find(|aim| !matches!(aim, Aim::ReAimed(_))).cloned()
}

/// Times are UTC; null where the event does not happen.
#[derive(Serialize)]
struct Document {
    nights: Vec<NightDocument>,
    stretches: Vec<StretchDocument>,
}

#[derive(Serialize)]
struct NightDocument {
    evening: Date,
    sunset: Option<Timestamp>,
    sunrise: Option<Timestamp>,
    dark_h: f64,
    moonless_dark_h: f64,
    lit_fraction: f64,
    clear_wh_per_m2: f64,
}

/// Means over its nights.
#[derive(Serialize)]
struct StretchDocument {
    from: Date,
    to: Date,
    night_h: f64,
    dark_h: f64,
    moonless_dark_h: f64,
    darkest_evening: Option<Date>,
    clear_wh_per_m2: f64,
}

impl Document {
    fn of(nights: &[SeasonNight], per: Per) -> Self {
        let night = |found: &SeasonNight| NightDocument {
            evening: found.evening,
            sunset: found.night.sunset,
            sunrise: found.night.sunrise,
            dark_h: found.night.dark_h,
            moonless_dark_h: found.night.moon.moonless_dark_h,
            lit_fraction: found.night.moon.lit_fraction,
            clear_wh_per_m2: found.clear_wh_m2,
        };
        let stretch = |found: trip::Stretch| StretchDocument {
            from: found.from,
            to: found.to,
            night_h: found.night_h,
            dark_h: found.dark_h,
            moonless_dark_h: found.moonless_h,
            darkest_evening: found.darkest.map(|(evening, _)| evening),
            clear_wh_per_m2: found.clear_wh_m2,
        };
        Document {
            nights: nights.iter().map(night).collect(),
            stretches: gathered(nights, per).into_iter().map(stretch).collect(),
        }
    }
}
