//! The part of the book with the letters, as they are written to nobody in particular.

use crate::report::book::{Book, BookText, filled_piece};
use crate::report::markdown::escape::{code, inline};
use crate::rule_set::RuleSet;
use crate::rule_set::letter::{
    Insert, LetterContent, LetterPart, LetterPiece, LetterSentence, Shown,
};
use crate::rule_set::words::said;

pub(crate) fn letters(sheet: &mut BookText, book: &Book<'_>) {
    let rules = book.rule_set;
    if rules.letters.is_empty() {
        sheet.paragraph("This rule set has no letters.");
    }
    for letter in &rules.letters {
        let word = letter.kind.word();
        sheet.heading(3, &format!("letters/{word}"), &inline(&letter.title));
        sheet.paragraph(&format!("{}, {}.", code(word), inline(letter.kind.title())));
        letter.parts.iter().for_each(|it| part(sheet, rules, it));
    }
}

fn part(sheet: &mut BookText, rules: &RuleSet, part: &LetterPart) {
    if let Some(verdict) = part.verdict {
        sheet.paragraph(&format!("**Only when the verdict is {}:**", verdict.word()));
    }
    let shown = match &part.shown {
        Shown::Always => None,
        Shown::When(when) => Some(("Only when this holds:", when)),
        Shown::MayHold(when) => Some(("Unless this certainly does not hold:", when)),
    };
    if let Some((lead, when)) = shown {
        sheet.paragraph(&format!("**{lead}**"));
        sheet.gap();
        sheet.said(0, &said(rules, when));
    }
    match &part.what {
        LetterContent::Heading(it) => sheet.paragraph(&format!("**{}**", sentence(rules, it))),
        LetterContent::Text(it) => sheet.paragraph(&sentence(rules, it)),
        LetterContent::Item(it) => {
            sheet.gap();
            sheet.item(0, &sentence(rules, it));
        }
        LetterContent::Insert {
            insert,
            heading,
            lead,
        } => inserted(sheet, rules, insert, [heading, lead]),
    }
    if !part.citations.is_empty() {
        sheet.gap();
        sheet.citations(1, rules, &part.citations);
    }
}

fn inserted(
    sheet: &mut BookText,
    rules: &RuleSet,
    insert: &Insert,
    before: [&Option<LetterSentence>; 2],
) {
    for it in before.into_iter().flatten() {
        sheet.paragraph(&format!("**{}**", sentence(rules, it)));
    }
    sheet.paragraph(&format!("*\\[{}\\]*", inline(insert.in_words())));
    if let Insert::Questions(words) = insert {
        sheet.gap();
        for (key, words) in words.entries() {
            sheet.item(0, &format!("{}: {}", code(key), inline(words)));
        }
    }
}

/// A sentence with its limits filled in and its placeholders in words.
fn sentence(rules: &RuleSet, sentence: &LetterSentence) -> String {
    let mut out = String::new();
    for piece in &sentence.pieces {
        match piece {
            LetterPiece::Shared(piece) => filled_piece(&mut out, rules, piece),
            LetterPiece::Own(own) => out.push_str(&format!("*\\[{}\\]*", inline(own.in_words()))),
        }
    }
    out
}
