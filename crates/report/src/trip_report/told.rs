//! A forecast in sentences.

use pack::Provenance;
use plan::Plan;
use quantity::Kind;
use trip::{Cause, Forecast, MOST_RESTARTS, NightForecast, Restarts};

use crate::page::{Tone, Verdict};
use crate::planned_harvest::weather_remarks;
use crate::words::{chance, day_and_clock, listed, sentence, sentence_case};

pub(super) const PICTURE: &str = "Lines show the typical trip: every load, cloud and capacity at its middle value. Bands hold the middle 80 % of the drawn trips. Shaded: from sunset to sunrise, darker where the sun is below −18°.";

pub(super) const METHOD: [&str; 4] = [
    "The whole chain is simulated minute by minute: the pack's voltage under load, constant-power devices that draw more current as it falls, the loss in each cable, and what the sources give by day.",
    "A night is carried when every device that should run does, from its beginning to its end. A device has failed when it sees less than its least voltage, when no voltage would bring it its power, or when the pack's protection opens. It then stays off until sunrise, unless the plan says that it restarts; a night in which it does is lost all the same. An opened protection closes when a source has brought the pack's voltage back.",
    "What is not known is drawn at random, many times: capacity, resistance and open-circuit voltage of the pack, the loads, the sun of each day, the air's temperature and how damp it is, how the panels stand. A chance is the share of drawn trips in which the night was carried; its 95 % interval (Wilson 1927) says how far the number of draws settles it, not whether the plan's own numbers are right.",
    "The typical trip has every value in its middle. It is one trip, not the average of all.",
];

/// Place and nights: "9 to 12 October 2026, 56.9 N 4.2 W".
pub(super) fn dates(plan: &Plan) -> String {
    let place = &plan.site.place;
    let first = plan.dates.first_evening;
    let last = plan.dates.evenings().last().unwrap_or(first);
    let nights = match plan.dates.nights {
        1 => format!("the night of {}", first.strftime("%-d %B %Y")),
        count => format!(
            "{} nights, evenings of {} to {}",
            counted(count),
            first.strftime("%-d %B"),
            last.strftime("%-d %B %Y")
        ),
    };
    format!(
        "{nights}, at {} {}",
        Kind::Latitude.show(place.latitude_deg()),
        Kind::Longitude.show(place.longitude_deg())
    )
}

/// Small numbers in words.
fn counted(count: usize) -> String {
    const WORDS: [&str; 10] =
        ["no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"];
    WORDS.get(count).map_or_else(|| count.to_string(), |word| (*word).to_owned())
}

/// A night's name: "Fri 9 Oct".
pub(super) fn evening(night: &NightForecast) -> String {
    night.evening.strftime("%a %-d %b").to_string()
}

/// The answer.
pub(super) fn verdict(plan: &Plan, forecast: &Forecast) -> Verdict {
    let wanted = plan.dates.confidence;
    let short: Vec<&NightForecast> =
        forecast.nights.iter().filter(|night| night.chance.share < wanted).collect();
    let weakest = forecast.nights.iter().min_by(|a, b| a.chance.share.total_cmp(&b.chance.share));
    let Some(weakest) = weakest else {
        let sentence = "There is no night in this plan.".to_owned();
        return Verdict { tone: Tone::Plain, sentence, detail: String::new() };
    };
    let draws = forecast.draws;
    let wants = format!("wanted: {}", chance(wanted));
    let (all, count) = (forecast.nights.len(), short.len());
    let share = chance(weakest.chance.share);
    let none_ever = forecast.nights.iter().all(|night| night.chance.share == 0.0);
    let sentence = if none_ever {
        let who = if all == 1 { "the night" } else { "no night" };
        let drawn = if all == 1 { "none" } else { "any" };
        format!(
            "It does not last till dawn: {who} is carried in {drawn} of the {draws} drawn trips."
        )
    } else if count > 0 {
        let how_many = match (count, all) {
            (1, 1) => String::new(),
            (count, all) if count == all => format!("None of the {} nights is", counted(all)),
            (1, all) => format!("One of {} nights is not", counted(all)),
            (count, all) => {
                format!("{} of {} nights are not", sentence_case(&counted(count)), counted(all))
            }
        };
        let which = match short.as_slice() {
            [_] if all == 1 => format!("The night is carried in only {share} of trips"),
            [_, _, _, _, ..] => format!(
                "{how_many} sure enough, the first of them {}; the weakest, {}, is carried in {share} of trips",
                short.first().map_or_else(String::new, |night| evening(night)),
                evening(weakest)
            ),
            _ => {
                let named = short
                    .iter()
                    .map(|night| format!("{} ({})", evening(night), chance(night.chance.share)))
                    .collect::<Vec<_>>();
                format!("{how_many} sure enough: {}", listed(&named))
            }
        };
        format!("{which}; {wants}.")
    } else {
        let who = if all == 1 {
            "the night".to_owned()
        } else if weakest.chance.share >= 1.0 {
            "every night".to_owned()
        } else {
            format!("the weakest night, {},", evening(weakest))
        };
        if weakest.chance.share >= 1.0 {
            format!("It lasts till dawn: {who} is carried in all {draws} drawn trips.")
        } else {
            format!("It lasts till dawn: {who} is carried in {share} of trips; {wants}.")
        }
    };
    let is_close = weakest.chance.low < wanted && wanted <= weakest.chance.high;
    let tone = match (short.is_empty(), is_close) {
        (_, true) => Tone::Unsure,
        (true, false) => Tone::Good,
        (false, false) => Tone::Bad,
    };
    Verdict { tone, sentence, detail: detail(plan, weakest, is_close) }
}

