//! A screening as Markdown: the clinician's page, to be printed or put into a record.
//!
//! INVARIANT: whatever comes from a file passes `escape`, so headings, lists, tables and emphasis are the report's own.
//! Each source stands once, numbered, with how it was checked; findings name the numbers.

use crate::outcome::Outcome;
use crate::report::brief::Brief;
use crate::report::list::{Batch, List, Row};
use crate::report::text::anaesthetic;
use crate::report::words::{
    against, against_then, change, could_lead_to, counted, end_of, first_and_later, for_names,
    grouped, local_counts, local_heading, local_told, may_go_ahead, meaning, next, of_rule, place,
    plan, precautions_then, prospect, span, still_open, stranger, who, would_be,
};
use crate::report::{SAFETY, words};
use crate::screening::result::{
    Anaesthetic, Because, Cited, DateSpan, Finding, Lift, LocalStamp, Prospect, Screening, ToAsk,
    Undetermined,
};

pub(super) mod escape;
mod short;

use crate::report::markdown::escape::{code, inline, quote};

/// The page of one patient: what a nurse or a clinician acts on, or all there is to say.
///
/// # Missing data
/// Missing answers and names nobody recognised are always shown; what the short page leaves out is counted.
pub fn one(screening: &Screening, is_full: bool) -> String {
    let mut sheet = Sheet::new(1);
    patient(&mut sheet, screening, is_full);
    sheet.text
}

/// What stands against surgery, by itself and with its sources.
pub(super) fn against_it(finding: &Finding) -> String {
    let mut sheet = Sheet::new(1);
    let sources = Sources::of_those(std::iter::once(finding));
    findings(
        &mut sheet,
        "Against surgery as planned",
        &[finding],
        &sources,
    );
    bibliography(&mut sheet, &sources);
    sheet.paragraph(&format!("**{}**", inline(SAFETY)));
    sheet.text
}

/// A table of several patients, the most pressing first, then the page of each in the same order.
pub fn several(batch: &Batch<'_>, is_full: bool) -> String {
    let list = List::of(batch);
    let mut sheet = Sheet::new(1);
    sheet.heading(0, "Screenings");
    notices(&mut sheet, list.notices.iter().copied());
    sheet.paragraph(&inline(&list.counts));
    if !list.rows.is_empty() {
        let headings =
            ["reference", "surgery", "verdict", "first reason", "next"].map(str::to_owned);
        let cells = |it: &Row| {
            [
                it.reference.clone(),
                it.day_words().to_owned(),
                it.verdict_words(),
                it.reason.clone(),
                it.next.clone().unwrap_or_else(|| "not known".to_owned()),
            ]
        };
        let rows: Vec<[String; 5]> = list.rows.iter().map(cells).collect();
        sheet.table(&headings, "lllll", &rows);
    }
    sheet.paragraph(&inline(SAFETY));
    for it in &list.local {
        local(&mut sheet, it);
    }
    sheet.depth = 2;
    for it in &batch.screenings {
        patient(&mut sheet, it, is_full);
    }
    sheet.text
}

/// A Markdown text as it grows. Texts given to it are already escaped, but for the cells of a table.
struct Sheet {
    text: String,
    /// Depth of a patient's heading.
    depth: usize,
}

impl Sheet {
    fn new(depth: usize) -> Self {
        Self {
            text: String::new(),
            depth,
        }
    }

    /// A heading, `below` so many levels under the patient's own.
    fn heading(&mut self, below: usize, title: &str) {
        if !self.text.is_empty() {
            self.text.push('\n');
        }
        self.text
            .push_str(&format!("{} {title}\n", "#".repeat(self.depth + below)));
    }

    fn paragraph(&mut self, text: &str) {
        self.text.push_str(&format!("\n{text}\n"));
    }

    /// A list under a heading of its own.
    fn list(&mut self, title: &str, items: impl IntoIterator<Item = String>) {
        self.heading(1, title);
        self.gap();
        items.into_iter().for_each(|it| self.item("-", &it));
    }

    /// An empty line before a list or a table.
    fn gap(&mut self) {
        self.text.push('\n');
    }

    /// An entry of a list.
    fn item(&mut self, mark: &str, text: &str) {
        self.text.push_str(&format!("{mark} {text}\n"));
    }

