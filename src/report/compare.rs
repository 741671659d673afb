//! Two rule sets beside one another, for people, as Markdown for a proposal, and as JSON.

use serde_json::{Map, Value, json};

use crate::exact::Witness;
use crate::outcome::Standing;
use crate::report::json::escaped;
use crate::report::markdown::escape;
use crate::report::page::{filled, one_line};
use crate::report::proofs::file;
use crate::report::words::edition;
use crate::rule_set::RuleSet;
use crate::workbench::compare::lines::{LineTally, LinesOfKind, NamedLine};
use crate::workbench::compare::{
    ChangeKind, ChangedPart, Exact, Move, Possible, RuleSetChange, Shift, Tally, is_less_cautious,
};

/// Everything that a comparison came to.
#[derive(Debug)]
pub struct Compared<'a> {
    /// The rule set as it is.
    pub old: &'a RuleSet,
    /// The rule set as it is proposed.
    pub new: &'a RuleSet,
    /// What is written otherwise.
    pub changes: Vec<RuleSetChange>,
    /// The worked cases.
    pub cases: Tally,
    /// The questionnaires that were given, if any were.
    pub files: Option<Tally>,
    /// The lines of a file, each a questionnaire, if one was given.
    pub lines: Option<LineTally>,
    /// Every possible questionnaire, or the fact that makes them too many.
    pub exact: Result<Exact, String>,
    /// The day of the examples.
    pub as_of: chrono::NaiveDate,
}

impl Compared<'_> {
    /// Whether nothing is written otherwise, and nobody is judged otherwise.
    pub fn is_the_same(&self) -> bool {
        let quiet = |it: &Tally| it.moves.is_empty() && it.refused.is_empty();
        let exact = self
            .exact
            .as_ref()
            .is_ok_and(|it| it.moves.is_empty() && it.shifts.is_empty());
        self.changes.is_empty()
            && exact
            && quiet(&self.cases)
            && self.files.as_ref().is_none_or(quiet)
            && self.lines.as_ref().is_none_or(LineTally::is_quiet)
    }

    /// Whether somebody, real or possible, gets a less cautious verdict, or that could not be shut out, or a rule may be set
    /// aside more easily.
    pub fn loosens(&self) -> bool {
        self.shows_somebody() || self.exact.is_err() || self.eases()
    }

    /// Whether something is less cautious that no verdict shows: a rule may be set aside more easily.
    fn eases(&self) -> bool {
        let parts = self.changes.iter().flat_map(|change| match &change.what {
            ChangeKind::Otherwise(parts) => parts.as_slice(),
            ChangeKind::In | ChangeKind::Out => &[],
        });
        parts
            .map(|it| it.is_less_cautious)
            .any(|it| it == Some(true))
    }

    /// Whether somebody is shown, real or possible, who gets a less cautious verdict.
    fn shows_somebody(&self) -> bool {
        let of = |it: &Tally| it.moves.iter().any(|it| is_less_cautious(it.old, it.new));
        let possible = |it: &Exact| it.moves.iter().any(|it| is_less_cautious(it.old, it.new));
        of(&self.cases)
            || self.files.as_ref().is_some_and(of)
            || self.lines.as_ref().is_some_and(LineTally::loosens)
            || self.exact.as_ref().is_ok_and(possible)
    }
}

/// What stands before the answers that are not compared.
const REFUSED_BY_ONE: &str = "not compared, since only one of the two accepts these answers";

fn title(it: &Compared<'_>) -> String {
    let of = |it: &RuleSet| format!("{} {} ({})", it.id, it.edition, it.status.word());
    format!("{} beside {}", of(it.new), of(it.old))
}

/// What is odd about the two as rule sets; `None` if the new one is a new edition of the old.
pub(crate) fn odd(old: &RuleSet, new: &RuleSet) -> Option<String> {
    if old.id != new.id {
        return Some(format!(
            "These are two rule sets, not two editions of one: {} and {}.",
            old.id, new.id
        ));
    }
    let same = old.edition == new.edition && old.digest != new.digest;
    same.then(|| format!("Both are called edition {}: the proposed one needs an edition of its own before it is approved.", new.edition))
}

/// What the committee asks first.
pub(crate) fn verdict(it: &Compared<'_>) -> String {
    let verdict = match &it.exact {
        _ if it.shows_somebody() => "Somebody gets a less cautious verdict.",
        Ok(_) => "Nobody gets a less cautious verdict.",
        Err(_) => "Whether somebody could get a less cautious verdict was not decided.",
    };
    let eased = if it.eases() {
        " A rule may be set aside more easily than before."
    } else {
        ""
    };
    format!("{verdict}{eased}")
}

