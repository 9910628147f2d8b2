//! What in a rig can start a fire or hurt someone.

use super::{SegmentCheck, StateBudget};
use crate::{Converter, Follows, Load, Rig, Section};
use quantity::Kind;
use std::fmt::{Display, Formatter, Result};

/// What every caution ends with.
pub const DEFERRAL: &str = "These figures are a guide and no approval: the makers' instructions and \
    your local electrical code come first, and where they ask for it, a licensed electrician.";

/// Distance along the wire (m) within which the first fuse belongs: 7 inches (ABYC E-11, which
/// allows more only in a sheath or enclosure).
const FUSE_WITHIN_M: f64 = 0.175;
/// Heating power (W) from which a strip left alone deserves a word (common practice, no source).
const HOT_W: f64 = 5.0;
/// Direct voltage (V) above which touching it is no longer taken as harmless (IEC 60364-4-41,
/// extra-low voltage without basic protection in dry places; from memory).
pub(super) const TOUCH_V: f64 = 60.0;

/// Something to see to, with the numbers that call for it.
#[derive(Debug, Clone, PartialEq)]
pub enum Caution {
    /// Nothing between the pack and this wire breaks a short circuit.
    NoFuse {
        /// The wire.
        wire: String,
        /// A blade fuse (A) that would do for it.
        fitting_a: Option<f64>,
    },
    /// The first fuse sits too far along the wire.
    FuseFar {
        /// The wire.
        wire: String,
        /// How far (m).
        distance_m: f64,
    },
    /// The fuse lets more through than the wire carries.
    FuseTooLarge {
        /// The wire.
        wire: String,
        /// The fuse before it (A).
        fuse_a: f64,
        /// What the wire carries (A).
        ampacity_a: f64,
    },
    /// The fuse blows in ordinary use.
    FuseTooSmall {
        /// The wire.
        wire: String,
        /// The fuse (A).
        fuse_a: f64,
        /// The current (A).
        peak_a: f64,
    },
    /// The wire gets too hot in ordinary use.
    OverAmpacity {
        /// The wire.
        wire: String,
        /// The current (A).
        peak_a: f64,
        /// What it carries (A).
        ampacity_a: f64,
        /// The thinnest standard section that would do.
        section: Option<Section>,
    },
    /// No table says what so thin a wire carries.
    TooThin {
        /// The wire.
        wire: String,
        /// Its section.
        section: Section,
    },
    /// A converter gives more than it is rated for.
    ConverterOverload {
        /// The branch.
        name: String,
        /// What it gives (W).
        output_w: f64,
        /// What it is rated for (W).
        rated_w: f64,
    },
    /// An output that is dangerous to touch.
    DangerousOutput {
        /// The branch.
        name: String,
        /// Its voltage (V).
        output_v: f64,
    },
    /// Something hot that runs while nobody watches.
    HotLoad {
        /// The device.
        device: String,
        /// Its greatest power (W).
        most_w: f64,
    },
}

impl Display for Caution {
    fn fmt(&self, f: &mut Formatter<'_>) -> Result {
        let amp = |a: f64| Kind::Current.show(a);
        match self {
            Caution::NoFuse { wire, fitting_a } => {
                write!(
                    f,
                    "no fuse between the pack and {wire:?}: a short circuit there can set the cable on fire; put one at the battery"
                )?;
                match fitting_a {
                    Some(fitting_a) => write!(f, ", of {} for example", amp(*fitting_a)),
                    None => Ok(()),
                }
            }
            Caution::FuseFar { wire, distance_m } => write!(
                f,
                "the fuse of {wire:?} sits {} from the battery: the wire before it has no protection; within {} is good practice",
                Kind::Length.show(*distance_m),
                Kind::Length.show(FUSE_WITHIN_M)
            ),
            Caution::FuseTooLarge { wire, fuse_a, ampacity_a } => write!(
                f,
                "{wire:?} is behind a fuse of {} but carries {}: the cable would burn before the fuse blows; take a smaller fuse or a thicker cable",
                amp(*fuse_a),
                amp(*ampacity_a)
            ),
            Caution::FuseTooSmall { wire, fuse_a, peak_a } => write!(
                f,
                "{wire:?} takes up to {} through a fuse of {}: it will blow in ordinary use",
                amp(*peak_a),
                amp(*fuse_a)
            ),
            Caution::OverAmpacity { wire, peak_a, ampacity_a, section } => {
                write!(
                    f,
                    "{wire:?} takes up to {} but its cable carries {}: it gets too hot",
                    amp(*peak_a),
                    amp(*ampacity_a)
                )?;
                match section {
                    Some(section) => write!(f, "; {section} would carry it"),
                    None => Ok(()),
                }
            }
            Caution::TooThin { wire, section } => write!(
                f,
                "{section} for {wire:?} is thinner than any wire the table knows; ask its maker what it carries"
            ),
            Caution::ConverterOverload { name, output_w, rated_w } => write!(
                f,
                "the converter {name:?} would give {} but is rated for {}",
                Kind::Power.show(*output_w),
                Kind::Power.show(*rated_w)
            ),
            Caution::DangerousOutput { name, output_v } => write!(
                f,
                "{name:?} gives {}, which can kill: keep it dry, whole and earthed as its maker says",
                Kind::Voltage.show(*output_v)
            ),
            Caution::HotLoad { device, most_w } => write!(
                f,
                "{device:?} turns up to {} into heat while nobody watches: fix it so that it can't slip onto anything that burns or melts",
                Kind::Power.show(*most_w)
            ),
        }
    }
}