    /// An entry of a list inside an entry whose mark is so wide.
    fn part(&mut self, mark: &str, label: &str, text: &str) {
        let label = if label.is_empty() {
            String::new()
        } else {
            format!("{label}: ")
        };
        self.text
            .push_str(&format!("{}- {label}{text}\n", " ".repeat(mark.len() + 1)));
    }

    /// A table. Of `sides`, each letter is a column: l to the left, r to the right. Escapes its cells.
    fn table<const N: usize>(&mut self, headings: &[String; N], sides: &str, rows: &[[String; N]]) {
        let escaped = |cells: &[String; N]| cells.each_ref().map(|it| inline(it));
        let rows: Vec<[String; N]> = rows.iter().map(escaped).collect();
        self.text.push_str(&table(&escaped(headings), sides, &rows));
    }
}

/// A table after an empty line. Of `sides`, each letter is a column: l to the left, r to the right. Its cells are escaped.
pub(super) fn table<const N: usize>(
    headings: &[impl AsRef<str>; N],
    sides: &str,
    rows: &[[String; N]],
) -> String {
    let rule = sides
        .chars()
        .map(|it| if it == 'r' { "--:" } else { ":--" });
    let headings = headings.each_ref().map(AsRef::as_ref).join(" | ");
    let rule = rule.collect::<Vec<_>>().join(" | ");
    let rows = rows.iter().map(|row| format!("| {} |\n", row.join(" | ")));
    format!("\n| {headings} |\n| {rule} |\n{}", rows.collect::<String>())
}

/// The sources of a screening, each once, in the order in which the findings name them.
struct Sources<'a> {
    cited: Vec<&'a Cited>,
}

impl<'a> Sources<'a> {
    fn of(screening: &'a Screening) -> Self {
        let findings = screening.findings.iter();
        Self::of_those(findings.filter(|it| it.outcome != Outcome::Go || may_go_ahead(screening)))
    }

    fn of_those(findings: impl Iterator<Item = &'a Finding>) -> Self {
        let mut cited: Vec<&Cited> = Vec::new();
        for it in findings.flat_map(|it| &it.citations) {
            if !cited.iter().any(|known| same_source(known, it)) {
                cited.push(it);
            }
        }
        Self { cited }
    }

    /// "sources 1 (section 2), 3".
    fn numbers(&self, citations: &[Cited]) -> String {
        let number = |it: &Cited| {
            self.cited
                .iter()
                .position(|known| same_source(known, it))
                .map_or(0, |at| at + 1)
        };
        let numbers: Vec<String> = grouped(citations.iter(), number)
            .into_iter()
            .map(|(number, cited)| {
                let places: Vec<String> = cited
                    .iter()
                    .filter_map(|it| within(it))
                    .map(inline)
                    .collect();
                if places.is_empty() {
                    number.to_string()
                } else {
                    format!("{number} ({})", places.join("; "))
                }
            })
            .collect();
        let sources = if numbers.len() == 1 {
            "source"
        } else {
            "sources"
        };
        format!("{sources} {}", numbers.join(", "))
    }
}

/// Section, table or page of a publication.
fn within(cited: &Cited) -> Option<&str> {
    match cited {
        Cited::Published { at, .. } => at.as_deref(),
        Cited::CommonPractice(_) | Cited::LocalProposal(_) => None,
    }
}

/// Whether two citations point to the same source, wherever in it.
fn same_source(one: &Cited, other: &Cited) -> bool {
    match (one, other) {
        (
            Cited::Published {
                source,
                title,
                by,
                year,
                read,
                ..
            },
            Cited::Published {
                source: source_2,
                title: title_2,
                by: by_2,
                year: year_2,
                read: read_2,
                ..
            },
        ) => (source, title, by, year, read) == (source_2, title_2, by_2, year_2, read_2),
        _ => one == other,
    }
}

/// A source with how it was checked.
fn source(cited: &Cited) -> String {
    match cited {
        Cited::Published {
            title,
            by,
            year,
            read,
            ..
        } => {
            let year = year.map_or(String::new(), |it| format!(", {it}"));
            let checked = if *read {
                "opened and read"
            } else {
                "**not yet opened, cited from memory**"
            };
            format!("{}; {checked}", inline(&format!("{by}: {title}{year}")))
        }
        Cited::CommonPractice(text) => format!(
            "Common practice, no publication behind it: {}",
            inline(text)
        ),
        Cited::LocalProposal(text) => format!(
            "Local proposal, for governance to confirm: {}",
            inline(text)
        ),
    }
}

