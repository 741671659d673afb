//! A whole rule set from its files, with every diagnostic of all of them.

use std::collections::HashMap;

use chrono::NaiveDate;

use super::files::{LARGEST_RULE_FILE, RuleFiles};
use super::holds::{BUILT_IN, holds};
use super::local::{LocalFile, Overlay};
use super::names::Names;
use super::registers::{self, date, unique};
use super::written::Written;
use super::{Care, Parsed, Reading, approval, condition, drafts, questions, reductions, swallowed, text};
use crate::diagnostic::{Code, Diagnostic, without_echoes};
use crate::model::{
    Approval, Concern, Condition, Guarantee, Idx, Kind as RuleKind, Retired, Rule, RuleSet, Status, Table, Test, Then, Withdrawal,
};
use crate::outcome::{Outcome, Urgency};
use crate::source::Node;

/// The files every rule set has, in the order they are read.
pub const FILES: [&str; 7] =
    ["ruleset.yaml", "sources.yaml", "limits.yaml", MEDICINES, "allergens.yaml", "anaesthetics.yaml", "questions.yaml"];

/// Files a rule set may have besides: what it promises, and which remarks of the checks it lives with.
pub const FURTHER_FILES: [&str; 2] = [GUARANTEES, super::files::ALLOWANCES];

const GUARANTEES: &str = "guarantees.yaml";
const MEDICINES: &str = "medicines.yaml";

/// A rule set, or what is wrong with it. With diagnostics there is no rule set.
///
/// # Errors
/// Every diagnostic of every file, in the order files are read and places come; none is held back.
pub fn rule_set(files: &RuleFiles) -> Result<RuleSet, Vec<Diagnostic>> {
    rule_set_with(files, None)
}

impl RuleSet {
    /// A rule set, with a clinic's local policy over it if there is one.
    ///
    /// # Errors
    /// Every diagnostic of every file, in the order files are read and places come; those of the local policy come last.
    pub fn read(files: &RuleFiles, local: Option<&LocalFile>) -> Result<Self, Vec<Diagnostic>> {
        rule_set_with(files, local)
    }
}

/// The same, changed by a clinic's local policy, if there is one.
///
/// # Errors
/// As [`rule_set`]; those of the local policy come last.
pub fn rule_set_with(files: &RuleFiles, local: Option<&LocalFile>) -> Result<RuleSet, Vec<Diagnostic>> {
    let read = read_rule_set(files, local);
    let of_local = |it: &Diagnostic| it.source.as_ref().is_some_and(|it| local.is_some_and(|local| local.name == it.name()));
    match read {
        // Places on a tape mean nothing to anybody: read the files themselves, to say where.
        Err(found) if files.care == Care::Embedded && !found.iter().all(of_local) => {
            read_rule_set(&RuleFiles { care: Care::Full, ..files.clone() }, local)
        }
        read => read,
    }
}

