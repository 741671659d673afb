//! A whole rule set from its files, with every diagnostic of all of them.
//!
//! Where a file cannot be read, the names it defines are not looked up: they are counted beside
//! that slip, and looked up once it is mended.

pub(crate) mod approval;
pub(crate) mod built_in;
pub(crate) mod condition;
pub mod drafts;
pub(crate) mod guarantees;
pub(crate) mod head;
pub(crate) mod letters;
pub(crate) mod local;
pub(crate) mod questions;
pub(crate) mod reductions;
pub(crate) mod registers;
pub(crate) mod rule;
pub(crate) mod swallowed;
pub(crate) mod symbols;

use crate::document::diagnostic::{Code, Diagnostic, without_echoes};
use crate::document::source::Source;
use crate::document::text;
use crate::rule_set::digest::{ALLOWANCES, HEAD};
use crate::rule_set::files::RuleFiles;
use crate::rule_set::files::{Care, Parsed};
use crate::rule_set::read::built_in::holds;
use crate::rule_set::read::guarantees::Nameable;
use crate::rule_set::read::head::Head;
use crate::rule_set::read::local::{Overlay, Policy};
use crate::rule_set::read::rule::Ids;
use crate::rule_set::read::symbols::Names;
use crate::rule_set::{
    Concern, Condition, Guarantee, LetterKind, LetterText, Reduction, Retired, Rule, RuleSet,
    Status, Table,
};

/// The files every rule set has, in the order they are read.
pub(crate) const FILES: [&str; 7] = [
    HEAD,
    SOURCES,
    "limits.yaml",
    MEDICINES,
    "allergens.yaml",
    "anaesthetics.yaml",
    "questions.yaml",
];

/// Files a rule set may have besides: what it promises, and which remarks of the checks it lives with.
pub const FURTHER_FILES: [&str; 2] = [GUARANTEES, ALLOWANCES];

const GUARANTEES: &str = "guarantees.yaml";
const MEDICINES: &str = "medicines.yaml";
const SOURCES: &str = "sources.yaml";

/// A rule set, or what is wrong with it. With diagnostics there is no rule set.
///
/// # Errors
/// Every diagnostic of every file, in the order files are read and places come; none is held back.
pub fn rule_set(files: &RuleFiles) -> Result<RuleSet, Vec<Diagnostic>> {
    read(files, None)
}

/// A rule set changed by a local policy, if there is one.
///
/// # Errors
/// As [`rule_set`]; those of the local policy come last.
pub(crate) fn read(
    files: &RuleFiles,
    policy: Option<Policy<'_>>,
) -> Result<RuleSet, Vec<Diagnostic>> {
    let read = read_rule_set(files, policy);
    let of_policy = |source: &Source| policy.is_some_and(|it| it.file.name() == source.name());
    match read {
        // Places on a tape mean nothing to anybody: the files themselves say where.
        Err(found)
            if files.care() == Care::Embedded
                && !found
                    .iter()
                    .all(|it| it.source.as_deref().is_some_and(of_policy)) =>
        {
            read_rule_set(&files.clone().with_care(Care::Full), policy)
        }
        read => read,
    }
}

fn read_rule_set(
    files: &RuleFiles,
    policy: Option<Policy<'_>>,
) -> Result<RuleSet, Vec<Diagnostic>> {
    let mut of_local = Vec::new();
    let parsed = policy.and_then(|it| local::parse(it.file, &mut of_local));
    let overlay = parsed
        .as_ref()
        .zip(policy)
        .map(|(parsed, policy)| Overlay::new(parsed, policy));
    let mut reader = RuleSetReader::new(files, overlay);
    reader.registers();
    let own = reader.concerns();
    let ids: Vec<String> = own.iter().map(|rule| rule.id.clone()).collect();
    let complete = reader.diagnostics.is_empty();
    reader.local_rules(own, complete);
    reader.guarantees(&ids, complete);
    reader.letters();
    reader.swallowed();
    reader.finish(of_local)
}

/// A rule set while it is read: each step uses what those before it have read.
struct RuleSetReader<'a> {
    files: &'a RuleFiles,
    overlay: Option<Overlay<'a>>,
    names: Names,
    head: Option<Head>,
    concerns: Table<Concern>,
    retired: Vec<Retired>,
    reductions: Vec<Reduction>,
    rules: Table<Rule>,
    guarantees: Vec<Guarantee>,
    letters: Vec<LetterText>,
    diagnostics: Vec<Diagnostic>,
}

