//! A look back in sentences.

use jiff::Timestamp;
use plan::Plan;
use quantity::Kind;
use trip::{Explanation, Finding, Hindsight, Measure, Parting, Suspect};

use super::advice;
use crate::table::NO_BREAK;
use crate::words::{chance, day_and_clock, fixed, sentence, sentence_case};

pub(super) const PICTURE: &str = "Dashed, or dots where readings are few: what the meter recorded, a few minutes at a time. Line: the typical trip. The band holds the middle 80 % of the drawn trips, as a meter would have seen them. Marked is where the record leaves the band. Shaded: from sunset to sunrise, darker where the sun is below −18°.";

/// What it comes to, where it parts first, and what to do about it.
pub(super) fn answer(plan: &Plan, found: &Hindsight) -> Vec<String> {
    let mut told = vec![verdict(plan, found)];
    told.extend(found.partings.first().map(|first| parts_first(plan, first)));
    if let (Finding::Explained, Some(first)) = (found.finding, found.explanations.first()) {
        told.push(advice::next(plan, found, first));
    }
    told
}

/// "From Sat 10 Oct 02:10 on the voltage was below …"
fn parts_first(plan: &Plan, parting: &Parting) -> String {
    let from = day_and_clock(parting.from, &plan.site.zone);
    let most_at = day_and_clock(parting.most_at, &plan.site.zone);
    let side = if parting.most < 0.0 { "below" } else { "above" };
    let (what, most) = match parting.what {
        Measure::Voltage => ("voltage", format!("{} V", fixed(parting.most.abs(), 2))),
        Measure::Charge => ("charge out", format!("{} Ah", fixed(parting.most.abs(), 1))),
    };
    format!(
        "From {from} on the {what} was {side} what the middle 80 % of the drawn trips show; it was off by most, {most} from the typical trip, at {most_at}."
    )
}

/// What it comes to.
pub(super) fn verdict(plan: &Plan, found: &Hindsight) -> String {
    let first = found.explanations.first();
    let cause = |explanation: &Explanation| self::cause(plan, &explanation.what, explanation);
    match (found.finding, first) {
        (Finding::AsForecast, first) => {
            let further = 1.0 - found.further_than;
            let mut text = format!(
                "It went as forecast: of trips that the plan allows {} lie at least as far out.",
                chance(further)
            );
            if let Some(first) =
                first.filter(|first| further < 0.5 && first.explains >= 0.5 && first.chance >= 0.5)
            {
                text.push_str(&format!(
                    " What sets it apart at all is most likely that {}.",
                    cause(first)
                ));
            }
            text
        }
        (Finding::Explained, Some(first)) => {
            format!(
                "It did not go as forecast. One thing explains it: {}. How sure that is: {}.",
                cause(first),
                chance(first.chance)
            )
        }
        (Finding::Several, Some(first)) => {
            let rivals = found.rivals().map(cause).collect::<Vec<_>>();
            format!(
                "It did not go as forecast. Several things would each explain it, and the record can't tell them apart: {}; or {}.",
                cause(first),
                rivals.join("; or ")
            )
        }
        (_, _) => {
            let mut text = "It did not go as forecast, and nothing single explains it.".to_owned();
            if let Some(both) = &found.together {
                let [a, b] = both.causes.each_ref().map(|(what, amount)| {
                    // together there is no word on how surprising each is
                    told(plan, what, *amount)
                });
                text.push_str(&format!(
                    " Two things together take {} of the distance away: {a}; and {b}.",
                    chance(both.explains)
                ));
            }
            text
        }
    }
}

/// A cause with its amount, and how surprising that is where the plan says.
pub(super) fn cause(plan: &Plan, what: &Suspect, explanation: &Explanation) -> String {
    let told = told(plan, what, explanation.amount);
    if explanation.is_allowed_for {
        let deviations = fixed(explanation.deviations.abs(), 1);
        format!("{told} ({deviations} standard deviations of the plan)")
    } else {
        told
    }
}

/// Below this factor a device counts as off.
pub(super) const OFF: f64 = 0.05;

