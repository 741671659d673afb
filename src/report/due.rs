//! What is to be reviewed and when, as text: by owner, the overdue first, then what has no date.

use chrono::NaiveDate;

use crate::report::page::{Indent, Page, Paint, Style};
use crate::report::words;
use crate::report::words::{counted, day, grouped};
use crate::rule_set::{Rule, RuleSet};
use crate::workbench::due::{Due, DueItem};

/// A day, and what is due on it.
const DATED: Indent = Indent::at(0, 0).hanging(4);

/// One group under a day.
const GROUP: Indent = Indent::at(4, 4).hanging(2);

/// What is due until a day, for each owner who has something due.
#[derive(Debug)]
pub struct Agenda<'a> {
    /// The rule set.
    pub rule_set: &'a RuleSet,
    /// The day from which it is looked at.
    pub as_of: NaiveDate,
    /// The last day that is told; all, if `None`.
    pub until: Option<NaiveDate>,
    /// The work, by day.
    pub due: Vec<Due<'a>>,
}

/// The reviews of one day that fall to one owner.
pub struct Review<'a> {
    /// The last day for them.
    pub by: NaiveDate,
    /// The role that answers for them.
    pub owner: &'a str,
    /// Whether the rule set as a whole is among them.
    pub whole: bool,
    /// The rules by concern: its id, and their ids without the concern.
    pub concerns: Vec<(&'a str, Vec<&'a str>)>,
    /// Remarks of the checks that are allowed: "lint/limit-unused on adult-age".
    pub allowances: Vec<String>,
    /// Changes of the clinic's local policy, in a few words.
    pub local: Vec<&'a str>,
}

impl Review<'_> {
    /// How many rules.
    pub fn n_rules(&self) -> usize {
        self.concerns.iter().map(|(_, rules)| rules.len()).sum()
    }

    /// What it is, in words: "the rule set as a whole and 12 rules".
    pub fn what(&self) -> String {
        let whole = self.whole.then(|| "the rule set as a whole".to_owned());
        let rules = (self.n_rules() > 0).then(|| counted(self.n_rules(), "rule", "rules"));
        let allowances = (!self.allowances.is_empty())
            .then(|| counted(self.allowances.len(), "allowance", "allowances"));
        let local = (!self.local.is_empty())
            .then(|| counted(self.local.len(), "local change", "local changes"));
        [whole, rules, allowances, local]
            .into_iter()
            .flatten()
            .collect::<Vec<_>>()
            .join(" and ")
    }

    /// Everything but the rule set as a whole, a line for each group: "bleeding (2): one, two".
    pub fn groups(&self) -> Vec<String> {
        let concerns = self
            .concerns
            .iter()
            .map(|(concern, rules)| format!("{concern} ({}): {}", rules.len(), rules.join(", ")));
        let list = |name: &str, items: &[String]| {
            (!items.is_empty()).then(|| format!("{name} ({}): {}", items.len(), items.join("; ")))
        };
        let local: Vec<String> = self.local.iter().map(|it| (*it).to_owned()).collect();
        concerns
            .chain(list("allowances", &self.allowances))
            .chain(list("local policy", &local))
            .collect()
    }
}

impl<'a> Agenda<'a> {
    /// Whether a day is told.
    fn tells(&self, day: NaiveDate) -> bool {
        self.until.is_none_or(|until| day <= until)
    }

    /// The reviews, soonest first, one for each day and owner.
    pub fn reviews(&self) -> Vec<Review<'a>> {
        let dated = self
            .due
            .iter()
            .filter_map(|it| Some((it.by?, it)))
            .filter(|(by, _)| self.tells(*by))
            .collect::<Vec<_>>();
        grouped(dated.iter(), |(by, it)| (*by, it.owner))
            .into_iter()
            .map(|((by, owner), of)| {
                let rules = of.iter().filter_map(|(_, it)| match it.what {
                    DueItem::Rule(rule) => Some(rule),
                    _ => None,
                });
                let allowances = of.iter().filter_map(|(_, it)| match it.what {
                    DueItem::Allowance(it) => Some(format!("{} on {}", it.lint.name(), it.on)),
                    _ => None,
                });
                let local = of.iter().filter_map(|(_, it)| match it.what {
                    DueItem::Local(it) => Some(it.what.as_str()),
                    _ => None,
                });
                Review {
                    by,
                    owner,
                    whole: of.iter().any(|(_, it)| matches!(it.what, DueItem::RuleSet)),
                    concerns: self.by_concern(rules),
                    allowances: allowances.collect(),
                    local: local.collect(),
                }
            })
            .collect()
    }

    /// Rules by concern, without it in their names.
    fn by_concern(&self, rules: impl Iterator<Item = &'a Rule>) -> Vec<(&'a str, Vec<&'a str>)> {
        let name = |it: &&'a Rule| {
            it.id
                .split_once('/')
                .map_or(it.id.as_str(), |(_, name)| name)
        };
        grouped(rules, |it| it.concern)
            .into_iter()
            .map(|(at, rules)| {
                let concern = at.map_or("", |at| self.rule_set.concerns[at].id.as_str());
                (concern, rules.iter().map(name).collect())
            })
            .collect()
    }

    /// How many reviews are overdue.
    pub fn n_overdue(&self) -> usize {
        self.due.iter().filter(|it| it.overdue(self.as_of)).count()
    }
}

