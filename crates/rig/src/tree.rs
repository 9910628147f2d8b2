//! The rig as a checked radial tree.

use crate::{AfterBrownout, Converter, Device, RigError, Wire};
use std::collections::{HashMap, HashSet};

/// A wire to a hub: what hangs on it shares its voltage drop.
#[derive(Debug, Clone, PartialEq)]
pub struct Branch {
    /// Its name in the plan.
    pub name: String,
    /// The branch it hangs on; none for the pack's terminals.
    pub feed: Option<String>,
    /// The wire from there.
    pub wire: Wire,
    /// A converter at its far end, whose output feeds what hangs on this branch.
    pub converter: Option<Converter>,
}

/// The devices and how they are fed. Built only by [`Rig::new`], so it is always a tree.
#[derive(Debug, Clone, PartialEq)]
pub struct Rig {
    branches: Vec<Branch>,
    devices: Vec<Device>,
    /// Voltage islands: the pack's own first, then one behind each converter; an island comes
    /// after the one that feeds it.
    pub(crate) islands: Vec<Island>,
}

/// Everything at one voltage level: hubs and leaves behind one fixed voltage.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Island {
    /// The converter's branch; none for the pack's own.
    pub(crate) branch: Option<usize>,
    /// Parents first. Hub 0 is the fixed voltage itself, with no wire.
    pub(crate) hubs: Vec<Hub>,
    pub(crate) leaves: Vec<Leaf>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Hub {
    pub(crate) parent: usize,
    pub(crate) ohm: f64,
    pub(crate) branch: Option<usize>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Leaf {
    pub(crate) hub: usize,
    pub(crate) ohm: f64,
    pub(crate) end: End,
}

/// What a leaf feeds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum End {
    Device(usize),
    /// The island behind a converter.
    Island(usize),
}

impl Rig {
    /// Checks a description and builds the rig.
    ///
    /// # Errors
    /// Names what is wrong: a name twice (a device on two feeds), an unknown feed, a loop, a cable
    /// of no length, an impossible load, a device or converter that needs more than the
    /// converter before it gives.
    pub fn new(branches: Vec<Branch>, devices: Vec<Device>) -> Result<Rig, RigError> {
        check_names(&branches, &devices)?;
        for branch in &branches {
            branch.wire.check(&branch.name)?;
            if let Some(converter) = &branch.converter {
                converter.check(&branch.name)?;
            }
        }
        for device in &devices {
            device.check()?;
        }
        let branches = parents_first(branches)?;
        let islands = islands(&branches, &devices)?;
        Ok(Rig { branches, devices, islands })
    }

    /// The devices, in the order given.
    #[must_use]
    pub fn devices(&self) -> &[Device] {
        &self.devices
    }

    /// The branches, each after the one it hangs on.
    #[must_use]
    pub fn branches(&self) -> &[Branch] {
        &self.branches
    }

    /// Whether a converter stands between the pack and a device, so that what it sees does not
    /// follow the pack.
    #[must_use]
    pub fn is_behind_converter(&self, device: usize) -> bool {
        self.islands
            .iter()
            .skip(1)
            .any(|island| island.leaves.iter().any(|leaf| leaf.end == End::Device(device)))
    }

    /// The device of a name.
    #[must_use]
    pub fn device(&self, name: &str) -> Option<usize> {
        self.devices.iter().position(|device| device.name == name)
    }
}

fn check_names(branches: &[Branch], devices: &[Device]) -> Result<(), RigError> {
    let mut seen = HashSet::new();
    let names = branches.iter().map(|b| &b.name).chain(devices.iter().map(|d| &d.name));
    for name in names {
        if !seen.insert(name) {
            return Err(RigError::Twice { name: name.clone() });
        }
    }
    let known = |feed: &String| branches.iter().any(|branch| branch.name == *feed);
    let feeds = branches
        .iter()
        .map(|b| (&b.name, &b.feed))
        .chain(devices.iter().map(|d| (&d.name, &d.feed)));
    for (name, feed) in feeds {
        if let Some(feed) = feed.as_ref().filter(|feed| !known(feed)) {
            return Err(RigError::UnknownFeed {
                name: name.clone(),
                feed: feed.clone(),
                branches: branches.iter().map(|b| b.name.clone()).collect(),
            });
        }
    }
    Ok(())
}

