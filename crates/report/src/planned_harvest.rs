//! What the panels of a plan may give, day by day.

use jiff::civil::Date;
use jiff::tz::TimeZone;
use plan::{Plan, Supply, Weather};
use trip::PlannedDay;

use crate::chart::{Chart, Ink, Layer, Panel, XAxis};
use crate::page::{Block, Page, Provenance, Section, Tone, Verdict};
use crate::table::{Table, indented, paragraph};
use crate::words::{fixed, sentence};

/// A plan's harvest for a terminal of 80 columns.
#[must_use]
pub fn planned_harvest_text(plan: &Plan, days: &[PlannedDay]) -> String {
    let mut text = paragraph(&answer(plan, days));
    text.push('\n');
    text.push_str(&table(plan, days).terminal());
    text.push('\n');
    for remark in remarks(plan) {
        text.push_str(&indented(&remark, " - ", "   "));
    }
    text
}

/// A plan's harvest as a page.
#[must_use]
pub fn planned_harvest_page(plan: &Plan, days: &[PlannedDay], provenance: Provenance) -> String {
    Page {
        title: format!("{}: what the sun gives", plan.site.name),
        subtitle: dates(days),
        verdict: Verdict { tone: Tone::Plain, sentence: answer(plan, days), detail: String::new() },
        sections: vec![
            Section::new("", vec![Block::Figure(chart(plan, days), PICTURE.into())]),
            Section::new(
                "Day by day",
                vec![Block::Table(table(plan, days)), Block::List(remarks(plan))],
            ),
        ],
        provenance,
    }
    .html()
}

const PICTURE: &str = "What comes out of all panels, before any controller. The band holds the middle 80 % of such days.";

fn dates(days: &[PlannedDay]) -> String {
    let date = |day: Option<&PlannedDay>| {
        day.map_or_else(String::new, |day| day.date.strftime("%-d %B %Y").to_string())
    };
    match days {
        [one] => date(Some(one)),
        _ => format!("{} to {}", date(days.first()), date(days.last())),
    }
}

fn answer(plan: &Plan, days: &[PlannedDay]) -> String {
    let most: f64 = days.iter().map(|day| day.clear_wh.iter().sum::<f64>()).fold(0.0, f64::max);
    let mean = days.iter().map(PlannedDay::usual_wh).sum::<f64>() / days.len().max(1) as f64;
    let panels = plan.supplies.iter().filter(|supply| matches!(supply, Supply::Panel(_))).count();
    format!(
        "{} {} Wh a day on the mean of the weather, {} Wh on the best day under a clear sky, \
         before any controller.",
        if panels == 1 { "The panel gives" } else { "The panels give" },
        fixed(mean, 0),
        fixed(most, 0)
    )
}

fn table(plan: &Plan, days: &[PlannedDay]) -> Table {
    let mut table = Table::new("What comes out of the panels, before any controller").text("Day");
    let names = plan.supplies.iter().filter_map(|supply| match supply {
        Supply::Panel(panel) => Some(panel.name.as_str()),
        Supply::Charger(_) => None,
    });
    // more than three panels are told together
    let names: Vec<&str> = names.collect();
    let apart = names.len() <= 3;
    if apart {
        for name in &names {
            table = table.number(format!("{name}, clear"), "Wh");
        }
    } else {
        table = table.number("Clear sky", "Wh");
    }
    table =
        table.number("On the mean", "Wh").number("Middle 80 %", "Wh").number("Sun in sight", "h");
    for day in days {
        let mut cells = vec![day.date.strftime("%a %-d %b").to_string()];
        if apart {
            cells.extend(day.clear_wh.iter().map(|wh| fixed(*wh, 0)));
        } else {
            cells.push(fixed(day.clear_wh.iter().sum(), 0));
        }
        let [low, high] = day.range_wh();
        cells.push(fixed(day.usual_wh(), 0));
        cells.push(format!("{} to {}", fixed(low, 0), fixed(high, 0)));
        cells.push(fixed(day.sun_h, 1));
        table.row(cells);
    }
    table
}

/// What the days' weather is drawn from, a sentence each.
pub(crate) fn weather_remarks(plan: &Plan) -> Vec<String> {
    match &plan.weather {
        Weather::Share(_) => Vec::new(),
        Weather::Clearness(_) => vec![
            "The days' weather is drawn about a mean clearness; what clouds take from light on the \
             level becomes what they take from the panels' harvest."
                .to_owned(),
        ],
        Weather::File(file) => {
            let mut remarks = vec![format!(
                "The days' weather is drawn from {} whole days of the season in {}, in the order \
                 they had: what the panels would have given on each, over a clear day.",
                file.days.len(),
                file.path.display()
            )];
            remarks.extend(file.weather.findings.notices().iter().map(|notice| sentence(notice)));
            remarks
        }
    }
}

fn remarks(plan: &Plan) -> Vec<String> {
    let mut remarks = weather_remarks(plan);
    remarks.push(
        "A trip is simulated from its first sunset: the first day counts only in that its evening \
         follows."
            .to_owned(),
    );
    if !plan.defaults.is_empty() {
        remarks.push(format!(
            "Taken as usual, since the plan does not say: {}.",
            plan.defaults.join("; ")
        ));
    }
    remarks
}

fn chart(plan: &Plan, days: &[PlannedDay]) -> Chart {
    let noon = |date: Date| {
        let at = date.at(12, 0, 0, 0).to_zoned_datetime(TimeZone::UTC);
        at.map_or(f64::NAN, |at| at.timestamp().as_second() as f64)
    };
    let mut panel = Panel::new("Out of the panels (Wh)");
    panel.height_px = 210.0;
    let low_high = |day: &PlannedDay| {
        let [low, high] = day.range_wh();
        (noon(day.date), low, high)
    };
    let clear = |day: &PlannedDay| (noon(day.date), day.clear_wh.iter().sum());
    let usual = |day: &PlannedDay| (noon(day.date), day.usual_wh());
    panel.layers = vec![
        Layer::band("", Ink::Five, days.iter().map(low_high).collect()),
        Layer::dots("clear sky", Ink::One, days.iter().map(clear).collect()),
        Layer::dots("mean of the weather", Ink::Five, days.iter().map(usual).collect()),
    ];
    let most = days.iter().map(|day| clear(day).1.max(low_high(day).2)).fold(0.0, f64::max);
    panel.range = Some((0.0, (1.1 * most / 50.0).ceil().max(1.0) * 50.0));
    Chart {
        title: "Harvest by day".into(),
        description: answer(plan, days),
        x: XAxis::Time { zone: TimeZone::UTC },
        panels: vec![panel],
        spans: Vec::new(),
        marks: Vec::new(),
    }
}
