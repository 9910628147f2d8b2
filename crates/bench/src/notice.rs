//! What people should know of a record before they believe its numbers.

use quantity::Kind;

use crate::Settings;
use crate::trace::Trace;

impl Trace<'_> {
    /// What holds for every run of the record.
    pub(crate) fn notices(&self, settings: &Settings) -> Vec<String> {
        let mut notices = Vec::new();
        if self.zero_a != 0.0 {
            let share = self.zero_a.abs() / self.peak_a;
            notices.push(format!(
                "the current meter shows {} with nothing connected; this was taken off every reading ({:.1} % of the largest current)",
                signed(Kind::Current, self.zero_a),
                100.0 * share,
            ));
        }
        for gap in &self.gaps {
            let [from_s, to_s] = [gap.at, gap.at + 1].map(|at| self.elapsed_s(at));
            let span = Kind::Duration.show(to_s - from_s);
            let from = Kind::Duration.show(from_s);
            notices.push(if gap.bridged {
                format!(
                    "{span} without readings after {from}: the readings on both sides agree, so the time between them is counted and its bound is in the uncertainty"
                )
            } else {
                format!(
                    "{span} without readings after {from}: the readings on both sides differ, so nothing is counted in between"
                )
            });
        }
        if settings.instrument.is_none() {
            notices.push(
                "the accuracy of the meter is not given, so the uncertainty holds only the last digit, the sampling, the noise and the ends of the run"
                    .to_owned(),
            );
        }
        notices
    }
}

fn signed(kind: Kind, value: f64) -> String {
    format!("{}{}", if value < 0.0 { "-" } else { "" }, kind.show(value.abs()))
}