/// A part that differs, after what it is by itself.
pub(crate) fn part_of(part: &ChangedPart) -> String {
    match part.is_less_cautious {
        Some(true) => format!("{LESS}: {}", part.of),
        Some(false) => format!("{MORE}: {}", part.of),
        None => part.of.to_owned(),
    }
}

const LESS: &str = "LESS CAUTIOUS";
const MORE: &str = "more cautious";

fn arrow(old: Standing, new: Standing) -> String {
    format!("{} instead of {}", new.words(), old.words())
}

fn sense(old: Standing, new: Standing) -> &'static str {
    match is_less_cautious(old, new) {
        true => LESS,
        false if old == new => "other findings",
        false => MORE,
    }
}

/// In a few words: what a tally came to.
fn counted(what: &str, it: &Tally) -> String {
    let less = it
        .moves
        .iter()
        .filter(|it| is_less_cautious(it.old, it.new))
        .count();
    let more = it
        .moves
        .iter()
        .filter(|it| is_less_cautious(it.new, it.old))
        .count();
    let same = it.moves.len() - less - more;
    let refused = if it.refused.is_empty() {
        String::new()
    } else {
        format!("; {} refused by one of them", it.refused.len())
    };
    format!(
        "{what}: {} judged by both: {less} less cautious, {more} more cautious, {same} with other findings and the same verdict{refused}",
        it.n_judged
    )
}

/// The same of the lines of a file.
fn counted_lines(it: &LineTally) -> String {
    let of = |wanted: &dyn Fn(Standing, Standing) -> bool| -> u64 {
        let kinds = it.verdicts.iter();
        kinds
            .filter(|((old, new), _)| wanted(*old, *new))
            .map(|(_, lines)| lines.n_lines)
            .sum()
    };
    let (less, more) = (
        of(&|old, new| is_less_cautious(old, new)),
        of(&|old, new| !is_less_cautious(old, new)),
    );
    let refused = match it.n_refused() {
        0 => String::new(),
        n => format!("; {n} refused by one of them or both"),
    };
    format!(
        "lines of a file: {} judged by both: {less} less cautious, {more} more cautious, {} with other rules and the same verdict{refused}",
        it.n_judged, it.same_verdict.n_lines
    )
}

/// Each way in which lines are judged otherwise, the less cautious first.
fn kinds(it: &LineTally) -> Vec<(String, &LinesOfKind)> {
    let mut verdicts: Vec<_> = it.verdicts.iter().collect();
    verdicts.sort_by_key(|((old, new), _)| !is_less_cautious(*old, *new));
    let mut found: Vec<(String, &LinesOfKind)> = verdicts
        .into_iter()
        .map(|((old, new), lines)| {
            let what = format!("{}: {}", sense(*old, *new), arrow(*old, *new));
            (what, lines)
        })
        .collect();
    for (rule, moves) in &it.rules {
        found.extend(
            moves
                .iter()
                .map(|(moved, lines)| (format!("{rule} {}", moved.words()), lines)),
        );
    }
    let refused = it.refused.iter();
    found.extend(refused.map(|(by, lines)| (by.words().to_owned(), lines)));
    found
}

/// "12 lines: SM-101 (line 1), SM-107 (line 9), ..."
fn named(it: &LinesOfKind) -> String {
    let one = |line: &NamedLine| match &line.reference {
        Some(reference) => format!("{reference} (line {})", line.number),
        None => format!("line {}", line.number),
    };
    let mut first: Vec<String> = it.first.iter().map(one).collect();
    if it.n_lines > it.first.len() as u64 {
        first.push("...".into());
    }
    let lines = if it.n_lines == 1 { "line" } else { "lines" };
    format!("{} {lines}: {}", it.n_lines, first.join(", "))
}