fn patient(sheet: &mut Sheet, screening: &Screening, is_full: bool) {
    if is_full {
        full(sheet, screening);
    } else {
        short::patient(sheet, &Brief::of(screening));
    }
}

fn full(sheet: &mut Sheet, screening: &Screening) {
    let sources = Sources::of(screening);
    head(sheet, screening);
    if let Some(it) = &screening.local_policy {
        local(sheet, it);
    }
    let against: Vec<&Finding> = screening.against().collect();
    findings(sheet, "Against surgery as planned", &against, &sources);
    lifts(sheet, &screening.lifts);
    unrecognised(sheet, screening);
    notes(sheet, screening);
    if may_go_ahead(screening) {
        let care: Vec<&Finding> = screening.precautions().collect();
        findings(sheet, "Precautions, if it goes ahead", &care, &sources);
    }
    if let Some(it) = &screening.anaesthetic {
        dose(sheet, it);
    }
    alternatives(sheet, screening);
    dates(sheet, screening.dates.as_deref());
    if screening.cut_short {
        sheet.gap();
        sheet.paragraph(words::CUT_SHORT);
    }
    to_ask(sheet, &screening.to_ask);
    set_aside(sheet, screening);
    undetermined(sheet, &screening.undetermined);
    bibliography(sheet, &sources);
    made_with(sheet, screening);
}

/// What must be known of the rule set before anything else.
fn notices<'a>(sheet: &mut Sheet, notices: impl IntoIterator<Item = &'a str>) {
    for it in notices {
        sheet.paragraph(&format!("**{}**", inline(it)));
    }
}

/// What the clinic changed of the rule set: all of it counted, what loosens it told.
fn local(sheet: &mut Sheet, local: &LocalStamp) {
    sheet.heading(1, &inline(&local_heading(local)));
    sheet.paragraph(&inline(&local_counts(local)));
    let told = local_told(local);
    if !told.is_empty() {
        sheet.gap();
    }
    for it in told {
        sheet.item("-", &inline(&it));
    }
}

/// The verdict, best and worst case, and what the screening is about.
fn head(sheet: &mut Sheet, screening: &Screening) {
    let verdict = screening.verdict();
    sheet.heading(
        0,
        &format!(
            "{}: {}",
            verdict.verdict_words(),
            inline(&screening.reference)
        ),
    );
    notices(sheet, screening.notices.iter().map(String::as_str));
    sheet.paragraph(meaning(screening));
    let surgery = words::day_of_surgery(screening);
    let answers = screening.completed_on.map_or_else(
        || "answers not dated".to_owned(),
        |day| format!("answers of {}", words::day(day)),
    );
    sheet.gap();
    sheet.item(
        "-",
        &inline(&format!(
            "{surgery}, {answers}, screened {}",
            words::day(screening.as_of)
        )),
    );
    let mut span = format!(
        "best case **{}**, worst case **{}**",
        screening.span.best_case.outcome.word(),
        screening.span.worst_case.outcome.word()
    );
    if let Some((worse, why)) = words::could_be(screening) {
        span.push_str(&format!("; could be **{}** {why}", worse.words()));
    }
    sheet.item("-", &span);
    if let Some(it) = &screening.next {
        sheet.item("-", &format!("next: **{}**", inline(&next(it))));
    }
    sheet.item("-", &inline(&words::looked_at(screening)));
}

fn findings(sheet: &mut Sheet, title: &str, found: &[&Finding], sources: &Sources<'_>) {
    if found.is_empty() {
        return;
    }
    sheet.heading(1, &format!("{title} ({})", found.len()));
    sheet.gap();
    for (at, it) in found.iter().enumerate() {
        let mark = format!("{}.", at + 1);
        let standing = match it.outcome {
            Outcome::Go => String::new(),
            Outcome::Defer | Outcome::Refer => format!("{}: ", it.standing().verdict_words()),
        };
        sheet.item(
            &mark,
            &format!(
                "**{standing}{}.** {}",
                inline(&it.title),
                inline(&it.reason)
            ),
        );
        let because: Vec<String> = it.because.iter().map(because).collect();
        if !because.is_empty() {
            sheet.part(&mark, "because", &because.join("; "));
        }
        sheet.part(&mark, "**do**", &inline(&it.action));
        if let Some(cleared_by) = &it.cleared_by {
            sheet.part(&mark, "cleared by", &inline(cleared_by));
        }
        sheet.part(
            &mark,
            "",
            &format!(
                "rule {}{}, {}",
                code(&it.rule),
                of_rule(it),
                sources.numbers(&it.citations)
            ),
        );
    }
}

