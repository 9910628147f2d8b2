//! `[rig]`: devices, branches and their wires.

mod device;
mod feed;
mod weather;

pub(crate) use feed::read_wire;

use quantity::Kind;
use rig::{AfterBrownout, Branch, Device, Follows, Rig, RigError};

use crate::error::PlanError;
use crate::section::Section;
use crate::site::COVERAGE_95;

/// The rig and how well its loads are known.
#[derive(Debug, Clone, PartialEq)]
pub struct Gear {
    /// The devices and how they are fed.
    pub rig: Rig,
    /// Relative standard uncertainty of each device's load, in the order of [`Rig::devices`].
    pub load_spread: Vec<f64>,
    /// The lowest voltage (V) that each device's cutoff may be set to, where it can be set.
    pub least_settable_v: Vec<Option<f64>>,
    /// Whether each device works only while the sky is clear, in the same order.
    pub only_when_clear: Vec<bool>,
}

impl Gear {
    /// Whether any load hangs on the dew point.
    pub(crate) fn follows_dew(&self) -> bool {
        let uses = self.rig.devices().iter().flat_map(|device| &device.uses);
        uses.into_iter().any(|used| matches!(used.follows, Some(Follows::Dew(_))))
    }
}

/// What a load is taken to be known to where nothing is said: ± 10 %, about what a meter of the
/// cheap kind and a device's moods leave open (common practice, no source).
const LOAD_PLUS_MINUS: f64 = 0.10;

/// The least voltage of a device where nothing is said (common practice, no source).
pub const CUTOFF_V: f64 = 12.0;

/// The same for a device behind a converter, as a share of what that gives (common practice, no
/// source).
const LEAST_SHARE: f64 = 0.9;

/// `full_v` is the most the pack gives without a charger.
pub(crate) fn read(
    mut section: Section<'_>,
    full_v: f64,
    defaults: &mut Vec<String>,
) -> Result<Gear, PlanError> {
    let least_voltage_v = section.maybe("least_voltage", Kind::Voltage)?;
    // kept, so that an error of the finished rig finds the line it speaks of
    let mut entries = Vec::new();
    let mut branches = Vec::new();
    for (name, mut entry) in section.named_sections("branches")? {
        branches.push(feed::read_branch(name.clone(), &mut entry, defaults)?);
        entry.finish()?;
        entries.push((name, entry));
    }
    let mut devices = Vec::new();
    let mut load_spread = Vec::new();
    let mut least_settable_v = Vec::new();
    let mut only_when_clear = Vec::new();
    let described = section.named_sections("devices")?;
    if described.is_empty() {
        return Err(section.error_here(
            "the rig has no device; write one such as [rig.devices.mount] with power = \"9 W\"",
        ));
    }
    let mut taken = Taken::default();
    for (name, mut entry) in described {
        let (mut device, spread) = device::read(name.clone(), &mut entry)?;
        only_when_clear.push(entry.maybe_bool("only_when_clear")?.unwrap_or(false));
        if device.least_voltage_v.is_none() {
            device.least_voltage_v = Some(taken.least_v(&device, &branches, least_voltage_v));
        }
        least_settable_v.push(device::read_settable(&mut entry, device.least_voltage_v)?);
        taken.restart(&device);
        load_spread.push(spread.unwrap_or_else(|| taken.spread(&name)));
        devices.push(device);
        entry.finish()?;
        entries.push((name, entry));
    }
    taken.tell(defaults);
    section.finish()?;
    let starved = branches.iter().find(|branch| {
        let converter =
            branch.converter.filter(|_| output_v(branch.feed.as_deref(), &branches).is_none());
        converter.is_some_and(|converter| converter.least_input_v > full_v)
    });
    if let Some((branch, converter)) = starved.and_then(|branch| Some((branch, branch.converter?)))
    {
        let message = format!(
            "this converter needs at least {} at its input, but even the full pack gives {} only",
            Kind::Voltage.show(converter.least_input_v),
            Kind::Voltage.show(full_v)
        );
        return Err(at(&entries, &section, &branch.name, &["converter", "inverter"], message));
    }
    let rig = Rig::new(branches, devices).map_err(|error| {
        at(&entries, &section, error.name().unwrap_or_default(), keys(&error), error.to_string())
    })?;
    Ok(Gear { rig, load_spread, least_settable_v, only_when_clear })
}

