//! Reviews that are overdue.
//!
//! A rule due no earlier than the rule set itself is reviewed with it and not told apart, or one day would bring hundreds of
//! remarks.

use chrono::NaiveDate;

use crate::document::diagnostic::{Code, Diagnostic};
use crate::workbench::lint::{Remark, Subject};

/// What should have been reviewed before the day of the check.
pub(crate) fn find(subject: &Subject<'_>) -> Vec<Remark> {
    let as_of = subject.as_of;
    told(subject, Code::ReviewOverdue, "overdue since", &|by| {
        by < as_of
    })
}

/// Everything whose day of review is one of these.
pub(super) fn told(
    subject: &Subject<'_>,
    code: Code,
    words: &str,
    is_told: &dyn Fn(NaiveDate) -> bool,
) -> Vec<Remark> {
    let rule_set = subject.rule_set;
    let mut found = Vec::new();
    if is_told(rule_set.review_by) {
        let with_it = rule_set
            .rules()
            .filter(|it| it.review_by >= rule_set.review_by && is_told(it.review_by))
            .count();
        let title = format!(
            "the review of the rule set is {words} {}",
            rule_set.review_by
        );
        let head = subject.files.entry("ruleset.yaml");
        let remark = Remark::new(code, &rule_set.id, title).on(head, "review_by", words);
        found.push(
            remark.help(format!("review it, and with it the rules that are due no earlier ({with_it} now), then write the new dates")),
        );
    }
    let with_the_set = |by: NaiveDate| is_told(rule_set.review_by) && by >= rule_set.review_by;
    for rule in rule_set
        .rules()
        .filter(|it| is_told(it.review_by) && !with_the_set(it.review_by))
    {
        let title = format!("the review of `{}` is {words} {}", rule.id, rule.review_by);
        found.push(subject.on_rule(code, rule, "review_by", title, words));
    }
    for it in subject.allowances.iter().filter(|it| is_told(it.review_by)) {
        let title = format!(
            "the review of the allowance on `{}` is {words} {}",
            it.on, it.review_by
        );
        let diagnostic = Diagnostic::at(code, &it.source, &it.review_span, title, words);
        let help = "look again whether it may stand; write the new date, or delete it and mend what it allows";
        found.push(Remark {
            diagnostic: diagnostic.help(help),
            about: format!("the allowance on {}", it.on),
        });
    }
    found
}
