//! The whole rule set as one document for a committee, as Markdown; [`html`] makes a page of it.
//!
//! INVARIANT: whatever comes from a file passes `escape`, so headings, lists, tables and links are the book's own.
//! Every rule, limit, source and question has an anchor, which is its id.

use std::collections::HashSet;
use std::ops::Range;

use pulldown_cmark::{Event, Parser, Tag};

use crate::outcome::Outcome;
use crate::report::SAFETY;
use crate::report::book::extent::Extent;
use crate::report::book::since::Since;
use crate::report::markdown::escape::{code, inline};
use crate::report::markdown::table;
use crate::report::words;
use crate::report::words::counted;
use crate::rule_set::words::{ConditionText, placeholder, said};
use crate::rule_set::{
    Basis, Checked, Citation, Concern, Idx, Kind, MaySetAside, Piece, Rule, RuleSet, Table, Text,
};
use crate::workbench::compare::ThingKind;
use crate::workbench::figures::RuleFigures;

mod changes;
pub mod extent;
pub mod html;
mod letters;
mod open;
pub mod paper;
mod parts;
mod promised;
pub mod since;

/// What a book is made of.
#[derive(Debug)]
pub struct Book<'a> {
    /// The rule set.
    pub rule_set: &'a RuleSet,
    /// In how many cases each rule fires, stays quiet, is undetermined.
    pub states: &'a Table<[usize; 3], Rule>,
    /// What the rule set's own log says about its editions, as Markdown; `None` if it keeps none.
    pub change_log: Option<&'a str>,
    /// What a desk's decisions say of single rules; empty where no register was named.
    pub figures: &'a [RuleFigures],
    /// What of the rule set it holds; all of it, if `None`.
    pub extent: Option<Extent>,
    /// What is written otherwise since an earlier edition, if it is to say so.
    pub since: Option<Since<'a>>,
}

impl Book<'_> {
    /// Whether the thing with this anchor belongs into it.
    fn has(&self, anchor: &str) -> bool {
        self.extent.as_ref().is_none_or(|it| it.has(anchor))
    }

    /// What became of a rule since the earlier edition; `None` where nothing did.
    fn became(&self, rule: &Rule) -> Option<&'static str> {
        let changes = self.since.iter().flat_map(|it| &it.changes);
        let mut of_rules = changes.filter(|it| it.kind == ThingKind::Rule);
        let change = of_rules.find(|it| it.name == rule.id)?;
        Some(change.what.words())
    }
}

