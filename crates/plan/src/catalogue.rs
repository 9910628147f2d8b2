//! A catalogue: what could be bought, each thing with its mass and its price.
//!
//! The format is described in `docs/catalogue.md`.

use std::path::Path;

use pack::Pack;
use quantity::Kind;
use rig::Section as WireSection;
use source::{Controller, Profile};

use crate::error::PlanError;
use crate::section::{Section, Source};
use crate::{battery, folder_of, supply, text_of, with_root};

/// What could be bought. A group that is left out is not for sale, and the plan's own stays.
#[derive(Debug, Clone)]
pub struct Catalogue {
    /// The file it was read from.
    pub file: String,
    /// What its prices are counted in.
    pub currency: String,
    /// Packs.
    pub packs: Vec<Offer<Pack>>,
    /// Panels without their controller.
    pub panels: Vec<Offer<source::Panel>>,
    /// Controllers for them.
    pub controllers: Vec<Offer<Rated>>,
    /// Chargers; their hours are those of the plan's.
    pub chargers: Vec<Offer<Ended>>,
    /// Cables by the metre: mass and price are those of one metre of both conductors.
    pub cables: Vec<Offer<WireSection>>,
    /// What the file left open and was taken as usual.
    pub defaults: Vec<String>,
}

/// Something for sale.
#[derive(Debug, Clone, PartialEq)]
pub struct Offer<T> {
    /// Its name.
    pub name: String,
    /// Of one (kg).
    pub mass_kg: f64,
    /// Of one, in the catalogue's currency.
    pub price: f64,
    /// So many at most are bought of it.
    pub most: u32,
    /// What it is.
    pub thing: T,
}

/// A controller and what its maker allows at its panel side.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rated {
    /// The controller.
    pub controller: Controller,
    /// The most power of its panels (W), where it is stated.
    pub most_panel_w: Option<f64>,
    /// The highest voltage of its panels (V), where it is stated.
    pub most_panel_v: Option<f64>,
}

/// A charger without its hours.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ended {
    /// The most it gives (A).
    pub current_a: f64,
    /// How it ends a charge.
    pub profile: Profile,
}

/// What is dearer than this is a slip of the pen.
const MOST_PRICE: f64 = 1e9;
/// So many of a kind of pack or panel are considered where nothing is said.
const USUAL_MOST: i64 = 2;
/// And at most so many.
const MOST_OF_A_KIND: i64 = 20;

impl Catalogue {
    /// Reads a catalogue, and the pack files and records it names.
    ///
    /// # Errors
    /// If the file, or one it names, can't be read or holds a value that can't be.
    pub fn read(path: &Path) -> Result<Catalogue, PlanError> {
        let text = text_of(path)?;
        Catalogue::parse(&path.display().to_string(), folder_of(path), &text)
    }

