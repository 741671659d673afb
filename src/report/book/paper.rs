//! The paper on a proposal: what a committee reads before it signs. What changes and why, each changed rule as it was and as
//! it would be, for whom, what is proved, what it rests on, and who signs.

use std::collections::{BTreeMap, BTreeSet};

use crate::report::SAFETY;
use crate::report::book::{BookText, changes, checked, cited, filled};
use crate::report::compare;
use crate::report::compare::Compared;
use crate::report::markdown::escape::{code, inline};
use crate::report::words;
use crate::report::words::counted;
use crate::rule_set::words::said;
use crate::rule_set::{Basis, Citation, Guarantee, Idx, Limit, Publication, Rule, RuleSet};
use crate::workbench::compare::{ChangeKind, ChangedPart, RuleSetChange, ThingKind};
use crate::workbench::figures::RuleFigures;
use crate::workbench::prove::Proof;

/// What a paper is made of.
#[derive(Debug)]
pub struct Paper<'a> {
    /// What the two rule sets come to beside one another.
    pub compared: &'a Compared<'a>,
    /// What became of each guarantee of the proposed one.
    pub proofs: &'a [(&'a Guarantee, Proof)],
    /// The proposed rule set's own log of its editions, as Markdown; `None` if it keeps none.
    pub change_log: Option<&'a str>,
    /// What a desk's decisions say of single rules; empty where no register was named.
    pub figures: &'a [RuleFigures],
}

/// What stands over a paper.
pub fn title(paper: &Paper<'_>) -> String {
    let (old, new) = (paper.compared.old, paper.compared.new);
    format!(
        "Proposal: {} {} in place of {}",
        new.id, new.edition, old.edition
    )
}

/// The paper as Markdown.
///
/// # Missing data
/// What is not there (a log, a register, questionnaires) is left out or said to be absent.
pub fn markdown(paper: &Paper<'_>) -> String {
    let it = paper.compared;
    let mut sheet = BookText::default();
    sheet
        .text
        .push_str(&format!("# {}\n", inline(&title(paper))));
    sheet.paragraph(&inline(&it.new.title));
    let facts = [
        ("As it is", words::edition(it.old)),
        ("Proposed", words::edition(it.new)),
        ("Compared as of", words::day(it.as_of)),
    ];
    sheet.facts(&facts);
    if let Some(odd) = compare::odd(it.old, it.new) {
        sheet.paragraph(&inline(&odd));
    }
    sheet.paragraph(&format!(
        "**{}** {}",
        compare::verdict(it),
        in_short(&it.changes.iter().collect::<Vec<_>>())
    ));
    sheet.heading(2, "part:why", "Why");
    changes::of_log(&mut sheet, paper.change_log, &it.new.edition);
    rules(&mut sheet, paper);
    others(&mut sheet, it);
    sheet.heading(2, "part:whom", "For whom");
    sheet.paragraph(compare::for_whom(it).trim());
    sheet.heading(2, "part:all", "Over every possible questionnaire");
    sheet.paragraph(compare::over_all(it).trim());
    proved(&mut sheet, paper);
    sources(&mut sheet, it);
    signing(&mut sheet, it);
    sheet.finish()
}

/// "Rules: 2 new, 1 changed, 0 gone. Other things: 3."
pub(super) fn in_short(changes: &[&RuleSetChange]) -> String {
    let n = |kind: ThingKind, wanted: fn(&ChangeKind) -> bool| {
        let those = changes
            .iter()
            .filter(|it| it.kind == kind && wanted(&it.what));
        those.count()
    };
    let others = changes
        .iter()
        .filter(|it| it.kind != ThingKind::Rule)
        .count();
    format!(
        "Rules: {} new, {} changed, {} gone. Other things: {others}.",
        n(ThingKind::Rule, |it| *it == ChangeKind::In),
        n(ThingKind::Rule, |it| matches!(it, ChangeKind::Otherwise(_))),
        n(ThingKind::Rule, |it| *it == ChangeKind::Out),
    )
}

