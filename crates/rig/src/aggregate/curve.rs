//! The few coefficients a state of the rig boils down to, and how they are found.

/// Points a curve is drawn through.
pub(super) const POINTS: usize = 4;

/// Power as a function of voltage: g·v² + a·v + m₀ + m₁/v² + m₂/v⁴ + m₃/v⁶.
///
/// A resistance gives g, a constant current a. A constant power P behind r gives the rest: its
/// current is (P/v)·C(rP/v²) with the generating function of the Catalan numbers
/// C(x) = 1 + x + 2x² + 5x³ + …, a series in 1/v². The m are not the series' own coefficients but
/// those of the curve through the exact values at four voltages, which is far closer.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Curve {
    /// Conductance (S).
    pub g_s: f64,
    /// Constant current (A).
    pub a_a: f64,
    /// m₀ (W), m₁ (W·V²), m₂ (W·V⁴), m₃ (W·V⁶).
    pub m: [f64; POINTS],
}

impl Curve {
    /// Power (W) at a voltage.
    #[must_use]
    #[inline]
    pub fn power_w(&self, voltage_v: f64) -> f64 {
        let u = 1.0 / (voltage_v * voltage_v);
        let [m0, m1, m2, m3] = self.m;
        voltage_v * (self.g_s * voltage_v + self.a_a) + (m0 + u * (m1 + u * (m2 + u * m3)))
    }

    /// Current (A) at a voltage.
    #[must_use]
    #[inline]
    pub fn current_a(&self, voltage_v: f64) -> f64 {
        self.power_w(voltage_v) / voltage_v
    }
}

/// Voltage at a device as a function of that at the source: q₀·v + q₁ + q₂/v + q₃/v³.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sag {
    /// q₀ (1), q₁ (V), q₂ (V²), q₃ (V⁴).
    pub q: [f64; POINTS],
}

impl Sag {
    /// No drop at all.
    pub const NONE: Sag = Sag { q: [1.0, 0.0, 0.0, 0.0] };

    /// Voltage (V) at the device.
    #[must_use]
    #[inline]
    pub fn device_v(&self, source_v: f64) -> f64 {
        let w = 1.0 / source_v;
        let [q0, q1, q2, q3] = self.q;
        q0 * source_v + q1 + w * (q2 + q3 * (w * w))
    }
}

/// The voltages at which curves meet the exact values, and what to multiply the values by to get
/// the coefficients.
#[derive(Debug, Clone)]
pub(super) struct Points {
    pub(super) v: [f64; POINTS],
    pub(super) w: [f64; POINTS],
    pub(super) u: [f64; POINTS],
    curve: [[f64; POINTS]; POINTS],
    sag: [[f64; POINTS]; POINTS],
}

impl Points {
    /// Chebyshev's points of 1/v² between two voltages, highest voltage first.
    pub(super) fn between(low_v: f64, high_v: f64) -> Points {
        let (from, to) = (high_v.powi(-2), low_v.powi(-2));
        let u: [f64; POINTS] = std::array::from_fn(|k| {
            let angle = std::f64::consts::PI * (k as f64 + 0.5) / POINTS as f64;
            0.5 * (from + to) - 0.5 * (to - from) * angle.cos()
        });
        let w = u.map(f64::sqrt);
        let v = w.map(|w| 1.0 / w);
        let curve = inverse(u.map(|u| [1.0, u, u * u, u * u * u]));
        let sag = inverse(std::array::from_fn(|k| [v[k], 1.0, w[k], w[k] * u[k]]));
        Points { v, w, u, curve, sag }
    }

    /// The curve through currents at the points.
    #[inline]
    pub(super) fn curve(&self, current_a: &[f64; POINTS], g_s: f64, a_a: f64) -> Curve {
        let rest = std::array::from_fn(|k| self.v[k] * (current_a[k] - a_a - g_s * self.v[k]));
        Curve { g_s, a_a, m: times(&self.curve, &rest) }
    }

    /// The sag through device voltages at the points.
    #[inline]
    pub(super) fn sag(&self, device_v: &[f64; POINTS]) -> Sag {
        Sag { q: times(&self.sag, device_v) }
    }
}

#[inline]
fn times(matrix: &[[f64; POINTS]; POINTS], vector: &[f64; POINTS]) -> [f64; POINTS] {
    std::array::from_fn(|row| (0..POINTS).map(|k| matrix[row][k] * vector[k]).sum())
}

/// The curve through currents at any four voltages: Newton's divided differences in 1/v².
#[inline]
pub(super) fn curve_through(
    v: &[f64; POINTS],
    current_a: &[f64; POINTS],
    g_s: f64,
    a_a: f64,
) -> Curve {
    let u = v.map(|v| 1.0 / (v * v));
    let mut c: [f64; POINTS] = std::array::from_fn(|k| v[k] * (current_a[k] - a_a - g_s * v[k]));
    for order in 1..POINTS {
        for k in (order..POINTS).rev() {
            c[k] = (c[k] - c[k - 1]) / (u[k] - u[k - order]);
        }
    }
    // from Newton's form to powers of u
    for order in (0..POINTS - 1).rev() {
        for k in order..POINTS - 1 {
            c[k] -= u[order] * c[k + 1];
        }
    }
    Curve { g_s, a_a, m: c }
}

/// Gauss–Jordan with pivoting.
fn inverse(mut matrix: [[f64; POINTS]; POINTS]) -> [[f64; POINTS]; POINTS] {
    let mut inverse: [[f64; POINTS]; POINTS] =
        std::array::from_fn(|r| std::array::from_fn(|c| f64::from(u8::from(r == c))));
    for column in 0..POINTS {
        let pivot = (column..POINTS)
            .max_by(|&a, &b| matrix[a][column].abs().total_cmp(&matrix[b][column].abs()))
            .unwrap_or(column);
        matrix.swap(column, pivot);
        inverse.swap(column, pivot);
        let scale = 1.0 / matrix[column][column];
        matrix[column] = matrix[column].map(|x| x * scale);
        inverse[column] = inverse[column].map(|x| x * scale);
        for row in (0..POINTS).filter(|&row| row != column) {
            let factor = matrix[row][column];
            for k in 0..POINTS {
                matrix[row][k] -= factor * matrix[column][k];
                inverse[row][k] -= factor * inverse[column][k];
            }
        }
    }
    inverse
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_ways_to_a_curve_agree() {
        let points = Points::between(10.0, 14.6);
        let curve = Curve { g_s: 0.2, a_a: 1.5, m: [30.0, 90.0, 540.0, 4000.0] };
        let current_a = points.v.map(|v| curve.current_a(v));
        for found in
            [points.curve(&current_a, 0.2, 1.5), curve_through(&points.v, &current_a, 0.2, 1.5)]
        {
            for v in [10.0, 12.0, 14.6] {
                assert!((found.power_w(v) - curve.power_w(v)).abs() < 1e-9, "{found:?}");
            }
        }
        let sag = Sag { q: [0.98, -0.1, -3.0, -9.0] };
        let found = points.sag(&points.v.map(|v| sag.device_v(v)));
        assert!((found.device_v(11.0) - sag.device_v(11.0)).abs() < 1e-12, "{found:?}");
    }
}
