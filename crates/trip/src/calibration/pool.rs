//! Nights that are looked at together: what was called, what came of it, and how sure that is.

/// How much is done.
#[derive(Clone, Copy)]
pub(super) struct Size {
    pub(super) plans: usize,
    /// Draws of each forecast, and of the search for a load before it.
    pub(super) draws: usize,
    pub(super) search: usize,
    /// Truths of each plan.
    pub(super) truths: usize,
}

/// What was called and what came of it, of the nights of one plan and last of all its trip.
pub(super) struct Judged {
    pub(super) kinds: Vec<&'static str>,
    pub(super) called: Vec<f64>,
    pub(super) carried: Vec<usize>,
    pub(super) size: Size,
}

/// Nights, or trips, that are looked at together.
#[derive(Debug, Default)]
pub(super) struct Pool {
    pub(super) nights: usize,
    /// Shares of the truths.
    pub(super) called: f64,
    pub(super) carried: f64,
    /// Standard error of their difference: the nights of one plan are taken to err alike.
    pub(super) error: f64,
}

impl Pool {
    /// Those of which a number holds: of a plan, which of its nights, and what was called.
    pub(super) fn of(all: &[Judged], belongs: impl Fn(&Judged, usize, f64) -> bool) -> Self {
        let mut pool = Self::default();
        let mut square = 0.0;
        for judged in all {
            let Size { draws, truths, .. } = judged.size;
            let mut deviation = 0.0;
            for (night, (called, carried)) in judged.called.iter().zip(&judged.carried).enumerate()
            {
                if belongs(judged, night, *called) {
                    pool.nights += 1;
                    pool.called += called;
                    pool.carried += *carried as f64 / truths as f64;
                    let once = called * (1.0 - called);
                    deviation += (once * (1.0 / truths as f64 + 1.0 / draws as f64)).sqrt();
                }
            }
            square += deviation * deviation;
        }
        let nights = pool.nights.max(1) as f64;
        (pool.called, pool.carried) = (pool.called / nights, pool.carried / nights);
        pool.error = square.sqrt() / nights;
        pool
    }

    pub(super) fn off(&self) -> f64 {
        self.carried - self.called
    }

    pub(super) fn line(&self, what: &str) -> String {
        format!(
            "{what:38} {:5} called {:6.2} % carried {:6.2} % off {:+5.2} ± {:4.2} %",
            self.nights,
            100.0 * self.called,
            100.0 * self.carried,
            100.0 * self.off(),
            100.0 * self.error
        )
    }
}
