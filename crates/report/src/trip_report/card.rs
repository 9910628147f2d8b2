//! One page to take along: what the meter should show, hour by hour, and when to worry.

use jiff::Timestamp;
use jiff::tz::TimeZone;
use maud::{Markup, html};
use plan::Plan;
use quantity::Kind;
use trip::{Carried, Forecast, NightForecast, Shedding};

use super::{Mends, told};
use crate::page::{Block, Page, Provenance, Section};
use crate::words::{NONE, chance, fixed, listed, sentence_case};

/// A card to print, A4.
#[must_use]
pub fn field_card(
    plan: &Plan,
    forecast: &Forecast,
    mends: Option<Mends<'_>>,
    provenance: Provenance,
) -> String {
    let nights = html! {
        div class="card" {
            @for night in &forecast.nights { (night_card(plan, forecast, night)) }
        }
    };
    let mut blocks = vec![Block::Text(how_to_read(plan)), Block::Markup(nights)];
    blocks.extend(waits(plan).map(Block::Text));
    blocks.push(Block::Text(shed(plan, mends.and_then(|mends| mends.shedding))));
    Page {
        title: format!("{}: field card", plan.site.name),
        subtitle: sentence_case(&told::dates(plan)),
        verdict: told::verdict(plan, forecast),
        sections: vec![Section::new("", blocks)],
        provenance,
    }
    .html()
}

fn how_to_read(plan: &Plan) -> String {
    format!(
        "At each hour: the voltage the pack should show under load, the charge that should be out of it since it was last full, and what 19 of 20 drawn trips that reached dawn kept to. Beyond that you are worse off than they were: switch something off. Times are those of {}.",
        plan.site.zone.iana_name().unwrap_or("the site")
    )
}

/// What is not to be plugged in before the pack is warm.
fn waits(plan: &Plan) -> Option<String> {
    let waits: Vec<String> = plan
        .supplies
        .iter()
        .filter_map(|supply| {
            let least = Kind::Temperature.show(supply.charges_above_c()?);
            Some(format!("Leave {} unplugged while the pack is below {least}.", supply.name()))
        })
        .collect();
    (!waits.is_empty()).then(|| waits.join(" "))
}

/// What to switch off: as worked out, or else in the order of the plan.
fn shed(plan: &Plan, worked_out: Option<&Shedding>) -> String {
    if let Some(shedding) = worked_out {
        let steps: Vec<String> = shedding
            .steps
            .iter()
            .map(|step| match step.from {
                Some(from) => format!("the {} from {} on", step.device, from.strftime("%H:%M")),
                None => format!("the {} all night", step.device),
            })
            .collect();
        let how_sure = if shedding.enough { "" } else { " Even that is not sure enough." };
        return format!("To reach dawn switch off {}.{how_sure}", listed(&steps));
    }
    let mut order: Vec<(u32, &str)> = plan
        .gear
        .rig
        .devices()
        .iter()
        .filter_map(|device| Some((device.shed_order?, device.name.as_str())))
        .collect();
    order.sort_by_key(|(order, _)| *order);
    let names: Vec<String> = order.iter().map(|(_, name)| (*name).to_owned()).collect();
    if names.is_empty() {
        "The plan does not say what may be switched off first (`shed`).".to_owned()
    } else {
        format!("Switch off first: {}.", names.join(", then "))
    }
}

fn night_card(plan: &Plan, forecast: &Forecast, night: &NightForecast) -> Markup {
    let zone = &plan.site.zone;
    let capacity_ah = plan.battery.pack.circuit.capacity_ah;
    let out_ah = |soc: f64| fixed((1.0 - soc) * capacity_ah, 1);
    let clock = |at: Option<Timestamp>| {
        at.map_or_else(|| NONE.to_owned(), |at| zone.to_datetime(at).strftime("%H:%M").to_string())
    };
    let events: Vec<String> = [
        ("sunset", night.night.sunset),
        ("dark", night.night.astronomical_dusk),
        ("dark ends", night.night.astronomical_dawn),
        ("sunrise", night.night.sunrise),
    ]
    .into_iter()
    .map(|(name, at)| format!("{name} {}", clock(at)))
    .collect();
    html! {
        section class="night" {
            h3 { (told::evening(night)) ": " (chance(night.chance.share)) }
            p { (listed(&events)) }
            table {
                thead { tr {
                    th { "Clock" }
                    th class="number" { "Shows" span class="unit" { "V" } }
                    th class="number" { "Worry below" span class="unit" { "V" } }
                    th class="number" { "Out" span class="unit" { "Ah" } }
                    th class="number" { "Worry above" span class="unit" { "Ah" } }
                    th { "Seen" }
                } }
                tbody { @for at in hours(night, zone) {
                    @if let Some(hour) = Hour::at(forecast, at) { tr {
                        th scope="row" { (clock(Some(at))) }
                        td class="number" { (fixed(hour.expect_v, 2)) }
                        td class="number" { (worry(&hour, |least| fixed(least.terminal_v, 2))) }
                        td class="number" { (out_ah(hour.expect_soc)) }
                        td class="number" { (worry(&hour, |least| out_ah(least.soc))) }
                        td class="seen" {}
                    } }
                } }
            }
        }
    }
}

fn worry(hour: &Hour, show: impl Fn(Carried) -> String) -> String {
    hour.worry.map_or_else(|| NONE.to_owned(), show)
}

/// The whole hours of the site's clock within a night.
fn hours(night: &NightForecast, zone: &TimeZone) -> Vec<Timestamp> {
    let begin = zone.to_datetime(night.from);
    let mut at = begin.date().at(begin.hour(), 0, 0, 0);
    let mut hours = Vec::new();
    while let Ok(instant) = zone.to_timestamp(at) {
        if instant > night.to {
            break;
        }
        if instant >= night.from && hours.last().is_none_or(|last| *last < instant) {
            hours.push(instant);
        }
        let Ok(next) = at.checked_add(jiff::Span::new().hours(1)) else { break };
        at = next;
    }
    hours
}

/// What the meter should show at one moment.
struct Hour {
    expect_v: f64,
    expect_soc: f64,
    worry: Option<Carried>,
}

impl Hour {
    /// At the first step that ends at the moment or after it.
    fn at(forecast: &Forecast, at: Timestamp) -> Option<Hour> {
        let point =
            forecast.points.get(forecast.points.partition_point(|point| point.time < at))?;
        let band = forecast.bands.get(forecast.bands.partition_point(|band| band.time < at))?;
        Some(Hour { expect_v: point.terminal_v, expect_soc: point.soc, worry: band.carried })
    }
}