/// What changed, and for whom, as text.
pub fn text(it: &Compared<'_>, width: usize) -> String {
    let mut lines = vec![
        format!("as it is  {}", edition(it.old)),
        format!("proposed  {}", edition(it.new)),
        String::new(),
    ];
    let fill = |text: &str, indent: &str| filled(text, width, indent);
    if it.is_the_same() {
        lines.push(
            "No effect: both say the same, whatever their order, line breaks and comments.".into(),
        );
        return lines.join("\n");
    }
    lines.extend(odd(it.old, it.new).map(|it| fill(&it, "")));
    lines.extend([fill(&verdict(it), ""), String::new(), "What changed".into()]);
    for change in &it.changes {
        let (how, parts) = match &change.what {
            ChangeKind::In => ("in", [].as_slice()),
            ChangeKind::Out => ("out", [].as_slice()),
            ChangeKind::Otherwise(parts) => ("changed", parts.as_slice()),
        };
        let name = one_line(&change.name);
        lines.push(format!("  {how:<8} {} {name}", change.kind.word()));
        for part in parts {
            let now = format!("{}: {}", part_of(part), shown(&part.new));
            lines.push(fill(&now, "             "));
            let was = format!("was: {}", shown(&part.old));
            lines.push(fill(&was, "               "));
        }
    }
    lines.extend([String::new(), "For whom".into()]);
    for (what, tally) in tallies(it) {
        lines.push(fill(&counted(what, tally), "  "));
        for one in &tally.moves {
            let who = format!("{}: {}", sense(one.old, one.new), one.name);
            lines.extend([fill(&who, "    "), fill(&because(one), "      ")]);
        }
        let refused = tally.refused.iter();
        lines.extend(refused.map(|it| fill(&format!("refused by one of them: {it}"), "    ")));
    }
    if let Some(tally) = &it.lines {
        lines.push(fill(&counted_lines(tally), "  "));
        let kinds = kinds(tally).into_iter();
        lines.extend(kinds.map(|(kind, of)| fill(&format!("{kind}: {}", named(of)), "    ")));
    }
    lines.extend([String::new(), "Over every possible questionnaire".into()]);
    match &it.exact {
        Err(fact) => lines
            .push(fill(&format!("they cannot all be compared, because of {fact}; only the cases and questionnaires above speak"), "  ")),
        Ok(exact) => {
            if !exact.refused_by_one.is_empty() {
                lines.push(fill(&format!("{REFUSED_BY_ONE}: {}", exact.refused_by_one.join("; ")), "  "));
            }
            if exact.moves.is_empty() {
                lines.push("  nobody gets another verdict".into());
            } else if !exact.moves.iter().any(|it| is_less_cautious(it.old, it.new)) {
                lines.push("  nobody gets a less cautious verdict".into());
            }
            for one in &exact.moves {
                lines.push(format!("  {}: {}", sense(one.old, one.new), arrow(one.old, one.new)));
                lines.push(example_text(it, &one.example));
            }
            for (rule, what, example) in sides(exact) {
                lines.push(format!("  {rule} {what}"));
                lines.push(example_text(it, example));
            }
        }
    }
    lines.join("\n")
}

/// Who was judged by both, one by one.
fn tallies<'a>(it: &'a Compared<'_>) -> impl Iterator<Item = (&'static str, &'a Tally)> {
    let files = it.files.iter().map(|it| ("questionnaires", it));
    std::iter::once(("worked cases", &it.cases)).chain(files)
}

/// The rules that fire for others than before: which, how, and an example, or the fact for which there is none.
fn sides(
    exact: &Exact,
) -> impl Iterator<Item = (&str, &'static str, &Result<Vec<Witness>, String>)> {
    exact.shifts.iter().flat_map(|shift| {
        let lost = ("no longer fires for some", &shift.lost);
        let gained = ("fires for some for whom it did not", &shift.gained);
        let sides = [lost, gained].into_iter();
        sides.filter_map(|(what, side)| Some((shift.rule.as_str(), what, side.as_ref()?)))
    })
}

fn shown(text: &str) -> &str {
    if text.is_empty() { "(nothing)" } else { text }
}

fn because(one: &Move) -> String {
    let mut parts = vec![if one.old == one.new {
        one.new.words()
    } else {
        arrow(one.old, one.new)
    }];
    if !one.lost.is_empty() {
        parts.push(format!("no longer fires {}", one.lost.join(", ")));
    }
    if !one.gained.is_empty() {
        parts.push(format!("now fires {}", one.gained.join(", ")));
    }
    parts.join("; ")
}

fn example_text(it: &Compared<'_>, example: &Result<Vec<Witness>, String>) -> String {
    match example {
        Err(fact) => {
            format!("    whether there is such a patient was not decided, because of {fact}")
        }
        Ok(seen) => {
            let said = format!(
                "    for example, as of {}, and no answer of it can be left out:\n",
                day_of(it, seen)
            );
            said + &textwrap::indent(&questionnaire(seen), "      | ")
        }
    }
}

/// The day on which an example is screened: that of the comparison, or of the worked case that it comes from.
fn day_of(it: &Compared<'_>, seen: &[Witness]) -> chrono::NaiveDate {
    seen.first().map_or(it.as_of, |it| it.as_of)
}

