//! `preblock dose`: the anaesthetic arithmetic alone, by the same limits and checks as a screening.

use std::sync::Arc;

use chrono::{Datelike, NaiveDate};
use clap::Args;

use crate::cli::{Done, ExitStatus, NotDone, RuleSource, SAFETY, draw, today};
use crate::document::source::{MapEntry, Node, NodeKind, Source};
use crate::formulas::RoleKind;
use crate::formulas::anaesthetic::ANAESTHETIC_LOAD;
use crate::questionnaire::facts;
use crate::questionnaire::facts::{Gathered, Given};
use crate::report::page::{Page, Style};
use crate::report::text;
use crate::rule_set::{Derived, RuleSet};
use crate::screening::{dose, notices};
use crate::truth::FactSlot;

/// Arguments of `dose`.
#[derive(Debug, Args)]
pub(crate) struct Arguments {
    /// Body weight with its unit, such as "70 kg"
    #[arg(long)]
    weight: String,
    /// Age in completed years
    #[arg(long, value_parser = clap::value_parser!(u16).range(0..=130))]
    age: u16,
    /// Height with its unit, such as "170 cm"; needed for an adult, whose ideal weight counts
    #[arg(long)]
    height: Option<String>,
    /// Sex recorded at birth: female or male; needed for an adult, whose ideal weight counts
    #[arg(long)]
    sex: Option<String>,
    /// An agent with strength and total volume, such as "lidocaine 2 % 3 mL"; once for each agent
    #[arg(long = "agent", value_name = "AGENT", required = true)]
    agents: Vec<String>,
    /// The solutions contain adrenaline
    #[arg(long)]
    adrenaline: bool,
    /// How many sites the dose is shared among; 1 if left out
    #[arg(long, value_parser = clap::value_parser!(u16).range(1..))]
    sites: Option<u16>,
    #[arg(long, hide = true, value_parser = renamed)]
    toes: Option<String>,
    #[command(flatten)]
    rules: RuleSource,
}

/// Runs the command. A load above 1 ends like a deferred patient: the dose must not be given so.
pub(crate) fn run(arguments: &Arguments) -> Done {
    let rule_set = draw::usable(&arguments.rules)?;
    let gathered = gather(&rule_set, arguments).map_err(NotDone::because)?;
    let on = day_of_age_zero(arguments.age).map_or_else(NaiveDate::default, |(_, on)| on);
    let (facts, wrong) = facts::read(&rule_set, &gathered, on);
    if !wrong.is_empty() {
        return Err(wrong.into());
    }
    let arithmetic = dose::arithmetic(&rule_set, &facts).ok_or(ExitStatus::Refused)?;
    let mut page = Page::new(&Style::terminal(draw::colour_out()));
    text::anaesthetic::show(&mut page, &arithmetic);
    if let Some(it) = notices::local(&rule_set, today()) {
        text::local(&mut page, &it);
    }
    page.blank();
    page.paragraph(0, SAFETY);
    draw::out(&page.finish());
    match arithmetic.load {
        Some(load) if load <= 1.0 => Ok(ExitStatus::Clean),
        Some(_) => Ok(ExitStatus::Defer),
        None => Err(NotDone::because(
            "the load cannot be worked out: the basis above says what is not known, or the register has no limit for this agent at this age",
        )),
    }
}

/// A birth date and a day on which that person has that age.
fn day_of_age_zero(age: u16) -> Option<(NaiveDate, NaiveDate)> {
    let today = NaiveDate::from_ymd_opt(2100, 7, 1)?;
    Some((today.with_year(today.year() - i32::from(age))?, today))
}

/// What was `--sites` once.
fn renamed(_: &str) -> Result<String, String> {
    Err("its name is `--sites` now".to_owned())
}

/// The arguments as answers to the questions that the formula of the load goes back to.
fn gather(rule_set: &RuleSet, arguments: &Arguments) -> Result<Gathered, String> {
    let load = rule_set
        .catalogue
        .computed_by(&ANAESTHETIC_LOAD)
        .ok_or("this rule set has no anaesthetic load to compute")?;
    let mut form = DoseAnswers {
        rule_set,
        gathered: Gathered::default(),
    };
    form.inputs(load, arguments);
    match (sites(rule_set, load), arguments.sites) {
        (Some(slot), n_sites) => form.sites(slot, usize::from(n_sites.unwrap_or(1)))?,
        (None, Some(_)) => {
            return Err(
                "this rule set shares no volume among sites: leave `--sites` out".to_owned(),
            );
        }
        (None, None) => {}
    }
    Ok(form.gathered)
}

/// The list of sites among which some formula shares the plan of the load.
fn sites(rule_set: &RuleSet, load: &Derived) -> Option<FactSlot> {
    let plan = load.fact("plan");
    let sharing = rule_set
        .catalogue
        .derived
        .iter()
        .filter(|derived| derived.fact("plan") == plan);
    let mut given = sharing.flat_map(Derived::given);
    given
        .find(|(role, _)| matches!(role.kind, RoleKind::Sites { .. }))
        .and_then(|(_, input)| input.fact())
}

