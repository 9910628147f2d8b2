//! What may stand on the command line.

mod records;
mod values;

mod fit;

use std::path::PathBuf;

use clap::{Args as ClapArgs, Parser, Subcommand};

pub(crate) use records::{Ageing, Bench, Compare, Reading};
use values::{
    angle, cable, charge, coefficient, current, date, duration, elevation, fraction, latitude,
    longitude, moment, power, resistance, speed, temperature, voltage, zone,
};

pub(crate) use fit::Fit;

/// Will it last till dawn? Measured answers for 12 V gear far from mains.
#[derive(Debug, Parser)]
#[command(name = "tilldawn", version, about, max_term_width = 80)]
pub(crate) struct Args {
    #[command(subcommand)]
    pub(crate) command: Command,
}

#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    /// How a pack's capacity fades: the trend of its tests over the years
    Ageing(Ageing),
    /// Measure what a record of a battery test proves
    Bench(Box<Bench>),
    /// Several packs side by side: what they give for their weight and their price
    Compare(Compare),
    /// Measure a battery's model from its records, and keep it as a pack file
    Fit(Fit),
    /// What a day's sun gives on a panel, under a clear sky, by a weather file or on a trip
    Harvest(Box<Harvest>),
    /// When a night begins, gets dark and ends, and what the moon does
    Night(Night),
    /// What the rig of a plan draws, and what reaches its devices through the wires
    Rig(Rig),
    /// How long a pack carries one load
    Runtime(Runtime),
    /// What to buy so that a plan lasts till dawn: weight against price
    Size(Size),
    /// Whether a plan lasts till dawn, night by night
    Trip(Trip),
}

impl Command {
    pub(crate) fn json(&self) -> bool {
        match self {
            Command::Ageing(asked) => asked.json,
            Command::Bench(asked) => asked.json,
            Command::Compare(asked) => asked.json,
            Command::Fit(asked) => asked.json,
            Command::Harvest(asked) => asked.json,
            Command::Night(asked) => asked.json,
            Command::Rig(asked) => asked.json,
            Command::Runtime(asked) => asked.json,
            Command::Size(asked) => asked.json,
            Command::Trip(asked) => asked.json,
        }
    }
}

/// The day is the 24 hours from local mean midnight (00:00 UTC less an hour for each 15° east),
/// by the clock with --zone, by the file's own clock with --weather.
#[derive(Debug, ClapArgs)]
pub(crate) struct Harvest {
    /// A plan whose panels, site and dates are meant
    #[arg(value_name = "PLAN", conflicts_with_all = [
        "latitude", "longitude", "elevation", "date", "tilt", "azimuth", "flat", "turned_every", "turbidity",
        "albedo", "air", "wind", "panel", "coefficient", "weather", "zone",
    ])]
    pub(crate) plan: Option<PathBuf>,
    /// Of the place, such as "56.9 N" [with --weather: the file's]
    #[arg(long, value_parser = latitude, allow_hyphen_values = true, required_unless_present_any = ["plan", "weather"], requires = "longitude")]
    pub(crate) latitude: Option<f64>,
    /// Of the place, such as "4.2 W"
    #[arg(long, value_parser = longitude, allow_hyphen_values = true, requires = "latitude")]
    pub(crate) longitude: Option<f64>,
    /// Of the place, above the sea [default: 0 m]
    #[arg(long, value_parser = elevation, allow_hyphen_values = true)]
    pub(crate) elevation: Option<f64>,
    /// The day, such as 2026-10-09
    #[arg(long, value_parser = date, required_unless_present_any = ["plan", "weather"])]
    pub(crate) date: Option<jiff::civil::Date>,
    /// Take the day by this clock, such as Europe/London
    #[arg(long, value_parser = zone, conflicts_with = "weather")]
    pub(crate) zone: Option<jiff::tz::TimeZone>,
    #[command(flatten)]
    pub(crate) facing: Facing,
    #[command(flatten)]
    pub(crate) light: LightAround,
    /// Temperature of the air, the whole day [default: 12 °C]
    #[arg(long, value_parser = temperature, allow_hyphen_values = true)]
    pub(crate) air: Option<f64>,
    /// Wind at the panel [default: 2 m/s]
    #[arg(long, value_parser = speed)]
    pub(crate) wind: Option<f64>,
    /// What the panel's label says
    #[arg(long, value_parser = power, default_value = "100 W")]
    pub(crate) panel: f64,
    /// How its power changes with the cells' temperature
    #[arg(long, value_parser = coefficient, allow_hyphen_values = true, default_value = "-0.4 %/K")]
    pub(crate) coefficient: f64,
    /// Take the light of this file instead of a clear sky: TMY3, EPW, SURFRAD, SOLRAD, BSRN,
    /// MIDC, CRN, or a table with a heading
    #[arg(long, value_name = "FILE")]
    pub(crate) weather: Option<PathBuf>,
    /// Where the file lacks one of global, beam and diffuse, work it out from the other two;
    /// otherwise what was not measured gives no light
    #[arg(long, requires = "weather")]
    pub(crate) close_gaps: bool,
    /// Write a report, a page for any browser
    #[arg(long, value_name = "FILE")]
    pub(crate) report: Option<PathBuf>,
    /// Print one JSON document instead of a table. poa_wh_per_m2 is the light on the panel's
    /// plane, poa_effective_wh_per_m2 what its cover lets through, panel_wh comes out of the
    /// panel before any controller, sun_hours are those with the sun in sight, peak_sun_hours
    /// hours of full sun that would bring the same light
    #[arg(long)]
    pub(crate) json: bool,
}

