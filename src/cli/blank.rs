//! `preblock blank`: an empty questionnaire, with the questions as comments.

use std::path::PathBuf;

use chrono::NaiveDate;
use clap::Args;

use crate::cli::screen::day;
use crate::cli::{ClinicFile, Done, ExitStatus, NotDone, RuleSource, draw, today};
use crate::document::diagnostic::Diagnostic;
use crate::questionnaire::edit;
use crate::rule_set::words;
use crate::rule_set::{Answer, Idx, Question, RuleSet};
use crate::screening::screener::Screener;

/// The line by which editors find the schema of the file, as `preblock schema` prints it.
const EDITOR: &str = "# yaml-language-server: $schema=questionnaire.schema.json";

/// Arguments of `blank`.
#[derive(Debug, Args)]
pub(crate) struct Arguments {
    #[command(flatten)]
    rules: RuleSource,
    /// Only what is to be asked about this patient first, with the reference filled in
    #[arg(long, value_name = "REFERENCE")]
    reference: Option<String>,
    /// The day of the answers, as YYYY-MM-DD [default: today]
    #[arg(long, value_name = "DATE", value_parser = day, requires = "reference")]
    as_of: Option<NaiveDate>,
    /// An empty file of the clinic's standing answers instead; with `--reference`, the clinic's file: what it answers is not
    /// asked [env: PREBLOCK_CLINIC]
    #[arg(long, value_name = "FILE", num_args = 0..=1)]
    clinic: Option<Option<PathBuf>>,
}

/// Runs the command.
pub(crate) fn run(arguments: &Arguments) -> Done {
    let rule_set = draw::usable(&arguments.rules)?;
    let form = match (&arguments.reference, &arguments.clinic) {
        (Some(reference), clinic) => first_form(&rule_set, reference, arguments.as_of, clinic)?,
        (None, Some(Some(_))) => {
            return Err(NotDone::because(
                "`--clinic FILE` goes with `--reference`; `--clinic` alone prints an empty clinic's file",
            ));
        }
        (None, clinic) => form(&rule_set, clinic.is_some()),
    };
    draw::plain(&form);
    Ok(ExitStatus::Clean)
}

/// The questions to ask first about a patient of a clinic.
fn first_form(
    rule_set: &RuleSet,
    reference: &str,
    as_of: Option<NaiveDate>,
    clinic: &Option<Option<PathBuf>>,
) -> Result<String, Vec<Diagnostic>> {
    let from_environment = || std::env::var_os("PREBLOCK_CLINIC").map(PathBuf::from);
    let clinic = clinic.clone().flatten().or_else(from_environment);
    let as_of = as_of.unwrap_or_else(today);
    let screener = ClinicFile { path: clinic }.laid_under(Screener::new(rule_set, as_of))?;
    let started = edit::started(rule_set, reference, as_of)?;
    let referral = screener
        .read("the new questionnaire", started.as_bytes())
        .map_err(|refusal| refusal.problems)?;
    let interview = screener.interview(&referral);
    let asked: Vec<Idx<Question>> = interview.open().map(|it| it.question).collect();
    let catalogue = &rule_set.catalogue;
    let mut lines = vec![
        EDITOR.to_owned(),
        "# (`preblock schema questionnaire > questionnaire.schema.json` writes that file.)".to_owned(),
        "# What is to be asked first; `preblock ask` and `preblock screen` say what follows from the answers.".to_owned(),
    ];
    lines.extend(explained());
    lines.push(started.trim_end().to_owned());
    for (at, section) in catalogue.sections.entries() {
        let here = catalogue
            .questions
            .entries()
            .filter(|(question, it)| it.section == at && asked.contains(question));
        let here: Vec<String> = here
            .flat_map(|(_, question)| entry(rule_set, question))
            .collect();
        if !here.is_empty() {
            lines.extend(heading(&section.title, &section.id));
            lines.extend(here);
        }
    }
    Ok(lines.join("\n") + "\n")
}

/// What the answers that are no answers mean.
fn explained() -> [String; 2] {
    [
        "# `unknown`: asked, and not known. `declined`: asked, and not answered. `[]`: asked, and none.".into(),
        "# A blank is a question not asked. Nothing blank or unknown ever counts as a good answer.".into(),
    ]
}

fn heading(title: &str, id: &str) -> [String; 3] {
    [
        String::new(),
        format!("  # ---- {title} ----"),
        format!("  {id}:"),
    ]
}