    /// Reads a catalogue from its text. `folder` is where the relative paths in it begin.
    ///
    /// # Errors
    /// As [`Catalogue::read`].
    pub fn parse(file: &str, folder: &Path, text: &str) -> Result<Catalogue, PlanError> {
        let source = Source { file, text };
        with_root(&source, |mut root| {
            let mut defaults = Vec::new();
            let currency = root.text("currency", "\"crowns\"")?;
            let mut packs = Vec::new();
            for (name, mut entry) in root.named_sections("packs")? {
                let offer = counted(name, &mut entry)?;
                let (strings, _) = battery::read_described(entry, folder, &mut defaults)?;
                let pack = Pack { name: offer.name.clone(), ..strings.all };
                packs.push(offer.of(pack));
            }
            let mut panels = Vec::new();
            for (name, mut entry) in root.named_sections("panels")? {
                let offer = counted(name, &mut entry)?;
                let panel = supply::read_panel(&mut entry, &mut defaults)?;
                entry.finish()?;
                panels.push(offer.of(panel));
            }
            let mut controllers = Vec::new();
            for (name, mut entry) in root.named_sections("controllers")? {
                let offer = single(name, &mut entry)?;
                let rated = read_controller(&mut entry, &mut defaults)?;
                entry.finish()?;
                controllers.push(offer.of(rated));
            }
            if !panels.is_empty() && controllers.is_empty() {
                return Err(root.error(
                    "panels",
                    "here are panels but no controller for them; write such as [controllers.small]",
                ));
            }
            let mut chargers = Vec::new();
            for (name, mut entry) in root.named_sections("chargers")? {
                let offer = single(name, &mut entry)?;
                let current_a = entry.value("charger", Kind::Current)?;
                let profile = supply::read_profile(&mut entry)?;
                entry.finish()?;
                chargers.push(offer.of(Ended { current_a, profile }));
            }
            let mut cables = Vec::new();
            for (name, mut entry) in root.named_sections("cables")? {
                let offer = single(name, &mut entry)?;
                let section = entry
                    .maybe_parsed("section")?
                    .ok_or_else(|| entry.missing("section", Kind::WireArea.examples()))?;
                entry.finish()?;
                cables.push(offer.of(section));
            }
            root.finish()?;
            if packs.is_empty() && panels.is_empty() && chargers.is_empty() && cables.is_empty() {
                return Err(root.error_here(
                    "nothing is for sale here that does something by itself; write such as [packs.small] with mass, price, chemistry and rated",
                ));
            }
            let defaults = gathered(&defaults);
            Ok(Catalogue {
                file: file.to_owned(),
                currency,
                packs,
                panels,
                controllers,
                chargers,
                cables,
                defaults,
            })
        })
    }
}

impl Offer<()> {
    fn of<T>(self, thing: T) -> Offer<T> {
        let Offer { name, mass_kg, price, most, .. } = self;
        Offer { name, mass_kg, price, most, thing }
    }
}

/// Name, mass and price of something of which one is bought.
fn single(name: String, entry: &mut Section<'_>) -> Result<Offer<()>, PlanError> {
    let mass_kg = entry.value("mass", Kind::Mass)?;
    if mass_kg <= 0.0 {
        return Err(entry.error("mass", "all that is carried weighs something, such as \"2.4 kg\""));
    }
    Ok(Offer { name, mass_kg, price: price(entry)?, most: 1, thing: () })
}

/// A plain number; what it is counted in is said once for all.
fn price(entry: &mut Section<'_>) -> Result<f64, PlanError> {
    let text = entry.text("price", "140 (a plain number, in the `currency`)")?;
    match text.trim().parse::<f64>() {
        Ok(price) if (0.0..=MOST_PRICE).contains(&price) => Ok(price),
        _ => Err(entry.error(
            "price",
            format!("{text:?} is no price; write a plain number from 0 to 1e9 such as 140, without a currency: what prices are counted in stands once, in `currency`"),
        )),
    }
}

/// The same for what may be bought several times.
fn counted(name: String, entry: &mut Section<'_>) -> Result<Offer<()>, PlanError> {
    let offer = single(name, entry)?;
    let most = entry.maybe_count("most", 1..=MOST_OF_A_KIND)?.unwrap_or(USUAL_MOST);
    Ok(Offer { most: u32::try_from(most).unwrap_or(1), ..offer })
}

fn read_controller(
    entry: &mut Section<'_>,
    defaults: &mut Vec<String>,
) -> Result<Rated, PlanError> {
    if !entry.has("most_current") {
        return Err(entry.missing("most_current", Kind::Current.examples()));
    }
    Ok(Rated {
        controller: supply::read_controller(entry, defaults)?,
        most_panel_w: entry.maybe("most_panel", Kind::Power)?,
        most_panel_v: entry.maybe("most_voltage", Kind::Voltage)?,
    })
}