fn read_rule_set(files: &RuleFiles, local: Option<&LocalFile>) -> Result<RuleSet, Vec<Diagnostic>> {
    let mut diagnostics = Vec::new();
    let mut of_local = Vec::new();
    let parsed = local.and_then(|it| it.parse(&mut of_local));
    let mut overlay = parsed.as_ref().zip(local).map(|(parsed, file)| Overlay::new(parsed, file));
    let mut names = Names::default();
    let mut head = None;
    let mut anaesthetics = None;
    for name in FILES {
        // One tree at a time: each is dropped before the next one is read.
        let Some(it) = parse(files, name, "add the file: every rule set has seven files and a folder of concerns", &mut diagnostics) else {
            continue;
        };
        match name {
            "ruleset.yaml" => {
                let (found, wrong) = read_head(&it);
                head = found;
                diagnostics.extend(wrong);
            }
            "sources.yaml" => diagnostics.extend(registers::publications(&it, &mut names)),
            "limits.yaml" => {
                diagnostics.extend(registers::limits(&it, &mut names));
                overlay.iter_mut().for_each(|it| it.limits(&mut names));
            }
            MEDICINES => diagnostics.extend(registers::medicines(&it, &mut names)),
            "allergens.yaml" => {
                diagnostics.extend(registers::allergens(&it, &mut names));
                overlay.iter_mut().for_each(|it| it.names(&mut names));
            }
            "anaesthetics.yaml" => {
                overlay.iter_mut().for_each(|overlay| overlay.note_fed(&it));
                let wrong = registers::agents(&it, &mut names);
                anaesthetics = Some((it, !wrong.is_empty()));
                diagnostics.extend(wrong);
            }
            _ => {
                overlay.iter_mut().for_each(|overlay| overlay.note_fed(&it));
                diagnostics.extend(questions::read(&it, &mut names));
            }
        }
    }
    let (reductions, wrong) = anaesthetics.as_ref().map(|(it, told)| reductions::read(it, &names, *told)).unwrap_or_default();
    drop(anaesthetics);
    diagnostics.extend(wrong);
    let mut rules = Vec::new();
    let (concerns, retired) =
        head.as_ref().map_or_else(|| (concerns_by_file(files), Vec::new()), |it| (it.concerns.clone(), it.retired.clone()));
    for (at, concern) in concerns.entries() {
        let path = format!("concerns/{}.yaml", concern.id);
        let Some(it) = parse(files, &path, "add the file, or take the concern out of ruleset.yaml", &mut diagnostics) else { continue };
        let (found, wrong) = read_concern(&it, &names, (at, concern), &retired);
        rules.extend(found);
        diagnostics.extend(wrong);
    }
    diagnostics.extend(unexpected(files, &concerns));
    let mut guarantees = Vec::new();
    if files.files.contains_key(GUARANTEES)
        && let Some(it) = parse(files, GUARANTEES, "", &mut diagnostics)
    {
        let (found, wrong) = super::guarantees::read(&it, &names, &concerns, &rules, diagnostics.is_empty());
        guarantees = found;
        diagnostics.extend(wrong);
    }
    if let Some(overlay) = &mut overlay {
        let before: Vec<String> = rules.iter().map(|it| it.id.clone()).collect();
        overlay.rules(&names, &mut rules, &Ids { concerns: &concerns, retired: &retired }, diagnostics.is_empty());
        find_again(&mut guarantees, &before, &rules);
    }
    if diagnostics.is_empty() {
        let asked = names.catalogue.questions.iter().filter_map(|it| it.ask_when.as_ref());
        let promised = guarantees.iter().flat_map(|it| &it.wheres).map(|(_, it)| it);
        let conditions = rules.iter().map(|it| &it.when).chain(asked).chain(reductions.iter().map(|it| &it.when)).chain(promised);
        let swallowed = swallowed::swallowed(&names, conditions);
        if !swallowed.is_empty()
            && let Some(it) = parse(files, MEDICINES, "", &mut diagnostics)
        {
            diagnostics.extend(swallowed::told(&it, &swallowed));
        }
    }
    note_comparisons(&mut names, &rules);
    if head.as_ref().is_some_and(|it| it.status == Status::Approved) && rules.iter().any(drafts::is_draft) {
        diagnostics.extend(drafts::unwritten(&Written::read(files)).into_iter().map(|(_, it)| it));
    }
    let mut rule_set = head.map(|head| RuleSet {
        id: head.id,
        title: head.title,
        edition: head.edition,
        status: head.status,
        in_force_from: head.in_force_from,
        review_by: head.review_by,
        owner: head.owner,
        digest: files.digest(),
        approval: head.approval,
        withdrawn: head.withdrawn,
        local: None,
        concerns: head.concerns,
        catalogue: names.catalogue,
        limits: names.limits,
        publications: names.publications,
        medicines: names.medicines,
        allergens: names.allergens,
        agents: names.agents,
        reductions,
        rules,
        holds: Vec::new(),
        guarantees,
        retired: head.retired,
    });
    if let Some(mut overlay) = overlay {
        if files.care == Care::Full {
            overlay.claim(&mut diagnostics);
        }
        of_local.extend(overlay.finish(rule_set.as_mut(), &diagnostics));
    }
    diagnostics.extend(of_local);
    if let Some(rule_set) = &mut rule_set {
        rule_set.holds = holds(rule_set);
    }
    match rule_set {
        Some(rule_set) if diagnostics.is_empty() => Ok(rule_set),
        _ => Err(without_names_unread(without_echoes(diagnostics))),
    }
}

