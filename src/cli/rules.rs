//! `preblock rules`: check, test and show a rule set.

use clap::{Args, Subcommand};

use crate::cli::{Done, ExitStatus, NotDone, RuleSource, draw};
use crate::document::diagnostic::Diagnostic;
use crate::outcome::Outcome;
use crate::report::text::cited;
use crate::rule_set::files::RuleFiles;
use crate::rule_set::words;
use crate::rule_set::{Piece, Rule, RuleSet, Text};
use crate::screening::explain;
use crate::workbench::cases::read;
use crate::workbench::cases::read::Case;

pub(crate) mod book;
pub(crate) mod check;
pub(crate) mod compare;
pub(crate) mod due;
mod formulas;
pub(crate) mod new;
pub(crate) mod prove;
pub(crate) mod start;
pub(crate) mod test;

/// The commands under `rules`.
#[derive(Debug, Subcommand)]
pub(crate) enum RulesCommand {
    /// Everything wrong with a rule set, and what is likely to be, with source lines
    Check(check::Check),
    /// Run the worked cases, list what no case reaches, and try whether they notice small changes
    Test(test::Arguments),
    /// What a proposed rule set changes, and for whom, over every possible questionnaire
    Compare(compare::Compare),
    /// Prove what the rule set guarantees, for every possible questionnaire, or show one that breaks it
    Prove(prove::Prove),
    /// Show one rule: wording, condition in words, citations, cases
    Show(Show),
    /// The whole rule set as one document, to read and to print
    Book(book::Arguments),
    /// A small rule set of one's own to begin from, with cases, guarantees, a clinic's file and referrals
    Start(start::Arguments),
    /// Every formula: what it is given, when it is known, where it comes from, and a row to copy
    Formulas(formulas::Formulas),
    /// Draft a rule with its first cases, into a folder's rule set
    New(new::Arguments),
    /// What is to be reviewed and when, by owner; also as a calendar
    Due(due::Arguments),
}

/// Arguments of `rules show`.
#[derive(Debug, Args)]
pub(crate) struct Show {
    /// The rule, such as bleeding/inr-above-ceiling; all are listed without one
    id: Option<String>,
    #[command(flatten)]
    rules: RuleSource,
}

/// Runs the command.
pub(crate) fn run(command: &RulesCommand) -> Done {
    match command {
        RulesCommand::Check(it) => check::run(it),
        RulesCommand::Test(it) => test::run(it),
        RulesCommand::Compare(it) => compare::run(it),
        RulesCommand::Prove(it) => prove::run(it),
        RulesCommand::Show(it) => show(it),
        RulesCommand::Book(it) => book::run(it),
        RulesCommand::Start(it) => start::run(it),
        RulesCommand::Formulas(it) => formulas::run(it),
        RulesCommand::New(it) => new::run(it),
        RulesCommand::Due(it) => due::run(it),
    }
}

fn show(arguments: &Show) -> Done {
    let (files, rule_set) = loaded(&arguments.rules)?;
    let Some(id) = &arguments.id else {
        let list: Vec<String> = rule_set
            .rules()
            .map(|it| format!("{:<6} {:<44} {}", it.outcome.word(), it.id, it.title))
            .collect();
        draw::plain(&list.join("\n"));
        return Ok(ExitStatus::Clean);
    };
    let rule = rule_set.rule(id).ok_or_else(|| {
        let ids = rule_set.rules().map(|it| it.id.as_str());
        NotDone::unknown("rule", id, ids, "`preblock rules show` lists all rules")
    })?;
    let cases = read::cases(&files, &rule_set).map_err(refused_cases)?;
    draw::plain(&page(&rule_set, rule, &cases, draw::width()));
    Ok(ExitStatus::Clean)
}

/// Whether a text may name a rule or a rule set: small letters and digits, words joined by hyphens.
fn is_name(text: &str) -> bool {
    let is_of_word = |it: char| it.is_ascii_lowercase() || it.is_ascii_digit();
    text.starts_with(|it: char| it.is_ascii_lowercase())
        && text
            .split('-')
            .all(|word| !word.is_empty() && word.chars().all(is_of_word))
}

/// The rule set that was asked for, where one that is refused is what the command is there to find.
///
/// # Errors
/// As [`draw::loaded`], with a program that ends as with any problem of a rule set.
fn loaded(source: &RuleSource) -> Result<(RuleFiles, RuleSet), NotDone> {
    draw::loaded(source).map_err(|it| it.ending_with(ExitStatus::Problems))
}

