//! Which wire to change so that a device gets its voltage.

use super::Terms;
use crate::{Cable, Night, Rig, Section, Wire};

/// A change of one wire that would do.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Advice {
    /// The branch or device whose cable it is, by its place in the rig.
    pub place: Place,
    /// The thinnest standard section that would do at the present length.
    pub section: Option<Section>,
    /// The greatest length (m, one way) that would do with the present section; none if no
    /// length would.
    pub length_m: Option<f64>,
}

/// A wire's place in the rig.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Place {
    /// Index among [`Rig::branches`].
    Branch(usize),
    /// Index among [`Rig::devices`].
    Device(usize),
}

/// Halvings of the length in search for the greatest that would do.
const HALVINGS: usize = 20;
/// The least length (m) worth proposing.
const LEAST_M: f64 = 0.1;

impl Rig {
    /// The wire at a place.
    #[must_use]
    pub fn wire(&self, place: Place) -> Option<&Wire> {
        match place {
            Place::Branch(b) => self.branches().get(b).map(|branch| &branch.wire),
            Place::Device(d) => self.devices().get(d).map(|device| &device.wire),
        }
    }

    /// The name of the branch or device at a place.
    #[must_use]
    pub fn name_at(&self, place: Place) -> Option<&str> {
        match place {
            Place::Branch(b) => self.branches().get(b).map(|branch| branch.name.as_str()),
            Place::Device(d) => self.devices().get(d).map(|device| device.name.as_str()),
        }
    }

    /// The same rig with another wire at a place.
    ///
    /// # Errors
    /// If the wire can't be.
    pub fn with_wire(&self, place: Place, wire: Wire) -> Result<Rig, crate::RigError> {
        let (mut branches, mut devices) = (self.branches().to_vec(), self.devices().to_vec());
        match place {
            Place::Branch(b) => branches.iter_mut().skip(b).take(1).for_each(|x| x.wire = wire),
            Place::Device(d) => devices.iter_mut().skip(d).take(1).for_each(|x| x.wire = wire),
        }
        Rig::new(branches, devices)
    }
}

/// Tries each cable between the pack and the device, the device's own first.
pub(super) fn find(
    rig: &Rig,
    device: usize,
    night: &Night,
    on: &[usize],
    terms: &Terms,
) -> Vec<Advice> {
    let loads: Vec<_> = on
        .iter()
        .filter_map(|&s| night.states.get(s))
        .map(|state| rig.greatest_loads(state))
        .collect();
    let would_do = |place: Place, wire: Wire| {
        rig.with_wire(place, wire).is_ok_and(|rig| {
            loads.iter().all(|loads| {
                rig.solve(terms.end_v, loads).is_ok_and(|seen| seen.devices[device].ok)
            })
        })
    };
    let feed = rig.devices()[device].feed.as_deref();
    let above = rig.path(feed).filter_map(|branch| {
        rig.branches().iter().position(|other| other.name == branch.name).map(Place::Branch)
    });
    std::iter::once(Place::Device(device))
        .chain(above)
        .filter_map(|place| {
            let wire = *rig.wire(place)?;
            let cable = wire.cable?;
            let with = |cable: Cable| would_do(place, Wire { cable: Some(cable), ..wire });
            let section = std::iter::successors(cable.section.thicker(), |s| s.thicker())
                .find(|&section| with(Cable { section, ..cable }));
            let length_m = longest(cable.length_m, |length_m| with(Cable { length_m, ..cable }));
            (section.is_some() || length_m.is_some()).then_some(Advice { place, section, length_m })
        })
        .collect()
}

/// The greatest length up to `now_m` that would do.
fn longest(now_m: f64, would_do: impl Fn(f64) -> bool) -> Option<f64> {
    let (mut fine_m, mut long_m) = (LEAST_M.min(now_m), now_m);
    if !would_do(fine_m) {
        return None;
    }
    for _ in 0..HALVINGS {
        let middle_m = 0.5 * (fine_m + long_m);
        if would_do(middle_m) {
            fine_m = middle_m;
        } else {
            long_m = middle_m;
        }
    }
    Some(fine_m)
}