/// The empty form. Every answer is left blank, which counts as not asked.
pub(crate) fn form(rule_set: &RuleSet, for_clinic: bool) -> String {
    let mut lines = vec![format!(
        "# Rule set {} {}. Fill in what is known; leave the rest as it is.",
        rule_set.id, rule_set.edition
    )];
    lines.extend(explained());
    if for_clinic {
        lines.extend(["clinic: 1".into(), format!("for: {}", rule_set.id)]);
        lines.extend([
            "name:                  # the clinic's name; the one line that cannot stay empty"
                .into(),
            String::new(),
        ]);
        lines.extend([
            "# The weekdays on which the clinic operates, such as [tuesday, thursday]. Blank: any day.".into(),
            "procedure_days:".into(),
            String::new(),
            "# Whether a nurse may book a go with no precaution, no note and no unrecognised name without a clinician: yes or no.".into(),
            "nurse_may_book:".into(),
            String::new(),
            "# What the clinic offers of each choice of the plan, as lists. A plan with anything else is flagged,".into(),
            "# and other plans are looked for among these. Blank: nothing is said of that choice.".into(),
        ]);
        lines.extend(offers(rule_set));
        lines.push(String::new());
    } else {
        lines.extend([
            "questionnaire: 1".into(),
            format!("for: {}", rule_set.id),
            "reference:             # by which the clinic knows the patient, such as SM-103; never a name".into(),
            "completed_on:          # the day of the answers, as YYYY-MM-DD".into(),
        ]);
    }
    lines.push("answers:".into());
    let catalogue = &rule_set.catalogue;
    for (at, section) in catalogue
        .sections
        .entries()
        .filter(|(at, _)| !for_clinic || catalogue.has_standing(*at))
    {
        lines.extend(heading(&section.title, &section.id));
        for question in catalogue
            .questions
            .iter()
            .filter(|it| it.section == at && (it.standing || !for_clinic))
        {
            lines.extend(entry(rule_set, question));
        }
        lines.push("    note:".into());
    }
    lines.join("\n") + "\n"
}

/// The choices of the plan, by section.
fn offers(rule_set: &RuleSet) -> Vec<String> {
    let mut lines = vec!["offers:".to_owned()];
    let mut last = "";
    for question in rule_set
        .catalogue
        .questions
        .iter()
        .filter(|it| it.can_be_offered())
    {
        let Some((section, name)) = question.id.split_once('.') else {
            continue;
        };
        if section != last {
            lines.push(format!("  {section}:"));
            last = section;
        }
        lines.push(match &question.answer {
            Answer::OneOf(options) | Answer::SeveralOf(options) => {
                let ids: Vec<&str> = options.iter().map(|it| it.id.as_str()).collect();
                format!("    {name}:    # of {}", ids.join(", "))
            }
            Answer::Anaesthetic => {
                format!("    {name}:    # such as [{{ agent: lidocaine, strength: 2 % }}]")
            }
            Answer::YesNo => format!("    {name}:    # [no], [yes] or [no, yes]"),
            _ => continue,
        });
    }
    lines
}

fn entry(rule_set: &RuleSet, question: &Question) -> Vec<String> {
    let mut comments = textwrap::wrap(&format!("{} ({})", question.ask, question.from.word()), 88)
        .into_iter()
        .map(String::from)
        .collect::<Vec<_>>();
    if let Some(help) = &question.help {
        comments.extend(textwrap::wrap(help, 88).into_iter().map(String::from));
    }
    comments.extend(how(question));
    if let Some(when) = &question.ask_when {
        comments.push("Asked when".into());
        comments.extend(
            words::lines(rule_set, when)
                .into_iter()
                .map(|it| format!("  {it}")),
        );
    }
    let name = question.name();
    comments
        .into_iter()
        .map(|it| format!("    # {it}"))
        .chain([format!("    {name}:")])
        .collect()
}

/// How the answer is written.
fn how(question: &Question) -> Vec<String> {
    let bare = match &question.answer {
        Answer::YesNo => "yes | no",
        Answer::OneOf(_) => "one of",
        Answer::SeveralOf(_) => "a list [...] of",
        Answer::Number { .. } => "a number",
        Answer::Quantity { unit, units, .. } => {
            let units: Vec<&str> = std::iter::once(unit).chain(units).copied().collect();
            &format!("a number with its unit: {}", units.join(", "))
        }
        Answer::Date => "a date, as YYYY-MM-DD",
        Answer::Text => "free text",
        Answer::Medicines => "a list, such as [apixaban 5 mg twice a day, paracetamol]",
        Answer::Allergies => "a list, such as [{ to: latex, reaction: rash }]",
        Answer::Anaesthetic => {
            "a list, such as [{ agent: lidocaine, strength: 2 %, volume: 3 mL }]"
        }
    };
    let options = question.options().iter();
    let options = options.map(|it| format!("  {}: {}", it.id, it.text));
    let first = if question.dated {
        format!("{{ value: {bare}, taken_on: the day of the result }}")
    } else {
        bare.to_owned()
    };
    std::iter::once(first).chain(options).collect()
}