fn rules(sheet: &mut BookText, paper: &Paper<'_>) {
    let it = paper.compared;
    sheet.heading(2, "part:rules", "Rules, before and after");
    let mut of_rules = it
        .changes
        .iter()
        .filter(|it| it.kind == ThingKind::Rule)
        .peekable();
    if of_rules.peek().is_none() {
        sheet.paragraph("No rule is written otherwise.");
    }
    for change in of_rules {
        let (old, new) = (it.old.rule(&change.name), it.new.rule(&change.name));
        let Some(shown) = new.or(old) else { continue };
        sheet.heading(3, &shown.id, &inline(&shown.title));
        match (&change.what, old, new) {
            (ChangeKind::Otherwise(parts), _, Some(rule)) => {
                sheet.paragraph(&format!("{}, changed.", code(&rule.id)));
                before_and_after(sheet, parts);
                sheet.paragraph("**As proposed**");
                whole(sheet, it.new, rule);
            }
            (ChangeKind::Out, Some(rule), _) => {
                sheet.paragraph(&format!("{}, taken out.", code(&rule.id)));
                why_out(sheet, it.new, &rule.id);
                sheet.paragraph("**As it was**");
                whole(sheet, it.old, rule);
            }
            (_, _, Some(rule)) => {
                sheet.paragraph(&format!("{}, new.", code(&rule.id)));
                whole(sheet, it.new, rule);
            }
            _ => {}
        }
        if let Some(figures) = paper.figures.iter().find(|it| it.rule == shown.id) {
            let fired = counted(figures.n_fired, "referral", "referrals");
            sheet.paragraph(&format!(
                "At the desk until now: fired about {fired}, {}.",
                inline(&figures.in_words())
            ));
        }
    }
}

/// Why a rule was taken out, if the rule set that is without it says so.
pub(super) fn why_out(sheet: &mut BookText, rules: &RuleSet, rule: &str) {
    if let Some(retired) = rules.retired.iter().find(|it| it.rule == rule) {
        sheet.paragraph(&format!("**Because:** {}", inline(&retired.because)));
    }
}

fn before_and_after(sheet: &mut BookText, parts: &[ChangedPart]) {
    let cell = |text: &str| match text {
        "" => "(nothing)".to_owned(),
        text => inline(text),
    };
    let rows: Vec<[String; 3]> = parts
        .iter()
        .map(|it| [compare::part_of(it), cell(&it.old), cell(&it.new)])
        .collect();
    sheet.table(&["", "before", "after"], "lll", &rows);
}

/// A rule in words.
fn whole(sheet: &mut BookText, rules: &RuleSet, rule: &Rule) {
    sheet.paragraph(&format!(
        "{}: **{}**, when",
        rule.kind.word(),
        rule.standing().words()
    ));
    sheet.gap();
    sheet.said(0, &said(rules, &rule.when));
    for it in rule.sentences() {
        sheet.paragraph(&format!("**{}:** {}", it.label, filled(rules, it.text)));
    }
    sheet.paragraph("**Rests on**");
    sheet.gap();
    sheet.citations(0, rules, &rule.citations);
}

/// All that is changed besides rules. Under a limit stand the rules that compare with it.
fn others(sheet: &mut BookText, it: &Compared<'_>) {
    sheet.heading(2, "part:others", "What else is changed");
    let mut others = it
        .changes
        .iter()
        .filter(|it| it.kind != ThingKind::Rule)
        .peekable();
    if others.peek().is_none() {
        sheet.paragraph("Nothing.");
    }
    for change in others {
        self::change(sheet, &code(&change.name), change);
        if change.kind == ThingKind::Limit {
            used_by(sheet, it.new, &change.name);
        }
    }
}

/// A change of a thing with this name: what became of it, and each part as it was and as it is.
pub(super) fn change(sheet: &mut BookText, name: &str, change: &RuleSetChange) {
    let kind = change.kind.word();
    sheet.paragraph(&format!("{kind} {name}: {}", change.what.words()));
    if let ChangeKind::Otherwise(parts) = &change.what {
        before_and_after(sheet, parts);
    }
}

fn used_by(sheet: &mut BookText, rules: &RuleSet, limit: &str) {
    let at: Option<Idx<Limit>> = rules.limits.position(|it| it.id == limit);
    let uses = |rule: &&Rule| at.is_some_and(|at| rule.when.limits().contains(&at));
    let mut users = rules.rules().filter(uses).peekable();
    if users.peek().is_none() {
        return;
    }
    sheet.paragraph("Rules that compare with it:");
    sheet.gap();
    for rule in users {
        let asks = rule.standing().words();
        sheet.item(
            0,
            &format!("{} ({}, {asks})", inline(&rule.title), code(&rule.id)),
        );
    }
}

