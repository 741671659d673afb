//! Questions whose answer nothing looks at.

use crate::document::diagnostic::Code;
use crate::rule_set::{Answer, Question};
use crate::workbench::lint::limit_unused::used;
use crate::workbench::lint::{Remark, Subject};

/// Questions whose answer nothing looks at. Free text is for people, and the lists have their own conditions.
pub(crate) fn find(subject: &Subject<'_>) -> Vec<Remark> {
    let used = used(subject.files);
    let catalogue = &subject.rule_set.catalogue;
    let special = |answer: &Answer| {
        matches!(
            answer,
            Answer::Text | Answer::Medicines | Answer::Allergies | Answer::Anaesthetic
        )
    };
    let questions = catalogue
        .questions
        .iter()
        .filter(|it| !special(&it.answer) && catalogue.procedure_on != Some(it.slot));
    let unused = questions.filter(|it| !used.facts.contains(it.id.as_str()));
    let remark = |question: &Question| {
        let title = format!("nothing looks at the answer to `{}`", question.id);
        let entry = subject.files.question(&question.id);
        Remark::new(Code::QuestionUnused, &question.id, title).on(entry, "id", "used nowhere")
    };
    unused.map(remark).collect()
}
