//! In and out: questionnaires taken in, one saved as a file, the register's export.

use std::path::Path;

use axum::http::StatusCode;
use maud::{Markup, html};

use crate::desk::page::{hidden, of_referral, see, table};
use crate::desk::pages::referral::problems;
use crate::desk::screened::{answered, file_name};
use crate::desk::visit::{NoReply, Reply, Visit, saved};
use crate::document::diagnostic::Diagnostic;
use crate::document::source::NodeKind;
use crate::questionnaire::edit::whole::written_out;
use crate::questionnaire::facts::Gathered;
use crate::questionnaire::frame;
use crate::questionnaire::sheet::{WholeSheet, is_sheet_name, needs_mapping};
use crate::register::export::ndjson;
use crate::register::happening::Happening;
use crate::register::people::PersonRole;
use crate::register::state::ReferralState;
use crate::rule_set::files::sha256;
use crate::rule_set::{Idx, Question, RuleSet};

/// The page.
pub(crate) fn show(visit: &mut Visit<'_>) -> Reply {
    let body = page(visit, &[], "", "")?;
    Ok(visit.page("In and out", body))
}

fn page(
    visit: &Visit<'_>,
    found: &[Diagnostic],
    name: &str,
    text: &str,
) -> Result<Markup, NoReply> {
    let role = visit.person()?.role;
    Ok(html! {
        h1 { "In and out" }
        @if role != PersonRole::Governance {
            section {
                h2 { "Take a questionnaire in" }
                p { "The text of a file that " code { "preblock" } " wrote, or that somebody edited by hand. Of a referral that has answers already it is shown first what would change." }
                @if !found.is_empty() {
                    div.errors role="alert" tabindex="-1" {
                        h3 { "Not taken in" }
                        (problems(found))
                    }
                }
                form method="post" action="/files" {
                    (visit.token_field())
                    div.field {
                        label for="name" { "Name of the file" }
                        input id="name" name="name" value=(name) maxlength="200" autocomplete="off";
                        p.hint {
                            "One that ends with .json is read as JSON, any other as YAML."
                            @if visit.screener().mapping().is_some() {
                                " One that ends with .csv, .tsv or .txt is a sheet: each row is a referral, read by the mapping file."
                            }
                        }
                    }
                    div.field {
                        label for="text" { "Its text" }
                        textarea id="text" name="text" rows="16" spellcheck="false" required { "\n" (text) }
                    }
                    button { "Take it in" }
                }
            }
        }
        @if role == PersonRole::Governance {
            section {
                h2 { "Export" }
                p { "Every entry of the register, one JSON object a line, with the answers of all patients that are kept." }
                p { a href="/files/export" { "Save the export" } }
            }
        }
        section {
            h2 { "Copies" }
            p { "The register is one file: " code { (visit.register().path().display()) } ". " code { "preblock register backup" } " makes a checked copy of it, also while the desk is open." }
            p { "Head: " code { (visit.register().head()?) } ". Written down elsewhere, it fixes everything before it." }
        }
    })
}

/// Opens a referral of which nothing is known but its reference.
pub(crate) fn open(visit: &mut Visit<'_>) -> Reply {
    let reference = visit.field("reference")?.trim().to_owned();
    if visit.register().referral(&reference)?.is_some() {
        return Ok(see(&of_referral(&reference, "")));
    }
    let text = crate::questionnaire::edit::started(visit.rule_set(), &reference, visit.today());
    match text {
        Ok(_) => {
            visit.write(
                Some(&reference),
                Happening::Opened {
                    from: String::new(),
                },
            )?;
            Ok(see(&of_referral(&reference, "/interview")))
        }
        Err(found) => {
            let body = html! {
                h1 { "Not opened" }
                div.errors role="alert" { (problems(&found)) }
                p { a href="/" { "Back to the pile" } }
            };
            Ok(visit.page_with(StatusCode::UNPROCESSABLE_ENTITY, "Not opened", body))
        }
    }
}