struct DoseAnswers<'a> {
    rule_set: &'a RuleSet,
    gathered: Gathered,
}

impl DoseAnswers<'_> {
    fn put(&mut self, slot: FactSlot, source: Arc<Source>, node: Node) {
        if let Some(at) = self
            .rule_set
            .catalogue
            .questions
            .position(|it| it.slot == slot)
        {
            let key_span = node.span.clone();
            self.gathered.given.insert(
                at,
                Given {
                    source,
                    key_span,
                    node,
                    standing: false,
                },
            );
        }
    }

    /// Whatever a formula is given, and whatever that is computed from, by the names of the roles. What has no argument stays
    /// missing, and the arithmetic says so.
    fn inputs(&mut self, derived: &Derived, arguments: &Arguments) {
        let (born, today) = day_of_age_zero(arguments.age).unzip();
        for (role, input) in derived.given() {
            let Some(slot) = input.fact() else { continue };
            if let Some(inner) = self.rule_set.catalogue.derived_of(slot) {
                self.inputs(inner, arguments);
                continue;
            }
            let answer = match role.name {
                "plan" => {
                    self.agents(slot, &arguments.agents);
                    continue;
                }
                "weight" => Some(("--weight", arguments.weight.clone())),
                "height" => arguments.height.clone().map(|height| ("--height", height)),
                "sex" => arguments.sex.clone().map(|sex| ("--sex", sex)),
                "age" => Some(("--age", format!("{} years", arguments.age))),
                "born" => born.map(|day| ("--age", day.to_string())),
                "on" => today.map(|day| ("--age", day.to_string())),
                "adrenaline" => Some((
                    "--adrenaline",
                    if arguments.adrenaline { "yes" } else { "no" }.to_owned(),
                )),
                "earlier_given" => Some(("--agent", "no".to_owned())),
                _ => None,
            };
            if let Some((option, text)) = answer {
                self.text(slot, option, &text);
            }
        }
    }

    fn text(&mut self, slot: FactSlot, option: &str, text: &str) {
        let source = Arc::new(Source::new(option, text));
        self.put(
            slot,
            source,
            Node {
                span: 0..text.len(),
                kind: NodeKind::Text(text.to_owned()),
            },
        );
    }

    /// "lidocaine 2 % 3 mL": the name, then strength, then volume.
    fn agents(&mut self, slot: FactSlot, given: &[String]) {
        let text = given.join("\n");
        let source = Arc::new(Source::new("--agent", text.as_str()));
        let mut items = Vec::new();
        let mut start = 0;
        for line in given {
            let span = start..start + line.len();
            let name_end = line
                .find(|it: char| it.is_ascii_digit())
                .unwrap_or(line.len());
            let (name, rest) = line.split_at(name_end);
            let rest_start = span.start + name_end;
            // Strength ends with its unit; the volume begins with the next digit after it.
            let unit_at = rest.find(['%', 'm']).unwrap_or(rest.len());
            let volume_at = rest
                .get(unit_at..)
                .and_then(|it| it.find(|it: char| it.is_ascii_digit()))
                .map_or(rest.len(), |it| unit_at + it);
            let (strength, volume) = rest.split_at(volume_at);
            let piece = |text: &str, from: usize| {
                let trimmed = text.trim();
                let from = from + (text.len() - text.trim_start().len());
                Node {
                    span: from..from + trimmed.len(),
                    kind: if trimmed.is_empty() {
                        NodeKind::Null
                    } else {
                        NodeKind::Text(trimmed.to_owned())
                    },
                }
            };
            let entry = |key: &str, value: Node| MapEntry {
                key: key.to_owned(),
                key_span: span.clone(),
                value,
            };
            let mut entries = vec![entry("agent", piece(name, span.start))];
            for (key, value) in [
                ("strength", piece(strength, rest_start)),
                ("volume", piece(volume, rest_start + volume_at)),
            ] {
                if value.kind != NodeKind::Null {
                    entries.push(entry(key, value));
                }
            }
            items.push(Node {
                span: span.clone(),
                kind: NodeKind::Map(entries),
            });
            start = span.end + 1;
        }
        let node = Node {
            span: 0..text.len(),
            kind: NodeKind::List(items),
        };
        self.put(slot, source, node);
    }

    /// Any so many sites: only their number counts here.
    fn sites(&mut self, slot: FactSlot, n_sites: usize) -> Result<(), String> {
        let options = self.rule_set.catalogue.options(slot);
        if n_sites > options.len() {
            let several = &self.rule_set.site.several;
            return Err(format!(
                "`--sites {n_sites}` is more than can be named: this rule set knows {} {several}",
                options.len()
            ));
        }
        let ids: Vec<String> = options
            .iter()
            .take(n_sites)
            .map(|option| option.id.clone())
            .collect();
        let text = ids.join(" ");
        let items = ids
            .into_iter()
            .map(|id| Node {
                span: 0..text.len(),
                kind: NodeKind::Text(id),
            })
            .collect();
        let source = Arc::new(Source::new("--sites", text.as_str()));
        self.put(
            slot,
            source,
            Node {
                span: 0..text.len(),
                kind: NodeKind::List(items),
            },
        );
        Ok(())
    }
}