impl<'a> RuleSetReader<'a> {
    fn new(files: &'a RuleFiles, overlay: Option<Overlay<'a>>) -> Self {
        Self {
            files,
            overlay,
            names: Names::default(),
            head: None,
            concerns: Table::default(),
            retired: Vec::new(),
            reductions: Vec::new(),
            rules: Table::default(),
            guarantees: Vec::new(),
            letters: Vec::new(),
            diagnostics: Vec::new(),
        }
    }

    /// The tree of a file, an embedded one from its tape; `None` after a diagnostic. `needed` says what to do if it is missing.
    fn parse(&mut self, path: &str, needed: &str) -> Option<Parsed> {
        let Some(file) = self.files.file(path) else {
            let title = format!("the rule set has no file `{}`", self.files.name_of(path));
            self.diagnostics
                .push(Diagnostic::bare(Code::MissingFile, title).help(needed));
            return None;
        };
        match crate::rule_set::files::tape(path, file.bytes())
            .filter(|_| self.files.care() == Care::Embedded)
        {
            Some(tape) => {
                let read = text::read_tape(file.name(), tape);
                self.diagnostics.extend(read.diagnostics);
                Some(Parsed {
                    source: read.source?,
                    root: read.root?,
                    care: Care::Embedded,
                })
            }
            None => file.parsed(&mut self.diagnostics),
        }
    }

    /// The files that every rule set has; the local policy changes each register when it has just been read.
    fn registers(&mut self) {
        let mut anaesthetics = None;
        self.used_sources();
        for path in FILES {
            let Some(it) = self.parse(
                path,
                "add the file: every rule set has seven files and a folder of concerns",
            ) else {
                continue;
            };
            let names = &mut self.names;
            let mut overlay = self.overlay.as_mut();
            let wrong = match path {
                HEAD => {
                    let (found, wrong) = head::read(&it, self.files);
                    self.head = found;
                    wrong
                }
                SOURCES => registers::publications(&it, names, self.files.own(path).is_none()),
                "limits.yaml" => {
                    let wrong = registers::limits(&it, names);
                    overlay.iter_mut().for_each(|overlay| overlay.limits(names));
                    wrong
                }
                MEDICINES => registers::medicines(&it, names),
                "allergens.yaml" => {
                    let wrong = registers::allergens(&it, names);
                    overlay.iter_mut().for_each(|overlay| overlay.names(names));
                    wrong
                }
                "anaesthetics.yaml" => {
                    overlay.iter_mut().for_each(|overlay| overlay.note_fed(&it));
                    let wrong = registers::agents(&it, names);
                    anaesthetics = Some((it, !wrong.is_empty()));
                    wrong
                }
                _ => {
                    overlay.iter_mut().for_each(|overlay| overlay.note_fed(&it));
                    questions::read(&it, names)
                }
            };
            self.diagnostics.extend(wrong);
        }
        // The conditions of the reductions need the questions.
        if let Some((it, told)) = anaesthetics {
            let (found, wrong) = reductions::read(&it, &self.names, told);
            self.reductions = found;
            self.diagnostics.extend(wrong);
        }
    }

    /// Two bibliographies are one: that of the rule set whose registers are used, and its own. Of any other register there is one.
    fn used_sources(&mut self) {
        for (path, used) in self.files.used() {
            let Some(own) = self.files.own(path) else {
                continue;
            };
            if path != SOURCES {
                let title = format!(
                    "`{}` is there, and `uses:` takes `{}`",
                    own.name(),
                    used.name()
                );
                let help = "move the file away, or take it out of `uses:` in ruleset.yaml";
                self.diagnostics
                    .push(Diagnostic::bare(Code::UnexpectedFile, title).help(help));
            } else if let Some(it) = used.parsed(&mut self.diagnostics) {
                let wrong = registers::publications(&it, &mut self.names, true);
                self.diagnostics.extend(wrong);
            }
        }
    }

