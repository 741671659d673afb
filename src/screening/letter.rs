//! What a letter says of one patient: which of its parts are there, and their sentences filled in.

use crate::outcome::Outcome;
use crate::questionnaire::facts::{Facts, truth_of};
use crate::rule_set::RuleSet;
use crate::rule_set::letter::OwnPlaceholder;
use crate::rule_set::letter::{LetterPart, LetterPiece, LetterSentence, LetterText, Shown};
use crate::screening::explain;
use crate::truth::Truth;

/// The parts of a letter that are there for a patient of this verdict.
///
/// # Missing data
/// A part with `when` is not there while its condition is unknown, one with `may_hold` is.
pub(crate) fn parts<'a>(
    letter: &'a LetterText,
    facts: &'a Facts,
    verdict: Outcome,
) -> impl Iterator<Item = &'a LetterPart> {
    letter
        .parts
        .iter()
        .filter(move |part| part.verdict.is_none_or(|it| it == verdict))
        .filter(|part| match &part.shown {
            Shown::Always => true,
            Shown::When(when) => truth_of::truth(when, facts) == Truth::Yes,
            Shown::MayHold(when) => truth_of::truth(when, facts) != Truth::No,
        })
}

/// A sentence of a part, filled in. A fact that is not known reads "not known".
pub(crate) fn sentence(
    rule_set: &RuleSet,
    facts: &Facts,
    part: &LetterPart,
    sentence: &LetterSentence,
    own: impl Fn(OwnPlaceholder) -> String,
) -> String {
    let fill = |piece: &LetterPiece| match piece {
        LetterPiece::Shared(piece) => {
            explain::filled(rule_set, facts, part.shown.condition(), piece)
        }
        LetterPiece::Own(placeholder) => own(*placeholder),
    };
    sentence.pieces.iter().map(fill).collect()
}
