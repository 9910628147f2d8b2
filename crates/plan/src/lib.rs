//! The files a person writes (TOML), checked into domain values, with errors that point.
//!
//! [`Plan::read`] takes a plan file; [`read_pack_file`] a file that holds one pack. The format is
//! described in `docs/plan-file.md`.

mod air;
mod battery;
mod catalogue;
mod devices;
mod error;
mod gear;
mod measured;
mod price;
mod reading;
mod rows;
mod section;
mod series;
mod site;
mod strings;
mod supply;
mod weather;

use std::path::{Path, PathBuf};

use toml::de::DeTable;

pub use air::Air;
pub use battery::Battery;
pub use catalogue::{Catalogue, Ended, Offer, Rated};
pub use devices::as_devices;
pub use error::{PlanError, Spot};
pub use gear::{CUTOFF_V, Gear};
pub use measured::pack as pack_from_record;
pub use rows::{BatteryRun, battery_run, most_together, pack_text};
pub use series::{Candidate, Capacity, Comparison, History, PastTest};
pub use site::{COVERAGE_95, Dates, MOST_NIGHTS, Site};
pub use supply::{AIM_BY_HAND, Charger, Panel, Supply};
pub use weather::{ClearnessDay, FileDays, Sun, Weather};

use section::{Section, Source};

/// The version of the file format this program reads and writes.
pub const FORMAT: i64 = 1;

/// A plan: site, dates, pack, rig and sources.
#[derive(Debug, Clone)]
pub struct Plan {
    /// The file it was read from.
    pub file: String,
    /// Where.
    pub site: Site,
    /// In what air.
    pub air: Air,
    /// Which nights, and how sure they should be.
    pub dates: Dates,
    /// What sky its days may have.
    pub weather: Weather,
    /// The word its prices are counted in, where it names one.
    pub currency: Option<String>,
    /// From what battery.
    pub battery: Battery,
    /// What it feeds.
    pub gear: Gear,
    /// What fills it.
    pub supplies: Vec<Supply>,
    /// What the file left open and was taken as usual, a sentence each.
    pub defaults: Vec<String>,
}

impl Plan {
    /// Reads a plan file, and the files it names.
    ///
    /// # Errors
    /// If the file, or one it names, can't be read or holds a value that can't be.
    pub fn read(path: &Path) -> Result<Plan, PlanError> {
        let text = text_of(path)?;
        Plan::parse(&path.display().to_string(), folder_of(path), &text)
    }

    /// Reads a plan from its text. `folder` is where the relative paths in it begin.
    ///
    /// # Errors
    /// As [`Plan::read`].
    pub fn parse(file: &str, folder: &Path, text: &str) -> Result<Plan, PlanError> {
        let source = Source { file, text };
        with_root(&source, |mut root| {
            let mut defaults = Vec::new();
            let currency = root.maybe_text("currency")?;
            let counted_in = currency.as_deref();
            let mut section = root.section("site")?;
            let site = site::read_site(&mut section, &mut defaults)?;
            section.finish()?;
            let air_section = root.maybe_section("air")?;
            let dates = site::read_dates(root.section("trip")?, &mut defaults)?;
            let weather_section = root.maybe_section("weather")?;
            let battery =
                battery::read(root.section("pack")?, (folder, counted_in), &mut defaults)?;
            let full_v = battery.pack.circuit.ocv.at(1.0);
            let gear = gear::read(root.section("rig")?, full_v, &mut defaults)?;
            let air = air::read(air_section, gear.follows_dew(), &mut defaults)?;
            let about = supply::About { site: &site, dates: &dates, currency: counted_in };
            let mut supplies = Vec::new();
            for (name, entry) in root.named_sections("sources")? {
                supplies.push(supply::read(name, entry, &about, &mut defaults)?);
            }
            let panels = supplies.iter().any(|supply| matches!(supply, Supply::Panel(_)));
            let matters = panels || gear.only_when_clear.contains(&true) || gear.follows_dew();
            let around = weather::Around { site: &site, dates: &dates, folder, matters };
            let weather = weather::read(weather_section, &around, &mut defaults)?;
            root.finish()?;
            Ok(Plan {
                file: file.to_owned(),
                site,
                air,
                dates,
                weather,
                currency,
                battery,
                gear,
                supplies,
                defaults,
            })
        })
    }
}

/// Reads a file that holds one pack: `format = 1` and a table `[pack]`, or the form in which a
/// fitted pack is kept, which says its `[provenance]`. Gives the pack and the record it was
/// measured from; what was taken as usual is added to `defaults`.
///
/// # Errors
/// If the file, or the record it names, can't be read or holds a value that can't be.
pub fn read_pack_file(
    path: &Path,
    defaults: &mut Vec<String>,
) -> Result<(pack::Pack, Option<PathBuf>), PlanError> {
    let text = text_of(path)?;
    let file = path.display().to_string();
    let source = Source { file: &file, text: &text };
    if let Some(pack) = kept_pack(&source)? {
        return Ok((pack, None));
    }
    with_root(&source, |mut root| {
        let (strings, record) =
            battery::read_model(root.section("pack")?, folder_of(path), defaults)?;
        root.finish()?;
        Ok((strings.all, record))
    })
}

/// The pack of a file in the form in which packs are kept; `None` if it is of another form.
fn kept_pack(source: &Source<'_>) -> Result<Option<pack::Pack>, PlanError> {
    let says_provenance = DeTable::parse(source.text)
        .is_ok_and(|document| document.get_ref().contains_key("provenance"));
    if !says_provenance {
        return Ok(None);
    }
    toml::from_str(source.text)
        .map(Some)
        .map_err(|error| source.error(error.span(), "", error.message()))
}

