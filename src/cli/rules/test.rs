//! `preblock rules test`: the worked cases, what they reach, and which small changes they would not notice.

use std::time::Instant;

use clap::{Args, ValueEnum};

use crate::cli::progress::Progress;
use crate::cli::rules::{loaded, refused_cases};
use crate::cli::{Done, ExitStatus, NotDone, RuleSource, draw};
use crate::document::diagnostic::Diagnostic;
use crate::exact::Decider;
use crate::report::junit;
use crate::rule_set::files::RuleFiles;
use crate::rule_set::{Rule, RuleSet};
use crate::screening::compile::Compiled;
use crate::workbench::cases;
use crate::workbench::cases::read;
use crate::workbench::cases::read::{Case, Waiver, Waivers};
use crate::workbench::cases::{CaseRun, Difference};
use crate::workbench::coverage;
use crate::workbench::coverage::Reach;
use crate::workbench::mutants;
use crate::workbench::mutants::{Fate, Mutant, StepKind};

/// Arguments of `rules test`.
#[derive(Debug, Args)]
pub(crate) struct Arguments {
    #[command(flatten)]
    rules: RuleSource,
    /// Only the cases of files that begin with this, and the rules of this concern
    #[arg(long, value_name = "CONCERN")]
    only: Option<String>,
    /// Print for each rule what the cases reach: states, sides of numbers, members of lists
    #[arg(long)]
    coverage: bool,
    /// Change the rules one small step at a time, and list each change that no case notices
    #[arg(long)]
    mutants: bool,
    /// How to print what the cases came to
    #[arg(long, value_enum, default_value_t = TestFormat::Text)]
    format: TestFormat,
}

/// How the cases are printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum TestFormat {
    /// For people
    Text,
    /// JUnit XML: a suite for each file, a test for each case; all else goes to standard error
    Junit,
}

/// Runs the command.
pub(crate) fn run(arguments: &Arguments) -> Done {
    let (files, mut rule_set) = loaded(&arguments.rules)?;
    let (cases, waivers) = read(&files, &rule_set).map_err(refused_cases)?;
    let of_file = |case: &Case| case.source.file_name().to_owned();
    let cases: Vec<Case> = cases
        .into_iter()
        .filter(|it| {
            arguments
                .only
                .as_ref()
                .is_none_or(|only| of_file(it).starts_with(only.as_str()))
        })
        .collect();
    if cases.is_empty() {
        let why = NotDone::because("no case was run, so nothing was tested");
        return Err(why.ending_with(ExitStatus::Problems));
    }
    let compiled = Compiled::new(&rule_set);
    let runs = cases::run_all(&rule_set, &compiled, &cases);
    let say = match arguments.format {
        TestFormat::Text => draw::plain,
        TestFormat::Junit => {
            draw::plain(&junit::suites(&rule_set, &cases, &runs));
            draw::note
        }
    };
    let mut n_wrong = 0;
    for (case, run) in cases
        .iter()
        .zip(&runs)
        .filter(|(_, run)| !run.differences.is_empty())
    {
        n_wrong += 1;
        say(&difference(case, run));
    }
    let named = |id: &str| {
        arguments
            .only
            .as_ref()
            .is_none_or(|only| id.starts_with(&format!("{only}/")))
    };
    let wanted = |rule: &Rule| named(&rule.id);
    let mut decider =
        cases::last_day(&cases).and_then(|as_of| Decider::new(&[&rule_set], &[], as_of).ok());
    let reached = coverage::reached(&rule_set, &runs, decider.as_mut(), wanted);
    if arguments.coverage {
        say(&reached.iter().map(table).collect::<Vec<_>>().join("\n"));
    }
    let (gaps, unused) = coverage::gaps(&reached, &waivers.gaps, named);
    for gap in &gaps {
        say(&format!("{}: {}", gap.rule, gap.what));
    }
    unused
        .iter()
        .for_each(|it| say(&waives_nothing(it, "there is no such gap")));
    say(&format!(
        "{}: {} as expected, {n_wrong} not",
        draw::counted(cases.len(), "case"),
        cases.len() - n_wrong
    ));
    let elsewhere = if arguments.only.is_some() {
        ", unless cases of other files do"
    } else {
        ""
    };
    let missing = match gaps.len() {
        0 => "the cases try every part of them".to_owned(),
        1 => format!("the cases do not try 1 part, named above{elsewhere}"),
        n => format!("the cases do not try {n} parts, named above{elsewhere}"),
    };
    say(&format!(
        "{}: {missing}",
        draw::counted(reached.len(), "rule")
    ));
    let n_waived = reached
        .iter()
        .map(|it| it.gaps().len())
        .sum::<usize>()
        .saturating_sub(gaps.len());
    say(&format!("{}; excused: {n_waived}", totals(&reached)));
    let mut clean = n_wrong == 0 && gaps.is_empty() && unused.is_empty();
    if arguments.mutants && n_wrong > 0 {
        draw::note("no change was tried: that needs cases that come out as expected");
    } else if arguments.mutants {
        clean &= changes(
            say,
            &files,
            &mut rule_set,
            &cases,
            &runs,
            &waivers.changes,
            named,
        );
    }
    Ok(if clean {
        ExitStatus::Clean
    } else {
        ExitStatus::Problems
    })
}

/// The cases and what they cannot show.
///
/// # Errors
/// Every diagnostic of both.
fn read(files: &RuleFiles, rule_set: &RuleSet) -> Result<(Vec<Case>, Waivers), Vec<Diagnostic>> {
    match (read::cases(files, rule_set), read::waivers(files, rule_set)) {
        (Ok(cases), Ok(waivers)) => Ok((cases, waivers)),
        (cases, waivers) => Err([cases.err(), waivers.err()]
            .into_iter()
            .flatten()
            .flatten()
            .collect()),
    }
}

