//! One day's light on the level: outside the air and under a clear sky.

use jiff::Timestamp;

use crate::light::{Cloud, Steps, Surroundings, light_on_panel};
use crate::{Aim, Error, Facing, Place, Track, extraterrestrial_w_m2};

const STEP_S: f64 = 300.0;
const DAY_S: f64 = 86_400.0;

/// A day's light on the level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LevelDay {
    /// Outside the air: what clearness is measured by.
    pub outside_wh_m2: f64,
    /// On the ground under a clear sky.
    pub clear_wh_m2: f64,
}

impl LevelDay {
    /// The 24 hours from an instant.
    ///
    /// # Errors
    /// When the turbidity can't be or the instant lies outside the years 1950 to 2100.
    pub fn from(place: &Place, start: Timestamp, turbidity: f64) -> Result<Self, Error> {
        let around = Surroundings { turbidity, ..Surroundings::at(*place) };
        let count = (DAY_S / STEP_S) as usize;
        let steps = Steps { start, step_s: STEP_S, count };
        let lights = light_on_panel(&around, &Aim::Fixed(Facing::FLAT), &Cloud::Clear, steps)?;
        let track = Track::of_sun(place, start, DAY_S)?;
        let day = start.to_zoned_datetime(jiff::tz::TimeZone::UTC).day_of_year();
        let beam_w_m2 = extraterrestrial_w_m2(day.unsigned_abs());
        let up = |step: usize| track.at((step as f64 + 0.5) * STEP_S).up.max(0.0);
        let hours = STEP_S / 3600.0;
        Ok(Self {
            outside_wh_m2: hours * beam_w_m2 * (0..count).map(up).sum::<f64>(),
            clear_wh_m2: hours * lights.iter().map(|light| light.ghi_w_m2).sum::<f64>(),
        })
    }

    /// The clearness index of a clear day; 0 where the sun does not rise.
    #[must_use]
    pub fn clear_day(&self) -> f64 {
        if self.outside_wh_m2 > 0.0 { self.clear_wh_m2 / self.outside_wh_m2 } else { 0.0 }
    }

    /// The day's clearness index if the ground gets this much light: peak sun hours on the level
    /// are kWh/m².
    #[must_use]
    pub fn clearness_of_peak_sun_hours(&self, peak_sun_hours: f64) -> f64 {
        if self.outside_wh_m2 > 0.0 { 1000.0 * peak_sun_hours / self.outside_wh_m2 } else { 0.0 }
    }

    /// The share of the clear sky's light that a clearness index means this day, for
    /// [`crate::Cloud::Share`].
    #[must_use]
    pub fn share_of_clear(&self, clearness: f64) -> f64 {
        if self.clear_wh_m2 > 0.0 { clearness * self.outside_wh_m2 / self.clear_wh_m2 } else { 1.0 }
    }
}

/// Share of the sky under cloud (0..1) on a day that gave a share of the clear sky's light on the
/// level: `share = 1 − 0.75 N^3.4` (Kasten & Czeplak 1980, *Solar Energy* 24) solved for the cover.
/// A night's cover may be read off the days around it.
#[must_use]
pub fn cloud_cover(share_of_clear: f64) -> f64 {
    ((1.0 - share_of_clear) / 0.75).clamp(0.0, 1.0).powf(1.0 / 3.4)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cover_meets_the_formula_it_inverts() {
        for cover in [0.0, 0.125, 0.5, 0.875, 1.0] {
            let share = 1.0 - 0.75 * f64::powf(cover, 3.4);
            assert!((cloud_cover(share) - cover).abs() < 1e-12, "{cover}");
        }
        assert_eq!((cloud_cover(1.2), cloud_cover(0.1)), (0.0, 1.0));
    }

    /// Light outside the air against its closed form, Duffie & Beckman, *Solar Engineering of
    /// Thermal Processes*, equation 1.10.3, for the sun's declination of the day.
    #[test]
    fn light_outside_the_air_meets_the_closed_form() {
        let place = Place::new(43.0, 0.0, 0.0).unwrap();
        let start: Timestamp = "2026-04-15T00:00Z".parse().unwrap();
        let noon = crate::sun_at(&place, crate::time::later(start, 12.0 * 3600.0)).unwrap();
        let latitude = 43.0_f64.to_radians();
        let declination = (noon.altitude_deg - 90.0 + 43.0).to_radians();
        let sunset = (-latitude.tan() * declination.tan()).acos();
        let expect_wh_m2 = 24.0 / std::f64::consts::PI
            * extraterrestrial_w_m2(105)
            * (latitude.cos() * declination.cos() * sunset.sin()
                + sunset * latitude.sin() * declination.sin());
        let day = LevelDay::from(&place, start, 3.0).unwrap();
        // The declination moves by 0.37° through the day.
        assert!((day.outside_wh_m2 / expect_wh_m2 - 1.0).abs() < 1e-3, "{day:?} {expect_wh_m2}");
        // Under a clear sky 70 to 80 % of it arrives.
        let clearness = day.clear_day();
        assert!((0.68..0.8).contains(&clearness), "{clearness}");
        assert!((day.share_of_clear(clearness) - 1.0).abs() < 1e-12);
        let hours = day.clear_wh_m2 / 1000.0;
        assert!((day.clearness_of_peak_sun_hours(hours) - clearness).abs() < 1e-12);
    }
}