    /// The rules of each concern. A text that is still to be written keeps a rule set from being approved.
    fn concerns(&mut self) -> Vec<Rule> {
        let (mut rules, mut empty) = (Vec::new(), Vec::new());
        let head = self.head.as_ref();
        (self.concerns, self.retired) = head.map_or_else(
            || (concerns_by_file(self.files), Vec::new()),
            |it| (it.concerns.clone(), it.retired.clone()),
        );
        let approved = head.is_some_and(|it| it.status == Status::Approved);
        for (at, concern) in self.concerns.clone().entries() {
            let path = format!("concerns/{}.yaml", concern.id);
            let needed = format!(
                "add the file, at first with the lines `concern: {}` and `rules: []`, or take the concern out of ruleset.yaml",
                concern.id
            );
            let Some(it) = self.parse(&path, &needed) else {
                continue;
            };
            let (found, wrong) = rule::concern(&it, &self.names, (at, concern), &self.retired);
            rules.extend(found);
            self.diagnostics.extend(wrong);
            if approved {
                self.diagnostics.extend(
                    it.root
                        .list("rules")
                        .iter()
                        .flat_map(|rule| drafts::unwritten(&it.source, rule)),
                );
                self.diagnostics
                    .extend(drafts::without_rules(&it.source, &it.root));
            }
            empty.extend(drafts::without_rules(&it.source, &it.root));
        }
        // One concern may be begun; a rule set in which nothing is would let everybody go.
        if rules.is_empty() && self.diagnostics.is_empty() {
            let help = "no rule set is read without a rule, since everybody would go: copy one here; `preblock rules new` drafts the next";
            let empty = empty.into_iter().map(|it: Diagnostic| it.help(help));
            self.diagnostics.extend(empty);
        }
        self.diagnostics
            .extend(unexpected(self.files, self.concerns.rows()));
        rules
    }

    fn guarantees(&mut self, own: &[String], complete: bool) {
        if self.files.file(GUARANTEES).is_none() {
            return;
        }
        let Some(it) = self.parse(GUARANTEES, "") else {
            return;
        };
        let nameable = Nameable {
            concerns: &self.concerns,
            rules: &self.rules,
            own,
            complete,
        };
        let (found, wrong) = guarantees::read(&it, &self.names, &nameable);
        self.guarantees = found;
        self.diagnostics.extend(wrong);
    }

    /// The letters that the rule set has; it may be without any.
    fn letters(&mut self) {
        for kind in LetterKind::ALL {
            let path = letters::path(kind);
            if self.files.file(&path).is_none() {
                continue;
            }
            let Some(it) = self.parse(&path, "") else {
                continue;
            };
            let (found, wrong) = letters::read(&it, &self.names, kind);
            self.letters.extend(found);
            self.diagnostics.extend(wrong);
        }
    }

    /// The rules, with those that a local policy changes and adds, and without those that it retires. From here on each has
    /// its position.
    fn local_rules(&mut self, mut rules: Vec<Rule>, complete: bool) {
        if let Some(overlay) = &mut self.overlay {
            let ids = Ids {
                concerns: &self.concerns,
                retired: &self.retired,
            };
            overlay.rules(&self.names, &mut rules, &ids, complete);
        }
        self.rules = rules.into_iter().collect();
    }

    /// Names that would vanish behind others, by all conditions together.
    fn swallowed(&mut self) {
        let is_judged = self.files.is_judged() && self.overlay.is_none();
        if is_judged || !self.diagnostics.is_empty() {
            return;
        }
        let asked = self
            .names
            .catalogue
            .questions
            .iter()
            .filter_map(|question| question.ask_when.as_ref());
        let promised = self
            .guarantees
            .iter()
            .flat_map(|guarantee| &guarantee.wheres)
            .map(|(_, condition)| condition);
        let of_rules = self.rules.iter().map(|rule| &rule.when);
        let of_letters = self
            .letters
            .iter()
            .flat_map(|letter| &letter.parts)
            .filter_map(|part| part.shown.condition());
        let conditions = of_rules
            .chain(asked)
            .chain(of_letters)
            .chain(self.reductions.iter().map(|it| &it.when))
            .chain(promised);
        let swallowed = swallowed::swallowed(&self.names, conditions);
        if !swallowed.is_empty()
            && let Some(it) = self.parse(MEDICINES, "")
        {
            self.diagnostics.extend(swallowed::told(&it, &swallowed));
        }
    }

    fn finish(mut self, mut of_local: Vec<Diagnostic>) -> Result<RuleSet, Vec<Diagnostic>> {
        note_comparisons(&mut self.names, &self.rules);
        let Self {
            files,
            overlay,
            names,
            head,
            reductions,
            rules,
            guarantees,
            letters,
            mut diagnostics,
            ..
        } = self;
        let mut rule_set = head.map(|head| RuleSet {
            id: head.id,
            title: head.title,
            edition: head.edition,
            status: head.status,
            in_force_from: head.in_force_from,
            canonical: head.canonical,
            review_by: head.review_by,
            owner: head.owner,
            digest: files.digest(),
            approval: head.approval,
            withdrawn: head.withdrawn,
            local: None,
            site: head.site,
            volumes_ml: names.volumes_ml,
            concerns: head.concerns,
            catalogue: names.catalogue,
            limits: names.limits,
            publications: names.publications,
            medicines: names.medicines,
            allergens: names.allergens,
            agents: names.agents,
            reductions,
            judging: rules,
            guarantees,
            letters,
            retired: head.retired,
            reasons: head.reasons,
        });
        if let Some(mut overlay) = overlay {
            if files.care() == Care::Full {
                overlay.claim(&mut diagnostics);
            }
            of_local.extend(overlay.finish(rule_set.as_mut(), &diagnostics));
        }
        diagnostics.extend(of_local);
        if let Some(rule_set) = &mut rule_set {
            for hold in holds(rule_set) {
                rule_set.judging.push(hold);
            }
        }
        match rule_set {
            Some(rule_set) if diagnostics.is_empty() => Ok(rule_set),
            _ => Err(without_names_unread(without_echoes(diagnostics))),
        }
    }
}

