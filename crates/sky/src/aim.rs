//! Where a panel faces.

use jiff::Timestamp;

use crate::Error;
use crate::time::SECONDS_PER_DAY;
use crate::track::Track;
use quantity::within;

/// One way a panel stands: tilt from the level and the azimuth it faces.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Facing {
    tilt_deg: f64,
    azimuth_deg: f64,
}

impl Facing {
    /// Lying flat.
    pub const FLAT: Self = Self { tilt_deg: 0.0, azimuth_deg: 0.0 };

    /// Tilted from the level (0 flat, 90 upright) towards an azimuth (from north over east).
    ///
    /// # Errors
    /// When the tilt is not within 0 to 90° or the azimuth not within 0 to 360°.
    pub fn new(tilt_deg: f64, azimuth_deg: f64) -> Result<Self, Error> {
        Ok(Self {
            tilt_deg: within("the panel's tilt", tilt_deg, (0.0, 90.0), "°")?,
            azimuth_deg: within("the panel's azimuth", azimuth_deg, (0.0, 360.0), "°")?,
        })
    }

    /// Tilt from the level.
    #[must_use]
    pub fn tilt_deg(&self) -> f64 {
        self.tilt_deg
    }

    /// Azimuth the panel faces.
    #[must_use]
    pub fn azimuth_deg(&self) -> f64 {
        self.azimuth_deg
    }

    fn normal(&self) -> Normal {
        let (sin_tilt, cos_tilt) = self.tilt_deg.to_radians().sin_cos();
        let (sin, cos) = self.azimuth_deg.to_radians().sin_cos();
        Normal { east: sin_tilt * sin, north: sin_tilt * cos, up: cos_tilt }
    }
}

/// How a panel is set up over the days.
#[derive(Debug, Clone, PartialEq)]
pub enum Aim {
    /// It stands as it is.
    Fixed(Facing),
    /// Turned by hand at given instants, in order; before the first it stands like the first.
    ReAimed(Vec<(Timestamp, Facing)>),
    /// Turned to the sun by hand every so many seconds, counted from local mean midnight: each
    /// time to where the sun will stand half-way to the next turn (upright while that is below
    /// the horizon).
    Tracked {
        /// Seconds between turns; at least a second.
        every_s: f64,
    },
}

/// How far a panel stands off its aim.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct AimError {
    /// Steeper than meant; negative where it lies flatter.
    pub tilt_deg: f64,
    /// Turned on from north over east.
    pub azimuth_deg: f64,
}

impl AimError {
    /// It stands as meant.
    pub const NONE: Self = Self { tilt_deg: 0.0, azimuth_deg: 0.0 };
}

impl Aim {
    /// The error of so many standard deviations of tilt and azimuth. A panel meant to lie flat has
    /// no azimuth; it leans north by the first number and east by the second.
    #[must_use]
    pub fn error(&self, deviation: &AimError, [tilt, azimuth]: [f64; 2]) -> AimError {
        match self {
            Self::Fixed(facing) if facing.tilt_deg == 0.0 => AimError {
                tilt_deg: deviation.tilt_deg * tilt.hypot(azimuth),
                azimuth_deg: azimuth.atan2(tilt).to_degrees(),
            },
            _ => AimError {
                tilt_deg: deviation.tilt_deg * tilt,
                azimuth_deg: deviation.azimuth_deg * azimuth,
            },
        }
    }
}

/// Unit vector square on the panel.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Normal {
    pub(crate) east: f64,
    pub(crate) north: f64,
    pub(crate) up: f64,
}

/// An error, ready to move many normals.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Turn {
    is_none: bool,
    /// Sine and cosine.
    tilt: (f64, f64),
    azimuth: (f64, f64),
}

impl Turn {
    pub(crate) fn by(error: AimError) -> Self {
        Self {
            is_none: error == AimError::NONE,
            tilt: error.tilt_deg.to_radians().sin_cos(),
            azimuth: error.azimuth_deg.to_radians().sin_cos(),
        }
    }

    /// The normal of a panel that was to have this one.
    pub(crate) fn of(&self, meant: Normal) -> Normal {
        if self.is_none {
            return meant;
        }
        let level = meant.east.hypot(meant.north);
        // what lies flat leans north
        let (east, north) =
            if level > 1e-9 { (meant.east / level, meant.north / level) } else { (0.0, 1.0) };
        let ((sin_tilt, cos_tilt), (sin, cos)) = (self.tilt, self.azimuth);
        let tilted = level * cos_tilt + meant.up * sin_tilt;
        Normal {
            east: tilted * (east * cos + north * sin),
            north: tilted * (north * cos - east * sin),
            up: meant.up * cos_tilt - level * sin_tilt,
        }
    }
}

