//! `letters/KIND.yaml`: the text of one letter.

use crate::document::diagnostic::{Code, Diagnostic};
use crate::document::reading::{Reading, Tells};
use crate::document::source::Node;
use crate::outcome::Outcome;
use crate::rule_set::files::Parsed;
use crate::rule_set::letter::{
    Insert, LetterContent, LetterKind, LetterPart, LetterPiece, LetterSentence, LetterText,
    OwnPlaceholder, Shown, SlipWords,
};
use crate::rule_set::read::condition;
use crate::rule_set::read::symbols::Names;
use crate::rule_set::{Condition, Piece};

/// Where the letter of a kind stands in a rule set.
pub(crate) fn path(kind: LetterKind) -> String {
    format!("letters/{}.yaml", kind.word())
}

/// Reads the letter of a kind, with every diagnostic of its file.
pub(crate) fn read(
    parsed: &Parsed,
    names: &Names,
    kind: LetterKind,
) -> (Option<LetterText>, Vec<Diagnostic>) {
    let mut reading = parsed.reading("letters");
    let root = &*parsed.root;
    if let Some(node) = root.get("letter")
        && let Some(written) = node.written(reading.source)
        && written != kind.word()
    {
        let title = format!(
            "this file is for the letter `{written}`, its name says `{}`",
            kind.word()
        );
        reading
            .wrong(Code::WrongForm, node, title, "another letter")
            .help("make the line and the file's name agree");
    }
    let title = reading.needed(root, "title");
    let mut parts = Vec::new();
    for node in root.list("parts") {
        match part(&mut reading, names, node, kind) {
            Some(part) => parts.push(part),
            None => reading.pass_over(node, "a whole part of a letter"),
        }
    }
    let asks = |it: &LetterPart| {
        matches!(
            it.what,
            LetterContent::Insert {
                insert: Insert::Questions(_),
                ..
            }
        )
    };
    if kind.asks().is_some()
        && reading.diagnostics.is_empty()
        && parts.iter().filter(|it| asks(it)).count() != 1
        && let Some(node) = root.get("parts")
    {
        let title = format!("the letter `{}` needs its questions, once", kind.word());
        reading
            .wrong(Code::WrongForm, node, title, "not one `insert: questions`")
            .help("add a part `insert: questions` with its `words`");
    }
    let letter = title.map(|title| LetterText { kind, title, parts });
    (letter, reading.finish())
}

fn part(
    reading: &mut Reading<'_>,
    names: &Names,
    node: &Node,
    kind: LetterKind,
) -> Option<LetterPart> {
    // Everything is read before anything is given up, so that all diagnostics come in one run.
    let shown = match (node.get("when"), node.get("may_hold")) {
        (Some(when), _) => condition::read(names, reading, when).map(Shown::When),
        (None, Some(when)) => condition::read(names, reading, when).map(Shown::MayHold),
        (None, None) => Some(Shown::Always),
    };
    let citations = names.citations(reading, node);
    let verdict = reading
        .owned(node, "verdict")
        .and_then(|it| Outcome::from_word(&it));
    let said = |key| sentence(reading, names, node, key, kind, shown.as_ref());
    let [heading, lead, text, item] = ["heading", "lead", "text", "item"].map(said);
    let what = if node.get("insert").is_some() {
        insert(reading, node, kind).map(|insert| LetterContent::Insert {
            insert,
            heading,
            lead,
        })
    } else {
        heading
            .map(LetterContent::Heading)
            .or(text.map(LetterContent::Text))
            .or(item.map(LetterContent::Item))
    };
    Some(LetterPart {
        what: what?,
        shown: shown?,
        verdict,
        citations,
    })
}

/// A sentence under a key. What it shows of medicines and allergies is what the condition of its part matched.
fn sentence(
    reading: &mut Reading<'_>,
    names: &Names,
    node: &Node,
    key: &str,
    kind: LetterKind,
    shown: Option<&Shown>,
) -> Option<LetterSentence> {
    let own: Vec<&str> = OwnPlaceholder::ALL
        .into_iter()
        .filter(|it| it.fits(kind))
        .map(OwnPlaceholder::word)
        .collect();
    let pieces = names.pieces(reading, node, key, &own, |name| {
        OwnPlaceholder::from_word(name)
            .filter(|it| it.fits(kind))
            .map(LetterPiece::Own)
    })?;
    let condition = shown.and_then(Shown::condition);
    for (piece, name, matches) in [
        (
            Piece::Medicines,
            "medicines",
            matches_medicines as fn(&Condition) -> bool,
        ),
        (Piece::Allergies, "allergies", matches_allergies),
    ] {
        if pieces.contains(&LetterPiece::Shared(piece))
            && shown.is_some()
            && !condition.is_some_and(matches)
            && let Some(place) = node.get(key)
        {
            let title = format!(
                "`{{{name}}}` shows what the part's own condition matches, and it matches none"
            );
            reading
                .wrong(Code::UnknownPlaceholder, place, title, "nothing to show")
                .help("add a `when` that names them, or write the words out");
        }
    }
    Some(LetterSentence { pieces })
}

fn matches_medicines(condition: &Condition) -> bool {
    let mut found = false;
    condition.visit(&mut |it| found |= matches!(it, Condition::Taking { .. }));
    found
}

fn matches_allergies(condition: &Condition) -> bool {
    let mut found = false;
    condition.visit(&mut |it| found |= matches!(it, Condition::AllergicTo { .. }));
    found
}

fn insert(reading: &mut Reading<'_>, node: &Node, kind: LetterKind) -> Option<Insert> {
    let word = reading.needed(node, "insert")?;
    let insert = match node.get("words") {
        Some(words) if word == "questions" => {
            Insert::Questions(Box::new(slip_words(reading, words)?))
        }
        _ => Insert::from_word(&word)?,
    };
    if !insert.fits(kind)
        && let Some(place) = node.get("insert")
    {
        let title = format!("a letter `{}` has no `{word}`", kind.word());
        reading
            .wrong(Code::WrongForm, place, title, "of another letter")
            .help("the schema of the file says which letter has what");
        return None;
    }
    Some(insert)
}

fn slip_words(reading: &mut Reading<'_>, node: &Node) -> Option<SlipWords> {
    let mut word = |key| reading.needed(node, key);
    Some(SlipWords {
        yes: word("yes")?,
        no: word("no")?,
        none: word("none")?,
        not_known: word("not_known")?,
        declined: word("declined")?,
        answer: word("answer")?,
        day: word("day")?,
        one_of: word("one_of")?,
        all_of: word("all_of")?,
        again: word("again")?,
        name: word("name")?,
        later: word("later")?,
    })
}
