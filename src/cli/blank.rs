//! `preblock blank`: an empty questionnaire, with the questions as comments.

use clap::Args;

use crate::cli::{ExitStatus, RuleSource, draw};
use crate::rule_set::words;
use crate::rule_set::{Answer, Question, RuleSet};

/// Arguments of `blank`.
#[derive(Debug, Args)]
pub(crate) struct Arguments {
    #[command(flatten)]
    rules: RuleSource,
    /// An empty file of the clinic's standing answers instead
    #[arg(long)]
    clinic: bool,
}

/// Runs the command.
pub(crate) fn run(arguments: &Arguments) -> ExitStatus {
    let Some(rule_set) = draw::usable(&arguments.rules) else {
        return ExitStatus::Refused;
    };
    draw::plain(&form(&rule_set, arguments.clinic));
    ExitStatus::Clean
}

/// The empty form. Every answer is left blank, which counts as not asked.
pub(crate) fn form(rule_set: &RuleSet, for_clinic: bool) -> String {
    let mut lines = vec![
        format!("# Rule set {} {}. Fill in what is known; leave the rest as it is.", rule_set.id, rule_set.edition),
        "# `unknown`: asked, and not known. `declined`: asked, and not answered. `[]`: asked, and none.".into(),
        "# A blank is a question not asked. Nothing blank or unknown ever counts as a good answer.".into(),
    ];
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
            "completed_on:          # the day of the answers, such as 2026-11-20".into(),
        ]);
    }
    lines.push("answers:".into());
    let catalogue = &rule_set.catalogue;
    for (at, section) in catalogue
        .sections
        .entries()
        .filter(|(at, _)| !for_clinic || catalogue.has_standing(*at))
    {
        lines.extend([
            String::new(),
            format!("  # ---- {} ----", section.title),
            format!("  {}:", section.id),
        ]);
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
    let (bare, more): (String, Vec<String>) = match &question.answer {
        Answer::YesNo => ("yes | no".into(), Vec::new()),
        Answer::OneOf(options) => (
            "one of".into(),
            options
                .iter()
                .map(|it| format!("  {}: {}", it.id, it.text))
                .collect(),
        ),
        Answer::SeveralOf(options) => (
            "a list [...] of".into(),
            options
                .iter()
                .map(|it| format!("  {}: {}", it.id, it.text))
                .collect(),
        ),
        Answer::Number { .. } => ("a number".into(), Vec::new()),
        Answer::Quantity { unit, units, .. } => {
            let units: Vec<&str> = std::iter::once(*unit)
                .chain(units.iter().copied())
                .collect();
            (
                format!("a number with its unit: {}", units.join(", ")),
                Vec::new(),
            )
        }
        Answer::Date => ("a date, such as 2026-12-03".into(), Vec::new()),
        Answer::Text => ("free text".into(), Vec::new()),
        Answer::Medicines => (
            "a list, such as [apixaban 5 mg twice a day, paracetamol]".into(),
            Vec::new(),
        ),
        Answer::Allergies => (
            "a list, such as [{ to: latex, reaction: rash }]".into(),
            Vec::new(),
        ),
        Answer::Anaesthetic => (
            "a list, such as [{ agent: lidocaine, strength: 2 %, volume: 3 mL }]".into(),
            Vec::new(),
        ),
    };
    let first = if question.dated {
        format!("{{ value: {bare}, taken_on: the day of the result }}")
    } else {
        bare
    };
    std::iter::once(first).chain(more).collect()
}