/// Where a whole file could not be read, every name that it defines is unknown to all others. Hundreds of such remarks
/// would hide the one slip that caused them; they are counted, and told once that file can be read.
fn without_names_unread(mut found: Vec<Diagnostic>) -> Vec<Diagnostic> {
    let is_unread = |it: &Diagnostic| matches!(it.code, Code::NotYaml | Code::NotUtf8 | Code::Empty | Code::TooLarge | Code::MissingFile);
    let Some(cause) = found.iter().position(is_unread) else { return found };
    let is_held_back = |it: &Diagnostic| it.code.name().starts_with("rules/unknown-");
    let n_held_back = found.iter().filter(|it| is_held_back(it)).count();
    if n_held_back > 0
        && let Some(cause) = found.get_mut(cause)
    {
        let counted = if n_held_back == 1 { "1 name is".to_owned() } else { format!("{n_held_back} names are") };
        cause.help = format!("{}. {counted} unknown until then, and will be looked up again", cause.help.trim_end_matches('.'));
        found.retain(|it| !is_held_back(it));
    }
    found
}

/// Finds the rules again that guarantees name by position, when a local policy has put others between them. One that it
/// took out is gone from the guarantee, too: what only that rule held no longer holds.
fn find_again(guarantees: &mut [Guarantee], before: &[String], rules: &[Rule]) {
    for guarantee in guarantees {
        if let Then::Fires(positions) = &mut guarantee.then {
            let ids = positions.iter().filter_map(|at| before.get(*at));
            *positions = ids.filter_map(|id| rules.iter().position(|it| it.id == *id)).collect();
        }
    }
}

/// The ids that a rule of a local policy may name, and those that it may not.
pub struct Ids<'a> {
    /// Groups of rules.
    pub concerns: &'a Table<Concern>,
    /// Full ids that are never used again.
    pub retired: &'a [Retired],
}

/// The concerns that the files' names say, for want of a readable ruleset.yaml: their diagnostics are wanted all the same.
fn concerns_by_file(files: &RuleFiles) -> Table<Concern> {
    let names = files.files.keys().filter_map(|it| it.strip_prefix("concerns/")?.strip_suffix(".yaml"));
    names.map(|it| Concern { id: it.to_owned(), title: it.to_owned(), owner: None }).collect()
}

/// Tells each derived fact which numbers rules compare it with.
fn note_comparisons(names: &mut Names, rules: &[Rule]) {
    for rule in rules {
        rule.when.visit(&mut |condition| {
            let Condition::Fact { fact, test } = condition else { return };
            let thresholds = match test {
                Test::Compare(_, threshold) => vec![threshold.value],
                Test::Between(low, high) => vec![low.value, high.value],
                _ => return,
            };
            if let Some(derived) = names.catalogue.derived.iter_mut().find(|it| it.slot == *fact) {
                derived.compared_with.extend(thresholds);
            }
        });
    }
    for derived in names.catalogue.derived.iter_mut() {
        derived.compared_with.sort_by(f64::total_cmp);
        derived.compared_with.dedup();
    }
}

/// Parses one file, an embedded one from its tape. `None` after a diagnostic.
fn parse(files: &RuleFiles, path: &str, needed: &str, diagnostics: &mut Vec<Diagnostic>) -> Option<Parsed> {
    let name = files.name_of(path);
    let Some(bytes) = files.files.get(path) else {
        diagnostics.push(Diagnostic::bare(Code::MissingFile, format!("the rule set has no file `{name}`")).help(needed));
        return None;
    };
    let tape = if files.care == Care::Embedded { super::files::tape(path, bytes) } else { None };
    let (read, care) = match tape {
        Some(tape) => (text::read_tape(&name, tape), Care::Embedded),
        None => (text::read(&name, bytes, LARGEST_RULE_FILE), Care::Full),
    };
    diagnostics.extend(read.diagnostics);
    Some(Parsed { source: read.source?, root: read.root?, care })
}

struct Head {
    id: String,
    title: String,
    edition: String,
    status: Status,
    in_force_from: NaiveDate,
    review_by: NaiveDate,
    owner: String,
    approval: Option<Approval>,
    withdrawn: Option<Withdrawal>,
    concerns: Table<Concern>,
    retired: Vec<Retired>,
}

