//! How long a pack carries one steady load.

use crate::{Climate, Load, Pack, PackError, State, error::above};

/// What ended it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ended {
    /// The voltage at the load fell to the cutoff.
    Cutoff,
    /// No charge was left at hand.
    Empty,
    /// A constant power found no solution of `P = v·i` any more.
    Collapse,
    /// The pack's own protection opened.
    Protection,
}

impl Ended {
    /// The word for it in machine output.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Cutoff => "cutoff",
            Self::Empty => "empty",
            Self::Collapse => "collapse",
            Self::Protection => "protection",
        }
    }
}

/// How long, how much, and what ended it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Runtime {
    /// From full to the end.
    pub time_to_cutoff_s: f64,
    /// Charge given at the pack's terminals.
    pub delivered_ah: f64,
    /// Energy given at the pack's terminals.
    pub delivered_wh: f64,
    /// What ended it.
    pub ended_by: Ended,
    /// Where the pack stood then.
    pub end: State,
}

/// How long a full, rested pack at 25 °C carries a load behind `behind_ohm` of cable, until the
/// voltage at the load falls to `cutoff_v`.
///
/// The state moves by exact steps of constant current; for other loads the current is taken at
/// the middle of the step, and the end is bracketed to a millisecond.
///
/// # Errors
/// [`PackError::Value`] for a load that draws nothing, or a resistance or cutoff below 0.
pub fn runtime(
    pack: &Pack,
    load: Load,
    behind_ohm: f64,
    cutoff_v: f64,
) -> Result<Runtime, PackError> {
    runtime_from(pack, State::rested(1.0), &Climate::MILD, load, behind_ohm, cutoff_v)
}

/// As [`runtime`], from a given state and at a given temperature.
///
/// # Errors
/// As [`runtime`].
pub fn runtime_from(
    pack: &Pack,
    start: State,
    climate: &Climate,
    load: Load,
    behind_ohm: f64,
    cutoff_v: f64,
) -> Result<Runtime, PackError> {
    // a millionth of a watt outlasts any battery
    const LEAST: f64 = 1e-6;
    match load {
        Load::Power(power_w) => above("the load in W", power_w, LEAST, "a number above 0")?,
        Load::Current(current_a) => above("the load in A", current_a, LEAST, "a number above 0")?,
        Load::Resistance(ohm) => above("the load in Ω", ohm, 0.0, "a number above 0")?,
    };
    if let Load::Resistance(ohm) = load
        && ohm > 1.0 / LEAST
    {
        let right = "a million or less";
        return Err(PackError::Value { what: "the load in Ω", value: ohm, right });
    }
    above("the resistance of the cable in Ω", behind_ohm, -f64::MIN_POSITIVE, "0 or more")?;
    above("the cutoff in V", cutoff_v, -f64::MIN_POSITIVE, "0 or more")?;
    Ok(Question { pack, climate, load, behind_ohm, cutoff_v }.answer(start))
}

struct Question<'a> {
    pack: &'a Pack,
    climate: &'a Climate,
    load: Load,
    behind_ohm: f64,
    cutoff_v: f64,
}

/// A moment at which the load is carried.
#[derive(Clone, Copy)]
struct Moment {
    state: State,
    current_a: f64,
    power_w: f64,
}

impl Question<'_> {
    /// The largest share of the capacity that flows in one step.
    const SOC_STEP: f64 = 1.0 / 2000.0;
    /// The first step; each may be longer than the last by a quarter, so the fast start is seen.
    const FIRST_S: f64 = 0.25;
    const LAST_S: f64 = 1e-3;

    fn answer(&self, start: State) -> Runtime {
        let mut runtime = Runtime {
            time_to_cutoff_s: 0.0,
            delivered_ah: 0.0,
            delivered_wh: 0.0,
            ended_by: Ended::Empty,
            end: start,
        };
        let mut now = match self.moment(start) {
            Ok(now) => now,
            Err(ended_by) => return Runtime { ended_by, ..runtime },
        };
        let mut dt_s = Self::FIRST_S;
        loop {
            let most_s = 3600.0 * self.pack.circuit.capacity_ah * Self::SOC_STEP
                / (now.current_a + self.pack.idle_a);
            dt_s = (dt_s * 1.25).min(most_s);
            let mut ended = None;
            let (middle, next) = match self.try_step(&now, dt_s) {
                Ok(step) => step,
                Err(why) => {
                    let (mut short_s, mut long_s) = (0.0, dt_s);
                    let (mut step, mut why) = ((now, now), why);
                    while long_s - short_s > Self::LAST_S {
                        let half_s = 0.5 * (short_s + long_s);
                        match self.try_step(&now, half_s) {
                            Ok(found) => (short_s, step) = (half_s, found),
                            Err(ended_by) => (long_s, why) = (half_s, ended_by),
                        }
                    }
                    dt_s = short_s;
                    ended = Some(why);
                    step
                }
            };
            let simpson =
                |from: f64, middle: f64, to: f64| dt_s / 21600.0 * (from + 4.0 * middle + to);
            runtime.time_to_cutoff_s += dt_s;
            runtime.delivered_ah += simpson(now.current_a, middle.current_a, next.current_a);
            runtime.delivered_wh += simpson(now.power_w, middle.power_w, next.power_w);
            runtime.end = next.state;
            if let Some(ended_by) = ended {
                return Runtime { ended_by, ..runtime };
            }
            now = next;
        }
    }

    /// The middle and the end of a step of `dt_s`, or why the load is not carried so far.
    fn try_step(&self, from: &Moment, dt_s: f64) -> Result<(Moment, Moment), Ended> {
        let after = |current_a: f64, dt_s: f64| {
            let mut state = from.state;
            let current_a = current_a + self.pack.idle_a;
            self.pack.circuit.advance(&mut state, current_a, dt_s, self.climate);
            self.moment(state)
        };
        let middle = after(from.current_a, 0.5 * dt_s)?;
        let end = after(middle.current_a, dt_s)?;
        Ok((middle, end))
    }

    fn moment(&self, state: State) -> Result<Moment, Ended> {
        let circuit = &self.pack.circuit;
        let limits = &self.pack.limits;
        let internal_v = circuit.internal_v(&state, self.climate);
        let r0_ohm = circuit.r0_at(&state, self.climate);
        let current_a =
            self.load.current_a(internal_v, r0_ohm + self.behind_ohm).ok_or(Ended::Collapse)?;
        let terminal_v = internal_v - r0_ohm * current_a;
        if terminal_v - self.behind_ohm * current_a < self.cutoff_v {
            Err(Ended::Cutoff)
        } else if limits.undervoltage_v.is_some_and(|v| terminal_v < v)
            || limits.discharge_a.is_some_and(|a| current_a > a)
        {
            Err(Ended::Protection)
        // written so that a voltage that is no number ends it too
        } else if circuit.available(&state, self.climate) > 0.0 && terminal_v > 0.0 {
            Ok(Moment { state, current_a, power_w: terminal_v * current_a })
        } else {
            Err(Ended::Empty)
        }
    }
}