/// The parts after the rules: anchor, heading, and what writes them.
type BookPart = (&'static str, &'static str, fn(&mut BookText, &Book<'_>));

const PARTS: [BookPart; 16] = [
    ("part:local", "Local policy", promised::local),
    (
        "part:guarantees",
        "What is guaranteed",
        promised::guarantees,
    ),
    (
        "part:reasons",
        "Reasons for deciding against a finding",
        promised::reasons,
    ),
    ("part:limits", "Limits", parts::limits),
    ("part:derived", "What is worked out", parts::derived),
    ("part:formulas", "Formulas", parts::formulas),
    ("part:questions", "Questions", parts::questions),
    (
        "part:classes",
        "Classes of medicines and of substances",
        parts::classes,
    ),
    ("part:letters", "Letters", letters::letters),
    (
        "part:anaesthetics",
        "Local anaesthetics",
        parts::anaesthetics,
    ),
    ("part:sources", "Sources", open::sources),
    ("part:proposals", "Open: local proposals", open::proposals),
    (
        "part:unopened",
        "Open: sources nobody has opened",
        open::unopened,
    ),
    ("part:retired", "Retired rules", open::retired),
    (
        "part:changes",
        "What changed in this edition",
        changes::section,
    ),
    ("part:made", "Made with", made),
];

/// A section of the book.
struct BookSection {
    anchor: String,
    /// Not yet escaped.
    title: String,
    text: String,
}

/// The book as Markdown.
///
/// # Missing data
/// What a rule set does not have (a change log, retired rules) is said to be absent; a part of it leaves out what has nothing
/// to do with its rules.
pub fn markdown(book: &Book<'_>) -> String {
    let mut sheet = BookText::default();
    front(&mut sheet, book);
    let sections = sections(book);
    let numbered = || (1..).zip(&sections);
    sheet.heading(2, "part:contents", "Contents");
    sheet.gap();
    for (number, it) in numbered() {
        sheet.item(0, &link(&format!("{number}. {}", it.title), &it.anchor));
    }
    for (number, it) in numbered() {
        sheet.heading(2, &it.anchor, &format!("{number}. {}", inline(&it.title)));
        sheet.text.push_str(&it.text);
    }
    sheet.finish()
}

/// What stands before the sections.
fn front(sheet: &mut BookText, book: &Book<'_>) {
    let rules = book.rule_set;
    sheet
        .text
        .push_str(&format!("# {}\n", inline(&rules.title)));
    sheet.paragraph(&format!(
        "The rules of {}, edition {}.",
        inline(&rules.id),
        inline(&rules.edition)
    ));
    if book.extent.is_some() {
        let concerns = rules.concerns.iter().filter(|it| book.has(&it.id));
        let titles: Vec<String> = concerns.map(|it| inline(&it.title)).collect();
        let n_rules = rules.rules().filter(|it| book.has(&it.id)).count();
        sheet.paragraph(&format!(
            "**This is a part of them: {}.** It has {n_rules} of {} rules, and what these need. The digest is that of the whole.",
            titles.join("; "),
            rules.rules().count()
        ));
    }
    sheet.paragraph(&format!("**{}**", inline(SAFETY)));
    let approved = rules
        .approval
        .as_ref()
        .map_or("by nobody yet".to_owned(), |it| {
            match it.digest == rules.digest {
                true => format!("by {} on {}", it.by.join(", "), words::day(it.on)),
                false => format!("on {}, but NOT with this content", words::day(it.on)),
            }
        });
    sheet.facts(&[
        ("Status", words::status(rules.status).to_owned()),
        ("Approved", approved),
        ("In force from", words::day(rules.in_force_from)),
        ("To be reviewed by", words::day(rules.review_by)),
        ("Answers for it", rules.owner.clone()),
        ("Digest (SHA-256)", rules.digest.clone()),
    ]);
}

/// The sections, in order: what changed comes first, the rules before what they rest on.
fn sections(book: &Book<'_>) -> Vec<BookSection> {
    let mut sections = Vec::new();
    let mut add = |anchor: &str, title: &str, write: &dyn Fn(&mut BookText)| {
        let mut sheet = BookText::default();
        write(&mut sheet);
        let text = match &book.extent {
            None => Some(sheet.text),
            Some(extent) => extent.cut(&sheet.text),
        };
        sections.extend(text.map(|text| BookSection {
            anchor: anchor.to_owned(),
            title: title.to_owned(),
            text,
        }));
    };
    if let Some(since) = &book.since {
        add(since::ANCHOR, &since.title(), &|sheet| {
            since::section(sheet, book, since)
        });
    }
    add("part:reading", "How to read this", &how_to_read);
    add("part:concerns", "Concerns", &|sheet| concerns(sheet, book));
    for (at, it) in book.rule_set.concerns.entries() {
        if book.has(&it.id) {
            add(&it.id, &it.title, &|sheet| concern(sheet, book, at));
        }
    }
    for (anchor, title, write) in PARTS {
        add(anchor, title, &|sheet| write(sheet, book));
    }
    sections
}

fn how_to_read(sheet: &mut BookText) {
    for text in [
        "Each rule says when it applies, what it then asks for, and why. For one patient a rule **fires** if its condition holds, \
         **stays quiet** if it does not, and is **undetermined** as long as an answer that could decide it is missing. A missing \
         answer never counts as a good one.",
        "What a rule asks for: **go**: proceed, and take this precaution. **defer**: not yet; \"cleared by\" says until when. \
         **refer**: not here; another service decides or treats, as fast as is said. The verdict on a patient is the worst of them.",
        "Words in brackets and italics, such as *\\[the INR\\]*, stand for what the patient's own answers say. A name in round \
         brackets, such as (bleeding.inr) or (limit inr-ceiling), is the one by which the files call a question, class or limit.",
        "Each source says how it was checked. **From memory** means that nobody has opened it yet. **Common practice** has no \
         publication behind it. A **local proposal** is a figure or judgement of our own, which a clinical owner has to confirm.",
    ] {
        sheet.paragraph(text);
    }
}

fn concerns(sheet: &mut BookText, book: &Book<'_>) {
    let rules = book.rule_set;
    let row = |title: String, owner: &str, of: &dyn Fn(&&Rule) -> bool| {
        let rules = rules.rules().filter(|it| book.has(&it.id));
        let of: Vec<&Rule> = rules.filter(of).collect();
        let count =
            |wanted: &dyn Fn(&Rule) -> bool| of.iter().filter(|it| wanted(it)).count().to_string();
        let outcome = |outcome| count(&move |it: &Rule| it.outcome == outcome);
        [
            title,
            inline(owner),
            of.len().to_string(),
            count(&|it| it.kind == Kind::Contraindication),
            count(&|it| it.kind == Kind::Caution),
            outcome(Outcome::Refer),
            outcome(Outcome::Defer),
            outcome(Outcome::Go),
        ]
    };
    let mut rows: Vec<[String; 8]> = rules
        .concerns
        .entries()
        .filter(|(_, it)| book.has(&it.id))
        .map(|(at, it)| {
            row(
                link(&it.title, &it.id),
                it.owner.as_ref().unwrap_or(&rules.owner),
                &|rule| rule.concern == Some(at),
            )
        })
        .collect();
    rows.push(row("**All**".into(), "", &|_| true));
    sheet.table(
        &[
            "Concern",
            "Answers for it",
            "Rules",
            "Contraindications",
            "Cautions",
            "refer",
            "defer",
            "go",
        ],
        "llrrrrrr",
        &rows,
    );
}

fn concern(sheet: &mut BookText, book: &Book<'_>, at: Idx<Concern>) {
    let rules: Vec<(&Rule, &[usize; 3])> = book
        .rule_set
        .rule_entries()
        .filter(|(_, it)| it.concern == Some(at))
        .map(|(at, it)| (it, &book.states[at]))
        .collect();
    sheet.paragraph(&format!("{}:", counted(rules.len(), "rule", "rules")));
    sheet.gap();
    for (rule, _) in &rules {
        sheet.item(
            0,
            &format!(
                "{} ({}{})",
                link(&rule.title, &rule.id),
                rule.standing().words(),
                book.became(rule)
                    .map_or(String::new(), |it| format!(", {it}"))
            ),
        );
    }
    for (rule, states) in rules {
        crate::report::book::rule(sheet, book, rule, states);
        if let Some(it) = book.figures.iter().find(|it| it.rule == rule.id) {
            let fired = counted(it.n_fired, "referral", "referrals");
            sheet.paragraph(&format!(
                "At the desk: fired about {fired}, {}.",
                inline(&it.in_words())
            ));
        }
    }
}

fn rule(sheet: &mut BookText, book: &Book<'_>, rule: &Rule, states: &[usize; 3]) {
    let rules = book.rule_set;
    sheet.heading(3, &rule.id, &inline(&rule.title));
    sheet.paragraph(&format!(
        "{}, {}: **{}**",
        code(&rule.id),
        rule.kind.word(),
        rule.standing().words()
    ));
    if let (Some(since), Some(became)) = (&book.since, book.became(rule)) {
        let edition = inline(&since.old.edition);
        let what = link("what changed", since::ANCHOR);
        sheet.paragraph(&format!("**{became} since edition {edition}**: {what}"));
    }
    sheet.paragraph("**Applies when**");
    sheet.gap();
    sheet.said(0, &said(rules, &rule.when));
    for it in rule.sentences() {
        sheet.paragraph(&format!("**{}:** {}", it.label, filled(rules, it.text)));
    }
    if rule.set_aside != MaySetAside::One {
        sheet.paragraph(&format!("**May be set aside** {}.", rule.set_aside.words()));
    }
    sheet.paragraph("**Rests on**");
    sheet.gap();
    sheet.citations(0, rules, &rule.citations);
    let mut small = Vec::new();
    // An answer and its date have one anchor.
    let mut facts: Vec<&str> = Vec::new();
    for id in rule
        .when
        .facts()
        .into_iter()
        .filter_map(|it| anchor_of(rules, it))
    {
        if !facts.contains(&id) {
            facts.push(id);
        }
    }
    let facts = facts.into_iter().map(|it| link(it, it));
    let limits = rule
        .when
        .limits()
        .into_iter()
        .map(|at| &rules.limits[at])
        .map(|it| link(&it.id, &format!("limits/{}", it.id)));
    let looks: Vec<String> = facts.chain(limits).collect();
    if !looks.is_empty() {
        small.push(format!("Looks at {}.", looks.join(", ")));
    }
    small.push(format!(
        "In force from {}, last reviewed {}, to be reviewed by {}.",
        words::day(rule.in_force_from),
        words::day(rule.last_reviewed),
        words::day(rule.review_by)
    ));
    let [fires, quiet, open] = states;
    small.push(format!(
        "Worked cases: fires in {fires}, stays quiet in {quiet}, undetermined in {open}."
    ));
    sheet.paragraph(&small.join(" "));
}

/// The id under which the book has a fact: of its question, or of what is worked out.
fn anchor_of(rules: &RuleSet, slot: crate::truth::FactSlot) -> Option<&str> {
    let catalogue = &rules.catalogue;
    catalogue
        .derived_of(slot)
        .map(|it| it.id.as_str())
        .or_else(|| catalogue.question_of(slot).map(|it| it.id.as_str()))
}

/// A sentence with its limits filled in and its placeholders in words.
fn filled(rules: &RuleSet, text: &Text) -> String {
    let mut out = String::new();
    for piece in &text.pieces {
        filled_piece(&mut out, rules, piece);
    }
    out
}

/// Adds a piece of a sentence.
fn filled_piece(out: &mut String, rules: &RuleSet, piece: &Piece) {
    match (piece, placeholder(rules, piece)) {
        (_, Some(words)) => out.push_str(&format!("*\\[{}\\]*", inline(&words))),
        (Piece::Limit(at), None) => out.push_str(&inline(&rules.limits[*at].written)),
        // Spaces at the ends of a piece belong to the sentence.
        (Piece::Words(words), None) => {
            let space = |is_there: bool| if is_there { " " } else { "" };
            let is_blank = words.trim().is_empty();
            out.push_str(space(words.starts_with(char::is_whitespace)));
            out.push_str(&inline(words));
            out.push_str(space(words.ends_with(char::is_whitespace) && !is_blank));
        }
        (_, None) => {}
    }
}

fn made(sheet: &mut BookText, book: &Book<'_>) {
    let version = env!("CARGO_PKG_VERSION");
    sheet.paragraph(&format!(
        "preblock {version}, from {}. {}",
        inline(&words::edition(book.rule_set)),
        inline(SAFETY)
    ));
}

/// A link to an anchor of the book. The text is not yet escaped.
fn link(text: &str, anchor: &str) -> String {
    format!("[{}](#{anchor})", inline(text))
}

/// A citation in words, with how it was checked.
fn cited(rules: &RuleSet, citation: &Citation) -> String {
    match &citation.basis {
        Basis::Published(at) => {
            let it = &rules.publications[*at];
            let year = it.year.map_or(String::new(), |it| format!(", {it}"));
            let at = citation
                .at
                .as_ref()
                .map_or(String::new(), |it| format!(": {}", inline(it)));
            let source = link(
                &format!("{}, {}{year}", it.by, it.title),
                &format!("sources/{}", it.id),
            );
            format!("{source}{at}. {}", checked(it.checked, it.checked_on))
        }
        Basis::CommonPractice(text) => format!(
            "Common practice, no publication behind it: {}",
            inline(text)
        ),
        Basis::LocalProposal(text) => format!(
            "**Local proposal**, for its owner to confirm: {}",
            inline(text)
        ),
    }
}

/// How a source was checked.
fn checked(checked: Checked, on: Option<chrono::NaiveDate>) -> String {
    match (checked, on) {
        (Checked::Read, Some(on)) => format!("Read on {}.", words::day(on)),
        (Checked::Read, None) => "Read.".to_owned(),
        (Checked::FromMemory, _) => "**From memory, not yet opened.**".to_owned(),
    }
}

/// The Markdown as it grows. Texts given to it are already escaped.
#[derive(Default)]
struct BookText {
    text: String,
}

impl BookText {
    /// The whole, in which a link that leads nowhere has become plain text: what it names is not in this book.
    fn finish(self) -> String {
        let anchors: HashSet<&str> = self
            .text
            .split("<a id=\"")
            .skip(1)
            .filter_map(|it| it.split('"').next())
            .collect();
        let loose: Vec<(Range<usize>, String)> = Parser::new(&self.text)
            .into_offset_iter()
            .filter_map(|(event, range)| {
                let Event::Start(Tag::Link { dest_url, .. }) = event else {
                    return None;
                };
                let leads = anchors.contains(dest_url.strip_prefix('#')?);
                let (name, _) = self.text.get(range.clone())?.rsplit_once("](#")?;
                let name = name.strip_prefix('[')?.to_owned();
                (!leads).then_some((range, name))
            })
            .collect();
        let mut text = self.text.clone();
        for (range, name) in loose.into_iter().rev() {
            text.replace_range(range, &name);
        }
        text
    }

    /// A heading with the anchor by which links find it.
    fn heading(&mut self, level: usize, anchor: &str, title: &str) {
        self.text.push_str(&format!(
            "\n{} <a id=\"{anchor}\"></a>{title}\n",
            "#".repeat(level)
        ));
    }

    /// What is plainly so of the whole, each with its label. The texts are not yet escaped.
    fn facts<const N: usize>(&mut self, facts: &[(&str, String); N]) {
        let rows = facts
            .each_ref()
            .map(|(label, text)| [format!("**{label}**"), inline(text)]);
        self.table(&["", ""], "ll", &rows);
    }

    fn paragraph(&mut self, text: &str) {
        self.text.push_str(&format!("\n{text}\n"));
    }

    /// An empty line, before a list.
    fn gap(&mut self) {
        self.text.push('\n');
    }

    /// An entry of a list inside so many others.
    fn item(&mut self, depth: usize, text: &str) {
        self.text
            .push_str(&format!("{}- {text}\n", "  ".repeat(depth)));
    }

    /// A condition as nested lists.
    fn said(&mut self, depth: usize, said: &ConditionText) {
        self.item(depth, &inline(&said.line));
        said.parts.iter().for_each(|it| self.said(depth + 1, it));
    }

    fn citations(&mut self, depth: usize, rules: &RuleSet, citations: &[Citation]) {
        citations
            .iter()
            .for_each(|it| self.item(depth, &cited(rules, it)));
    }

    /// A table. Of `sides`, each letter is a column: l to the left, r to the right.
    fn table<const N: usize>(&mut self, headings: &[&str; N], sides: &str, rows: &[[String; N]]) {
        self.text.push_str(&table(headings, sides, rows));
    }
}
