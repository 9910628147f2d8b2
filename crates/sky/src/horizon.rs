//! The skyline of a site: hills, trees, a wall.

use crate::Error;
use quantity::within;

/// How high the skyline stands in each direction, degrees. Between the points given it runs
/// straight, all the way round.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Horizon {
    /// Azimuth and altitude, sorted by azimuth.
    points: Vec<(f64, f64)>,
}

impl Horizon {
    /// A skyline from points (azimuth from north over east 0 to 360, altitude 0 to 90), in any
    /// order; no point at all is a level horizon.
    ///
    /// # Errors
    /// When a number is outside those bounds.
    pub fn new(points: &[(f64, f64)]) -> Result<Self, Error> {
        let mut checked = Vec::with_capacity(points.len());
        for (azimuth_deg, altitude_deg) in points {
            let azimuth_deg = within("a skyline's azimuth", *azimuth_deg, (0.0, 360.0), "°")?;
            let altitude_deg = within("a skyline's altitude", *altitude_deg, (0.0, 90.0), "°")?;
            checked.push((azimuth_deg, altitude_deg));
        }
        checked.sort_by(|a, b| a.0.total_cmp(&b.0));
        Ok(Self { points: checked })
    }

    /// Altitude of the skyline in a direction.
    #[must_use]
    pub fn altitude_deg(&self, azimuth_deg: f64) -> f64 {
        let (Some(first), Some(last)) = (self.points.first(), self.points.last()) else {
            return 0.0;
        };
        let azimuth_deg = azimuth_deg.rem_euclid(360.0);
        let next = self.points.partition_point(|(azimuth, _)| *azimuth <= azimuth_deg);
        let before = next
            .checked_sub(1)
            .and_then(|i| self.points.get(i).copied())
            .unwrap_or((last.0 - 360.0, last.1));
        let after = self.points.get(next).copied().unwrap_or((first.0 + 360.0, first.1));
        let width = after.0 - before.0;
        if width <= 0.0 {
            return before.1;
        }
        before.1 + (after.1 - before.1) * (azimuth_deg - before.0) / width
    }

    /// Whether the horizon is level, so that nobody need ask for directions.
    #[must_use]
    pub fn is_level(&self) -> bool {
        self.points.iter().all(|(_, altitude_deg)| *altitude_deg <= 0.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_skyline_runs_straight_all_the_way_round() {
        let skyline = Horizon::new(&[(350.0, 10.0), (90.0, 2.0), (10.0, 6.0)]).unwrap();
        for (azimuth_deg, expect_deg) in
            [(350.0, 10.0), (0.0, 8.0), (360.0, 8.0), (10.0, 6.0), (50.0, 4.0), (220.0, 6.0)]
        {
            let found_deg = skyline.altitude_deg(azimuth_deg);
            assert!((found_deg - expect_deg).abs() < 1e-12, "{azimuth_deg}: {found_deg}");
        }
        assert!(Horizon::default().is_level());
        assert_eq!(Horizon::default().altitude_deg(123.0), 0.0);
        assert!(Horizon::new(&[(10.0, -1.0)]).is_err());
        assert!(Horizon::new(&[(400.0, 1.0)]).is_err());
    }
}
