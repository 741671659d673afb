//! Rules of a local policy: added, raised, retired.

use std::collections::HashSet;

use crate::document::diagnostic::{Code, did_you_mean};
use crate::document::reading::Tells;
use crate::document::source::Node;
use crate::outcome::{Outcome, Standing, Urgency};
use crate::rule_set::Rule;
use crate::rule_set::read::drafts::look;
use crate::rule_set::read::local::{Done, LocalKind, Overlay};
use crate::rule_set::read::rule::{Ids, rule};
use crate::rule_set::read::symbols::Names;

impl Overlay<'_> {
    /// Changes the rules that were just read. `whole` says that all of them could be read.
    pub(crate) fn rules(
        &mut self,
        names: &Names,
        rules: &mut Vec<Rule>,
        ids: &Ids<'_>,
        whole: bool,
    ) {
        self.judge_limits(rules);
        // Against the rule set's own rules: neither an added nor a retired rule makes another id known or free.
        let own: Vec<String> = rules.iter().map(|it| it.id.clone()).collect();
        let mut gone = HashSet::new();
        self.each(LocalKind::Raise, |this, node, about, _| {
            let id = this.own_rule(&own, about, whole)?;
            let rule = rules.iter_mut().find(|it| it.id == id)?;
            this.raise(names, rule, node)
        });
        self.each(LocalKind::Retire, |this, _, about, _| {
            let id = this.own_rule(&own, about, whole)?;
            let rule = rules.iter().find(|it| it.id == id)?;
            let what = format!(
                "rule {id} retired: {} ({})",
                rule.title,
                rule.standing().words()
            );
            gone.insert(id.clone());
            Some(Done::loosening(&id, what, "it no longer counts"))
        });
        rules.retain(|it| !gone.contains(&it.id));
        self.each(LocalKind::AddRule, |this, node, about, _| {
            let concern = about.written(this.reading.source)?.to_owned();
            let Some(concern) = ids.concerns.entries().find(|(_, it)| it.id == concern) else {
                let title = format!("there is no concern `{concern}`");
                let help = did_you_mean(&concern, ids.concerns.iter().map(|it| it.id.as_str()));
                let help = help.unwrap_or_else(|| "ruleset.yaml lists the concerns".into());
                return this.reading.wrong(Code::UnknownConcern, about, title, "not in ruleset.yaml").help(help).none();
            };
            let node = node.get("rule")?;
            let place = node.get("id")?;
            let id = format!("{}/{}", concern.1.id, place.written(this.reading.source)?);
            if own.contains(&id) {
                let title = format!("the rule set has a rule `{id}`");
                let help = "give the clinic's own rule another id; `raise` makes the rule set's own more cautious";
                return this.reading.wrong(Code::DuplicateId, place, title, "in use").help(help).none();
            }
            let is_first = this.first("rule", &id, &place.span);
            // A local policy counts as it stands, so a rule in it cannot be a draft.
            look(this.reading.source, &id, "rule", node, &mut this.reading.diagnostics);
            let mut rule = rule(&mut this.reading, names, node, concern, ids.retired)?;
            let done = Done::new(&id, format!("rule {id} added: {} ({})", rule.title, rule.standing().words()));
            rule.local = true;
            let after = rules.iter().position(|it| it.concern > rule.concern).unwrap_or(rules.len());
            rules.insert(after, rule);
            is_first.then_some(done)
        });
    }

    /// The id of a rule of the rule set, changed for the first time; `None` after a diagnostic.
    fn own_rule(&mut self, own: &[String], about: &Node, whole: bool) -> Option<String> {
        let id = about.written(self.reading.source)?.to_owned();
        if own.contains(&id) {
            return self.first("rule", &id, &about.span).then_some(id);
        }
        // It may be one of those that could not be read.
        if !whole {
            self.reading.excuse();
            return None;
        }
        let help = did_you_mean(&id, own.iter().map(String::as_str))
            .unwrap_or_else(|| "`preblock rules show` lists all rules".into());
        let title = format!("there is no rule `{id}`");
        self.reading
            .wrong(Code::UnknownRule, about, title, "no such rule")
            .help(help)
            .none()
    }

    fn raise(&mut self, names: &Names, rule: &mut Rule, node: &Node) -> Option<Done> {
        let outcome = Outcome::from_word(&self.reading.needed(node, "outcome")?)?;
        let urgency = self
            .reading
            .owned(node, "urgency")
            .and_then(|it| Urgency::from_word(&it));
        if outcome == Outcome::Refer && urgency.is_none() {
            self.reading.pass_over(node, "an urgency");
            return None;
        }
        let refer_to = names.sentence(&mut self.reading, node, "refer_to");
        let cleared_by = names.sentence(&mut self.reading, node, "cleared_by");
        let (before, after) = (rule.standing(), Standing { outcome, urgency });
        let place = node.get("outcome")?;
        if after <= before {
            let title = format!("`{}` asks for {} already", rule.id, before.words());
            return self
                .reading
                .wrong(Code::LocalRaise, place, title, "not more cautious")
                .none();
        }
        let (key, unsaid, why) = match outcome {
            Outcome::Refer => (
                "refer_to",
                refer_to.is_none() && rule.refer_to.is_none(),
                "what refers must say to whom",
            ),
            _ => (
                "cleared_by",
                cleared_by.is_none() && rule.cleared_by.is_none(),
                "what defers must say what lifts it",
            ),
        };
        if unsaid {
            if node.get(key).is_none() {
                let lacks = if key == "refer_to" {
                    "to whom it refers"
                } else {
                    "what would lift it"
                };
                let title = format!("`{}` does not say {lacks}", rule.id);
                let missing = self.reading.wrong(
                    Code::MissingKey,
                    place,
                    title,
                    format!("`{key}` is missing"),
                );
                missing.help(format!("add a line `{key}: ...`: {why}"));
            }
            return None;
        }
        (rule.outcome, rule.urgency, rule.local) = (outcome, urgency, true);
        rule.refer_to = refer_to.or_else(|| rule.refer_to.take());
        rule.cleared_by = cleared_by.or_else(|| rule.cleared_by.take());
        Some(Done::new(
            &rule.id,
            format!(
                "rule {} raised from {} to {}",
                rule.id,
                before.words(),
                after.words()
            ),
        ))
    }
}