fn proved(sheet: &mut BookText, paper: &Paper<'_>) {
    sheet.heading(2, "part:proved", "What is proved");
    let n_proved = paper
        .proofs
        .iter()
        .filter(|(_, it)| matches!(it, Proof::Proved))
        .count();
    sheet.paragraph(&format!(
        "Of {} about the proposed rules {n_proved} are proved, for every possible questionnaire.",
        counted(paper.proofs.len(), "guarantee", "guarantees")
    ));
    let touched: BTreeSet<&str> = paper
        .compared
        .changes
        .iter()
        .filter(|it| it.kind == ThingKind::Guarantee)
        .map(|it| it.name.as_str())
        .collect();
    let worth_a_row = |(guarantee, proof): &&(&Guarantee, Proof)| {
        !matches!(proof, Proof::Proved) || touched.contains(guarantee.id.as_str())
    };
    let rows: Vec<[String; 3]> = paper
        .proofs
        .iter()
        .filter(worth_a_row)
        .map(|(guarantee, proof)| {
            let word = match proof {
                Proof::Proved => "proved".to_owned(),
                other => format!("**{}**", other.word()),
            };
            [word, inline(&guarantee.title), inline(&guarantee.because)]
        })
        .collect();
    if !rows.is_empty() {
        sheet.paragraph("Those that are not, and those that are new or changed:");
        sheet.table(&["", "guarantee", "because"], "lll", &rows);
    }
}

/// The publications behind what is changed, and what no publication gives.
fn sources(sheet: &mut BookText, it: &Compared<'_>) {
    sheet.heading(2, "part:sources", "What it rests on");
    let mut by_source: BTreeMap<Idx<Publication>, (String, Vec<String>)> = BTreeMap::new();
    let mut without = Vec::new();
    for (of, citation) in rests_on(it) {
        match &citation.basis {
            Basis::Published(at) => {
                let source = &it.new.publications[*at];
                let entry = by_source.entry(*at).or_insert_with(|| {
                    let year = source.year.map_or(String::new(), |it| format!(", {it}"));
                    let line = format!(
                        "<a id=\"sources/{}\"></a>{}, {}{year}. {}",
                        source.id,
                        inline(&source.by),
                        inline(&source.title),
                        checked(source.checked, source.checked_on)
                    );
                    (line, Vec::new())
                });
                let of = code(of);
                if !entry.1.contains(&of) {
                    entry.1.push(of);
                }
            }
            Basis::CommonPractice(_) | Basis::LocalProposal(_) => {
                without.push(format!("{}: {}", code(of), cited(it.new, citation)));
            }
        }
    }
    if by_source.is_empty() && without.is_empty() {
        sheet.paragraph("Nothing that is changed cites anything.");
    }
    sheet.gap();
    for (line, of) in by_source.values() {
        sheet.item(0, &format!("{line} For {}.", of.join(", ")));
    }
    if !without.is_empty() {
        sheet.paragraph("Without a publication:");
        sheet.gap();
        without.iter().for_each(|it| sheet.item(0, it));
    }
}

/// The citations of the proposed rules and limits that are new or changed, each with what it belongs to.
fn rests_on<'a>(it: &'a Compared<'_>) -> Vec<(&'a str, &'a Citation)> {
    let mut found = Vec::new();
    for change in &it.changes {
        let name = change.name.as_str();
        let citations = match change.kind {
            ThingKind::Rule => it.new.rule(name).map(|it| &it.citations),
            ThingKind::Limit => {
                let limit = it.new.limits.iter().find(|it| it.id == name);
                limit.map(|it| &it.citations)
            }
            _ => None,
        };
        found.extend(
            citations
                .into_iter()
                .flatten()
                .map(|citation| (name, citation)),
        );
    }
    found
}

/// Who answers for what is changed, with room to sign.
fn signing(sheet: &mut BookText, it: &Compared<'_>) {
    sheet.heading(2, "part:signing", "Who signs");
    let mut roles: BTreeMap<&str, Vec<String>> = BTreeMap::new();
    roles
        .entry(&it.new.owner)
        .or_default()
        .push("the whole rule set".into());
    for change in it.changes.iter().filter(|it| it.kind == ThingKind::Rule) {
        let (rules, rule) = match (it.new.rule(&change.name), it.old.rule(&change.name)) {
            (Some(rule), _) => (it.new, rule),
            (None, Some(rule)) => (it.old, rule),
            (None, None) => continue,
        };
        roles
            .entry(rules.owner_of(rule))
            .or_default()
            .push(code(&rule.id));
    }
    let rows: Vec<[String; 5]> = roles
        .into_iter()
        .map(|(role, of)| {
            [
                inline(role),
                of.join(", "),
                String::new(),
                String::new(),
                String::new(),
            ]
        })
        .collect();
    sheet.table(
        &["Role", "answers for", "name", "date", "signature"],
        "lllll",
        &rows,
    );
    sheet.paragraph(&format!(
        "What is signed is the content with the digest {}, as `preblock rules check` prints it. {}",
        code(&format!("sha256:{}", it.new.digest)),
        inline(SAFETY)
    ));
}