/// "`bleeding.inr` = 4.6 (SM-107.yaml:21)".
fn because(because: &Because) -> String {
    let place = match (&because.path, because.line) {
        (Some(path), Some(line)) => format!(" ({})", inline(&place(path, line))),
        (Some(path), None) => format!(" ({})", inline(path)),
        (None, _) if !because.from.is_empty() => {
            format!(" (worked out from {})", codes(&because.from))
        }
        (None, _) => String::new(),
    };
    format!(
        "{} = {}{place}",
        code(&because.fact),
        inline(&because.value)
    )
}

fn codes(ids: &[String]) -> String {
    ids.iter().map(|it| code(it)).collect::<Vec<_>>().join(", ")
}

fn lifts(sheet: &mut Sheet, lifts: &[Lift]) {
    if lifts.is_empty() {
        return;
    }
    let ways = counted(lifts.len(), "way", "ways");
    sheet.heading(1, &format!("What would lift it ({ways})"));
    sheet.paragraph(words::LIFTS_LEAD);
    sheet.gap();
    for (at, lift) in lifts.iter().enumerate() {
        let mark = format!("{}.", at + 1);
        for (nth, it) in lift.changes.iter().enumerate() {
            match nth {
                0 => sheet.item(&mark, &inline(&change(it))),
                _ => sheet.part(&mark, "and", &inline(&change(it))),
            }
        }
        sheet.part(&mark, "**then**", &inline(&prospect(&lift.prospect)));
    }
}

fn alternatives(sheet: &mut Sheet, screening: &Screening) {
    let Some(plans) = &screening.alternatives else {
        return;
    };
    sheet.heading(1, &format!("Other plans ({})", plans.len()));
    if plans.is_empty() {
        sheet.paragraph(words::no_plan(screening.verdict().outcome));
        return;
    }
    sheet.gap();
    for it in plans {
        sheet.item("-", &foreseen(&it.prospect, &plan(&it.changes)));
        for firing in &it.prospect.fires {
            let (label, title) = match firing.outcome {
                Outcome::Go => ("take care", firing.title.clone()),
                _ => ("against it", against(firing)),
            };
            sheet.part("-", label, &inline(&format!("{title}: {}", firing.action)));
        }
        if let Some(open) = still_open(&it.prospect) {
            sheet.part("-", "open", &inline(&open));
        }
        if let Some(arithmetic) = &it.anaesthetic {
            sheet.part("-", "dose", &inline(&anaesthetic::brief(arithmetic)));
        }
    }
}

fn dates(sheet: &mut Sheet, dates: Option<&[DateSpan]>) {
    let Some(spans) = dates else { return };
    sheet.heading(1, "Other days");
    if spans.is_empty() {
        sheet.paragraph(words::NO_DAY);
        return;
    }
    sheet.gap();
    for (at, it) in spans.iter().enumerate() {
        sheet.item("-", &foreseen(&it.prospect, &span(it)));
        if let Some(against) = against_then(&it.prospect) {
            sheet.part("-", "against it", &inline(&against));
        }
        if let Some(open) = still_open(&it.prospect) {
            sheet.part("-", "open", &inline(&open));
        }
        if let Some(end) = end_of(it, spans.get(at + 1)) {
            sheet.part("-", "", &inline(&end));
        }
    }
}

/// The verdict, what it is for, and how many precautions it comes with.
fn foreseen(prospect: &Prospect, what: &str) -> String {
    format!(
        "**{}**{}: {}",
        prospect.verdict().verdict_words(),
        precautions_then(prospect),
        inline(what)
    )
}

/// The arithmetic: the only table of a patient's page.
fn dose(sheet: &mut Sheet, it: &Anaesthetic) {
    sheet.heading(1, "Anaesthetic arithmetic");
    let rows = anaesthetic::rows(it);
    if let Some((headings, rows)) = rows.split_first() {
        sheet.table(headings, "lrrrrr", rows);
    }
    sheet.gap();
    for it in anaesthetic::sentences(it) {
        sheet.item("-", &inline(&it));
    }
    if !it.basis.is_empty() {
        sheet.item("-", &inline(&format!("rests on: {}", it.basis.join("; "))));
    }
}