/// Why nothing is done with worked cases that cannot be read.
fn refused_cases(found: Vec<Diagnostic>) -> NotDone {
    let problems = draw::counted(found.len(), "problem");
    NotDone::found(found, format!("the cases were refused: {problems}"))
        .ending_with(ExitStatus::Problems)
}

/// A rule as a page.
pub(crate) fn page(rule_set: &RuleSet, rule: &Rule, cases: &[Case], width: usize) -> String {
    let fill = |text: &str| textwrap::indent(&textwrap::fill(text, width.saturating_sub(2)), "  ");
    let urgency = rule
        .urgency
        .map_or(String::new(), |it| format!(", {}", it.word()));
    let local = if rule_set.rests_on_local(rule) {
        ", by local policy"
    } else {
        ""
    };
    let mut lines = vec![
        format!("{}: {}", rule.id, rule.title),
        format!(
            "{}, {}{urgency}{local}",
            rule.kind.word(),
            rule.outcome.word()
        ),
        String::new(),
        "Applies when".into(),
    ];
    lines.extend(words::lines(rule_set, &rule.when).iter().map(|it| {
        let indent = it.len() - it.trim_start().len() + 2;
        let options = textwrap::Options::new(width)
            .initial_indent("  ")
            .subsequent_indent("");
        let text = textwrap::fill(it, options);
        let more = " ".repeat(indent + 2);
        text.replace('\n', &format!("\n{more}"))
    }));
    for it in rule.sentences() {
        lines.extend([
            String::new(),
            it.label.to_owned(),
            fill(&plain(rule_set, it.text)),
        ]);
    }
    if rule.outcome > Outcome::Go {
        let words = format!("May be set aside {}", rule.set_aside.words());
        lines.extend([String::new(), words]);
    }
    lines.extend([String::new(), "Sources".into()]);
    lines.extend(
        rule.citations
            .iter()
            .map(|it| fill(&cited(&explain::cited(rule_set, it)))),
    );
    let limits: Vec<_> = rule
        .when
        .limits()
        .into_iter()
        .map(|at| &rule_set.limits[at])
        .collect();
    if !limits.is_empty() {
        lines.extend([String::new(), "Limits".into()]);
        for limit in limits {
            let other = limit
                .other_figures
                .as_ref()
                .map_or(String::new(), |it| format!(" Other figures: {it}."));
            lines.push(fill(&format!(
                "{} = {}. {}.{other}",
                limit.id, limit.written, limit.about
            )));
            lines.extend(
                limit
                    .citations
                    .iter()
                    .map(|it| textwrap::indent(&fill(&cited(&explain::cited(rule_set, it))), "  ")),
            );
        }
    }
    lines.extend([
        String::new(),
        format!(
            "In force from {}, last reviewed {}, review by {}",
            rule.in_force_from, rule.last_reviewed, rule.review_by
        ),
    ]);
    let naming = |wanted: fn(&Case) -> &std::collections::BTreeSet<String>| {
        cases
            .iter()
            .filter(|it| wanted(it).contains(&rule.id))
            .collect::<Vec<_>>()
    };
    for (heading, found) in [
        ("Cases in which it fires", naming(|it| &it.fires)),
        (
            "Cases in which it is undetermined",
            naming(|it| &it.undetermined),
        ),
    ] {
        lines.extend([String::new(), heading.to_owned()]);
        let cases = found.iter();
        lines.extend(cases.map(|it| format!("  {}  {}", it.place(), it.title)));
        if found.is_empty() {
            lines.push("  none".into());
        }
    }
    lines.join("\n")
}

/// A text with its placeholders as written.
fn plain(rule_set: &RuleSet, text: &Text) -> String {
    text.pieces
        .iter()
        .map(|piece| match piece {
            Piece::Words(words) => words.clone(),
            Piece::Fact(slot) => format!("{{{}}}", rule_set.catalogue.id(*slot)),
            Piece::Age(slot) => format!(
                "{{age of {}}}",
                rule_set.catalogue.id(*slot).trim_end_matches(".taken_on")
            ),
            Piece::Limit(at) => rule_set.limits[*at].written.clone(),
            Piece::Medicines => "{medicines}".into(),
            Piece::Allergies => "{allergies}".into(),
            Piece::Conflict(conflict) => format!("{{{}}}", conflict.word()),
        })
        .collect()
}