/// The questionnaire as the new rule set reads it; the old one's beside it where they differ.
fn questionnaire(seen: &[Witness]) -> String {
    match seen {
        [old, new] if old.questionnaire != new.questionnaire => {
            format!("{}and for the old rule set:\n{}", file(new), file(old))
        }
        [.., new] => file(new),
        [] => String::new(),
    }
}

/// The same as Markdown, for a proposal that people discuss.
pub fn markdown(it: &Compared<'_>) -> String {
    let mut page = format!("# {}\n\n", escape::inline(&title(it)));
    if it.is_the_same() {
        return page
            + "**No effect**: both say the same, whatever their order, line breaks and comments.\n";
    }
    let mut verdict = verdict(it);
    if it.loosens() {
        verdict = format!("**{verdict}**");
    }
    page +=
        &odd(it.old, it.new).map_or_else(String::new, |it| format!("{}\n\n", escape::inline(&it)));
    page += &format!("{verdict}\n\n## What changed\n\n");
    for change in &it.changes {
        let name = format!("{} {}", change.kind.word(), escape::code(&change.name));
        match &change.what {
            ChangeKind::In => page += &format!("- **in**: {name}\n"),
            ChangeKind::Out => page += &format!("- **out**: {name}\n"),
            ChangeKind::Otherwise(parts) => {
                page += &format!("- {name}\n");
                for part in parts {
                    page += &format!(
                        "  - {}: {} (was: {})\n",
                        part_of(part),
                        escape::inline(shown(&part.new)),
                        escape::inline(shown(&part.old))
                    );
                }
            }
        }
    }
    page += &format!("\n## For whom\n\n{}", for_whom(it));
    page += &format!("## Over every possible questionnaire\n\n{}", over_all(it));
    page
}

/// Who is judged otherwise among cases, questionnaires and lines, as Markdown.
pub(crate) fn for_whom(it: &Compared<'_>) -> String {
    let mut page = String::new();
    for (what, tally) in tallies(it) {
        page += &format!("{}.\n\n", escape::inline(&counted(what, tally)));
        if !tally.moves.is_empty() {
            page += "| | who | verdict and findings |\n|---|---|---|\n";
            for one in &tally.moves {
                let cells = [
                    sense(one.old, one.new),
                    &escape::inline(&one.name),
                    &escape::inline(&because(one)),
                ];
                page += &format!("| {} |\n", cells.join(" | "));
            }
            page.push('\n');
        }
        if !tally.refused.is_empty() {
            tally.refused.iter().for_each(|name| {
                page += &format!("- refused by one of them: {}\n", escape::inline(name))
            });
            page.push('\n');
        }
    }
    if let Some(tally) = &it.lines {
        page += &format!("{}.\n\n", escape::inline(&counted_lines(tally)));
        for (kind, of) in kinds(tally) {
            page += &format!(
                "- {}: {}\n",
                escape::inline(&kind),
                escape::inline(&named(of))
            );
        }
        page.push('\n');
    }
    page
}

/// What holds over every possible questionnaire, as Markdown.
pub(crate) fn over_all(it: &Compared<'_>) -> String {
    let mut page = String::new();
    match &it.exact {
        Err(fact) => {
            page += &format!(
                "They cannot all be compared, because of {}.\n",
                escape::inline(fact)
            )
        }
        Ok(exact) => {
            if !exact.refused_by_one.is_empty() {
                let answers: Vec<String> = exact
                    .refused_by_one
                    .iter()
                    .map(|it| escape::inline(it))
                    .collect();
                page += &format!("{REFUSED_BY_ONE}: {}.\n\n", answers.join("; "));
            }
            if exact.moves.is_empty() {
                page += "Nobody gets another verdict.\n\n";
            }
            for one in &exact.moves {
                page += &format!(
                    "### {}: {}\n\n{}",
                    sense(one.old, one.new),
                    arrow(one.old, one.new),
                    example_markdown(it, &one.example)
                );
            }
            for (rule, what, example) in sides(exact) {
                let (rule, example) = (escape::code(rule), example_markdown(it, example));
                page += &format!("### {rule} {what}\n\n{example}");
            }
        }
    }
    page
}

fn example_markdown(it: &Compared<'_>, example: &Result<Vec<Witness>, String>) -> String {
    match example {
        Err(fact) => format!(
            "Whether there is such a patient was not decided, because of {}.\n\n",
            escape::inline(fact)
        ),
        Ok(seen) => format!(
            "As of {}, and no answer can be left out:\n\n```yaml\n{}```\n\n",
            day_of(it, seen),
            questionnaire(seen)
        ),
    }
}

