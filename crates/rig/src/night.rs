//! The states a rig goes through in a night.

use crate::schedule::{Event, Moments};
use crate::weather::Conditions;
use crate::{Load, Rig};

/// Which use each device is in, in the order of [`Rig::devices`]; none if it is off.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct State(pub Vec<Option<usize>>);

/// A stretch of time in one state.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stretch {
    /// From (s on the trip's clock).
    pub from_s: f64,
    /// To (s).
    pub to_s: f64,
    /// Index among the states of the night.
    pub state: usize,
}

/// What a rig does from one noon to the next.
#[derive(Debug, Clone, PartialEq)]
pub struct Night {
    /// The states that occur, each once, in the order they come up.
    pub states: Vec<State>,
    /// The whole window without gaps.
    pub stretches: Vec<Stretch>,
    /// Uses that hang on something which does not happen on this night, such as dark in a northern
    /// June: device, use, event.
    pub missing: Vec<(usize, usize, Event)>,
}

impl Night {
    /// This night and the one that follows it on the same clock, as one window.
    #[must_use]
    pub fn then(mut self, next: Night) -> Night {
        let places: Vec<usize> = next
            .states
            .into_iter()
            .map(|state| {
                self.states.iter().position(|known| *known == state).unwrap_or_else(|| {
                    self.states.push(state);
                    self.states.len() - 1
                })
            })
            .collect();
        for stretch in next.stretches {
            let Some(&state) = places.get(stretch.state) else { continue };
            match self.stretches.last_mut() {
                Some(last) if last.state == state => last.to_s = stretch.to_s,
                _ => self.stretches.push(Stretch { state, ..stretch }),
            }
        }
        let known = self.missing.len();
        for missing in next.missing {
            if !self.missing[..known].contains(&missing) {
                self.missing.push(missing);
            }
        }
        self
    }
}

impl Rig {
    /// The states of the night and when each holds.
    #[must_use]
    pub fn night(&self, moments: &Moments) -> Night {
        let mut missing = Vec::new();
        // when each use of each device is on
        let mut on: Vec<Vec<Vec<(f64, f64)>>> = Vec::with_capacity(self.devices().len());
        let mut edges = vec![moments.start_s, moments.end_s];
        for (d, device) in self.devices().iter().enumerate() {
            let mut uses = Vec::with_capacity(device.uses.len());
            for (u, used) in device.uses.iter().enumerate() {
                missing.extend(used.when.missing(moments).into_iter().map(|event| (d, u, event)));
                let intervals = used.when.intervals(moments);
                edges.extend(intervals.iter().flat_map(|&(from_s, to_s)| [from_s, to_s]));
                uses.push(intervals);
            }
            on.push(uses);
        }
        edges.sort_by(f64::total_cmp);
        edges.dedup();

        let mut night = Night { states: Vec::new(), stretches: Vec::new(), missing };
        for (&from_s, &to_s) in edges.iter().zip(edges.iter().skip(1)) {
            let middle_s = 0.5 * (from_s + to_s);
            let is_on = |times: &Vec<(f64, f64)>| {
                times.iter().any(|&(from_s, to_s)| from_s <= middle_s && middle_s < to_s)
            };
            let state = State(on.iter().map(|uses| uses.iter().rposition(is_on)).collect());
            let state = night.states.iter().position(|seen| *seen == state).unwrap_or_else(|| {
                night.states.push(state);
                night.states.len() - 1
            });
            match night.stretches.last_mut() {
                Some(last) if last.state == state => last.to_s = to_s,
                _ => night.stretches.push(Stretch { from_s, to_s, state }),
            }
        }
        night
    }

    /// Mean loads in a state, in the order of [`Rig::devices`]: duty cycles and peaks evened out,
    /// and what follows the weather at these conditions. Right for energy.
    #[must_use]
    pub fn mean_loads(&self, state: &State, conditions: &Conditions) -> Vec<Load> {
        self.loads(state, |used| used.mean_in(conditions))
    }

    /// Greatest loads in a state: no duty cycles, every peak at once, heaters at full rating. Right
    /// for voltages, wires and fuses.
    #[must_use]
    pub fn greatest_loads(&self, state: &State) -> Vec<Load> {
        self.loads(state, crate::Use::greatest)
    }

