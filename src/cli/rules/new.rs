//! `preblock rules new`: a rule as a draft, with its first cases.

use std::path::PathBuf;

use chrono::NaiveDate;
use clap::Args;
use clap::builder::{PossibleValuesParser, TypedValueParser};

use crate::cli::rules::{is_name, loaded};
use crate::cli::screen::day;
use crate::cli::{Done, ExitStatus, NotDone, RuleSource, atomic_write, draw, today};
use crate::document::diagnostic::did_you_mean;
use crate::outcome::{Outcome, Urgency};
use crate::report::words;
use crate::rule_set::{Kind, Question, RuleSet, Status as RuleSetStatus};
use crate::workbench::draft::{Draft, NoDraft, WantedRule, draft};

/// Arguments of `rules new`.
#[derive(Debug, Args)]
#[command(
    after_help = "Prints what it would write; --write writes it: the rule at the end of its concern's file, the cases into a file \
                        of their own.\nA number is tested with at_least, a time with older_than: turn the test round where the danger lies the other way.\n\
                        The texts say \"To be written\": `rules check` lists them, and an approved rule set may have none.\n\
                        The cases are run before they are written, so they come out as they say."
)]
pub(crate) struct Arguments {
    /// The new rule's id: concern, slash, the hazard in a word or two, such as bleeding/raised-pressure
    id: String,
    /// The folder of the rule set
    #[arg(long, value_name = "DIR")]
    rules: PathBuf,
    /// The question that its condition tests first, such as bleeding.inr
    #[arg(long, value_name = "QUESTION")]
    fact: String,
    /// With what the answer is compared: an option, a class, a substance, a number with its unit, a limit [default: one that fits]
    #[arg(long)]
    value: Option<String>,
    /// What the rule asks for
    #[arg(long, default_value = "defer", value_parser = one_of([Outcome::Go, Outcome::Defer, Outcome::Refer], Outcome::word))]
    outcome: Outcome,
    /// How fast, with outcome refer [default: routine]
    #[arg(long, value_parser = one_of([Urgency::Routine, Urgency::Urgent, Urgency::SameDay], Urgency::word))]
    urgency: Option<Urgency>,
    /// What kind of rule it is [default: caution with outcome go, else contraindication]
    #[arg(long, value_parser = one_of([Kind::Contraindication, Kind::Caution], Kind::word))]
    kind: Option<Kind>,
    /// The day of the draft, as YYYY-MM-DD [default: today]
    #[arg(long, value_name = "DATE", value_parser = day)]
    as_of: Option<NaiveDate>,
    /// Write the files
    #[arg(long)]
    write: bool,
}

/// Reads one of these by its word.
fn one_of<T: Copy + Send + Sync + 'static, const N: usize>(
    all: [T; N],
    word: fn(T) -> &'static str,
) -> impl TypedValueParser<Value = T> {
    let read = move |text: String| all.into_iter().find(|it| word(*it) == text);
    PossibleValuesParser::new(all.map(word)).try_map(move |text| read(text).ok_or("no such word"))
}

/// Runs the command.
pub(crate) fn run(arguments: &Arguments) -> Done {
    let source = RuleSource {
        rules: Some(arguments.rules.clone()),
        local: None,
    };
    let (files, rule_set) = loaded(&source)?;
    let wanted = wanted(arguments, &rule_set).map_err(NotDone::because)?;
    match draft(&files, &rule_set, &wanted) {
        Ok(draft) => tell(arguments, &draft),
        Err(NoDraft::Because(why)) => Err(NotDone::because(format!("no rule was drafted: {why}"))),
        Err(NoDraft::Refused(found)) => Err(NotDone::found(
            found,
            "no rule was drafted: the rule set would be refused with it",
        )),
    }
}