/// Tries every small change and reports those that no case notices; whether none is left.
fn changes(
    say: fn(&str),
    files: &RuleFiles,
    rule_set: &mut RuleSet,
    cases: &[Case],
    runs: &[CaseRun],
    waivers: &[Waiver],
    named: impl Fn(&str) -> bool,
) -> bool {
    let began = Instant::now();
    let progress = Progress::of("Trying small changes", None);
    let mut mutants = mutants::try_all(rule_set, cases, runs, |rule| named(&rule.id));
    drop(progress);
    // The numbers of a register are tried where it is kept: the cases there are held to each of them.
    let n_tried = mutants.len();
    let keeps_agents = files.own("anaesthetics.yaml").is_some();
    mutants.retain(|it| keeps_agents || it.kind != StepKind::Anaesthetic);
    let n_elsewhere = n_tried - mutants.len();
    let took = began.elapsed().as_secs_f64();
    let (survivors, unused) = mutants::survivors(&mutants, waivers, named);
    say("");
    for it in &survivors {
        say(&format!("{}  {}", it.rule, it.what));
        if let Some((name, line)) = place(files, it) {
            say(&format!("    {name}:{line}"));
        }
    }
    unused.iter().for_each(|it| {
        say(&waives_nothing(
            it,
            "there is no such change, a case notices it, or it is proved",
        ))
    });
    if !survivors.is_empty() {
        say("");
    }
    for kind in StepKind::ALL {
        let tried = mutants.iter().filter(|it| it.kind == kind).count();
        let left = survivors.iter().filter(|it| it.kind == kind).count();
        if tried > 0 {
            say(&format!(
                "  {:<22} {tried:>5} tried, {left:>4} unnoticed",
                kind.in_words()
            ));
        }
    }
    if n_elsewhere > 0 {
        say(&format!(
            "  {n_elsewhere} of anaesthetics are tried where the register is kept"
        ));
    }
    let of = |fate: Fate| mutants.iter().filter(|mutant| mutant.fate == fate).count();
    let (proved, waived) = (of(Fate::Equivalent), of(Fate::Unnoticed) - survivors.len());
    say(&format!(
        "{} tried, {} that no case notices, {} that come to the same: {proved} proved, {waived} by the reason given",
        draw::counted(mutants.len(), "small change"),
        survivors.len(),
        proved + waived,
    ));
    draw::note(&format!("tried in {took:.1} s"));
    survivors.is_empty() && unused.is_empty()
}

fn waives_nothing(waiver: &Waiver, why: &str) -> String {
    let line = waiver.source.position(waiver.span.start).line;
    format!(
        "{}:{line}  {} excuses nothing, {why}: {}",
        waiver.source.name(),
        waiver.rule,
        waiver.what
    )
}

/// The file and line of the changed part of a condition.
fn place(files: &RuleFiles, mutant: &Mutant) -> Option<(String, usize)> {
    let rule = files.rule(&mutant.rule)?;
    let mut node = rule.node.get("when")?;
    for member in mutant.path.as_ref()? {
        let list = node.get("all").or_else(|| node.get("any"));
        node = match list {
            Some(list) => list.items().get(*member)?,
            None => node.get("not")?,
        };
    }
    Some((
        rule.source.name().to_owned(),
        rule.source.position(node.span.start).line,
    ))
}

/// How many of all things are reached.
fn totals(reached: &[Reach]) -> String {
    let states = reached.iter().flat_map(|it| it.states);
    let numbers = reached.iter().flat_map(|it| &it.numbers);
    let members = reached.iter().flat_map(|it| &it.members);
    let members = members.filter(|it| it.can_be);
    format!(
        "tried: states {}, sides of numbers {}, members of lists {}",
        share(states.map(|it| it > 0)),
        share(numbers.flat_map(|it| it.sides)),
        share(members.map(|it| it.cases > 0)),
    )
}

/// "3 of 4".
fn share(found: impl Iterator<Item = bool>) -> String {
    let (reached, others): (Vec<bool>, Vec<bool>) = found.partition(|it| *it);
    format!("{} of {}", reached.len(), reached.len() + others.len())
}

/// What the cases reach of one rule, as lines.
fn table(reach: &Reach) -> String {
    let [fires, quiet, open] = reach.states;
    let mut lines = vec![
        reach.rule.clone(),
        format!("  {fires:>5} fires, {quiet} stays quiet, {open} undetermined"),
    ];
    for it in &reach.numbers {
        let sides: Vec<String> = ["below", "at", "above"]
            .iter()
            .zip(it.sides)
            .map(|(side, reached)| {
                if reached {
                    (*side).to_owned()
                } else {
                    format!("not {side}")
                }
            })
            .collect();
        lines.push(format!("        {}: {}", it.name, sides.join(", ")));
    }
    lines.extend(reach.members.iter().map(|it| {
        let cases = if it.can_be {
            it.cases.to_string()
        } else {
            "never".into()
        };
        format!("  {cases:>5} {}", it.what)
    }));
    lines.join("\n") + "\n"
}

fn difference(case: &Case, run: &CaseRun) -> String {
    let head = format!("{}  {}\n", case.place(), case.title);
    let told = run.differences.iter().flat_map(Difference::in_words);
    told.fold(head, |lines, it| format!("{lines}    {it}\n"))
}
