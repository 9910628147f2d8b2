//! `tilldawn runtime`.

use std::path::Path;
use std::process::ExitCode;

use pack::{Likely, Load, Pack, Start};
use report::RuntimeAsked;
use serde::Serialize;

use crate::args;
use crate::output::{Failure, print, print_json, remark};

pub(crate) fn run(asked: &args::Runtime) -> Result<ExitCode, Failure> {
    let pack = pack_of(asked)?;
    let load = match (asked.power, asked.current, asked.resistance) {
        (Some(power_w), _, _) => Load::Power(power_w),
        (_, Some(current_a), _) => Load::Current(current_a),
        (_, _, ohm) => Load::Resistance(ohm.unwrap_or(f64::INFINITY)),
    };
    let behind_ohm = asked.cable.unwrap_or(0.0);
    let start = Start { soc: asked.from, temperature_c: asked.temperature };
    let likely = pack::likely_runtime_from(&pack, start, load, behind_ohm, asked.cutoff)
        .map_err(|error| Failure::new("arguments", error.to_string()))?;
    if asked.json {
        print_json(&Document::of(&likely))?;
    } else {
        let asked = RuntimeAsked { pack: &pack, start, load, behind_ohm, cutoff_v: asked.cutoff };
        print(&report::runtime_text(&asked, &likely))?;
    }
    Ok(ExitCode::SUCCESS)
}

/// The pack that is meant: a pack file, a record, or a typical one.
fn pack_of(asked: &args::Runtime) -> Result<Pack, Failure> {
    match &asked.pack {
        Some(path) if is_toml(path) => {
            let mut defaults = Vec::new();
            let (pack, _) = plan::read_pack_file(path, &mut defaults)?;
            for default in defaults {
                remark(&format!("taken as usual: {default}"));
            }
            Ok(pack)
        }
        Some(path) => plan::pack_from_record(
            path,
            &record::ReadOptions::default(),
            asked.chemistry,
            asked.rated,
        )
        .map_err(|problem| Failure::new("record", problem)),
        None => {
            let (Some(chemistry), Some(rated_ah)) = (asked.chemistry, asked.rated) else {
                return Err(Failure::new(
                    "arguments",
                    "a typical pack needs --chemistry and --rated, such as --chemistry lfp --rated 40Ah",
                ));
            };
            Pack::typical(chemistry, rated_ah)
                .map_err(|error| Failure::new("arguments", error.to_string()))
        }
    }
}

fn is_toml(path: &Path) -> bool {
    path.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("toml"))
}

#[derive(Serialize)]
struct Document {
    time_to_cutoff_s: f64,
    time_low_s: f64,
    time_high_s: f64,
    delivered_ah: f64,
    delivered_wh: f64,
    ended_by: &'static str,
    soc_end: f64,
}

impl Document {
    fn of(likely: &Likely) -> Self {
        let runtime = &likely.central;
        Document {
            time_to_cutoff_s: runtime.time_to_cutoff_s,
            time_low_s: likely.time_low_s,
            time_high_s: likely.time_high_s,
            delivered_ah: runtime.delivered_ah,
            delivered_wh: runtime.delivered_wh,
            ended_by: runtime.ended_by.word(),
            soc_end: runtime.end.soc,
        }
    }
}