/// How a panel stands.
#[derive(Debug, ClapArgs)]
pub(crate) struct Facing {
    /// Tilt of the panel from the level, 0° flat to 90° upright
    #[arg(long, value_parser = angle, allow_hyphen_values = true, conflicts_with_all = ["flat", "turned_every"])]
    pub(crate) tilt: Option<f64>,
    /// Where it faces, from north over east: 180° is south
    #[arg(long, value_parser = angle, allow_hyphen_values = true, conflicts_with_all = ["flat", "turned_every"])]
    pub(crate) azimuth: Option<f64>,
    /// The panel lies flat
    #[arg(long, conflicts_with = "turned_every")]
    pub(crate) flat: bool,
    /// The panel is turned to the sun by hand every so often, such as "2 h"
    #[arg(long, value_parser = duration, value_name = "DURATION")]
    pub(crate) turned_every: Option<f64>,
}

/// What the sky and the ground do to light.
#[derive(Debug, ClapArgs)]
pub(crate) struct LightAround {
    /// Linke turbidity of the clear sky: 2 very clear, 3 clear, 5 hazy [default: 3]
    #[arg(long, value_name = "NUMBER")]
    pub(crate) turbidity: Option<f64>,
    /// Share of light that the ground throws back [default: 25 %]
    #[arg(long, value_parser = fraction)]
    pub(crate) albedo: Option<f64>,
}

#[derive(Debug, ClapArgs)]
pub(crate) struct Night {
    /// A plan whose site and first evening are meant
    #[arg(value_name = "PLAN", conflicts_with_all = ["latitude", "longitude"])]
    pub(crate) plan: Option<PathBuf>,
    /// Of the place, such as "56.9 N"
    #[arg(long, value_parser = latitude, allow_hyphen_values = true, required_unless_present = "plan")]
    pub(crate) latitude: Option<f64>,
    /// Of the place, such as "4.2 W"
    #[arg(long, value_parser = longitude, allow_hyphen_values = true, required_unless_present = "plan")]
    pub(crate) longitude: Option<f64>,
    /// Of the place, above the sea
    #[arg(long, value_parser = elevation, allow_hyphen_values = true, default_value = "0 m")]
    pub(crate) elevation: f64,
    /// Date of the evening at the place, such as 2026-10-09 [default: the plan's, else today]
    #[arg(long, value_parser = date)]
    pub(crate) date: Option<jiff::civil::Date>,
    /// The clock that times are printed in, such as Europe/London [default: the plan's, else by the longitude]
    #[arg(long, value_parser = zone)]
    pub(crate) zone: Option<jiff::tz::TimeZone>,
    /// Show a year of nights from that evening on: dark hours, moonless hours, a clear day's sun
    #[arg(long)]
    pub(crate) season: bool,
    /// Gather a season's nights by
    #[arg(long, value_enum, default_value_t = By::Month, requires = "season")]
    pub(crate) by: By,
    #[command(
        flatten,
        next_help_heading = "The panel of a season [default: the plan's, else flat]"
    )]
    pub(crate) facing: Facing,
    #[command(flatten)]
    pub(crate) light: LightAround,
    /// Write a season's report, a page for any browser
    #[arg(long, value_name = "FILE", requires = "season")]
    pub(crate) report: Option<PathBuf>,
    /// Print one JSON document instead of a table; its times are UTC
    #[arg(long)]
    pub(crate) json: bool,
}

/// By what a season's nights are gathered.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(crate) enum By {
    /// Weeks from Monday
    Week,
    /// Months
    Month,
}

