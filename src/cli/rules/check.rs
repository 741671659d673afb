//! `preblock rules check`: everything that is wrong with a rule set, and what is likely to be.

use chrono::NaiveDate;
use clap::{Args, ValueEnum};

use crate::cli::screen::day;
use crate::cli::{Done, ExitStatus, NotDone, RuleSource, draw, today};
use crate::document::diagnostic::{Diagnostic, Severity};
use crate::report::sarif;
use crate::rule_set::{LocalChange, LocalPolicy, Loosens, RuleSet};
use crate::workbench::lint;
use crate::workbench::sources::{Whole, whole_with};

/// Arguments of `rules check`.
#[derive(Debug, Args)]
pub(crate) struct Check {
    #[command(flatten)]
    rules: RuleSource,
    /// The day that dates of review are held against, as YYYY-MM-DD [default: today]
    #[arg(long, value_name = "DATE", value_parser = day)]
    as_of: Option<NaiveDate>,
    /// Take notices for problems
    #[arg(long)]
    strict: bool,
    /// How to print
    #[arg(long, value_enum, default_value = "text")]
    format: CheckFormat,
}

/// How a check is printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum CheckFormat {
    /// For people
    Text,
    /// SARIF 2.1.0, for editors and code review
    Sarif,
}

/// Runs the command.
pub(crate) fn run(arguments: &Check) -> Done {
    let as_of = arguments.as_of.unwrap_or_else(today);
    let whole = draw::files_of(&arguments.rules)
        .and_then(|files| whole_with(&files, draw::local_of(&arguments.rules)?.as_ref()));
    let whole = whole.map_err(|found| {
        let problems = draw::counted(found.len(), "problem");
        let told = match arguments.format {
            CheckFormat::Text => found,
            CheckFormat::Sarif => {
                draw::json(&sarif::refused(&found));
                Vec::new()
            }
        };
        NotDone::found(told, format!("the rule set was refused: {problems}"))
            .ending_with(ExitStatus::Problems)
    })?;
    let found = lint::check(&whole, as_of);
    let problems = found
        .iter()
        .filter(|it| it.stands_as(Severity::Problem))
        .count();
    let notices = found
        .iter()
        .filter(|it| it.stands_as(Severity::Notice))
        .count();
    let allowed = found.len() - problems - notices;
    if arguments.format == CheckFormat::Text {
        // The problems last, where a reader's eye is when the run ends.
        for severity in [Severity::Notice, Severity::Problem] {
            let open: Vec<Diagnostic> = found
                .iter()
                .filter(|it| it.stands_as(severity))
                .map(|it| it.remark.diagnostic.clone())
                .collect();
            draw::diagnostics(&open);
        }
    }
    draw::note(&format!(
        "{}, {}, {allowed} allowed",
        draw::counted(problems, "problem"),
        draw::counted(notices, "notice")
    ));
    match arguments.format {
        CheckFormat::Sarif => draw::json(&sarif::checked(&found)),
        CheckFormat::Text => {
            if problems == 0 {
                draw::plain(&clean(&whole));
            }
            // What has a problem is not offered for approval.
            if problems == 0 || whole.rule_set.approval.is_some() {
                draw::plain(&approval(&whole.rule_set, as_of));
            }
            whole
                .local
                .iter()
                .flat_map(|it| changes(&it.policy))
                .for_each(|it| draw::plain(&it));
        }
    }
    Ok(if problems > 0 || (arguments.strict && notices > 0) {
        ExitStatus::Problems
    } else {
        ExitStatus::Clean
    })
}

/// The line of a rule set without problems.
fn clean(whole: &Whole) -> String {
    let rule_set = &whole.rule_set;
    format!(
        "{} {} ({}): no problems in {}, {}, {}, {}",
        rule_set.id,
        rule_set.edition,
        rule_set.status.word(),
        draw::counted(rule_set.rules().count(), "rule"),
        draw::counted(rule_set.catalogue.questions.len(), "question"),
        draw::counted(rule_set.limits.len(), "limit"),
        draw::counted(whole.cases.len(), "case"),
    )
}

/// The digest, and whether it is the one that was approved.
fn approval(rule_set: &RuleSet, as_of: NaiveDate) -> String {
    let state = match &rule_set.approval {
        None => "to be written under `approval:` by those who approve it".to_owned(),
        Some(it) if it.digest == rule_set.digest && it.on > as_of => {
            format!("NOT YET approved: that is dated {}", it.on)
        }
        Some(it) if it.digest == rule_set.digest => {
            format!("approved on {} by {}", it.on, it.by.join(", "))
        }
        Some(it) => format!("NOT the content that was approved on {}", it.on),
    };
    format!("sha256:{}: {state}", rule_set.digest)
}

/// The changes of a local policy, those that loosen the rule set marked.
fn changes(local: &LocalPolicy) -> Vec<String> {
    let line = |it: &LocalChange| match it.loosens {
        Loosens::Yes => format!("  {} (loosens)", it.what),
        Loosens::Perhaps => format!("  {} (may loosen)", it.what),
        Loosens::No => format!("  {}", it.what),
    };
    let heading = format!("local policy of {} (sha256:{})", local.clinic, local.digest);
    std::iter::once(heading)
        .chain(local.changes.iter().map(line))
        .collect()
}