/// Takes a questionnaire in.
pub(crate) fn take_in(visit: &mut Visit<'_>) -> Reply {
    let name = visit.field("name")?.trim().to_owned();
    // A browser sends each end of a line as two characters.
    let text = visit.field("text")?.replace("\r\n", "\n");
    let named = if name.is_empty() {
        "questionnaire.yaml"
    } else {
        &name
    };
    let screener = visit.screener();
    if is_sheet_name(Path::new(&name)) {
        return take_rows_in(visit, &name, &text);
    }
    // It is kept under its reference and read as YAML from then on, whatever it was called.
    let read = screener
        .read(named, text.as_bytes())
        .and_then(|it| screener.read(&file_name(&it.reference), text.as_bytes()));
    let (reference, name, text) = match read {
        // What a mapping file alone makes readable is kept as what it was read as.
        Ok(referral) if screener.mapping().is_some() && frame::is_response(text.as_bytes()) => {
            let (rule_set, mapping) = (screener.rule_set(), screener.mapping());
            let own = frame::by_mapping(rule_set, mapping, named, text.as_bytes()).0;
            let answers = own.map_or(referral.answers, |it| it.answers);
            let text = written_out(rule_set, &referral.reference, &answers);
            (referral.reference, String::new(), text)
        }
        Ok(referral) => (referral.reference, name, text),
        Err(refusal) => {
            let body = page(visit, &refusal.problems, &name, &text)?;
            return Ok(visit.page_with(StatusCode::UNPROCESSABLE_ENTITY, "Not taken in", body));
        }
    };
    let state = visit.register().referral(&reference)?;
    let mut changed = Vec::new();
    if let Some((state, old)) = state
        .as_ref()
        .and_then(|it| Some((it, it.questionnaire.as_ref()?)))
    {
        if *old == text {
            return Ok(see(&of_referral(&reference, "")));
        }
        let found = changes(visit.rule_set(), old, &text);
        if visit.form.get("version") != Some(&state.version.to_string()) {
            let body = confirm(visit, state, &name, &text, &found);
            return Ok(visit.page("Replace answers", body));
        }
        // A page leaves out what steers how it is shown, so that it may carry another text than it was given.
        if visit.field("digest")? != sha256(text.as_bytes()) {
            return Err(NoReply::Form(
                "The text holds characters that nobody sees. Nothing was done: take them out, then take it in again.".into(),
            ));
        }
        changed = found.into_iter().filter_map(|it| it.question).collect();
    }
    let mut all = answered(&screener, &reference, text, changed);
    if state.is_none() {
        let from = "a file".to_owned();
        all.insert(0, Happening::Opened { from });
    }
    visit.write_all(&reference, None, all)?;
    Ok(see(&of_referral(&reference, "")))
}

/// What became of a row of a sheet.
enum TakenRow {
    /// Taken in.
    In(String),
    /// The register has these very answers of it already.
    Same(String),
    /// The register has other answers of it: this would replace them.
    Other(String, String),
    /// Refused: which row, and why.
    Refused(String, Vec<Diagnostic>),
}

/// Takes in every row of a sheet that can be read, and whose referral has no answers yet.
fn take_rows_in(visit: &mut Visit<'_>, name: &str, text: &str) -> Reply {
    let screener = visit.screener();
    let sheet = match screener.mapping() {
        Some(mapping) => WholeSheet::read(screener.rule_set(), mapping, name, text.as_bytes()),
        None => Err(vec![needs_mapping(name)]),
    };
    let sheet = match sheet {
        Ok(sheet) => sheet,
        Err(found) => {
            let body = page(visit, &found, name, text)?;
            return Ok(visit.page_with(StatusCode::UNPROCESSABLE_ENTITY, "Not taken in", body));
        }
    };
    let mut taken = Vec::new();
    for row in sheet.rows() {
        let referral = match screener.read_row(sheet.heading(), &row) {
            Ok(referral) => referral,
            Err(refusal) => {
                taken.push(TakenRow::Refused(refusal.path, refusal.problems));
                continue;
            }
        };
        let reference = referral.reference;
        // Without the clinic's answers, which are laid under it whenever it is read.
        let own = sheet.heading().questionnaire(&row).0;
        let answers = own.map_or(referral.answers, |it| it.answers);
        let text = written_out(screener.rule_set(), &reference, &answers);
        let state = visit.register().referral(&reference)?;
        let is_new = state.is_none();
        taken.push(match state.and_then(|it| it.questionnaire) {
            Some(old) if old == text => TakenRow::Same(reference),
            Some(_) => TakenRow::Other(reference, text),
            None => {
                let mut all = answered(&screener, &reference, text, Vec::new());
                if is_new {
                    let from = "a sheet".to_owned();
                    all.insert(0, Happening::Opened { from });
                }
                visit.write_all(&reference, None, all)?;
                TakenRow::In(reference)
            }
        });
    }
    let body = rows_taken(visit, &taken);
    Ok(visit.page("Taken in", body))
}