fn notes(sheet: &mut Sheet, screening: &Screening) {
    if screening.notes.is_empty() {
        return;
    }
    let n = screening.notes.len();
    sheet.heading(1, &format!("For the clinician to read ({n})"));
    for note in &screening.notes {
        let section = inline(words::section(note));
        let place = inline(&place(&note.path, note.line));
        sheet.paragraph(&format!("**{section}** ({place})"));
        sheet.paragraph(quote(&note.text).trim_end());
    }
}

fn unrecognised(sheet: &mut Sheet, screening: &Screening) {
    if screening.unrecognised.is_empty() {
        return;
    }
    let names = screening.unrecognised.iter();
    let names = names.map(|it| format!("{} ({})", stranger(it), place(&it.path, it.line)));
    let n = screening.unrecognised.len();
    sheet.list(
        &format!("To ask first: names not recognised ({n})"),
        names.map(|it| inline(&it)),
    );
    sheet.paragraph(words::UNRECOGNISED);
    for_names(screening)
        .iter()
        .for_each(|it| sheet.paragraph(it));
}

/// Answers that count for nothing.
fn set_aside(sheet: &mut Sheet, screening: &Screening) {
    if screening.set_aside.is_empty() {
        return;
    }
    let items = screening.set_aside.iter().map(|it| {
        let why: Vec<String> = it.because.iter().map(because).collect();
        let (ask, answer) = (inline(&it.ask), because(&it.answer));
        format!("{ask} {answer}, since {}", why.join("; "))
    });
    let n = screening.set_aside.len();
    sheet.list(&format!("Set aside, does not apply ({n})"), items);
}

/// The chase list, with boxes to tick.
fn to_ask(sheet: &mut Sheet, asks: &[ToAsk]) {
    let (now, later) = first_and_later(asks);
    if now.is_empty() {
        return;
    }
    sheet.heading(1, &format!("To ask ({})", now.len()));
    let mut groups = grouped(now.into_iter(), |it| it.from);
    groups.sort_by_key(|(from, _)| *from);
    for (from, asks) in groups {
        sheet.paragraph(&inline(who(from)));
        sheet.gap();
        for ask in asks {
            let options = if ask.options.is_empty() {
                String::new()
            } else {
                format!(" ({})", ask.options.join(" / "))
            };
            let asked = inline(&format!("{}{options}", ask.ask));
            let why = inline(&format!("{}; {}", ask.why.word(), could_lead_to(ask)));
            sheet.item("- [ ]", &format!("{asked} {}: {why}", code(&ask.fact)));
        }
    }
    if !later.is_empty() {
        let facts: Vec<String> = later.iter().map(|it| code(&it.fact)).collect();
        sheet.paragraph(&format!(
            "... and {} more, only if those answers call for it: {}",
            later.len(),
            facts.join(", ")
        ));
    }
}

fn undetermined(sheet: &mut Sheet, rules: &[Undetermined]) {
    let rules: Vec<&Undetermined> = rules.iter().filter(|it| !it.for_a_name).collect();
    if rules.is_empty() {
        return;
    }
    let n_rules = counted(rules.len(), "rule", "rules");
    sheet.heading(1, &format!("Not decided yet ({n_rules})"));
    sheet.gap();
    for (standing, rules) in grouped(rules.into_iter(), Undetermined::standing) {
        for (waits_for, rules) in grouped(rules.into_iter(), |it| it.waits_for.as_slice()) {
            let ids: Vec<String> = rules.iter().map(|it| code(&it.rule)).collect();
            let wait = if ids.len() == 1 { "waits" } else { "wait" };
            let (would, ids, facts) = (would_be(standing), ids.join(", "), codes(waits_for));
            sheet.item("-", &format!("{would}: {ids} {wait} for {facts}"));
        }
    }
}

fn bibliography(sheet: &mut Sheet, sources: &Sources<'_>) {
    if sources.cited.is_empty() {
        return;
    }
    sheet.heading(1, "Sources");
    sheet.gap();
    for (at, it) in sources.cited.iter().enumerate() {
        sheet.item(&format!("{}.", at + 1), &source(it));
    }
}

fn made_with(sheet: &mut Sheet, screening: &Screening) {
    let made_with = words::made_with(screening).into_iter();
    sheet.list("Made with", made_with.map(|it| inline(&it)));
    sheet.paragraph(&format!("**{}**", inline(SAFETY)));
}