/// The agenda as text.
///
/// # Missing data
/// What has no date is told under a heading of its own; where the list ends on a day, it is counted only.
pub fn text(agenda: &Agenda<'_>, style: &Style) -> String {
    let mut page = Page::new(style);
    page.paragraph(
        0,
        &format!("Reviews of {}", words::edition(agenda.rule_set)),
    );
    let until = agenda
        .until
        .map_or("no last day".to_owned(), |it| format!("until {}", day(it)));
    page.paragraph(0, &format!("As of {}, {until}.", day(agenda.as_of)));
    let reviews = agenda.reviews();
    for (owner, of) in grouped(reviews.iter(), |it| it.owner) {
        page.heading(&format!("For review: {owner}"));
        for (at, it) in of.into_iter().enumerate() {
            if at > 0 {
                page.blank();
            }
            review(&mut page, agenda.as_of, it);
        }
    }
    let open: Vec<&Due<'_>> = agenda.due.iter().filter(|it| it.by.is_none()).collect();
    // Whoever asks about the next weeks is only told how much has no date; the list itself is longer than all reviews.
    if agenda.until.is_none() {
        for (owner, of) in grouped(open.iter().copied(), |it| it.owner) {
            page.heading(&format!("Open, without a date: {owner}"));
            work(&mut page, &of);
        }
    }
    page.blank();
    page.paragraph(0, &totals(agenda, &open));
    page.finish()
}

fn review(page: &mut Page, as_of: NaiveDate, review: &Review<'_>) {
    let days = (review.by - as_of).num_days();
    let n_days = counted(days.unsigned_abs(), "day", "days");
    let (label, paint, when) = match days {
        ..0 => ("OVERDUE", Paint::Strong, format!(", {n_days} ago")),
        0 => ("today", Paint::Strong, String::new()),
        _ => ("due", Paint::Plain, format!(", in {n_days}")),
    };
    let what = format!("by {}{when}: {}", day(review.by), review.what());
    page.entry(label, paint, DATED, &what);
    for it in review.groups() {
        page.entry("", Paint::Plain, GROUP, &it);
    }
}

/// What has no date.
fn work(page: &mut Page, open: &[&Due<'_>]) {
    let (mut sources, mut proposals, mut set_aside) = (Vec::new(), Vec::new(), Vec::new());
    for due in open {
        match &due.what {
            DueItem::Source { publication, cited } => {
                let year = publication.year;
                let year = year.map_or(String::new(), |it| format!(", {it}"));
                let cited = counted(*cited, "entry", "entries");
                sources.push(format!(
                    "{}: {}, {}{year} (cited by {cited})",
                    publication.id, publication.by, publication.title
                ));
            }
            DueItem::Proposal { of, text } => proposals.push(format!("{of}: {text}")),
            DueItem::SetAside(it) => set_aside.push(format!("{}: {}", it.rule, it.in_words())),
            DueItem::RuleSet | DueItem::Rule(_) | DueItem::Allowance(_) | DueItem::Local(_) => {}
        }
    }
    let heads = [
        ("mostly set aside, to be looked at", "rule", set_aside),
        (
            "cited from memory, to be opened and checked",
            "source",
            sources,
        ),
        ("to be owned or replaced", "local proposal", proposals),
    ];
    for (at, (what, noun, list)) in heads
        .into_iter()
        .filter(|(_, _, list)| !list.is_empty())
        .enumerate()
    {
        if at > 0 {
            page.blank();
        }
        page.paragraph(
            0,
            &format!(
                "{}, {what}:",
                counted(list.len(), noun, &format!("{noun}s"))
            ),
        );
        for it in list {
            page.entry("", Paint::Plain, GROUP, &it);
        }
    }
}

/// How much of everything.
fn totals(agenda: &Agenda<'_>, open: &[&Due<'_>]) -> String {
    let dated: Vec<NaiveDate> = agenda.due.iter().filter_map(|it| it.by).collect();
    let overdue = agenda.n_overdue();
    let told = dated.iter().filter(|it| agenda.tells(**it)).count();
    let sources = open
        .iter()
        .filter(|it| matches!(it.what, DueItem::Source { .. }))
        .count();
    let n_set_aside = open
        .iter()
        .filter(|it| matches!(it.what, DueItem::SetAside(_)))
        .count();
    let set_aside = if n_set_aside == 0 {
        String::new()
    } else {
        format!(
            ", {} mostly set aside",
            counted(n_set_aside, "rule", "rules")
        )
    };
    let counted_only = if agenda.until.is_some() && !open.is_empty() {
        " (listed without `--within`)"
    } else {
        ""
    };
    format!(
        "{} overdue, {} to come, {} later than this list; without a date: {} to open, {} to own{set_aside}{counted_only}.",
        counted(overdue, "review", "reviews"),
        told.saturating_sub(overdue),
        dated.len() - told,
        counted(sources, "source", "sources"),
        counted(
            open.len() - sources - n_set_aside,
            "local proposal",
            "local proposals"
        ),
    )
}