fn read_head(parsed: &Parsed) -> (Option<Head>, Vec<Diagnostic>) {
    let mut reading = Reading::new(&parsed.source, parsed.shape("ruleset"));
    let root = &parsed.root;
    let mut seen = HashMap::new();
    let mut concerns = Table::default();
    for node in root.get("concerns").map(Node::items).unwrap_or_default() {
        if let Some(id) = node.get("id") {
            unique(&mut reading, &mut seen, id, "concerns");
            if id.written(reading.source) == Some(BUILT_IN) {
                let title = format!("`{BUILT_IN}` is a reserved word, not a concern");
                reading.report(Diagnostic::at(Code::DuplicateId, reading.source, &id.span, title, "reserved").help("choose another word"));
            }
        }
        let owner = reading.owned(node, "owner");
        match (reading.needed(node, "id"), reading.needed(node, "title")) {
            (Some(id), Some(title)) => {
                concerns.push(Concern { id, title, owner });
            }
            _ => reading.pass_over(node, "a concern"),
        }
    }
    let mut retired = Vec::new();
    for node in root.get("retired").map(Node::items).unwrap_or_default() {
        match (reading.needed(node, "rule"), date(&mut reading, node, "on"), reading.needed(node, "because")) {
            (Some(rule), Some(on), Some(because)) => retired.push(Retired { rule, on, because }),
            _ => reading.pass_over(node, "a retired rule"),
        }
    }
    let status = match reading.needed(root, "status").as_deref() {
        Some("draft") => Some(Status::Draft),
        Some("approved") => Some(Status::Approved),
        Some("withdrawn") => Some(Status::Withdrawn),
        _ => None,
    };
    let (from, by) = (date(&mut reading, root, "in_force_from"), date(&mut reading, root, "review_by"));
    in_force_before_review(&mut reading, root, from, by);
    let (approval, withdrawn) = (approval::approval(&mut reading, root), approval::withdrawal(&mut reading, root));
    let status = status.filter(|it| approval::fits(&mut reading, root, *it));
    let head = (|| {
        Some(Head {
            id: reading.needed(root, "id")?,
            title: reading.needed(root, "title")?,
            edition: reading.needed(root, "edition")?,
            status: status?,
            in_force_from: from?,
            review_by: by?,
            owner: reading.needed(root, "owner")?,
            approval,
            withdrawn,
            concerns,
            retired,
        })
    })();
    if head.is_none() {
        reading.pass_over(root, "a whole ruleset.yaml");
    }
    (head, reading.finish())
}

fn read_concern(
    parsed: &Parsed,
    names: &Names,
    (at, concern): (Idx<Concern>, &Concern),
    retired: &[Retired],
) -> (Vec<Rule>, Vec<Diagnostic>) {
    let mut reading = Reading::new(&parsed.source, parsed.shape("concern"));
    if let Some(node) = parsed.root.get("concern")
        && let Some(written) = node.written(reading.source)
        && written != concern.id
    {
        let title = format!("this file is for the concern `{written}`, its name says `{}`", concern.id);
        reading.report(
            Diagnostic::at(Code::UnknownConcern, &parsed.source, &node.span, title, "another concern")
                .help("make the line and the file's name agree"),
        );
    }
    let mut rules = Vec::new();
    let mut seen = HashMap::new();
    for node in parsed.root.get("rules").map(Node::items).unwrap_or_default() {
        if let Some(id) = node.get("id") {
            unique(&mut reading, &mut seen, id, "rules");
        }
        match rule(&mut reading, names, node, (at, concern), retired) {
            Some(rule) => rules.push(rule),
            None => reading.pass_over(node, "a whole rule"),
        }
    }
    (rules, reading.finish())
}