/// What became of the rows, one after the other.
fn rows_taken(visit: &Visit<'_>, taken: &[TakenRow]) -> Markup {
    let n_in = taken
        .iter()
        .filter(|it| matches!(it, TakenRow::In(_)))
        .count();
    html! {
        h1 { "Taken in: " (n_in) " of " (taken.len()) }
        ul {
            @for row in taken {
                li {
                    @match row {
                        TakenRow::In(reference) => { a href=(of_referral(reference, "")) { (reference) } ": taken in" }
                        TakenRow::Same(reference) => { a href=(of_referral(reference, "")) { (reference) } ": nothing to change" }
                        TakenRow::Other(reference, text) => {
                            a href=(of_referral(reference, "")) { (reference) } ": has other answers already, and was left as it is"
                            form method="post" action="/files" {
                                (visit.token_field())
                                (hidden("name", ""))
                                (hidden("text", text))
                                button { "Look at what would change" }
                            }
                        }
                        TakenRow::Refused(row, found) => {
                            (row) ": not taken in"
                            div.errors { (problems(found)) }
                        }
                    }
                }
            }
        }
        p { a href="/" { "To the pile" } }
    }
}

/// An answer that is another one in another text of a questionnaire.
struct ChangedAnswer {
    /// The id of the question; `None` for the day of the answers and for notes.
    question: Option<String>,
    about: String,
    /// As written; empty where nothing is.
    before: String,
    after: String,
}

/// What of its answers differs between two texts of a questionnaire, in the order of the questions.
fn changes(rule_set: &RuleSet, before: &str, after: &str) -> Vec<ChangedAnswer> {
    let read = |text: &str| frame::questionnaire(rule_set, "questionnaire", text.as_bytes()).0;
    let [before, after] = [before, after].map(|text| read(text).map(|it| it.answers));
    let answer = |of: &Option<Gathered>, at: Idx<Question>| {
        let given = of.as_ref().and_then(|it| it.given.get(&at));
        let written = given.filter(|it| it.node.kind != NodeKind::Null);
        let written = written.map(|it| it.source.slice(&it.node.span));
        written.map_or_else(String::new, |it| {
            it.split_whitespace().collect::<Vec<&str>>().join(" ")
        })
    };
    let day = |of: &Option<Gathered>| {
        let on = of.as_ref().and_then(|it| it.completed_on.as_ref());
        on.map_or_else(String::new, |(day, _)| day.to_string())
    };
    let notes = |of: &Option<Gathered>| {
        let notes = of.iter().flat_map(|it| &it.notes);
        notes
            .map(|it| it.text.as_str())
            .collect::<Vec<&str>>()
            .join("; ")
    };
    let answers = rule_set
        .catalogue
        .questions
        .entries()
        .map(|(at, question)| ChangedAnswer {
            question: Some(question.id.clone()),
            about: question.ask.clone(),
            before: answer(&before, at),
            after: answer(&after, at),
        });
    let beside = [
        ("Day of the answers", day(&before), day(&after)),
        ("Notes", notes(&before), notes(&after)),
    ];
    let beside = beside.map(|(about, before, after)| ChangedAnswer {
        question: None,
        about: about.to_owned(),
        before,
        after,
    });
    let all = answers.chain(beside);
    all.filter(|it| it.before != it.after).collect()
}

/// What would be replaced, to be looked at before anything is written.
fn confirm(
    visit: &Visit<'_>,
    state: &ReferralState,
    name: &str,
    text: &str,
    found: &[ChangedAnswer],
) -> Markup {
    let shown = |it: &str| if it.is_empty() { "nothing" } else { it }.to_owned();
    let rows = html! {
        @for it in found {
            tr { th scope="row" { (it.about) } td data-label="Now" { (shown(&it.before)) } td data-label="Then" { (shown(&it.after)) } }
        }
    };
    html! {
        h1 { "Replace answers, " a href=(of_referral(&state.reference, "")) { (state.reference) } }
        @if visit.form.get("version").is_some() {
            p role="alert" { strong { "Something was written about this referral meanwhile." } " Nothing was replaced; look again." }
        }
        p { "This referral has answers already. Nothing is written yet." }
        @if found.is_empty() { p { "No answer differs; what stands around them does." } } @else {
            (table("What changes", &["Question", "Now", "Then"], &rows))
        }
        form method="post" action="/files" {
            (visit.token_field())
            (hidden("version", &state.version.to_string()))
            (hidden("digest", &sha256(text.as_bytes())))
            (hidden("name", name))
            (hidden("text", text))
            button { "Replace the answers" }
        }
        p { a href=(of_referral(&state.reference, "")) { "Leave them as they are" } }
    }
}

/// A referral's questionnaire as a file.
pub(crate) fn questionnaire(visit: &mut Visit<'_>) -> Reply {
    let state = visit.referral()?;
    let text = state.questionnaire.ok_or(NoReply::NotFound)?;
    saved(
        &file_name(&state.reference),
        "text/plain; charset=utf-8",
        text,
    )
}

/// Every entry, one JSON object a line.
pub(crate) fn export(visit: &mut Visit<'_>) -> Reply {
    let entries = visit.register().all_entries()?;
    saved("register.ndjson", "application/x-ndjson", ndjson(&entries))
}