fn told(plan: &Plan, what: &Suspect, amount: f64) -> String {
    let less_or_more = |less: &'static str, more: &'static str| {
        if amount < 0.0 { less } else { more }
    };
    let times = fixed(amount, 2);
    match what {
        Suspect::Capacity => {
            format!("the pack held {} % of the planned capacity", fixed(100.0 * amount, 0))
        }
        Suspect::Charge => format!(
            "the pack began with {} % of its charge, not {} %",
            fixed(100.0 * amount, 0),
            fixed(100.0 * plan.battery.soc_start, 0)
        ),
        Suspect::Resistance => format!(
            "{} {} between the pack's cells and the meter: in the pack, a connector or a cable",
            Kind::Resistance.show(amount.abs()),
            less_or_more("less than planned", "more than planned")
        ),
        Suspect::Voltage => format!(
            "the voltage lay {} V {}, by the pack's own curve or by the meter",
            fixed(amount.abs(), 2),
            less_or_more("lower", "higher")
        ),
        Suspect::Device(name) if amount < OFF => format!("the {name} did not run"),
        Suspect::Device(name) => format!("the {name} drew {times} times what was planned"),
        Suspect::Extra => format!(
            "something that the plan does not know drew {} W all the time",
            fixed(amount, 1)
        ),
        Suspect::Sun(None) => format!(
            "the days gave {times} times the typical harvest (clouds, shade, dirt, or the panel: the record can't tell)"
        ),
        Suspect::Sun(Some(evening)) => format!(
            "the day before the night of {} gave {times} times its typical harvest",
            evening.strftime("%a %-d %b")
        ),
        Suspect::Chargers => format!("the chargers gave {times} times what was planned"),
        Suspect::Air => format!(
            "the air was {} K {} than planned",
            fixed(amount.abs(), 0),
            less_or_more("colder", "warmer")
        ),
        Suspect::Clock => {
            let minutes = (amount.abs() / 60.0).round();
            let (hours, rest) = ((minutes / 60.0).floor(), minutes % 60.0);
            // zones differ by halves of an hour, and few people set a clock so wrongly
            let off_half = (minutes - 30.0 * (minutes / 30.0).round()).abs();
            let zone = if minutes >= 30.0 && off_half <= 3.0 {
                " (another time zone, or summer time?)"
            } else {
                ""
            };
            format!(
                "the record's clock was {hours:.0}{NO_BREAK}h{NO_BREAK}{rest:02.0}{NO_BREAK}min {}{zone}",
                less_or_more("behind", "ahead")
            )
        }
        Suspect::MeterZero => format!(
            "the meter's current read {} A too {}",
            fixed(amount.abs(), 2),
            less_or_more("low", "high")
        ),
        Suspect::MeterGain => format!("the meter's current read {times} times what flowed"),
    }
}

/// "voltage 0.42 V below the typical trip's"
pub(super) fn parting(parting: &Parting) -> String {
    let below = parting.most < 0.0;
    match parting.what {
        Measure::Voltage => format!("voltage {}", if below { "below" } else { "above" }),
        Measure::Charge => format!("{} charge out", if below { "less" } else { "more" }),
    }
}

/// What must be known of the record.
pub(super) fn remarks(plan: &Plan, found: &Hindsight) -> Vec<String> {
    let clock = |at: Timestamp| day_and_clock(at, &plan.site.zone);
    let began = clock(found.began);
    let mut remarks = vec![if found.is_placed {
        format!(
            "The record does not tell when it began. It was laid where it fits best, from {began}; say it with --began if you know."
        )
    } else {
        format!("The record covers {} h of the trip, from {began}.", fixed(found.covered_h, 1))
    }];
    if found.gaps_h > 0.0 {
        remarks.push(format!(
            "Within it nothing was recorded for {} h, which are left out on both sides.",
            fixed(found.gaps_h, 1)
        ));
    }
    if !found.has_current {
        remarks.push(
            "It has no current: what loads and sun did shows only as far as the voltage tells."
                .to_owned(),
        );
    }
    if found.finding != Finding::AsForecast {
        remarks.push(METHOD.to_owned());
    }
    remarks.extend(found.notices.iter().map(|notice| sentence(&sentence_case(notice))));
    remarks
}

const METHOD: &str = "Each cause was tried by itself: its amount was varied until the simulated trip came as near to the record as it could. “Takes away” is the share of the distance that goes, beyond the scatter that the plan allows anyway. “How sure” is the chance that this alone is it, among the causes that were tried and “several at once, or something else”.";