/// What was taken as usual, since nothing is said.
#[derive(Default)]
struct Taken {
    least: Vec<String>,
    least_behind: Vec<String>,
    restart: Vec<String>,
    spread: Vec<String>,
}

impl Taken {
    fn least_v(&mut self, device: &Device, branches: &[Branch], stated_v: Option<f64>) -> f64 {
        match (output_v(device.feed.as_deref(), branches), stated_v) {
            (Some(output_v), _) => {
                self.least_behind.push(device.name.clone());
                LEAST_SHARE * output_v
            }
            (None, Some(stated_v)) => stated_v,
            (None, None) => {
                self.least.push(device.name.clone());
                CUTOFF_V
            }
        }
    }

    fn restart(&mut self, device: &Device) {
        if let AfterBrownout::Restarts { at_v: None, .. } = device.after_brownout {
            self.restart.push(device.name.clone());
        }
    }

    fn spread(&mut self, name: &str) -> f64 {
        self.spread.push(name.to_owned());
        LOAD_PLUS_MINUS / COVERAGE_95
    }

    fn tell(&self, defaults: &mut Vec<String>) {
        for (what, names) in [
            ("least_voltage = \"12 V\" for", &self.least),
            ("90 % of its converter's output as the least voltage of", &self.least_behind),
            (
                "a restart 0.5 V above its least voltage, or the least input of its converter, of",
                &self.restart,
            ),
            ("± 10 % on the load of", &self.spread),
        ] {
            if !names.is_empty() {
                defaults.push(format!("{what} {}", names.join(", ")));
            }
        }
    }
}

/// What the nearest converter above a feed gives; none if the pack itself feeds it.
fn output_v(feed: Option<&str>, branches: &[Branch]) -> Option<f64> {
    let find = |name: &str| branches.iter().find(|branch| branch.name == name);
    // feeds that run in a loop are refused later; here they only have to end
    std::iter::successors(feed.and_then(find), |branch| branch.feed.as_deref().and_then(find))
        .take(branches.len())
        .find_map(|branch| branch.converter.map(|converter| converter.output_v))
}

/// An error at the first of `keys` that the branch or device called `name` has, or at its table.
fn at(
    entries: &[(String, Section<'_>)],
    rig: &Section<'_>,
    name: &str,
    keys: &[&str],
    message: String,
) -> PlanError {
    // of two of one name the later one is the slip
    let Some((_, entry)) = entries.iter().rev().find(|(entry, _)| entry == name) else {
        return rig.error_here(message);
    };
    match keys.iter().find(|key| entry.has(key)) {
        Some(key) => entry.error(key, message),
        None => entry.error_here(message),
    }
}

/// The keys an error of the rig speaks of.
fn keys(error: &RigError) -> &'static [&'static str] {
    match error {
        RigError::UnknownFeed { .. } | RigError::Loop { .. } => &["feed"],
        RigError::Length { .. } | RigError::Section { .. } | RigError::CopperTemperature { .. } => {
            &["cable"]
        }
        RigError::Connectors { .. } => &["connectors"],
        RigError::Fuse { .. } => &["fuse"],
        RigError::Load { .. } => &["power", "current", "resistance"],
        RigError::LeastVoltage { .. } | RigError::OutputTooLow { .. } => &["least_voltage", "feed"],
        RigError::RestartTooLow { .. } | RigError::RestartBehind { .. } => &["after_brownout"],
        RigError::PeakShare { .. } | RigError::PeakKind { .. } => &["peak"],
        RigError::Follows { .. } => &["dew", "cooling"],
        RigError::Converter { .. } | RigError::InputTooLow { .. } => &["converter", "inverter"],
        RigError::Twice { .. } | RigError::NoUse { .. } => &[],
    }
}