/// What was taken as usual, once for all items of a group.
fn gathered(defaults: &[String]) -> Vec<String> {
    let mut gathered: Vec<String> = Vec::new();
    for line in defaults {
        // "panels.NAME.dirt = …", whose name may hold anything
        let group = ["panels", "controllers"]
            .into_iter()
            .find(|group| line.strip_prefix(group).is_some_and(|rest| rest.starts_with('.')));
        let line = match (group, line.split_once(" = ")) {
            (Some(group), Some((path, value))) => {
                let key = path.rsplit('.').next().unwrap_or(path);
                format!("{key} = {value} of {group}")
            }
            _ => line.clone(),
        };
        if !gathered.contains(&line) {
            gathered.push(line);
        }
    }
    gathered
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Whoever copies the documentation's catalogue gets one.
    #[test]
    #[allow(clippy::unwrap_used, reason = "a test")]
    fn the_documented_catalogue_is_one() {
        let text = include_str!("../../../docs/catalogue.md");
        let (_, block) = text.split_once("```toml\n").unwrap();
        let (text, _) = block.split_once("```").unwrap();
        let found = Catalogue::parse("catalogue.md", Path::new(""), text)
            .unwrap_or_else(|error| panic!("{error}"));
        assert_eq!((found.currency.as_str(), found.packs.len()), ("crowns", 1));
        let small = &found.packs[0];
        assert_eq!((small.name.as_str(), small.most, small.price), ("small LFP", 4, 85.0));
        assert_eq!((small.mass_kg, small.thing.rated_ah), (2.4, 20.0));
        assert_eq!(found.panels[0].most, 2, "the usual");
        let tracking = &found.controllers[0].thing;
        assert_eq!((tracking.most_panel_w, tracking.most_panel_v), (Some(110.0), Some(50.0)));
        assert_eq!(found.chargers[0].thing.current_a, 10.0);
        assert_eq!(found.cables[0].thing, WireSection::Mm2(2.5));
        let usual = "efficiency = \"95 %\" of controllers".to_owned();
        assert!(found.defaults.contains(&usual), "{:?}", found.defaults);
    }

    #[test]
    fn errors_point_at_what_is_missing() {
        let check = |items: &str, line: usize, says: &str| {
            let text = format!("format = 1\ncurrency = \"crowns\"\n{items}");
            let error = Catalogue::parse("shop.toml", Path::new(""), &text).unwrap_err();
            assert_eq!(error.at.as_ref().map(|spot| spot.line), Some(line), "{error}");
            assert!(error.message.contains(says), "{error}");
        };
        check("[packs.a]\nmass = \"1 kg\"", 3, "`price` is missing");
        check("[panels.a]\nmass = \"1 kg\"\nprice = 1\npanel = \"9 W\"", 3, "no controller");
        check("[packs.a]\nmass = \"1 kg\"\nprice = 1\nmost = 90", 6, "from 1 to 20");
        check(
            "[controllers.a]\nkind = \"PWM\"\nabsorb = \"14 V\"\nmass = \"1 kg\"\nprice = 1",
            3,
            "`most_current` is missing",
        );
        check("[cables.a]\nsection = \"fat\"\nmass = \"1 kg\"\nprice = 1", 4, "fat");
        check("[packs.a]\nmass = \"0 kg\"\nprice = 1", 4, "weighs something");
        check("[packs.a]\nmass = \"-2 kg\"\nprice = 1", 4, "-2 kg");
        check("[packs.a]\nmass = \"1 kg\"\nprice = -1", 5, "\"-1\" is no price");
        check("[packs.a]\nmass = \"1 kg\"\nprice = \"85 crowns\"", 5, "without a currency");
        check("[packs.a]\nmass = \"1 kg\"\nprice = inf", 5, "is no price");
        check("[packs.a]\nmass = \"1 kg\"\nprice = 1\nmost = 0", 6, "from 1 to 20");
        check("[packs.a]\nmass = \"1 kg\"\nprice = 1\nmost = 1.5", 6, "no whole number");
        check("[packs.a]\nmass = \"1 kg\"\nprice = 1\nfile = \"none.toml\"", 6, "no such file");
        check("[cables.a]\nprice = 1\n[cables.a]\nprice = 2", 5, "duplicate key");
        check("packs = 3", 3, "a table [packs] is wanted");
        check("[packs]\na = 3", 4, "a table [packs.a] is wanted");
        check("[[packs]]\nmass = \"1 kg\"", 3, "a table [packs] is wanted");
        let empty = Catalogue::parse("shop.toml", Path::new(""), "format = 1\ncurrency = \"x\"");
        assert!(empty.unwrap_err().message.contains("nothing is for sale here"));
    }

    /// Each value of the example is replaced by whatever a slip of the pen may leave there: it is
    /// read, or answered with a place.
    #[test]
    fn whatever_stands_in_a_catalogue_is_answered() {
        let lines: Vec<&str> = include_str!("../../../examples/catalogue.toml").lines().collect();
        let slips = [
            "",
            "\"\"",
            "\" \"",
            "-1",
            "0",
            "1e400",
            "nan",
            "-inf",
            "true",
            "[]",
            "[1, 2]",
            "{}",
            "{ a = 1 }",
            "2026-10-09",
            "\"85 crowns\"",
            "\"-5\"",
            "\"1e999 kg\"",
            "\"½\"",
            "\"🪫\"",
            "'''",
            "\"\\u0000\"",
            "\"9\u{202f}kg",
        ];
        let (mut read, mut answered) = (0, 0);
        for (at, line) in lines.iter().enumerate() {
            let Some((key, _)) = line.split_once(" = ") else { continue };
            for slip in slips {
                let wrong = format!("{key} = {slip}");
                let mut changed = lines.clone();
                changed[at] = &wrong;
                match Catalogue::parse("shop.toml", Path::new("/nowhere"), &changed.join("\n")) {
                    Ok(_) => read += 1,
                    Err(error) => {
                        answered += 1;
                        assert!(
                            error.at.is_some() && !error.message.is_empty(),
                            "{wrong}: {error}"
                        );
                    }
                }
            }
        }
        assert!(read > 0 && answered > 5 * read, "{read} {answered}");
    }

    /// A pack measured with this program stands in the shop like any other.
    #[test]
    #[allow(clippy::unwrap_used, reason = "a test")]
    fn a_pack_may_have_a_file_of_its_own_or_a_record() {
        let folder = std::env::temp_dir().join(format!("catalogue-{}", std::process::id()));
        std::fs::create_dir_all(&folder).unwrap();
        let one = "format = 1\n[pack]\nchemistry = \"AGM\"\nrated = \"40 Ah\"\n";
        std::fs::write(folder.join("one.toml"), one).unwrap();
        let examples = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/records");
        let text = format!(
            "format = 1\ncurrency = \"crowns\"\n[packs.filed]\nfile = \"one.toml\"\nmass = \"1 kg\"\nprice = 1\naged = {{ capacity = \"80 %\" }}\n[packs.recorded]\nrecord = {:?}\nmass = \"1 kg\"\nprice = 1\n",
            examples.join("pack-one-discharge.csv")
        );
        let found = Catalogue::parse("shop.toml", &folder, &text).unwrap();
        std::fs::remove_dir_all(&folder).unwrap();
        let [filed, recorded] = &found.packs[..] else { panic!("{:?}", found.packs) };
        let new = Pack::typical(pack::Chemistry::Agm, 40.0).unwrap();
        let kept = filed.thing.circuit.capacity_ah / new.circuit.capacity_ah;
        assert!((kept - 0.8).abs() < 1e-9, "{kept}");
        assert_eq!((filed.name.as_str(), filed.thing.name.as_str()), ("filed", "filed"));
        assert_eq!(recorded.thing.name, "recorded");
        assert!((30.0..45.0).contains(&recorded.thing.circuit.capacity_ah));
    }
}
