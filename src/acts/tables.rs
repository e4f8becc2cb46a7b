//! `calc`, `parse`, `hear`, `jobs`, `check-job`, `completions`: one question, one answer.

use std::path::Path;

use clap::CommandFactory;

use super::{DONE, Failure, NOT_DONE};
use crate::calc;
use crate::job::{built_in, sheet};
use crate::spoken;

/// One calculation, or a table of them.
///
/// # Errors
/// If the name, the inputs or the table are not right.
pub fn calc(name: Option<&str>, inputs: Option<&str>, table: Option<&Path>) -> Result<u8, Failure> {
    if let Some(path) = table {
        let outcome = calc::table::run(&read_table(path)?);
        super::print(&format!("{outcome}\n"))?;
        return Ok(if outcome.all_ok() { DONE } else { NOT_DONE });
    }
    let Some(name) = name else {
        let lines: Vec<String> = calc::FUNCTIONS
            .iter()
            .map(|function| format!("{}\t{}", function.name, function.inputs_text()))
            .collect();
        super::print(&(lines.join("\n") + "\n"))?;
        return Ok(DONE);
    };
    let inputs: serde_json::Value =
        serde_json::from_str(inputs.unwrap_or("{}")).map_err(|error| {
            Failure::wrong(format!(
                "the inputs are not a JSON object: {error}. Example: '{{\"x\": 0.5}}'"
            ))
        })?;
    let result = calc::evaluate(name, &inputs).map_err(Failure::wrong)?;
    super::print(&format!("{result}\n"))?;
    Ok(DONE)
}

/// One phrase, or a table of them.
///
/// # Errors
/// If the slot or the table are not right.
pub fn parse(
    slot: Option<&str>,
    phrase: Option<&str>,
    table: Option<&Path>,
) -> Result<u8, Failure> {
    if let Some(path) = table {
        let outcome = spoken::table::run(&read_table(path)?);
        super::print(&format!("{outcome}\n"))?;
        return Ok(if outcome.all_ok() { DONE } else { NOT_DONE });
    }
    let Some(name) = slot else {
        super::print(
            &(spoken::named_slots()
                .map(|slot| slot.name.as_str())
                .collect::<Vec<_>>()
                .join("\n")
                + "\n"),
        )?;
        return Ok(DONE);
    };
    let slot = slot_named(name)?;
    let Some(phrase) = phrase else {
        return Err(Failure::wrong(format!(
            "a phrase is missing. Example: sayback parse {name} 'five one two'"
        )));
    };
    let decision = spoken::parse(&slot, phrase);
    let json = serde_json::to_string(&decision).map_err(|error| {
        Failure::wrong(format!("the decision cannot be written as JSON: {error}"))
    })?;
    super::print(&format!("{json}\n"))?;
    Ok(DONE)
}

fn slot_named(name: &str) -> Result<spoken::Slot, Failure> {
    spoken::named_slot(name).ok_or_else(|| {
        Failure::wrong(format!(
            "no slot {name}. Slots: {}",
            spoken::named_slots()
                .map(|slot| slot.name.as_str())
                .collect::<Vec<_>>()
                .join(", ")
        ))
    })
}

fn read_table(path: &Path) -> Result<String, Failure> {
    std::fs::read_to_string(path).map_err(|error| {
        Failure::wrong(format!("cannot read the table {}: {error}", path.display()))
    })
}

/// Lists the built-in jobs, or prints one.
///
/// # Errors
/// If there is none of that name.
pub fn jobs(name: Option<&str>) -> Result<u8, Failure> {
    match name {
        None => {
            let lines: Vec<String> = built_in::all()
                .iter()
                .map(|job| format!("{}\t{}", job.id, job.title))
                .collect();
            super::print(&(lines.join("\n") + "\n"))?;
        }
        Some(name) => {
            let found = built_in::find(name).ok_or_else(|| {
                let names: Vec<&str> = built_in::all().iter().map(|job| job.id).collect();
                Failure::wrong(format!(
                    "no built-in job {name}. There are: {}",
                    names.join(", ")
                ))
            })?;
            super::print(found.text)?;
        }
    }
    Ok(DONE)
}

/// Checks a job file, for the model that is named; and a sheet against it.
///
/// # Errors
/// The faults found.
#[cfg_attr(not(feature = "voice"), allow(unused_variables))]
pub fn check_job(job: &str, sheet: Option<&Path>, model: Option<&Path>) -> Result<u8, Failure> {
    #[cfg(feature = "voice")]
    let ears = {
        use crate::edge::ear::{cache_folder, ear_words};
        ear_words(&model_choice(model), &cache_folder()).map_err(Failure::wrong)?
    };
    #[cfg(not(feature = "voice"))]
    let ears = spoken::EarWords::default();
    let (_, job) = super::run::read_job(job, &ears)?;
    #[cfg(feature = "voice")]
    super::run::model_has_words_of(&model_choice(model), &job)?;
    let mut text = format!(
        "{}: {} steps, {} limits, no faults\n",
        job.id,
        job.steps.len(),
        job.limits.len()
    );
    if let Some(path) = sheet {
        let sheet = sheet::file(path, &job).map_err(Failure::wrong)?;
        text += &format!(
            "{}: {} items, no faults\n",
            path.display(),
            sheet.plate.len()
        );
    }
    super::print(&text)?;
    Ok(DONE)
}

/// Prints completions for a shell.
///
/// # Errors
/// If standard output cannot be written.
pub fn completions(shell: clap_complete::Shell) -> Result<u8, Failure> {
    let mut out = Vec::new();
    clap_complete::generate(
        shell,
        &mut crate::args::CommandLine::command(),
        "sayback",
        &mut out,
    );
    super::print(&String::from_utf8_lossy(&out))?;
    Ok(DONE)
}

/// The model: the one inside the program, or a folder.
#[cfg(feature = "voice")]
#[must_use]
pub fn model_choice(folder: Option<&Path>) -> crate::edge::ear::ModelChoice {
    use crate::edge::ear::ModelChoice;
    folder.map_or(ModelChoice::BuiltIn, |folder| {
        ModelChoice::Folder(folder.to_owned())
    })
}

/// What the ear hears in recordings.
///
/// # Errors
/// If a recording, the table or the model is not right.
#[cfg(feature = "voice")]
pub fn hear(args: &crate::args::HearArgs) -> Result<u8, Failure> {
    use crate::hear::{FileOptions, TableOptions, run_files, run_table, write_fsg};
    let model = model_choice(args.model.as_deref());
    let mut out = Vec::new();
    let done = if let Some(path) = &args.table {
        run_table(
            path,
            &TableOptions {
                model,
                each: args.each,
                word_list: args.any_order,
                one_ear: args.one_ear,
                heard: args.heard.clone(),
            },
            &mut out,
        )
    } else if args.fsg {
        write_fsg(args.grammar.as_deref().unwrap_or("all"), &mut out)
    } else {
        let grammar = args.grammar.clone().unwrap_or_else(|| "all".to_owned());
        run_files(
            &args.files,
            &FileOptions {
                model,
                grammar,
                json: args.json,
            },
            &mut out,
        )
    };
    super::print(&String::from_utf8_lossy(&out))?;
    done.map_err(Failure::wrong)?;
    Ok(DONE)
}
