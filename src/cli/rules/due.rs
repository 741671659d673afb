//! `preblock rules due`: what is to be reviewed and when.

use std::path::PathBuf;

use chrono::NaiveDate;
use clap::{Args, ValueEnum};

use crate::cli::register::rule_figures;
use crate::cli::rules::loaded;
use crate::cli::screen::day;
use crate::cli::{Done, ExitStatus, NotDone, RuleSource, draw, today};
use crate::quantity::span::Span;
use crate::quantity::when::day_after;
use crate::report::calendar::calendar;
use crate::report::due::{Agenda, text};
use crate::report::page::Style;
use crate::workbench::allowances::allowances;
use crate::workbench::due::{due, set_aside};

/// Arguments of `rules due`.
#[derive(Debug, Args)]
#[command(
    after_help = "Exit status: 1 if a review is overdue, else 0.\nWhat has no date (sources nobody has opened, local \
                        proposals) is told by the text alone, and only counted with --within; a calendar has one event for each \
                        day and owner."
)]
pub(crate) struct Arguments {
    #[command(flatten)]
    rules: RuleSource,
    /// Only reviews due within this time, such as "90 days", 90d or "6 months"; the overdue are always told
    #[arg(long, value_name = "SPAN", value_parser = span)]
    within: Option<Span>,
    /// The day from which to look, as YYYY-MM-DD [default: today]
    #[arg(long, value_name = "DATE", value_parser = day)]
    as_of: Option<NaiveDate>,
    /// Also list the rules that the decisions of this register mostly go against
    #[arg(
        long,
        value_name = "FILE",
        env = "PREBLOCK_REGISTER",
        hide_env_values = true
    )]
    register: Option<PathBuf>,
    /// How to print the reviews
    #[arg(long, value_enum, default_value_t = DueFormat::Text)]
    format: DueFormat,
}

/// How the reviews are printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum DueFormat {
    /// For people
    Text,
    /// An iCalendar file (RFC 5545), to import into a calendar
    Calendar,
}

/// Runs the command.
pub(crate) fn run(arguments: &Arguments) -> Done {
    let (files, rule_set) = loaded(&arguments.rules)?;
    let allowances = allowances(&files, &rule_set)
        .map_err(|found| NotDone::from(found).ending_with(ExitStatus::Problems))?;
    let as_of = arguments.as_of.unwrap_or_else(today);
    let until = match arguments.within.map(|it| day_after(as_of, &it)) {
        Some(None) => {
            let why = "--within leads out of the calendar; name a shorter time";
            return Err(NotDone::because(why));
        }
        until => until.flatten(),
    };
    let figures = rule_figures(arguments.register.as_deref())?;
    let mut due = due(&rule_set, &allowances);
    due.extend(set_aside(&rule_set, &figures));
    let agenda = Agenda {
        rule_set: &rule_set,
        as_of,
        until,
        due,
    };
    match arguments.format {
        DueFormat::Text => draw::out(&text(&agenda, &Style::terminal(draw::colour_out()))),
        DueFormat::Calendar => draw::plain(&calendar(&agenda)),
    }
    Ok(if agenda.n_overdue() > 0 {
        ExitStatus::Problems
    } else {
        ExitStatus::Clean
    })
}

/// Reads a span of the command line: as rules write it, or short, such as `90d`.
fn span(text: &str) -> Result<Span, String> {
    let help = "a whole number and its unit are needed, such as \"90 days\", 90d, 12w, \"6 months\", 6m or 1y";
    let text = text.trim();
    let digits = text.len()
        - text
            .trim_start_matches(|it: char| it.is_ascii_digit())
            .len();
    let (count, unit) = text.split_at(digits);
    let unit = match unit.trim() {
        "d" => "days",
        "w" => "weeks",
        "m" => "months",
        "y" => "years",
        other => other,
    };
    Span::read(&format!("{count} {unit}")).ok_or_else(|| help.to_owned())
}
