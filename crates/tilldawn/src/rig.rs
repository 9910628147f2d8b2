//! `tilldawn rig`.

mod document;

use std::process::ExitCode;

use plan::Plan;

use crate::args;
use crate::output::{Failure, print, print_json, provenance, remark, write_file};

pub(crate) fn run(asked: &args::Rig) -> Result<ExitCode, Failure> {
    let plan = Plan::read(&asked.plan)?;
    let survey = trip::survey(&plan)?;
    let inspected = report::Inspected {
        rig: &plan.gear.rig,
        zone: &plan.site.zone,
        survey: &survey,
        defaults: &plan.defaults,
    };
    if asked.json {
        print_json(&document::Document::of(&plan, &survey))?;
    } else {
        print(&report::rig_text(&inspected))?;
    }
    if let Some(path) = &asked.report {
        let mut files = vec![plan.file.clone()];
        files.extend(plan.battery.record.iter().map(|record| record.display().to_string()));
        let title = format!("{}: what the rig draws", plan.site.name);
        write_file(path, &report::rig_page(&title, &inspected, provenance(files, None)))?;
        remark(&format!("report written to {}", path.display()));
    }
    Ok(ExitCode::SUCCESS)
}
