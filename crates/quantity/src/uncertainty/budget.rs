//! Parts of an uncertainty, and what they amount to together.

use statrs::distribution::{Beta, ContinuousCDF};

use super::coverage::student_95;

/// How a part is spread.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Shape {
    /// Anywhere between two limits: a maker's accuracy, the last digit of a display.
    Rectangular,
    /// A sum of many small things, well known: noise averaged over a run.
    Normal,
    /// Found from a few repeats: their number less one.
    Student {
        /// Degrees of freedom.
        dof: f64,
    },
}

/// One thing that is not known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Part {
    /// What it comes from, for people: "gain", "last digit".
    pub name: &'static str,
    /// Standard uncertainty it brings to the result, in the result's unit.
    pub u: f64,
    /// Its distribution.
    pub shape: Shape,
}

/// All that is not known of a result; the parts are independent of each other.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Budget {
    /// The parts.
    pub parts: Vec<Part>,
}

impl Budget {
    /// Adds a part, unless it is nothing.
    pub fn add(&mut self, name: &'static str, u: f64, shape: Shape) {
        if u > 0.0 {
            self.parts.push(Part { name, u, shape });
        }
    }

    /// Combined standard uncertainty: the root of the sum of squares (JCGM 100:2008, 5.1.2).
    #[must_use]
    pub fn standard(&self) -> f64 {
        self.parts.iter().map(|part| part.u * part.u).sum::<f64>().sqrt()
    }

    /// Effective degrees of freedom after Welch and Satterthwaite (JCGM 100:2008, G.4.1); limits
    /// and well-known parts have infinitely many.
    #[must_use]
    pub fn effective_dof(&self) -> f64 {
        let of_repeats: f64 = self
            .parts
            .iter()
            .filter_map(|part| match part.shape {
                Shape::Student { dof } => Some(part.u.powi(4) / dof),
                Shape::Rectangular | Shape::Normal => None,
            })
            .sum();
        if of_repeats > 0.0 { self.standard().powi(4) / of_repeats } else { f64::INFINITY }
    }

    /// Coverage factor of the 95 % interval.
    ///
    /// With repeats among the parts it is Student's t for the effective degrees of freedom
    /// (JCGM 100:2008, G.4). Without, the shape of the sum is known and 1.96 would be too wide
    /// where limits rule (JCGM 100:2008, G.1.3 gives 1.65 for a single rectangular part): the
    /// symmetric beta distribution with the sum's variance and fourth cumulant is taken, which is
    /// the rectangular one for a single part and tends to the normal one for many.
    #[must_use]
    pub fn coverage_95(&self) -> f64 {
        if self.parts.iter().any(|part| matches!(part.shape, Shape::Student { .. })) {
            return student_95(self.effective_dof());
        }
        let u4 = self.standard().powi(4);
        let limits: f64 = self
            .parts
            .iter()
            .filter(|part| part.shape == Shape::Rectangular)
            .map(|part| part.u.powi(4))
            .sum();
        // the excess kurtosis of a rectangular distribution is -6/5, of a beta(a, a) -6/(2a + 3)
        let excess = if u4 > 0.0 { 1.2 * limits / u4 } else { 0.0 };
        if excess < 1e-3 {
            return student_95(f64::INFINITY);
        }
        let a = (6.0 / excess - 3.0) / 2.0;
        Beta::new(a, a).map_or(student_95(f64::INFINITY), |beta| {
            (2.0 * a + 1.0).sqrt() * (2.0 * beta.inverse_cdf(0.975) - 1.0)
        })
    }

    /// Half-width of the 95 % interval: coverage factor times combined standard uncertainty.
    #[must_use]
    pub fn expanded_95(&self) -> f64 {
        let u = self.standard();
        if u > 0.0 { self.coverage_95() * u } else { 0.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::super::rectangular;
    use super::*;

    fn of(parts: &[(f64, Shape)]) -> Budget {
        let mut budget = Budget::default();
        for &(u, shape) in parts {
            budget.add("part", u, shape);
        }
        budget
    }

    #[test]
    fn one_rectangular_part_reaches_to_95_percent_of_its_limit() {
        let budget = of(&[(rectangular(2.0), Shape::Rectangular)]);
        assert!((budget.expanded_95() - 1.9).abs() < 1e-6);
    }

    #[test]
    fn two_equal_rectangular_parts_make_a_triangle() {
        let budget = of(&[(rectangular(1.0), Shape::Rectangular); 2]);
        // the triangle on ±2 holds 1 - (1 - x/2)² within ±x
        let held = 1.0 - (1.0 - budget.expanded_95() / 2.0).powi(2);
        assert!((held - 0.95).abs() < 0.005, "{held}");
    }

    #[test]
    fn normal_parts_alone_give_the_normal_factor() {
        let budget = of(&[(0.3, Shape::Normal), (0.4, Shape::Normal)]);
        assert!((budget.standard() - 0.5).abs() < 1e-12);
        assert!((budget.coverage_95() - 1.959_964).abs() < 1e-5);
        assert_eq!(Budget::default().expanded_95(), 0.0);
    }
}