/// Parses a file, checks its format's version, and hands on its outermost table.
fn with_root<T>(
    source: &Source<'_>,
    read: impl FnOnce(Section<'_>) -> Result<T, PlanError>,
) -> Result<T, PlanError> {
    let document = DeTable::parse(source.text).map_err(|error| {
        source.error(error.span(), "", format!("this is not TOML: {}", error.message()))
    })?;
    let mut root = Section::root(source, &document);
    match root.maybe_count("format", 1..=i64::MAX)? {
        Some(FORMAT) => {}
        Some(newer) => {
            return Err(root.error(
                "format",
                format!(
                    "this file is of format {newer}; this version of tilldawn reads format {FORMAT}"
                ),
            ));
        }
        None => {
            return Err(root.error_here(format!("the line `format = {FORMAT}` is missing; it says which version of the file format this is")));
        }
    }
    read(root)
}

fn text_of(path: &Path) -> Result<String, PlanError> {
    let whole = |message: String| PlanError {
        file: path.display().to_string(),
        at: None,
        path: String::new(),
        message,
    };
    let bytes = std::fs::read(path).map_err(|error| {
        whole(match error.kind() {
            std::io::ErrorKind::NotFound => "there is no such file".to_owned(),
            _ => format!("can't be read: {error}"),
        })
    })?;
    String::from_utf8(bytes)
        .map_err(|_| whole("is no UTF-8 text; a plan is a text file (TOML)".to_owned()))
}

fn folder_of(path: &Path) -> &Path {
    path.parent().unwrap_or(Path::new(""))
}

#[cfg(test)]
mod tests {
    use super::*;

    const PLAN: &str = r#"
format = 1
currency = "crowns"
[site]
latitude = "56.9 N"
longitude = "4.2 W"
[trip]
first_evening = "2026-10-09"
[pack]
chemistry = "LFP"
rated = "20 Ah"
mass = "5 kg"
price = 170
in_parallel = 2
[rig.devices.mount]
power = "9 W"
least_voltage = "11.4 V"
least_settable = "10.8 V"
when = "dark"
[sources.panel]
panel = "100 W"
tilt = "45°"
azimuth = "180°"
controller = { kind = "MPPT", absorb = "14.4 V" }
mass = "7.5 kg"
price = 160.5
"#;

    fn parse(text: &str) -> Result<Plan, PlanError> {
        Plan::parse("plan.toml", Path::new(""), text)
    }

    #[test]
    #[allow(clippy::unwrap_used, reason = "a test")]
    fn things_weigh_and_cost() {
        let plan = parse(PLAN).unwrap();
        assert_eq!(plan.currency.as_deref(), Some("crowns"));
        let battery = &plan.battery;
        assert_eq!((battery.mass_kg, battery.price), (Some(5.0), Some(170.0)));
        assert_eq!((battery.strings, battery.one.rated_ah, battery.pack.rated_ah), (2, 20.0, 40.0));
        assert_eq!(plan.gear.least_settable_v, [Some(10.8)]);
        let [Supply::Panel(panel)] = &plan.supplies[..] else { panic!("{:?}", plan.supplies) };
        assert_eq!((panel.mass_kg, panel.price), (Some(7.5), Some(160.5)));
    }

    #[test]
    #[allow(clippy::unwrap_used, reason = "a test")]
    fn unlike_packs_are_one() {
        let beside = "in_parallel = 2\n[pack.beside.old]\nchemistry = \"AGM\"\nrated = \"30 Ah\"\n";
        let battery = parse(&PLAN.replace("in_parallel = 2\n", beside)).unwrap().battery;
        assert_eq!((battery.strings, battery.one.rated_ah), (1, 70.0));
        assert_eq!(battery.one, battery.pack);
    }

    #[test]
    #[allow(clippy::unwrap_used, reason = "a test")]
    fn a_price_needs_a_currency_and_a_cutoff_room() {
        for (from, to, line, says) in [
            ("currency = \"crowns\"\n", "", 12, "currency = \"crowns\""),
            ("price = 170", "price = \"dear\"", 13, "\"dear\""),
            ("10.8 V", "11.8 V", 18, "not above the least voltage it works at now, 11.4 V"),
        ] {
            let error = parse(PLAN.replace(from, to).as_str()).unwrap_err();
            assert_eq!(error.at.as_ref().map(|spot| spot.line), Some(line), "{error}");
            assert!(error.message.contains(says), "{error}");
        }
    }

    /// Whoever copies the documentation's plan gets a plan, with all of the rig in it.
    #[test]
    #[allow(clippy::unwrap_used, reason = "a test")]
    fn the_documented_plan_is_one() {
        let text = include_str!("../../../docs/plan-file.md");
        let (_, block) = text.split_once("```toml\n").unwrap();
        let (plan, _) = block.split_once("```").unwrap();
        let plan = Plan::parse("plan-file.md", Path::new(""), plan)
            .unwrap_or_else(|error| panic!("{error}"));
        let rig = &plan.gear.rig;
        assert_eq!((rig.branches().len(), rig.devices().len()), (4, 6));
        let uses: Vec<&str> = rig
            .devices()
            .iter()
            .flat_map(|device| &device.uses)
            .map(|used| used.name.as_str())
            .collect();
        assert_eq!(uses, ["tracking", "parked", "", "", "charging", "charging", ""]);
        assert_eq!(plan.gear.only_when_clear, [false, true, false, false, false, false]);
        assert_eq!(rig.devices()[5].least_voltage_v, Some(207.0), "90 % of 230 V");
    }
}