    fn loads(&self, state: &State, load: impl Fn(&crate::Use) -> Load) -> Vec<Load> {
        self.devices()
            .iter()
            .zip(&state.0)
            .map(|(device, used)| used.and_then(|u| device.uses.get(u)).map_or(Load::OFF, &load))
            .collect()
    }

    /// What is on in a state, in words: "mount, camera exposing".
    #[must_use]
    pub fn state_name(&self, state: &State) -> String {
        let words: Vec<String> = self
            .devices()
            .iter()
            .zip(&state.0)
            .filter_map(|(device, used)| {
                let used = device.uses.get((*used)?)?;
                Some(format!("{} {}", device.name, used.name).trim_end().to_owned())
            })
            .collect();
        if words.is_empty() { "everything off".to_owned() } else { words.join(", ") }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::schedule::When;
    use crate::{Device, Peak, Use};

    const CLEAR: Conditions =
        Conditions { air_c: 5.0, dew_point_c: 0.0, wind_m_s: 1.0, cloud: 0.0 };

    fn rig() -> Rig {
        let night = |text: &str| text.parse::<When>().unwrap();
        let mut camera = Device::new("camera", Load::Power(4.0), night("night"));
        camera.uses[0].name = "idle".to_owned();
        camera.uses.push(Use {
            name: "exposing".to_owned(),
            peak: Some(Peak { load: Load::Power(30.0), share: 0.1 }),
            ..Use::new(Load::Power(10.0), night("dark to 02:00 at 50 %"))
        });
        let mount = Device::new("mount", Load::Power(9.0), night("dark"));
        Rig::new(vec![], vec![camera, mount]).unwrap()
    }

    fn moments(dark: bool) -> Moments<'static> {
        let h = |hours: f64| Some(hours * 3600.0);
        Moments {
            start_s: 0.0,
            end_s: 86400.0,
            sunset_s: h(7.0),
            dusk_s: h(7.5),
            dark_s: if dark { h(9.0) } else { None },
            dark_end_s: if dark { h(15.0) } else { None },
            dawn_s: h(16.5),
            sunrise_s: h(17.0),
            clock_s: &|second| (second + 43200.0) % 86400.0,
        }
    }

    #[test]
    fn a_night_in_states() {
        let rig = rig();
        let night = rig.night(&moments(true));
        let told: Vec<(f64, String)> = night
            .stretches
            .iter()
            .map(|s| (s.from_s / 3600.0, rig.state_name(&night.states[s.state])))
            .collect();
        let expect = [
            (0.0, "everything off"),
            (7.0, "camera idle"),
            (9.0, "camera exposing, mount"),
            (14.0, "camera idle, mount"),
            (15.0, "camera idle"),
            (17.0, "everything off"),
        ];
        assert_eq!(told, expect.map(|(h, name)| (h, name.to_owned())));
        assert_eq!(night.states.len(), 4);
        assert!(night.missing.is_empty());

        let busy = &night.states[2];
        // half of 10 W with a tenth of the time at 30 W
        assert_eq!(rig.mean_loads(busy, &CLEAR), [Load::Power(6.0), Load::Power(9.0)]);
        assert_eq!(rig.greatest_loads(busy), [Load::Power(30.0), Load::Power(9.0)]);
    }

    #[test]
    fn nights_follow_one_another() {
        let rig = rig();
        let later = Moments { start_s: 86400.0, end_s: 2.0 * 86400.0, ..moments(false) };
        let both = rig.night(&moments(true)).then(rig.night(&later));
        assert_eq!(both.states.len(), 4, "no state of the second night is new");
        let steady =
            |pair: &[Stretch]| pair[0].to_s == pair[1].from_s && pair[0].state != pair[1].state;
        assert!(both.stretches.windows(2).all(steady), "{:?}", both.stretches);
        assert_eq!(both.stretches.last().map(|stretch| stretch.to_s), Some(2.0 * 86400.0));
        assert_eq!(both.missing.len(), 3);
    }

    #[test]
    fn a_night_without_dark_says_so() {
        let night = rig().night(&moments(false));
        assert_eq!(night.states.len(), 2);
        let expect = [(0, 1, Event::Dark), (1, 0, Event::Dark), (1, 0, Event::DarkEnd)];
        assert_eq!(night.missing, expect);
    }
}