/// Where a whole file could not be read, every name that it defines is unknown to all others. Hundreds of such remarks
/// would hide the one slip that caused them; they are counted, and told once that file can be read.
fn without_names_unread(mut found: Vec<Diagnostic>) -> Vec<Diagnostic> {
    let is_unread = |diagnostic: &Diagnostic| {
        matches!(
            diagnostic.code,
            Code::NotYaml | Code::NotUtf8 | Code::Empty | Code::TooLarge | Code::MissingFile
        )
    };
    let Some(cause) = found.iter().position(is_unread) else {
        return found;
    };
    let is_held_back = |it: &Diagnostic| it.code.name().starts_with("rules/unknown-");
    let n_held_back = found.iter().filter(|it| is_held_back(it)).count();
    if n_held_back > 0
        && let Some(cause) = found.get_mut(cause)
    {
        let counted = if n_held_back == 1 {
            "1 name is".to_owned()
        } else {
            format!("{n_held_back} names are")
        };
        cause.help = format!(
            "{}. {counted} unknown until then, and will be looked up again",
            cause.help.trim_end_matches('.')
        );
        found.retain(|it| !is_held_back(it));
    }
    found
}

/// The concerns that the files' names say, for want of a readable ruleset.yaml: their diagnostics are wanted all the same.
fn concerns_by_file(files: &RuleFiles) -> Table<Concern> {
    let names = files
        .paths()
        .filter_map(|it| it.strip_prefix("concerns/")?.strip_suffix(".yaml"));
    names
        .map(|id| Concern {
            id: id.to_owned(),
            title: id.to_owned(),
            owner: None,
        })
        .collect()
}

/// Tells each derived fact which numbers rules compare it with.
fn note_comparisons(names: &mut Names, rules: &Table<Rule>) {
    for rule in rules {
        rule.when.visit(&mut |condition| {
            let Condition::Fact { fact, test } = condition else {
                return;
            };
            if let Some(derived) = names
                .catalogue
                .derived
                .iter_mut()
                .find(|it| it.slot == *fact)
            {
                derived
                    .compared_with
                    .extend(test.thresholds().iter().map(|it| it.value));
            }
        });
    }
    for derived in names.catalogue.derived.iter_mut() {
        derived.compared_with.sort_by(f64::total_cmp);
        derived.compared_with.dedup();
    }
}

fn unexpected(files: &RuleFiles, concerns: &[Concern]) -> Vec<Diagnostic> {
    let mut found = Vec::new();
    for path in files.paths() {
        let known = FILES.contains(&path)
            || FURTHER_FILES.contains(&path)
            || path.starts_with("cases/")
            || LetterKind::ALL.iter().any(|it| letters::path(*it) == path)
            || path
                .strip_prefix("concerns/")
                .and_then(|it| it.strip_suffix(".yaml"))
                .is_some_and(|it| concerns.iter().any(|concern| concern.id == it));
        if !known {
            let title = format!(
                "nothing in the rule set names the file `{}`",
                files.name_of(path)
            );
            let (known, name, help): (Vec<&str>, &str, &str) = match path.strip_prefix("letters/") {
                Some(name) => (
                    LetterKind::ALL.iter().map(|it| it.word()).collect(),
                    name,
                    "give it the name of a kind of letter, or move it away",
                ),
                None => (
                    concerns.iter().map(|it| it.id.as_str()).collect(),
                    path.trim_start_matches("concerns/"),
                    "list it among the concerns of ruleset.yaml, or move it away",
                ),
            };
            let name = name.trim_end_matches(".yaml");
            found.push(
                Diagnostic::bare(Code::UnexpectedFile, title)
                    .help(help)
                    .help_if(
                        crate::document::diagnostic::nearest(name, known)
                            .map(|it| format!("did you mean `{it}`?")),
                    ),
            );
        }
    }
    found
}
