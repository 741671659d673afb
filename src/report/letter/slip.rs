//! Questions with room for their answers.

use crate::report::chase::AskedGroup;
use crate::report::letter::{LetterBlock, SlipQuestion, line};
use crate::report::words::why_missing;
use crate::rule_set::catalogue::Who;
use crate::rule_set::letter::SlipWords;
use crate::rule_set::{Answer, RuleSet};
use crate::screening::result::{ToAsk, Unrecognised};

/// What one person is asked: names that nobody recognised first, then what is needed in any case, then the rest.
pub(crate) fn questions(
    rule_set: &RuleSet,
    group: &AskedGroup<'_>,
    words: &SlipWords,
) -> Vec<LetterBlock> {
    let (now, later) = group.now_and_later();
    let mut blocks = Vec::new();
    let mut number = 0;
    let mut add = |blocks: &mut Vec<LetterBlock>, asked: SlipQuestion| {
        number += 1;
        blocks.push(LetterBlock::Question(SlipQuestion { number, ..asked }));
    };
    for it in &group.names {
        add(&mut blocks, name(it, words));
    }
    for it in now {
        add(&mut blocks, question(rule_set, it, words));
    }
    // With nothing to ask before them, the later ones are what to ask.
    if !blocks.is_empty() && !later.is_empty() {
        blocks.push(LetterBlock::Paragraph(line(&words.later)));
    }
    for it in later {
        add(&mut blocks, question(rule_set, it, words));
    }
    blocks
}

/// What may be answered to anything.
fn always(words: &SlipWords) -> [String; 2] {
    [line(&words.not_known), line(&words.declined)]
}

fn name(name: &Unrecognised, words: &SlipWords) -> SlipQuestion {
    SlipQuestion {
        number: 0,
        ask: line(&format!("\"{}\": {}", name.text, words.name)),
        notes: Vec::new(),
        room: Some(line(&words.answer)),
        boxes: always(words).into(),
    }
}

fn question(rule_set: &RuleSet, ask: &ToAsk, words: &SlipWords) -> SlipQuestion {
    let catalogue = &rule_set.catalogue;
    let slot = catalogue.slot(&ask.fact);
    let question = slot.and_then(|it| catalogue.question_of(it));
    let of_day = question.filter(|it| it.date_slot == slot).is_some();
    let mut notes = Vec::new();
    notes.extend(why_missing(ask).map(|why| match ask.from {
        Who::Patient => line(&words.again),
        _ => line(&format!("{} ({why})", words.again)),
    }));
    let (said, options) = ask.said();
    let mut boxes = Vec::new();
    let mut room = None;
    match question.map(|it| &it.answer) {
        Some(_) if of_day => room = Some(&words.day),
        Some(Answer::YesNo) => boxes.extend([line(&words.yes), line(&words.no)]),
        Some(Answer::OneOf(_)) => {
            notes.push(line(&words.one_of));
            boxes.extend(options.iter().map(|it| line(it)));
        }
        Some(Answer::SeveralOf(_)) => {
            notes.push(line(&words.all_of));
            boxes.extend(options.iter().map(|it| line(it)));
            boxes.push(line(&words.none));
        }
        Some(Answer::Date) => room = Some(&words.day),
        _ => room = Some(&words.answer),
    }
    let unit = match question.map(|it| &it.answer) {
        Some(Answer::Quantity { unit, .. }) if !of_day => format!(" ({unit})"),
        _ => String::new(),
    };
    let dated = question.is_some_and(|it| it.dated) && !of_day;
    let day = if dated {
        format!("; {}", words.day)
    } else {
        String::new()
    };
    boxes.extend(always(words));
    SlipQuestion {
        number: 0,
        ask: line(said),
        notes,
        room: match room {
            Some(before) => Some(line(&format!("{before}{unit}{day}"))),
            None => dated.then(|| line(&words.day)),
        },
        boxes,
    }
}