/// The panel's normal along a series of growing instants.
pub(crate) struct Normals<'a> {
    aim: &'a Aim,
    start: Timestamp,
    /// Seconds from local mean midnight to the start.
    phase_s: f64,
    current: Normal,
    until_s: f64,
}

impl<'a> Normals<'a> {
    pub(crate) fn new(aim: &'a Aim, start: Timestamp, longitude_deg: f64) -> Self {
        let utc_s = start.as_millisecond() as f64 / 1000.0;
        let phase_s = (utc_s + longitude_deg * 240.0).rem_euclid(SECONDS_PER_DAY);
        let current = Facing::FLAT.normal();
        Self { aim, start, phase_s, current, until_s: f64::NEG_INFINITY }
    }

    /// The normal some seconds after the start; instants must not go back.
    pub(crate) fn at(&mut self, elapsed_s: f64, sun: &Track) -> Normal {
        if elapsed_s >= self.until_s {
            (self.current, self.until_s) = self.look_up(elapsed_s, sun);
        }
        self.current
    }

    fn look_up(&self, elapsed_s: f64, sun: &Track) -> (Normal, f64) {
        match self.aim {
            Aim::Fixed(facing) => (facing.normal(), f64::INFINITY),
            Aim::ReAimed(turns) => {
                let after = |(at, _): &(Timestamp, Facing)| {
                    at.duration_since(self.start).as_secs_f64() <= elapsed_s
                };
                let next = turns.partition_point(after);
                let facing = turns.get(next.saturating_sub(1)).map_or(Facing::FLAT, |turn| turn.1);
                let until_s = turns
                    .get(next)
                    .map_or(f64::INFINITY, |(at, _)| at.duration_since(self.start).as_secs_f64());
                (facing.normal(), until_s)
            }
            Aim::Tracked { every_s } => {
                let every_s = every_s.clamp(1.0, SECONDS_PER_DAY);
                let of_day_s = (self.phase_s + elapsed_s).rem_euclid(SECONDS_PER_DAY);
                let turn_s = elapsed_s - of_day_s % every_s;
                let day_end_s = elapsed_s + SECONDS_PER_DAY - of_day_s;
                let until_s = (turn_s + every_s).min(day_end_s);
                let seen = sun.at(f64::midpoint(turn_s, until_s));
                let up = seen.up.max(0.0);
                let level = seen.east.hypot(seen.north).max(1e-12);
                let shrink = (1.0 - up * up).max(0.0).sqrt() / level;
                let normal = Normal { east: seen.east * shrink, north: seen.north * shrink, up };
                // Rounding must not leave the end at or before the instant asked for.
                (normal, until_s.max(elapsed_s + 1e-6))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_error_turns_and_tilts_a_panel() {
        let facing = |tilt_deg, azimuth_deg| Facing::new(tilt_deg, azimuth_deg).unwrap();
        let near = |a: Normal, b: Normal| {
            let off = (a.east - b.east).abs() + (a.north - b.north).abs() + (a.up - b.up).abs();
            assert!(off < 1e-9, "{a:?} {b:?}");
        };
        let error = |tilt_deg, azimuth_deg| AimError { tilt_deg, azimuth_deg };
        let moved = |facing: Facing, error: AimError| Turn::by(error).of(facing.normal());
        near(moved(facing(40.0, 170.0), error(5.0, -20.0)), facing(45.0, 150.0).normal());
        // tilted back beyond level it faces the other way
        near(moved(facing(3.0, 90.0), error(-8.0, 0.0)), facing(5.0, 270.0).normal());
        let deviation = error(2.0, 7.0);
        let aim = Aim::Fixed(facing(45.0, 180.0));
        assert_eq!(aim.error(&deviation, [1.5, -2.0]), error(3.0, -14.0));
        // what is to lie flat leans north by the first number, east by the second
        for flat in [Facing::FLAT, facing(0.0, 180.0)] {
            for (leans, azimuth_deg) in
                [([1.0, 0.0], 0.0), ([-1.0, 0.0], 180.0), ([0.0, 1.0], 90.0), ([0.0, -1.0], 270.0)]
            {
                let error = Aim::Fixed(flat).error(&deviation, leans);
                near(moved(flat, error), facing(2.0, azimuth_deg).normal());
            }
        }
    }
}