#[derive(Debug, ClapArgs)]
#[command(group = clap::ArgGroup::new("load").required(true).args(["power", "current", "resistance"]))]
pub(crate) struct Runtime {
    /// A pack file or the record of a discharge; leave it out for a typical pack
    #[arg(value_name = "PACK", required_unless_present = "chemistry")]
    pub(crate) pack: Option<PathBuf>,
    /// What the pack is made of: LFP, NMC, flooded, AGM, gel
    #[arg(long)]
    pub(crate) chemistry: Option<pack::Chemistry>,
    /// What its label says, such as 40Ah
    #[arg(long, value_parser = charge, value_name = "CHARGE")]
    pub(crate) rated: Option<f64>,
    /// The load as power, such as "30 W"
    #[arg(long, value_parser = power)]
    pub(crate) power: Option<f64>,
    /// The load as current, such as "2.5 A"
    #[arg(long, value_parser = current)]
    pub(crate) current: Option<f64>,
    /// The load as a resistor, such as "4.8 ohm"
    #[arg(long, value_parser = resistance)]
    pub(crate) resistance: Option<f64>,
    /// The cable to the load: its resistance there and back ("0.35 ohm"), or its length one way and
    /// section ("2.5 m of 16 AWG")
    #[arg(long, value_parser = cable, value_name = "CABLE")]
    pub(crate) cable: Option<f64>,
    /// Least voltage at the load
    #[arg(long, value_parser = voltage, default_value = "12.0 V", value_name = "VOLTAGE")]
    pub(crate) cutoff: f64,
    /// Charge in it when the load comes on
    #[arg(long, value_parser = fraction, default_value = "100 %", value_name = "SHARE")]
    pub(crate) from: f64,
    /// Of the battery, all the time
    #[arg(long, value_parser = temperature, allow_hyphen_values = true, default_value = "25 °C")]
    pub(crate) temperature: f64,
    /// Print one JSON document instead of a table
    #[arg(long)]
    pub(crate) json: bool,
}

#[derive(Debug, ClapArgs)]
pub(crate) struct Rig {
    /// The plan, a TOML file
    #[arg(value_name = "PLAN")]
    pub(crate) plan: PathBuf,
    /// Write a report, a page for any browser
    #[arg(long, value_name = "FILE")]
    pub(crate) report: Option<PathBuf>,
    /// Print one JSON document instead of tables
    #[arg(long)]
    pub(crate) json: bool,
}

#[derive(Debug, ClapArgs)]
pub(crate) struct Size {
    /// The plan, a TOML file; its nights, gear and confidence count
    #[arg(value_name = "PLAN")]
    pub(crate) plan: PathBuf,
    /// What could be bought, a TOML file
    #[arg(long, value_name = "FILE")]
    pub(crate) catalogue: PathBuf,
    /// How many random trips for each combination that is not clear sooner
    #[arg(long, default_value_t = 1000, value_parser = clap::value_parser!(u64).range(1..=1_000_000))]
    pub(crate) draws: u64,
    /// Seed of the random draws; the same seed gives the same answer
    #[arg(long, default_value_t = 1)]
    pub(crate) seed: u64,
    /// Write a report, a page for any browser
    #[arg(long, value_name = "FILE")]
    pub(crate) report: Option<PathBuf>,
    /// Print one JSON document instead of tables
    #[arg(long)]
    pub(crate) json: bool,
}

#[derive(Debug, ClapArgs)]
#[command(mut_group("Reading", |group| group.requires("measured")))]
pub(crate) struct Trip {
    /// The plan, a TOML file
    #[arg(value_name = "PLAN")]
    pub(crate) plan: PathBuf,
    /// How many random trips
    #[arg(long, default_value_t = 1000, value_parser = clap::value_parser!(u64).range(1..=1_000_000))]
    pub(crate) draws: u64,
    /// Draw more until each night's 95 % interval is within ± this, such as "1 %"
    #[arg(long, value_parser = fraction, value_name = "SHARE")]
    pub(crate) within: Option<f64>,
    /// Try single changes and rank what would mend the weakest night
    #[arg(long)]
    pub(crate) fixes: bool,
    /// After the trip: compare the forecast with what a meter recorded of the pack, and tell what
    /// explains where they part
    #[arg(long, value_name = "RECORD")]
    pub(crate) measured: Option<PathBuf>,
    /// When the record's first row was, by the site's clock or that of --clock, where it does not
    /// tell or its own clock was wrong: 2026-10-09T18:35
    #[arg(long, value_parser = moment, value_name = "MOMENT", requires = "measured")]
    pub(crate) began: Option<jiff::civil::DateTime>,
    /// Seed of the random draws; the same seed gives the same answer
    #[arg(long, default_value_t = 1)]
    pub(crate) seed: u64,
    /// Write a report, a page for any browser
    #[arg(long, value_name = "FILE")]
    pub(crate) report: Option<PathBuf>,
    /// Write a card for the field, one page to print: what the meter should show hour by hour
    #[arg(long, value_name = "FILE")]
    pub(crate) card: Option<PathBuf>,
    /// Exit with 1 if a night is less sure than this, such as 0.95
    #[arg(long, value_parser = fraction, value_name = "PROBABILITY")]
    pub(crate) check: Option<f64>,
    /// Print one JSON document instead of tables
    #[arg(long)]
    pub(crate) json: bool,
    #[command(flatten)]
    pub(crate) reading: Reading,
}
