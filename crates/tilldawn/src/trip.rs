//! `tilldawn trip`.

mod document;

use std::path::Path;
use std::process::ExitCode;

use plan::Plan;
use report::Mends;
use trip::{Fix, Forecast, Hindsight, Settings, Shedding};

use crate::args;
use crate::clock;
use crate::output::{Failure, print, print_json, provenance, remark, write_file};
use crate::patience::{self, Patience};

pub(crate) fn run(asked: &args::Trip) -> Result<ExitCode, Failure> {
    let plan = Plan::read(&asked.plan)?;
    let settings = Settings { draws: asked.draws as usize, seed: asked.seed, within: asked.within };
    patience::listen();
    let forecast = {
        let mut patience = Patience::new("drawing {bar:40} {pos} trips, Ctrl-C to stop here");
        let most = asked.within.map_or(asked.draws, |_| trip::MOST_DRAWS as u64);
        trip::forecast(&plan, settings, |made| {
            patience.at(made as u64, Some(most));
            !patience::stopped()
        })?
    };
    let looked_back = asked
        .measured
        .as_deref()
        .map(|path| look_back(&plan, &forecast, path, asked))
        .transpose()?;
    let mended = if asked.fixes { Some(mend(&plan, &forecast, settings)?) } else { None };
    let mends =
        mended.as_ref().map(|(fixes, shedding)| Mends { fixes, shedding: shedding.as_ref() });
    if asked.json {
        print_json(&document::Document::of(&plan, &forecast, mends, looked_back.as_ref()))?;
    } else {
        print(&report::trip_text(&plan, &forecast, mends))?;
        if let Some(looked_back) = &looked_back {
            print(&format!("\n{}", report::hindsight_text(&plan, looked_back)))?;
        }
    }
    let mut files = vec![plan.file.clone()];
    let records = plan.battery.record.iter().chain(&asked.measured);
    files.extend(records.map(|record| record.display().to_string()));
    let provenance = provenance(files, Some(asked.seed));
    if let Some(path) = &asked.report {
        let page =
            report::trip_page(&plan, &forecast, mends, looked_back.as_ref(), provenance.clone());
        write_file(path, &page)?;
        remark(&format!("report written to {}", path.display()));
    }
    if let Some(path) = &asked.card {
        write_file(path, &report::field_card(&plan, &forecast, mends, provenance))?;
        remark(&format!("card written to {}", path.display()));
    }
    let unsure = |wanted: f64| forecast.nights.iter().any(|night| night.chance.share < wanted);
    Ok(if asked.check.is_some_and(unsure) { ExitCode::from(1) } else { ExitCode::SUCCESS })
}

fn look_back(
    plan: &Plan,
    forecast: &Forecast,
    path: &Path,
    asked: &args::Trip,
) -> Result<Hindsight, Failure> {
    let mut options = asked.reading.options();
    options.zone = options.zone.or_else(|| clock::name(&plan.site.zone));
    options.voltage_alone = true;
    let mut record = record::read_file(path, &options, |_, _| {})?;
    if let Some(began) = asked.began {
        let its_clock = match &asked.reading.clock {
            Some(named) => clock::named(named)?,
            None => plan.site.zone.clone(),
        };
        record.start = Some(clock::moment(began, &its_clock)?);
    }
    Ok(trip::hindsight(plan, forecast, &record)?)
}

fn mend(
    plan: &Plan,
    forecast: &Forecast,
    settings: Settings,
) -> Result<(Vec<Fix>, Option<Shedding>), Failure> {
    // the changes are compared by the very same draws
    let settings = Settings { draws: forecast.draws, within: None, ..settings };
    let mut patience = Patience::new("trying {bar:40} {pos} of {len} changes, Ctrl-C to stop here");
    let fixes = trip::fixes(plan, forecast, settings, |done, of| {
        patience.at(done as u64, Some(of as u64));
        !patience::stopped()
    })?;
    Ok((fixes, trip::shedding(plan, forecast, settings)?))
}