/// Orders branches so that each comes after the one it hangs on.
fn parents_first(mut rest: Vec<Branch>) -> Result<Vec<Branch>, RigError> {
    let mut placed: HashSet<String> = HashSet::new();
    let mut ordered = Vec::with_capacity(rest.len());
    while !rest.is_empty() {
        let (ready, waiting): (Vec<_>, Vec<_>) = rest
            .into_iter()
            .partition(|branch| branch.feed.as_ref().is_none_or(|feed| placed.contains(feed)));
        if ready.is_empty() {
            return Err(RigError::Loop { names: loop_among(&waiting) });
        }
        placed.extend(ready.iter().map(|branch| branch.name.clone()));
        ordered.extend(ready);
        rest = waiting;
    }
    Ok(ordered)
}

/// Follows feeds until a branch comes up again: each of `waiting` hangs on another of them.
fn loop_among(waiting: &[Branch]) -> Vec<String> {
    let feeds: HashMap<&str, &str> = waiting
        .iter()
        .filter_map(|branch| Some((branch.name.as_str(), branch.feed.as_deref()?)))
        .collect();
    let mut path: Vec<&str> = Vec::new();
    let mut at = waiting.first().map(|branch| branch.name.as_str());
    while let Some(name) = at {
        if let Some(start) = path.iter().position(|&seen| seen == name) {
            return path.split_off(start).into_iter().map(str::to_owned).collect();
        }
        path.push(name);
        at = feeds.get(name).copied();
    }
    path.into_iter().map(str::to_owned).collect()
}

fn islands(branches: &[Branch], devices: &[Device]) -> Result<Vec<Island>, RigError> {
    let root = Hub { parent: 0, ohm: 0.0, branch: None };
    let mut islands = vec![Island { branch: None, hubs: vec![root], leaves: Vec::new() }];
    // where what hangs on a branch is attached: island and hub
    let mut place: HashMap<Option<&str>, (usize, usize)> = HashMap::from([(None, (0, 0))]);
    let at = |place: &HashMap<Option<&str>, (usize, usize)>, feed: &Option<String>| {
        place.get(&feed.as_deref()).copied().unwrap_or((0, 0))
    };
    for (index, branch) in branches.iter().enumerate() {
        let (island, hub) = at(&place, &branch.feed);
        let ohm = branch.wire.ohm();
        let here = if let Some(converter) = branch.converter {
            let feed = islands[island].branch.and_then(|b| branches.get(b));
            if let Some((feed, before)) = feed.and_then(|b| Some((&b.name, b.converter?)))
                && converter.least_input_v > before.output_v
            {
                return Err(RigError::InputTooLow {
                    name: branch.name.clone(),
                    least_input_v: converter.least_input_v,
                    feed: feed.clone(),
                    output_v: before.output_v,
                });
            }
            let behind = islands.len();
            islands[island].leaves.push(Leaf { hub, ohm, end: End::Island(behind) });
            islands.push(Island { branch: Some(index), hubs: vec![root], leaves: Vec::new() });
            (behind, 0)
        } else {
            let hubs = &mut islands[island].hubs;
            hubs.push(Hub { parent: hub, ohm, branch: Some(index) });
            (island, hubs.len() - 1)
        };
        place.insert(Some(&branch.name), here);
    }
    for (index, device) in devices.iter().enumerate() {
        let (island, hub) = at(&place, &device.feed);
        let feed = islands[island].branch.and_then(|b| branches.get(b));
        if let (Some(least_v), Some((feed, converter))) =
            (device.least_voltage_v, feed.and_then(|b| Some((&b.name, b.converter?))))
            && least_v > converter.output_v
        {
            let (name, feed) = (device.name.clone(), feed.clone());
            return Err(RigError::OutputTooLow {
                name,
                least_v,
                feed,
                output_v: converter.output_v,
            });
        }
        if let (AfterBrownout::Restarts { at_v: Some(_), .. }, Some(feed)) =
            (device.after_brownout, feed)
        {
            let (name, feed) = (device.name.clone(), feed.name.clone());
            return Err(RigError::RestartBehind { name, feed });
        }
        islands[island].leaves.push(Leaf { hub, ohm: device.wire.ohm(), end: End::Device(index) });
    }
    Ok(islands)
}
