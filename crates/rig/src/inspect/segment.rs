//! Every wire of the rig: what it carries, loses and stands.

use super::{Passage, StateBudget};
use crate::{Branch, Fuse, Rig, SegmentSeen, Solution, Wire, ampacity_a};

/// Ratings (A) of blade fuses (ISO 8820-3; from memory).
const BLADE_FUSES_A: [f64; 13] =
    [1.0, 2.0, 3.0, 4.0, 5.0, 7.5, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0];
/// How far above the greatest current a fuse is chosen.
const SPARE: f64 = 1.25;

/// One wire.
#[derive(Debug, Clone, PartialEq)]
pub struct SegmentCheck {
    /// Where it begins: a branch, or "pack".
    pub from: String,
    /// The branch or device it leads to.
    pub to: String,
    /// Cable, connectors and fuse.
    pub wire: Wire,
    /// Greatest mean current of any state (A).
    pub steady_a: f64,
    /// Greatest current at all (A), with the pack nearly empty (or, where that collapses, as at
    /// dusk).
    pub peak_a: f64,
    /// Drop at that current (V).
    pub drop_v: f64,
    /// The same as a share of the voltage at its beginning.
    pub drop_share: f64,
    /// Greatest mean loss of any state (W).
    pub loss_w: f64,
    /// Loss over the whole window (Wh).
    pub loss_wh: f64,
    /// Loss of the converter at its end over the whole window (Wh).
    pub converter_wh: f64,
    /// What the cable carries (A); none without a cable, or where its section is not in the table.
    pub ampacity_a: Option<f64>,
    /// The fuse that would blow if it were shorted: its own or the nearest before it on the same
    /// side of a converter.
    pub fuse: Option<Fuse>,
    /// Whether the pack itself feeds it, rather than a converter.
    pub at_pack: bool,
}

impl SegmentCheck {
    /// Whether the cable carries its greatest current, and the fuse lies between the two.
    #[must_use]
    pub fn ok(&self) -> bool {
        let carries = self.ampacity_a.is_none_or(|ampacity_a| self.peak_a <= ampacity_a);
        let known = self.wire.cable.is_none() || self.ampacity_a.is_some();
        let own_holds = self.wire.fuse.is_none_or(|fuse| self.peak_a <= fuse.rated_a);
        carries && known && own_holds && self.is_protected()
    }

    /// The smallest blade fuse that holds its greatest current with a quarter to spare (common
    /// practice, no source) and still protects the cable; none if the cable is too thin for any.
    #[must_use]
    pub fn fitting_fuse_a(&self) -> Option<f64> {
        let ampacity_a = self.ampacity_a?;
        let wanted_a = SPARE * self.peak_a;
        BLADE_FUSES_A.into_iter().find(|&a| a >= wanted_a).filter(|&a| a <= ampacity_a)
    }

    /// Whether a fuse lets no more through than the cable carries. Nothing is asked of plugs
    /// without cable, nor of what hangs on a converter, which limits the current itself.
    #[must_use]
    pub fn is_protected(&self) -> bool {
        if self.wire.cable.is_none() || (self.fuse.is_none() && !self.at_pack) {
            return true;
        }
        let ampacity_a = self.ampacity_a.unwrap_or(f64::INFINITY);
        self.fuse.is_some_and(|fuse| fuse.rated_a <= ampacity_a)
    }
}

pub(super) fn check(rig: &Rig, states: &[StateBudget], course: &[Passage]) -> Vec<SegmentCheck> {
    let seen = (states, course);
    let branches = rig.branches().iter().enumerate().map(|(b, branch)| {
        one(rig, &branch.name, branch.feed.as_deref(), branch.wire, seen, |seen| seen.branches[b])
    });
    let devices = rig.devices().iter().enumerate().map(|(d, device)| {
        one(rig, &device.name, device.feed.as_deref(), device.wire, seen, |seen| seen.wires[d])
    });
    branches.chain(devices.filter(|segment| segment.wire != Wire::default())).collect()
}

fn one(
    rig: &Rig,
    name: &str,
    feed: Option<&str>,
    wire: Wire,
    (states, course): (&[StateBudget], &[Passage]),
    pick: impl Fn(&Solution) -> SegmentSeen,
) -> SegmentCheck {
    let mut found = SegmentCheck {
        from: feed.unwrap_or("pack").to_owned(),
        to: name.to_owned(),
        wire,
        steady_a: 0.0,
        peak_a: 0.0,
        drop_v: 0.0,
        drop_share: 0.0,
        loss_w: 0.0,
        loss_wh: 0.0,
        converter_wh: 0.0,
        ampacity_a: wire.cable.and_then(|cable| ampacity_a(cable.section)),
        fuse: wire.fuse,
        at_pack: true,
    };
    for state in states {
        let mean = pick(&state.mean);
        found.steady_a = found.steady_a.max(mean.current_a);
        found.loss_w = found.loss_w.max(mean.loss_w);
        let worst = state.greatest_at_end.as_ref().or(state.greatest_at_dusk.as_ref());
        let worst = worst.map_or(mean, &pick);
        if worst.current_a > found.peak_a {
            found.peak_a = worst.current_a;
            found.drop_v = worst.from_v - worst.to_v;
            found.drop_share = found.drop_v / worst.from_v;
        }
    }
    for passage in course {
        let mean = pick(&passage.mean);
        found.loss_wh += mean.loss_w * passage.hours();
        found.converter_wh += mean.converter_w * passage.hours();
    }
    for above in rig.path(feed) {
        if above.converter.is_some() {
            found.at_pack = false;
            break;
        }
        found.fuse = found.fuse.or(above.wire.fuse);
    }
    found
}

impl Rig {
    /// The branches from a feed to the pack, nearest first.
    pub(super) fn path<'a>(&'a self, feed: Option<&'a str>) -> impl Iterator<Item = &'a Branch> {
        let find = |name: &str| self.branches().iter().find(|branch| branch.name == name);
        std::iter::successors(feed.and_then(find), move |branch| {
            branch.feed.as_deref().and_then(find)
        })
    }
}
