//! The record between two readings, taken as straight lines, and what flows in it.

/// Voltage and current linear in time between two instants.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Piece {
    pub(crate) from_s: f64,
    pub(crate) to_s: f64,
    pub(crate) voltage_v: [f64; 2],
    pub(crate) current_a: [f64; 2],
}

impl Piece {
    pub(crate) fn duration_s(&self) -> f64 {
        self.to_s - self.from_s
    }

    /// The integral of the current (Ah): the trapezoid.
    pub(crate) fn charge_ah(&self) -> f64 {
        let [i0, i1] = self.current_a;
        self.duration_s() * (i0 + i1) / 2.0 / 3600.0
    }

    /// The integral of the power (Wh), exact for two straight lines.
    pub(crate) fn energy_wh(&self) -> f64 {
        let ([v0, v1], [i0, i1]) = (self.voltage_v, self.current_a);
        self.duration_s() * (2.0 * (v0 * i0 + v1 * i1) + v0 * i1 + v1 * i0) / 6.0 / 3600.0
    }

    /// The part of it, if any, in which the voltage is at or above the cutoff: the crossing is
    /// found on the straight line.
    pub(crate) fn above(&self, cutoff_v: f64) -> Option<Piece> {
        let [v0, v1] = self.voltage_v;
        match (v0 >= cutoff_v, v1 >= cutoff_v) {
            (true, true) => Some(*self),
            (false, false) => None,
            (starts_above, _) => {
                let share = (v0 - cutoff_v) / (v0 - v1);
                Some(if starts_above { self.part(0.0, share) } else { self.part(share, 1.0) })
            }
        }
    }

    /// From one share of its time to another.
    fn part(&self, from: f64, to: f64) -> Piece {
        let along = |[a, b]: [f64; 2], share: f64| a + (b - a) * share;
        Piece {
            from_s: along([self.from_s, self.to_s], from),
            to_s: along([self.from_s, self.to_s], to),
            voltage_v: [along(self.voltage_v, from), along(self.voltage_v, to)],
            current_a: [along(self.current_a, from), along(self.current_a, to)],
        }
    }
}

/// What flows in some pieces.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct Sum {
    pub(crate) duration_s: f64,
    pub(crate) charge_ah: f64,
    pub(crate) energy_wh: f64,
}

impl Sum {
    pub(crate) fn add(&mut self, piece: &Piece) {
        self.duration_s += piece.duration_s();
        self.charge_ah += piece.charge_ah();
        self.energy_wh += piece.energy_wh();
    }

    pub(crate) fn mean_current_a(&self) -> f64 {
        self.charge_ah / (self.duration_s / 3600.0)
    }

    pub(crate) fn mean_power_w(&self) -> f64 {
        self.energy_wh / (self.duration_s / 3600.0)
    }
}

impl std::ops::AddAssign for Sum {
    fn add_assign(&mut self, other: Sum) {
        self.duration_s += other.duration_s;
        self.charge_ah += other.charge_ah;
        self.energy_wh += other.energy_wh;
    }
}

impl FromIterator<Piece> for Sum {
    fn from_iter<T: IntoIterator<Item = Piece>>(pieces: T) -> Self {
        pieces.into_iter().fold(Sum::default(), |mut sum, piece| {
            sum.add(&piece);
            sum
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FALLING: Piece =
        Piece { from_s: 0.0, to_s: 3600.0, voltage_v: [13.0, 11.0], current_a: [4.0, 2.0] };

    #[test]
    fn charge_and_energy_of_straight_lines() {
        assert!((FALLING.charge_ah() - 3.0).abs() < 1e-12);
        // ∫(13 - 2x)(4 - 2x) dx from 0 to 1 = 52 - 17 + 4/3
        assert!((FALLING.energy_wh() - (52.0 - 17.0 + 4.0 / 3.0)).abs() < 1e-12);
    }

    #[test]
    fn the_crossing_lies_on_the_line() {
        let above = FALLING.above(12.0).unwrap();
        assert_eq!((above.from_s, above.to_s), (0.0, 1800.0));
        assert!((above.charge_ah() - 1.75).abs() < 1e-12);
        let rising = Piece { voltage_v: [11.0, 13.0], ..FALLING };
        assert_eq!(rising.above(12.0).unwrap().from_s, 1800.0);
        assert_eq!(FALLING.above(13.1), None);
        assert_eq!(FALLING.above(11.0), Some(FALLING));
    }
}
