//! What has no question: a note on a section, or on the whole questionnaire. Nobody but a person can evaluate it, so whoever
//! decides must mark it read.

use maud::{Markup, html};

use crate::desk::page::hidden;
use crate::desk::pages::interview::answer::Slip;
use crate::desk::visit::{Fields, capital};
use crate::rule_set::{Idx, RuleSet, Section};
use crate::screening::screener::Referral;

/// A note on a page.
pub(crate) struct NoteField {
    /// Its section; the whole questionnaire, if `None`.
    pub(crate) section: Option<Idx<Section>>,
    /// What it is a note on.
    pub(crate) title: String,
    /// The words.
    pub(crate) text: String,
    /// Why it cannot be saved.
    pub(crate) slips: Vec<Slip>,
}

impl NoteField {
    fn new(rule_set: &RuleSet, section: Option<Idx<Section>>, text: String) -> Self {
        let on = section.map_or("the whole referral", |at| {
            &rule_set.catalogue.sections[at].title
        });
        Self {
            section,
            title: format!("Note on {on}"),
            text,
            slips: Vec::new(),
        }
    }

    /// Those of a form that are no longer what its page showed.
    pub(crate) fn sent(rule_set: &RuleSet, form: &Fields) -> Vec<Self> {
        let sections = rule_set.catalogue.sections.indices().map(Some);
        let sent = sections.chain([None]).filter_map(|section| {
            let note = Self::new(rule_set, section, String::new());
            let typed = |kind: &str| {
                let name = format!("{kind}.{}", note.key(rule_set));
                Some(form.get(&name)?.replace("\r\n", "\n").trim().to_owned())
            };
            let (text, was) = (typed("t")?, typed("was")?);
            (text != was).then_some(Self { text, ..note })
        });
        sent.collect()
    }

    /// Where it stands in a questionnaire.
    pub(crate) fn key(&self, rule_set: &RuleSet) -> String {
        self.section.map_or("note".to_owned(), |at| {
            format!("{}.note", rule_set.catalogue.sections[at].id)
        })
    }

    /// Where links to its slip lead.
    pub(crate) fn id(&self) -> String {
        format!("q-{}", self.title.replace(' ', "-").to_lowercase())
    }

    /// The notes of a page: those of its sections, and the one on the whole. `otherwise` are those not as the register has them.
    pub(crate) fn of_page(
        rule_set: &RuleSet,
        referral: Option<&Referral>,
        sections: &[Idx<Section>],
        mut otherwise: Vec<Self>,
    ) -> Markup {
        let Some(referral) = referral else {
            return html! {};
        };
        let stored = |section: Option<Idx<Section>>| {
            let id = section.map_or("", |at| &rule_set.catalogue.sections[at].id);
            let name = &referral.source.path;
            let notes = &referral.answers.notes;
            let note = notes
                .iter()
                .find(|it| it.section == id && it.place.source.name() == name);
            note.map_or_else(String::new, |it| it.text.clone())
        };
        let all = sections.iter().copied().map(Some).chain([None]);
        let all: Vec<(Self, String)> = all
            .map(|section| {
                let stored = stored(section);
                let typed = otherwise.iter().position(|it| it.section == section);
                let shown = typed.map_or_else(
                    || Self::new(rule_set, section, stored.clone()),
                    |at| otherwise.remove(at),
                );
                (shown, stored)
            })
            .collect();
        let is_open = all.iter().any(|(it, _)| !it.text.is_empty());
        html! {
            details.notes open[is_open] {
                summary { "Notes" }
                @for (it, stored) in &all { (it.draw(rule_set, stored)) }
            }
        }
    }

    fn draw(&self, rule_set: &RuleSet, stored: &str) -> Markup {
        let key = self.key(rule_set);
        let (id, said) = (self.id(), format!("said.{key}"));
        let is_wrong = (!self.slips.is_empty()).then_some("true");
        html! {
            div.field id={ "f." (key) } {
                (hidden(&format!("was.{key}"), stored))
                label for=(id) { (self.title) }
                textarea id=(id) name={ "t." (key) } rows="2" maxlength="20000" aria-describedby=(said) aria-invalid=[is_wrong] { "\n" (self.text) }
                div.said id=(said) {
                    @for it in &self.slips { p.slip { strong { (capital(&it.title)) "." } " " (capital(&it.help)) } }
                }
            }
        }
    }
}