/// What is wanted, checked against the rule set.
fn wanted<'a>(arguments: &'a Arguments, rule_set: &'a RuleSet) -> Result<WantedRule<'a>, String> {
    let id = arguments.id.as_str();
    if rule_set.status == RuleSetStatus::Approved {
        return Err(
            "the rule set is approved, and a draft belongs to its next edition: write `status: draft` into ruleset.yaml first".into()
        );
    }
    let (concern, name) = id.split_once('/').ok_or(format!(
        "`{id}` is no rule's id: write concern, slash, name, such as bleeding/raised-pressure"
    ))?;
    if !rule_set.concerns.iter().any(|it| it.id == concern) {
        let help = did_you_mean(concern, rule_set.concerns.iter().map(|it| it.id.as_str()));
        let begun = format!(
            "there is no concern `{concern}`; a new one begins with its line in ruleset.yaml and a file concerns/{concern}.yaml that says \
             `concern: {concern}` and `rules: []`"
        );
        return Err(help.map_or(begun.clone(), |it| format!("{begun}; {it}")));
    }
    if !is_name(name) {
        return Err(format!(
            "`{name}` is no name of a rule: small letters and digits, words joined by hyphens, such as raised-pressure"
        ));
    }
    if rule_set.rule(id).is_some() {
        return Err(format!(
            "there is a rule `{id}` already; `preblock rules show {id}` shows it"
        ));
    }
    if let Some(it) = rule_set.retired.iter().find(|it| it.rule == id) {
        return Err(format!(
            "`{id}` was retired on {} and is never used again: old reports name it; choose another id",
            it.on
        ));
    }
    let outcome = arguments.outcome;
    let urgency = match (outcome, arguments.urgency) {
        (Outcome::Refer, urgency) => Some(urgency.unwrap_or(Urgency::Routine)),
        (_, None) => None,
        (_, Some(_)) => {
            return Err(
                "only a referral has an urgency; use --outcome refer, or leave --urgency out"
                    .into(),
            );
        }
    };
    let kind = match (outcome, arguments.kind) {
        (Outcome::Go, Some(Kind::Contraindication)) => {
            return Err("a contraindication cannot let surgery go; use --kind caution".into());
        }
        (Outcome::Go, _) | (_, Some(Kind::Caution)) => Kind::Caution,
        _ => Kind::Contraindication,
    };
    let question = question(rule_set, &arguments.fact)?;
    let on = arguments.as_of.unwrap_or_else(today);
    Ok(WantedRule {
        id,
        question,
        value: arguments.value.as_deref(),
        outcome,
        urgency,
        kind,
        on,
    })
}

/// The question of an id.
fn question<'a>(rule_set: &'a RuleSet, id: &str) -> Result<&'a Question, String> {
    let questions = &rule_set.catalogue.questions;
    questions.iter().find(|it| it.id == id).ok_or_else(|| match rule_set.catalogue.slot(id) {
        Some(_) => format!("`{id}` is not asked, it is worked out or a date; name a question, and change the condition afterwards"),
        None => {
            let help = did_you_mean(id, questions.iter().map(|it| it.id.as_str())).unwrap_or_else(|| "`preblock blank` lists them".into());
            format!("there is no question `{id}`; {help}")
        }
    })
}

/// Prints the draft, and writes it if that is wanted.
fn tell(arguments: &Arguments, draft: &Draft) -> Done {
    let shown = |path: &str| arguments.rules.join(path).display().to_string();
    let ((concern, concern_text), (cases, cases_text)) = (&draft.concern, &draft.cases);
    draw::plain(&format!(
        "{}, at its end:\n{}\n{}, new:\n\n{cases_text}",
        shown(concern),
        draft.rule,
        shown(cases)
    ));
    let others = match draft.changed {
        0 => "Every case that was there comes out as before.".to_owned(),
        n => format!(
            "{} out otherwise with it; `preblock rules test` lists them.",
            words::counted(n, "case that was there comes", "cases that were there come")
        ),
    };
    draw::note(&others);
    if !arguments.write {
        draw::note("Nothing was written; --write writes it.");
        return Ok(ExitStatus::Clean);
    }
    // The cases first: without their rule they would be refused, so they go again if it cannot be written.
    let cases_path = arguments.rules.join(cases);
    let written = atomic_write::write(&cases_path, cases_text, false).and_then(|()| {
        let rule = atomic_write::write(&arguments.rules.join(concern), concern_text, true);
        if rule.is_err() {
            let _ = std::fs::remove_file(&cases_path);
        }
        rule
    });
    written.map_err(NotDone::because)?;
    draw::note("Written. `preblock rules check` lists what is still to be written.");
    Ok(ExitStatus::Clean)
}