/// The same as one object.
pub fn json(it: &Compared<'_>) -> String {
    let of = |it: &RuleSet| json!({ "id": it.id, "edition": it.edition, "status": it.status.word(), "digest": format!("sha256:{}", it.digest) });
    let exact = match &it.exact {
        Err(fact) => json!({ "decided": false, "because_of": fact }),
        Ok(exact) => json!({
            "decided": true, "one_refuses": exact.refused_by_one,
            "verdicts": exact.moves.iter().map(|one| possible(it, one)).collect::<Vec<_>>(),
            "rules": exact.shifts.iter().map(|one| shift(it, one)).collect::<Vec<_>>(),
        }),
    };
    let whole = json!({
        "comparison": 1, "old": of(it.old), "new": of(it.new), "as_of": it.as_of.to_string(),
        "same": it.is_the_same(), "less_cautious": it.loosens(),
        "changes": it.changes.iter().map(change).collect::<Vec<_>>(),
        "cases": tally(&it.cases), "questionnaires": it.files.as_ref().map(tally), "lines": it.lines.as_ref().map(line_tally), "possible": exact,
    });
    escaped(&format!("{whole:#}"))
}

fn change(it: &RuleSetChange) -> Value {
    let (what, parts) = match &it.what {
        ChangeKind::In => ("in", Vec::new()),
        ChangeKind::Out => ("out", Vec::new()),
        ChangeKind::Otherwise(parts) => (
            "changed",
            parts
                .iter()
                .map(|it| json!({ "part": it.of, "old": it.old, "new": it.new, "less_cautious": it.is_less_cautious }))
                .collect(),
        ),
    };
    json!({ "kind": it.kind.word(), "name": it.name, "what": what, "parts": parts })
}

fn tally(it: &Tally) -> Value {
    let one = |it: &Move| {
        json!({
            "name": it.name, "old": it.old.words(), "new": it.new.words(), "less_cautious": is_less_cautious(it.old, it.new),
            "no_longer_fires": it.lost, "now_fires": it.gained,
        })
    };
    json!({ "judged": it.n_judged, "refused": it.refused, "differ": it.moves.iter().map(one).collect::<Vec<_>>() })
}

fn line_tally(it: &LineTally) -> Value {
    let of = |it: &LinesOfKind| {
        let first = it.first.iter();
        let named = first.map(|it| json!({ "line": it.number, "reference": it.reference }));
        json!({ "lines": it.n_lines, "first": named.collect::<Vec<_>>() })
    };
    let verdicts = it.verdicts.iter().map(|((old, new), lines)| {
        json!({ "old": old.words(), "new": new.words(), "less_cautious": is_less_cautious(*old, *new), "who": of(lines) })
    });
    let rules = it.rules.iter().map(|(rule, moves)| {
        let moves = moves
            .iter()
            .map(|(moved, lines)| (moved.key().to_owned(), of(lines)));
        json!({ "rule": rule, "moves": moves.collect::<Map<String, Value>>() })
    });
    let refused = it.refused.iter();
    json!({
        "judged": it.n_judged,
        "refused": refused.map(|(by, lines)| json!({ "by": by.word(), "who": of(lines) })).collect::<Vec<_>>(),
        "verdicts": verdicts.collect::<Vec<_>>(),
        "same_verdict": of(&it.same_verdict),
        "rules": rules.collect::<Vec<_>>(),
    })
}

fn possible(it: &Compared<'_>, one: &Possible) -> Value {
    json!({
        "old": one.old.words(), "new": one.new.words(), "less_cautious": is_less_cautious(one.old, one.new),
        "example": example(it, &one.example),
    })
}

fn shift(it: &Compared<'_>, one: &Shift) -> Value {
    let side =
        |side: &Option<Result<Vec<Witness>, String>>| side.as_ref().map(|side| example(it, side));
    json!({ "rule": one.rule, "no_longer_fires": side(&one.lost), "now_fires": side(&one.gained) })
}

fn example(it: &Compared<'_>, example: &Result<Vec<Witness>, String>) -> Value {
    match example {
        Err(fact) => json!({ "open_because_of": fact }),
        Ok(seen) => match seen.as_slice() {
            [old, new] => {
                json!({ "old": crate::report::proofs::example(it.old, old), "new": crate::report::proofs::example(it.new, new) })
            }
            _ => Value::Null,
        },
    }
}