/// What fails first in the weakest night.
fn detail(plan: &Plan, weakest: &NightForecast, is_close: bool) -> String {
    let mut parts = Vec::new();
    if let Some(culprit) = weakest.culprits.first() {
        let who = culprit.device.as_deref().map_or("everything", |device| device);
        let when = day_and_clock(culprit.median_time, &plan.site.zone);
        parts.push(format!(
            "What fails first that night is mostly {}, around {when}.",
            if culprit.device.is_some() {
                format!("the {who}")
            } else {
                "the pack itself: its protection opens".to_owned()
            }
        ));
    }
    if is_close {
        parts.push(
            "The draws are too few to tell on which side of the wanted confidence it lies.".into(),
        );
    }
    parts.join(" ")
}

/// A night's first failure in words, if it has one: "Sat 03:12 camera: voltage too low, restarts 4
/// times".
pub(super) fn failure(plan: &Plan, night: &NightForecast) -> Option<String> {
    let failure = night.first_failure.as_ref()?;
    let clock = plan.site.zone.to_datetime(failure.time).strftime("%a %H:%M");
    let who = failure.device.as_deref().unwrap_or("everything");
    let what = match failure.cause {
        Cause::Brownout => format!("{who}: voltage too low"),
        Cause::Collapse => format!("{who}: voltage collapses"),
        Cause::Protection => "the pack's protection opens".to_owned(),
    };
    let again = night.restarts.iter().find(|restarts| restarts.device == who);
    let again = again.map_or_else(String::new, |again| format!(", restarts {}", times(again)));
    Some(format!("{clock} {what}{again}"))
}

/// How often: "once", "4 times".
pub(super) fn times(restarts: &Restarts) -> String {
    match restarts.times {
        1 => "once".to_owned(),
        times if times >= MOST_RESTARTS => format!("{times} times or more"),
        times => format!("{times} times"),
    }
}

/// What must be known of the numbers the forecast rests on.
pub(super) fn remarks(plan: &Plan, forecast: &Forecast) -> Vec<String> {
    let mut remarks = Vec::new();
    match &plan.battery.pack.provenance {
        Provenance::Typical { source } => remarks.push(format!(
            "The pack was not measured: a typical curve stands for it ({source}). One bench record would replace it."
        )),
        Provenance::Stated => remarks.push("The pack's values are as stated in the plan.".into()),
        Provenance::Sheet { note } => remarks.push(sentence(note)),
        Provenance::Measured { from, notes } => {
            remarks.push(format!("The pack was measured: {}.", listed(from)));
            remarks.extend(notes.iter().map(|note| sentence(note)));
        }
    }
    remarks.extend(weather_remarks(plan));
    remarks.extend(forecast.remarks.iter().map(|remark| sentence(remark)));
    let of_rig = forecast.survey.iter().flat_map(|survey| &survey.found.remarks);
    remarks.extend(of_rig.filter(|remark| matters(remark)).map(|at| sentence(&at.to_string())));
    if !plan.defaults.is_empty() {
        remarks.push(format!(
            "Taken as usual, since the plan does not say: {}.",
            plan.defaults.join("; ")
        ));
    }
    remarks
}

/// Whether what was found in the rig bears on a trip: what wires and converters cost stands with the
/// rig, and a trip says itself what its sky does not do.
fn matters(remark: &rig::Remark) -> bool {
    match remark {
        rig::Remark::HeaterTooWeak { .. }
        | rig::Remark::CoolerAtLimit { .. }
        | rig::Remark::ConverterStarved { .. } => true,
        rig::Remark::ConverterCost { .. } | rig::Remark::NoSuchEvent { .. } => false,
    }
}