pub(super) fn raise(rig: &Rig, segments: &[SegmentCheck], states: &[StateBudget]) -> Vec<Caution> {
    let wires = segments.iter().flat_map(of_wire);
    let converters = rig.branches().iter().enumerate().flat_map(|(b, branch)| {
        branch.converter.map(|converter| of_converter(&branch.name, b, &converter, states))
    });
    let hot = rig.devices().iter().filter_map(|device| {
        let heats = |used: &&crate::Use| {
            matches!(used.load, Load::Resistance(_))
                || matches!(used.follows, Some(Follows::Dew(_)))
        };
        let most_w = device
            .uses
            .iter()
            .filter(heats)
            .map(|used| used.greatest().power_w(crate::device::NOMINAL_V))
            .fold(0.0, f64::max);
        (most_w >= HOT_W).then(|| Caution::HotLoad { device: device.name.clone(), most_w })
    });
    wires.chain(converters.flatten()).chain(hot).collect()
}

fn of_converter(
    name: &str,
    branch: usize,
    converter: &Converter,
    states: &[StateBudget],
) -> Vec<Caution> {
    let output_w = states
        .iter()
        .filter_map(|state| state.greatest_at_end.as_ref().ok())
        .map(|seen| seen.branches[branch].output_w())
        .fold(0.0, f64::max);
    let (name, output_v) = (|| name.to_owned(), converter.output_v);
    let mut found = Vec::new();
    if let Some(rated_w) = converter.rated_w.filter(|&rated_w| output_w > rated_w) {
        found.push(Caution::ConverterOverload { name: name(), output_w, rated_w });
    }
    if output_v > TOUCH_V {
        found.push(Caution::DangerousOutput { name: name(), output_v });
    }
    found
}

fn of_wire(segment: &SegmentCheck) -> Vec<Caution> {
    let wire = || segment.to.clone();
    let mut found = Vec::new();
    let fed_by_pack = segment.from == "pack";
    if let Some(fuse) = segment.wire.fuse {
        if fed_by_pack && fuse.distance_m > FUSE_WITHIN_M {
            found.push(Caution::FuseFar { wire: wire(), distance_m: fuse.distance_m });
        }
        if segment.peak_a > fuse.rated_a {
            let (fuse_a, peak_a) = (fuse.rated_a, segment.peak_a);
            found.push(Caution::FuseTooSmall { wire: wire(), fuse_a, peak_a });
        }
    }
    let Some(cable) = segment.wire.cable else { return found };
    // said once, at the battery, for all that hangs on it
    if fed_by_pack && segment.fuse.is_none() {
        found.push(Caution::NoFuse { wire: wire(), fitting_a: segment.fitting_fuse_a() });
    }
    match segment.ampacity_a {
        None => found.push(Caution::TooThin { wire: wire(), section: cable.section }),
        Some(ampacity_a) => {
            if let Some(fuse) = segment.fuse.filter(|fuse| fuse.rated_a > ampacity_a) {
                let fuse_a = fuse.rated_a;
                found.push(Caution::FuseTooLarge { wire: wire(), fuse_a, ampacity_a });
            }
            if segment.peak_a > ampacity_a {
                let peak_a = segment.peak_a;
                let carries = |s: &Section| crate::ampacity_a(*s).is_some_and(|a| a >= peak_a);
                let section =
                    std::iter::successors(cable.section.thicker(), |s| s.thicker()).find(carries);
                found.push(Caution::OverAmpacity { wire: wire(), peak_a, ampacity_a, section });
            }
        }
    }
    found
}
