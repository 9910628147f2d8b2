//! A pack from the capacities by rate that a data sheet gives.

use super::walk::Latent;
use crate::error::above;
use crate::{Chemistry, Circuit, Load, Pack, PackError, Provenance, Wells, runtime};
use levenberg_marquardt::{LeastSquaresProblem, LevenbergMarquardt};
use nalgebra::{DMatrix, DVector, Dyn, Owned};

/// One line of a data sheet's table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rated {
    /// In how many hours the battery is emptied.
    pub hours: f64,
    /// What it gives in that time.
    pub capacity_ah: f64,
}

/// The typical pack of a chemistry with the capacity and the wells of a data sheet's table
/// (capacities at 20, 10, 5, 1 h or others), so that it gives the table's capacities at the
/// table's currents down to the chemistry's usual end of discharge.
///
/// Its label is the table's capacity at the longest time. Two lines or more are needed; two leave
/// the wells' rate near what is typical.
///
/// # Errors
/// [`PackError::Value`] for a line that is no capacity, [`PackError::Record`] for a table in which
/// a battery gives more when emptied faster, or too short a one.
pub fn from_sheet(name: &str, chemistry: Chemistry, table: &[Rated]) -> Result<Pack, PackError> {
    let mut table = table.to_vec();
    for line in &table {
        above("a data sheet's time in h", line.hours, 0.0, "a number above 0")?;
        above("a data sheet's capacity in Ah", line.capacity_ah, 0.0, "a number above 0")?;
    }
    table.sort_by(|a, b| a.hours.total_cmp(&b.hours));
    for pair in table.windows(2) {
        if let [fast, slow] = pair
            && (fast.hours == slow.hours || fast.capacity_ah > slow.capacity_ah)
        {
            return Err(PackError::Record(format!(
                "a data sheet with {} Ah in {} h and {} Ah in {} h: a battery gives less when it \
                 is emptied faster",
                fast.capacity_ah, fast.hours, slow.capacity_ah, slow.hours
            )));
        }
    }
    let (Some(slowest), true) = (table.last(), table.len() > 1) else {
        return Err(PackError::Record(
            "a data sheet needs capacities at two times or more, such as 20 h and 5 h".to_owned(),
        ));
    };
    let mut pack = Pack::typical(chemistry, slowest.capacity_ah)?;
    // the sheet is the test of a battery without its protection's limit of current
    let end_v = chemistry.empty_v(chemistry.cells());
    let mut bare = pack.clone();
    bare.limits.discharge_a = None;
    bare.limits.undervoltage_v = None;
    let prior = Latent::prior(&pack.circuit);
    let problem = Sheet { pack: bare, prior, end_v, z: DVector::zeros(3), table: &table };
    let (solved, _) = LevenbergMarquardt::new().with_ftol(1e-9).minimize(problem);
    let worst = table
        .iter()
        .filter_map(|line| Some(solved.given_ah(&solved.z, line)? / line.capacity_ah - 1.0))
        .fold(0.0, |worst: f64, off| worst.max(off.abs()));
    pack.circuit = solved.circuit(&solved.z);
    pack.name = name.to_owned();
    pack.idle_a = 0.0;
    pack.spread.capacity = pack.spread.capacity.max(worst);
    pack.provenance = Provenance::Sheet {
        note: format!(
            "the capacities are a data sheet's, met within {:.1} %; the voltage is the typical \
             one of {chemistry}; nothing of this battery was measured",
            worst * 100.0
        ),
    };
    Ok(pack)
}

struct Sheet<'a> {
    pack: Pack,
    prior: Latent,
    end_v: f64,
    table: &'a [Rated],
    /// Logarithms of the factors on capacity, lag and rate.
    z: DVector<f64>,
}

impl Sheet<'_> {
    /// Standard uncertainties of those logarithms before the sheet, and of the sheet itself.
    const PRIOR: [f64; 3] = [0.2, 1.0, 1.0];
    const SHEET: f64 = 0.005;

    fn circuit(&self, z: &DVector<f64>) -> Circuit {
        let factor = |i: usize| z[i].clamp(-3.0, 3.0).exp();
        let rate_per_s = self.prior.rate_per_s * factor(2);
        let lag_s = self.prior.lag_h * 3600.0 * factor(1);
        Circuit {
            capacity_ah: self.pack.circuit.capacity_ah * factor(0),
            wells: Some(Wells { at_hand: 1.0 / (1.0 + lag_s * rate_per_s), rate_per_s }),
            ..self.pack.circuit.clone()
        }
    }

    fn given_ah(&self, z: &DVector<f64>, line: &Rated) -> Option<f64> {
        let pack = Pack { circuit: self.circuit(z), ..self.pack.clone() };
        let load = Load::Current(line.capacity_ah / line.hours);
        Some(runtime(&pack, load, 0.0, self.end_v).ok()?.delivered_ah)
    }

    fn residuals_at(&self, z: &DVector<f64>) -> Option<DVector<f64>> {
        let off = self.table.iter().map(|line| {
            // a battery that gives nothing is far off, not infinitely
            let share = (self.given_ah(z, line)? / line.capacity_ah).max(1e-3);
            Some(share.ln() / Self::SHEET)
        });
        let prior = z.iter().zip(Self::PRIOR).map(|(z, u)| Some(z / u));
        let all: Option<Vec<f64>> = off.chain(prior).collect();
        Some(DVector::from_vec(all?))
    }
}

impl LeastSquaresProblem<f64, Dyn, Dyn> for Sheet<'_> {
    type ResidualStorage = Owned<f64, Dyn>;
    type JacobianStorage = Owned<f64, Dyn, Dyn>;
    type ParameterStorage = Owned<f64, Dyn>;

    fn set_params(&mut self, z: &DVector<f64>) {
        self.z.copy_from(z);
    }

    fn params(&self) -> DVector<f64> {
        self.z.clone()
    }

    fn residuals(&self) -> Option<DVector<f64>> {
        self.residuals_at(&self.z)
    }

    fn jacobian(&self) -> Option<DMatrix<f64>> {
        const STEP: f64 = 0.01;
        let columns = (0..self.z.len()).map(|i| {
            let at = |step: f64| {
                let mut z = self.z.clone();
                z[i] += step;
                self.residuals_at(&z)
            };
            Some((at(STEP)? - at(-STEP)?) / (2.0 * STEP))
        });
        Some(DMatrix::from_columns(&columns.collect::<Option<Vec<_>>>()?))
    }
}