/// A rule from its mapping; `None` after a diagnostic.
pub fn rule(
    reading: &mut Reading<'_>,
    names: &Names,
    node: &Node,
    (at, concern): (Idx<Concern>, &Concern),
    retired: &[Retired],
) -> Option<Rule> {
    // Everything is read before anything is given up, so that all diagnostics come in one run.
    let id = reading.needed(node, "id").map(|it| format!("{}/{it}", concern.id));
    if let (Some(id), Some(place)) = (&id, node.get("id"))
        && retired.iter().any(|it| it.rule == *id)
    {
        let title = format!("`{id}` is the id of a retired rule");
        reading.report(
            Diagnostic::at(Code::RetiredId, reading.source, &place.span, title, "retired")
                .help("choose a new id: old reports name this one"),
        );
    }
    let title = reading.needed(node, "title");
    let kind = match reading.needed(node, "kind").as_deref() {
        Some("contraindication") => Some(RuleKind::Contraindication),
        Some("caution") => Some(RuleKind::Caution),
        _ => None,
    };
    let outcome = reading.needed(node, "outcome").and_then(|it| Outcome::from_word(&it));
    let urgency = reading.owned(node, "urgency").and_then(|it| Urgency::from_word(&it));
    let when = node.get("when").and_then(|it| condition::read(names, reading, it));
    let reason = names.sentence(reading, node, "reason");
    let action = names.sentence(reading, node, "action");
    let refer_to = names.sentence(reading, node, "refer_to");
    let cleared_by = names.sentence(reading, node, "cleared_by");
    let citations = names.citations(reading, node);
    let in_force_from = date(reading, node, "in_force_from");
    let last_reviewed = date(reading, node, "last_reviewed");
    let review_by = date(reading, node, "review_by");
    if let (Some(last), Some(by), Some(place)) = (last_reviewed, review_by, node.get("review_by"))
        && by <= last
    {
        let title = "the review date does not lie after the last review";
        let help = "write the day by which the rule must be looked at again";
        reading.report(Diagnostic::at(Code::BadRange, reading.source, &place.span, title, "too early").help(help));
    } else {
        in_force_before_review(reading, node, in_force_from, review_by);
    }
    let title = title.filter(|_| plain_title(reading, node));
    Some(Rule {
        id: id?,
        concern: Some(at),
        title: title?,
        kind: kind?,
        outcome: outcome?,
        urgency,
        when: when?,
        reason: reason?,
        action: action?,
        refer_to,
        cleared_by,
        citations,
        in_force_from: in_force_from?,
        last_reviewed: last_reviewed?,
        review_by: review_by?,
        local: false,
    })
}

/// What comes into force only when its review is due would never be in force and reviewed.
fn in_force_before_review(reading: &mut Reading<'_>, node: &Node, from: Option<NaiveDate>, by: Option<NaiveDate>) {
    if let (Some(from), Some(by), Some(place)) = (from, by, node.get("in_force_from"))
        && from >= by
    {
        let title = "the first day in force does not lie before the review date";
        let help = "write a day before `review_by`";
        reading.report(Diagnostic::at(Code::BadRange, reading.source, &place.span, title, "too late").help(help));
    }
}

/// A title shows no facts; reports one that means to.
fn plain_title(reading: &mut Reading<'_>, node: &Node) -> bool {
    let Some(place) = node.get("title").filter(|it| it.text().is_some_and(|it| it.contains(['{', '}']))) else { return true };
    let title = "a title shows neither facts nor limits";
    let help = "write the words out; `reason`, `action`, `refer_to` and `cleared_by` may show facts in braces";
    reading.report(Diagnostic::at(Code::UnknownPlaceholder, reading.source, &place.span, title, "braces in a title").help(help));
    false
}

fn unexpected(files: &RuleFiles, concerns: &[Concern]) -> Vec<Diagnostic> {
    let mut found = Vec::new();
    for path in files.files.keys() {
        let known = FILES.contains(&path.as_str())
            || FURTHER_FILES.contains(&path.as_str())
            || path.starts_with("cases/")
            || path
                .strip_prefix("concerns/")
                .and_then(|it| it.strip_suffix(".yaml"))
                .is_some_and(|it| concerns.iter().any(|concern| concern.id == it));
        if !known {
            let title = format!("nothing in the rule set names the file `{}`", files.name_of(path));
            let known: Vec<&str> = concerns.iter().map(|it| it.id.as_str()).collect();
            let name = path.trim_start_matches("concerns/").trim_end_matches(".yaml");
            found.push(
                Diagnostic::bare(Code::UnexpectedFile, title)
                    .help("list it among the concerns of ruleset.yaml, or move it away")
                    .help_if(crate::diagnostic::nearest(name, known).map(|it| format!("did you mean `{it}`?"))),
            );
        }
    }
    found
}
