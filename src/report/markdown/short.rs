//! What a nurse or a clinician acts on, of one patient.

use crate::outcome::Outcome;
use crate::report::brief::{Advice, Brief, Foreseen, Reason};
use crate::report::markdown::escape::{inline, quote};
use crate::report::markdown::{Sheet, notices};
use crate::report::{SAFETY, words};

/// The page of one patient, in the order of the other short reports.
pub(super) fn patient(sheet: &mut Sheet, brief: &Brief<'_>) {
    head(sheet, brief);
    reasons(sheet, "Against it", &brief.against);
    let inlined = |items: &[String]| -> Vec<String> { items.iter().map(|it| inline(it)).collect() };
    if !brief.lifts.is_empty() {
        sheet.list(words::LIFTS_BRIEFLY, inlined(&brief.lifts));
    }
    if !brief.names.is_empty() {
        sheet.list("To ask first: names not recognised", inlined(&brief.names));
        sheet.paragraph(words::UNRECOGNISED);
        if let Some(it) = &brief.for_names {
            sheet.paragraph(it);
        }
    }
    notes(sheet, brief);
    to_ask(sheet, brief);
    reasons(sheet, "Precautions, if it goes ahead", &brief.precautions);
    if brief.n_left_out > 0 {
        sheet.paragraph(&words::left_out(brief.n_left_out));
    }
    if let Some(dose) = &brief.dose {
        sheet.paragraph(&format!("**dose**: {}", inline(&dose.in_words())));
    }
    if let Some(plans) = &brief.plans {
        sheet.heading(1, "Other plans");
        if plans.is_empty() {
            sheet.paragraph(words::no_plan(brief.verdict.outcome));
        }
        sheet.gap();
        plans.iter().for_each(|it| foreseen(sheet, it));
    }
    if let Some(ahead) = &brief.ahead {
        sheet.heading(1, "Other days");
        if ahead.is_empty() {
            sheet.paragraph(words::NO_DAY);
        }
        sheet.gap();
        ahead.iter().for_each(|it| foreseen(sheet, &it.foreseen));
    }
    if brief.cut_short {
        sheet.gap();
        sheet.paragraph(words::CUT_SHORT);
    }
    if let Some((counts, changes)) = brief.local.split_first() {
        sheet.list(&inline(counts), inlined(changes));
    }
    sheet.paragraph(&inline(&format!("{}.", brief.made_with)));
    sheet.paragraph(&format!("**{}**", inline(SAFETY)));
}

fn head(sheet: &mut Sheet, brief: &Brief<'_>) {
    sheet.heading(
        0,
        &format!(
            "{}: {}",
            brief.verdict.verdict_words(),
            inline(brief.reference)
        ),
    );
    notices(sheet, brief.notices.iter().map(String::as_str));
    sheet.paragraph(&inline(&brief.days));
    if let Some(it) = &brief.next {
        sheet.paragraph(&format!("next: **{}**", inline(it)));
    }
    if let Some(it) = &brief.could_be {
        sheet.paragraph(&format!("**{}**", inline(it)));
    }
    if let Some(it) = brief.meaning {
        sheet.paragraph(it);
    }
}

fn reasons(sheet: &mut Sheet, title: &str, reasons: &[Reason<'_>]) {
    if reasons.is_empty() {
        return;
    }
    sheet.heading(1, &format!("{title} ({})", reasons.len()));
    sheet.gap();
    for it in reasons {
        let mark = format!("{}.", it.number);
        let asks_for = match it.standing.outcome {
            Outcome::Go => String::new(),
            _ => format!(" ({})", it.standing.words()),
        };
        let local = if it.local_policy {
            " By local policy."
        } else {
            ""
        };
        sheet.item(
            &mark,
            &format!(
                "**{}{asks_for}.** {}{local}",
                inline(it.title),
                inline(it.reason)
            ),
        );
        let answers = it.because.iter().map(|it| inline(&it.in_words()));
        let answers: Vec<String> = answers.chain(it.left_out.clone()).collect();
        if !answers.is_empty() {
            sheet.part(&mark, "because", &answers.join("; "));
        }
        let advice: Vec<String> = it.advice.iter().map(Advice::in_words).collect();
        let advice = if advice.is_empty() {
            words::SAID_ABOVE.to_owned()
        } else {
            inline(&advice.join(" "))
        };
        sheet.part(&mark, "**do**", &advice);
        if let Some(cleared_by) = it.cleared_by {
            sheet.part(&mark, "lifted by", &inline(cleared_by));
        }
    }
}

fn notes(sheet: &mut Sheet, brief: &Brief<'_>) {
    if brief.notes.is_empty() {
        return;
    }
    sheet.heading(1, &format!("Notes, as written ({})", brief.notes.len()));
    for it in &brief.notes {
        if let Some(section) = it.section {
            sheet.paragraph(&format!("**{}**", inline(section)));
        }
        sheet.paragraph(quote(it.text).trim_end());
    }
}

fn to_ask(sheet: &mut Sheet, brief: &Brief<'_>) {
    if brief.to_ask.is_empty() {
        return;
    }
    sheet.heading(1, "To ask");
    for it in &brief.to_ask {
        sheet.paragraph(&inline(it.heading));
        sheet.gap();
        for ask in &it.asks {
            let remarks = if ask.remarks.is_empty() {
                String::new()
            } else {
                format!(" ({})", ask.remarks.join("; "))
            };
            sheet.item("- [ ]", &inline(&format!("{}{remarks}", ask.ask)));
        }
    }
    if brief.n_later > 0 {
        sheet.paragraph(&words::asked_later(brief.n_later));
    }
}

fn foreseen(sheet: &mut Sheet, it: &Foreseen) {
    let with = if it.with.is_empty() {
        String::new()
    } else {
        format!(": {}", inline(&it.with))
    };
    let (verdict, what) = (it.standing.verdict_words(), inline(&it.what));
    sheet.item("-", &format!("**{verdict}** {what}{with}"));
}
