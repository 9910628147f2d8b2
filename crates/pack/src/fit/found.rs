//! From what was solved to a circuit, what else it may be, and what was found out.

use super::Parameter;
use super::linear::{Linear, RESISTANCES};
use super::problem::{Found, Problem};
use super::walk::Latent;
use crate::doubt::no_less_than_none;
use crate::measured::rising;
use crate::{Circuit, Ocv, PackError, Rise, Wells};
use nalgebra::{DMatrix, DVector};

/// The name of R0 and R1 together.
pub(super) const RESISTANCE: &str = "R0 + R1";

/// A parameter whose uncertainty is still this share of its prior was hardly measured.
const HELD: f64 = 0.7;

/// A resistance whose uncertainty is this share of it was not measured.
const HALF: f64 = 0.5;

/// Parameters this closely correlated are not told apart.
const ALIKE: f64 = 0.8;

const LITTLE: &str = "the records hardly say more of it than was known before";

/// Why a parameter could not be measured: what it can't be told from, where there is such.
fn why(covariance: Option<&DMatrix<f64>>, index: usize, names: &[&str]) -> String {
    let Some(covariance) = covariance else { return LITTLE.to_owned() };
    let correlation = |other: usize| {
        let both = covariance[(index, index)] * covariance[(other, other)];
        (covariance[(index, other)] / both.sqrt()).abs()
    };
    let others = (0..names.len()).filter(|other| *other != index);
    let closest = others.max_by(|a, b| correlation(*a).total_cmp(&correlation(*b)));
    match closest.filter(|other| correlation(*other) > ALIKE) {
        Some(other) => format!("the records can't tell it from the {}", names[other]),
        None => LITTLE.to_owned(),
    }
}

pub(super) fn parameters(problem: &Problem<'_>, found: &Found) -> Vec<Parameter> {
    let covariance = problem.covariance();
    let names: Vec<&str> = problem.free.iter().map(|known| known.name).collect();
    let mut parameters: Vec<Parameter> = problem
        .free
        .iter()
        .enumerate()
        .map(|(i, known)| {
            let z_u = covariance.as_ref().map_or(1.0, |c| c[(i, i)].sqrt());
            Parameter {
                name: known.name,
                unit: known.unit,
                value: known.of(&found.latent),
                relative_u: z_u * known.spread,
                held: (z_u > HELD).then(|| why(covariance.as_ref(), i, &names)),
            }
        })
        .collect();
    let count = problem.linear.knots.len();
    if let Some(inverse) = found.solution.normal.clone().try_inverse() {
        let ohms = found.solution.ohms;
        let prior = problem.linear.prior;
        let square = |i: usize, j: usize| inverse[(count + i, count + j)];
        let ohms_covariance =
            DMatrix::from_fn(2, 2, |i, j| inverse[(count + 2 * i, count + 2 * j)]);
        for (name, value, prior_ohm, square) in [
            ("R0", ohms.r0_ohm, prior.r0_ohm, square(0, 0)),
            ("R1", ohms.r1_ohm, prior.r1_ohm, square(2, 2)),
            (
                RESISTANCE,
                ohms.r0_ohm + ohms.r1_ohm,
                prior.r0_ohm + prior.r1_ohm,
                square(0, 0) + square(2, 2) + 2.0 * square(0, 2),
            ),
        ] {
            let u_ohm = square.sqrt();
            let little = u_ohm > HELD * prior_ohm * Linear::PRIOR || u_ohm > HALF * value;
            let held = little.then(|| match name {
                RESISTANCE => LITTLE.to_owned(),
                _ => why(Some(&ohms_covariance), usize::from(name == "R1"), &["R0", "R1"]),
            });
            parameters.push(Parameter { name, unit: "Ω", value, relative_u: u_ohm / value, held });
        }
    }
    parameters
}

/// The circuits one standard uncertainty away: along each direction in which the searched
/// parameters are uncertain, the rest solved anew; and likewise of the resistances.
pub(super) fn variants(
    typical: &Circuit,
    problem: &Problem<'_>,
    found: &Found,
) -> Result<Vec<Circuit>, PackError> {
    let mut variants = Vec::new();
    if let Some(covariance) = problem.covariance() {
        let directions = covariance.symmetric_eigen();
        for (direction, square) in
            directions.eigenvectors.column_iter().zip(directions.eigenvalues.iter())
        {
            let by: DVector<f64> = direction * square.max(0.0).sqrt();
            if let Some(moved) = problem.moved(&by) {
                variants.push(circuit(typical, &problem.linear, &moved)?);
            }
        }
    }
    let count = problem.linear.knots.len();
    if let Some(inverse) = found.solution.normal.clone().try_inverse() {
        let ohms = inverse.fixed_view::<RESISTANCES, RESISTANCES>(count, count).into_owned();
        let directions = ohms.symmetric_eigen();
        for (direction, square) in
            directions.eigenvectors.column_iter().zip(directions.eigenvalues.iter())
        {
            // what the curve does when the resistances move this way
            let by = inverse.columns(count, RESISTANCES) * direction / square.sqrt();
            let mut moved = found.clone();
            for (v, by) in moved.solution.ocv_v.iter_mut().zip(by.iter()) {
                *v += by;
            }
            let ohms = &mut moved.solution.ohms;
            (ohms.r0_ohm, ohms.r1_ohm) =
                no_less_than_none(ohms.r0_ohm + by[count], ohms.r1_ohm + by[count + 2]);
            ohms.rise_ohm = (ohms.rise_ohm + by[count + 1]).max(0.0);
            variants.push(circuit(typical, &problem.linear, &moved)?);
        }
    }
    Ok(variants)
}

pub(super) fn circuit(
    typical: &Circuit,
    linear: &Linear,
    found: &Found,
) -> Result<Circuit, PackError> {
    let Latent { lag_h, rate_per_s, tau_s, warmth, charge_efficiency } = found.latent;
    let ohms = found.solution.ohms;
    let points: Vec<(f64, f64, f64)> =
        linear.knots.iter().zip(&found.solution.ocv_v).map(|(k, v)| (*k, *v, 1.0)).collect();
    let mut points = rising(&points);
    steepen(&mut points);
    for (soc, v) in &mut points {
        *soc = (*soc * 1e6).round() / 1e6;
        *v = (*v * 1e5).round() / 1e5;
    }
    Ok(Circuit {
        capacity_ah: found.capacity_ah,
        r0_ohm: ohms.r0_ohm,
        r1_ohm: ohms.r1_ohm,
        c1_f: tau_s / ohms.r1_ohm,
        charge_efficiency,
        ocv: Ocv::new(points)?,
        rise: Rise { share: (ohms.rise_ohm / ohms.r0_ohm).max(0.0), below_soc: linear.below_soc },
        warmth,
        wells: Some(Wells { at_hand: 1.0, rate_per_s }.lagging(lag_h)),
        ..typical.clone()
    })
}

/// Towards empty a battery's voltage falls ever faster. Where records disagree on the last
/// hundredths the fitted curve can level out, and a load would never reach its cutoff: there it
/// is made to fall at least as fast as it does above.
fn steepen(curve: &mut [(f64, f64)]) {
    const LAST: usize = 10;
    const ABOVE: usize = 16;
    let Some(&[(soc, v), .., (above_soc, above_v)]) = curve.get(LAST..=ABOVE) else { return };
    let least = (above_v - v) / (above_soc - soc);
    for i in (0..LAST).rev() {
        if let [(soc, v), (next_soc, next_v)] = &mut curve[i..i + 2] {
            *v = v.min(*next_v - least * (*next_soc - *soc));
        }
    }
}
