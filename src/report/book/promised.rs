//! The parts of the book about what holds whatever the rules say: the clinic's own changes, and the guarantees.

use crate::outcome::Outcome;
use crate::report::book::parts::links;
use crate::report::book::{Book, BookText};
use crate::report::markdown::escape::{code, inline};
use crate::report::words::day;
use crate::rule_set::words::said;
use crate::rule_set::{Guarantee, RuleSet, Sense, Then};

pub fn local(sheet: &mut BookText, book: &Book<'_>) {
    let Some(local) = &book.rule_set.local else {
        sheet.paragraph("None: this is the rule set as it is, without the changes of any clinic.");
        return;
    };
    sheet.paragraph(&format!(
        "This book has the changes of {} in it, from {} (SHA-256 {}).",
        inline(&local.clinic),
        inline(&local.path),
        inline(&local.digest)
    ));
    sheet.gap();
    for it in &local.changes {
        let how = it.how.as_ref().map_or(String::new(), |how| {
            format!(" **Loosens: {}.** {}.", it.loosens.word(), inline(how))
        });
        let agreed = format!(
            "Agreed by {} on {}, to be reviewed by {}.",
            inline(&it.agreed_by),
            day(it.agreed_on),
            day(it.review_by)
        );
        sheet.item(
            0,
            &format!(
                "{}. {}. {agreed}{how}",
                inline(&it.what),
                inline(&it.reason)
            ),
        );
    }
}

pub fn reasons(sheet: &mut BookText, book: &Book<'_>) {
    let reasons = &book.rule_set.reasons;
    if reasons.is_empty() {
        sheet.paragraph("None: no finding of this rule set may be set aside.");
        return;
    }
    sheet.paragraph(
        "A clinician who decides against a finding names one of these and adds a sentence. The finding stays, and both are kept.",
    );
    sheet.gap();
    for it in reasons {
        sheet.item(0, &format!("{} ({})", inline(&it.text), code(&it.id)));
    }
}

pub fn guarantees(sheet: &mut BookText, book: &Book<'_>) {
    let rules = book.rule_set;
    if rules.guarantees.is_empty() {
        sheet.paragraph("This rule set states no guarantee.");
        return;
    }
    sheet.paragraph("What must hold for every possible questionnaire. `preblock rules prove` proves it, or shows who breaks it.");
    for it in &rules.guarantees {
        sheet.heading(3, &format!("guarantees/{}", it.id), &inline(&it.title));
        guarantee(sheet, rules, it);
    }
}

fn guarantee(sheet: &mut BookText, rules: &RuleSet, guarantee: &Guarantee) {
    for (sense, condition) in &guarantee.wheres {
        sheet.paragraph(match sense {
            Sense::Holds => "**Wherever this holds**",
            Sense::MayHold => "**Wherever this holds, or is not known**",
            Sense::Fails => "**Wherever this does not hold**",
            Sense::Open => "**Wherever this is not known**",
        });
        sheet.gap();
        sheet.said(0, &said(rules, condition));
    }
    let then = match &guarantee.then {
        Then::Never(outcomes) => {
            format!(
                "the verdict is never {}",
                outcomes
                    .iter()
                    .map(|it| Outcome::word(*it))
                    .collect::<Vec<_>>()
                    .join(" or ")
            )
        }
        Then::Fires(at) => {
            let ids = at.iter().map(|at| rules.judging[*at].id.as_str());
            format!("at least one of these fires: {}", links(ids))
        }
        Then::UrgencyAtLeast(urgency) => format!(
            "the patient is referred, and no less fast than {}",
            urgency.word()
        ),
        Then::Promise(promise) => promise.in_words().to_owned(),
    };
    sheet.paragraph(&format!("**Then** {then}."));
    sheet.paragraph(&format!(
        "{}. Because: {}",
        code(&guarantee.id),
        inline(&guarantee.because)
    ));
}
