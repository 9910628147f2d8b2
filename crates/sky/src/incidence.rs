//! What a panel's cover lets through of a beam that comes in aslant.

/// Incidence angle modifier: share of the beam let through, against square-on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Incidence {
    /// `1 − b (1/cos θ − 1)` (ASHRAE 93; Souka & Safwat 1966).
    Ashrae {
        /// The coefficient; 0.05 is usual for a panel under glass.
        b: f64,
    },
    /// Fresnel's and Bouguer's laws through the cover (De Soto, Klein & Beckman 2006).
    Physical {
        /// Refractive index of the cover; glass 1.526.
        index: f64,
        /// Its extinction coefficient, 1/m; clear glass 4.
        extinction_per_m: f64,
        /// Its thickness, m; usually 0.002.
        thickness_m: f64,
        /// Refractive index of an anti-reflective coating, where there is one; 1.29.
        coating_index: Option<f64>,
    },
}

impl Default for Incidence {
    fn default() -> Self {
        Self::Ashrae { b: 0.05 }
    }
}

impl Incidence {
    /// Share let through at a cosine of the angle between beam and normal, 0..1; nothing from
    /// behind.
    #[must_use]
    pub fn share(&self, cos_incidence: f64) -> f64 {
        if cos_incidence <= 0.0 {
            return 0.0;
        }
        match *self {
            Self::Ashrae { b } => (1.0 - b * (1.0 / cos_incidence - 1.0)).clamp(0.0, 1.0),
            Self::Physical { index, extinction_per_m, thickness_m, coating_index } => {
                let layers = [Some(1.0), coating_index, Some(index)];
                let path = extinction_per_m * thickness_m;
                through(&layers, path, cos_incidence.min(1.0)) / through(&layers, path, 1.0)
            }
        }
    }
}

/// Share of light that crosses the layers and is not swallowed in the last, both polarisations.
fn through(layers: &[Option<f64>; 3], path: f64, cos: f64) -> f64 {
    let sin = (1.0 - cos * cos).max(0.0).sqrt();
    let cos_in = |index: f64| (1.0 - (sin / index).powi(2)).max(0.0).sqrt();
    let indices: Vec<f64> = layers.iter().flatten().copied().collect();
    // For light across and along the plane of incidence: passed so far, thrown back last.
    let mut polarised = [(1.0, 0.0); 2];
    for pair in indices.windows(2) {
        let &[n1, n2] = pair else { continue };
        let (c1, c2) = (cos_in(n1), cos_in(n2));
        let face = [
            ((n1 * c1 - n2 * c2) / (n1 * c1 + n2 * c2)).powi(2),
            ((n1 * c2 - n2 * c1) / (n1 * c2 + n2 * c1)).powi(2),
        ];
        for ((passed, thrown), face) in polarised.iter_mut().zip(face) {
            // Light goes to and fro between two faces.
            *passed *= (1.0 - face) / (1.0 - face * *thrown);
            *thrown = face;
        }
    }
    let last = indices.last().copied().unwrap_or(1.0);
    f64::midpoint(polarised[0].0, polarised[1].0) * (-path / cos_in(last)).exp()
}
