//! Registers of names: medicines with classes, allergens with groups, anaesthetics with limits.

use std::collections::HashMap;

use crate::formulas::given::AgentFigures;
use crate::rule_set::bibliography::Citation;
use crate::table::{Bits, Idx, Table};

/// Names of medicines and the classes they belong to.
#[derive(Debug, Clone, Default)]
pub struct MedicineRegister {
    /// Medicines.
    pub medicines: Table<Medicine>,
    /// Classes: id, what it is, and its medicines, those of contained classes included.
    pub classes: Vec<Term<Medicine>>,
    /// What each name means, synonyms included, in lower case.
    pub names: HashMap<String, Idx<Medicine>>,
    /// Words that may follow a name in an entry: strength, form, frequency.
    pub dose_words: Vec<String>,
    /// Salts that may follow a name.
    pub salt_words: Vec<String>,
}

/// One medicine.
#[derive(Debug, Clone, PartialEq)]
pub struct Medicine {
    /// Generic name, lower case.
    pub name: String,
    /// Spelling variants and synonyms.
    pub also: Vec<String>,
    /// Milligrams of prednisolone that one milligram counts as, for a steroid that acts on the whole body.
    pub as_prednisolone: Option<f64>,
    /// Least and most milligrams a day that are not a typing slip.
    pub plausible_daily: Option<(f64, f64)>,
    /// The same as the adrenals count it: how strongly it puts them to sleep. INVARIANT: known where the other is.
    pub adrenal_as_prednisolone: Option<f64>,
}

/// A class or group with everything in it.
#[derive(Debug, Clone, PartialEq)]
pub struct Term<Of> {
    /// Its id.
    pub id: String,
    /// What it is.
    pub about: String,
    /// Its members, those of contained terms included.
    pub members: Bits<Of>,
}

/// Names of substances that people react to.
#[derive(Debug, Clone, Default)]
pub struct AllergenRegister {
    /// The substances. Every medicine is one, too.
    pub substances: Table<Substance>,
    /// Groups with their substances.
    pub groups: Vec<Term<Substance>>,
    /// What each name may mean, synonyms and group names included, in lower case.
    pub names: HashMap<String, Bits<Substance>>,
    /// What may happen to somebody.
    pub reactions: Table<Reaction>,
}

/// One substance that people react to.
#[derive(Debug, Clone, PartialEq)]
pub struct Substance {
    /// Its name, in lower case.
    pub name: String,
    /// Itself and what it crosses with.
    pub crosses: Bits<Substance>,
}

/// What may happen to somebody who reacts.
#[derive(Debug, Clone, PartialEq)]
pub struct Reaction {
    /// Its id.
    pub id: String,
    /// What it means.
    pub text: String,
}

/// One local anaesthetic.
#[derive(Debug, Clone, PartialEq)]
pub struct Agent {
    /// Its id, the generic name.
    pub id: String,
    /// Spelling variants.
    pub also: Vec<String>,
    /// Chemical family.
    pub family: String,
    /// Lowest and highest strength for injection, in per cent.
    pub strengths: (f64, f64),
    /// Most in one site, in mg.
    pub per_site: Option<f64>,
    /// Limits; the first row that matches counts.
    pub limits: Vec<AgentLimit>,
}

/// A limit of an agent.
#[derive(Debug, Clone, PartialEq)]
pub struct AgentLimit {
    /// With or without adrenaline.
    pub adrenaline: bool,
    /// From this age in completed years.
    pub from_age: Option<f64>,
    /// Below this age in completed years.
    pub below_age: Option<f64>,
    /// Milligrams for each kilogram of dosing weight.
    pub per_kg: f64,
    /// Milligrams at most, whatever the weight.
    pub at_most: Option<f64>,
    /// What other sources say.
    pub other_figures: Option<String>,
    /// Where it comes from.
    pub citations: Vec<Citation>,
}

impl MedicineRegister {
    /// The medicines that a name or class stands for; `None` if nothing has that name.
    pub(crate) fn find(&self, name: &str) -> Option<Bits<Medicine>> {
        if let Some(class) = self.classes.iter().find(|it| it.id == name) {
            return Some(class.members.clone());
        }
        self.names.get(name).map(|&at| Bits::from_iter([at]))
    }
}

impl AllergenRegister {
    /// The substances that a name or group stands for, cross-reactions included; `None` if nothing
    /// has that name.
    pub fn find(&self, name: &str) -> Option<Bits<Substance>> {
        let group = self
            .groups
            .iter()
            .find(|it| it.id == name)
            .map(|it| &it.members);
        let substances = group.or_else(|| self.names.get(name))?;
        let mut all = substances.clone();
        for at in substances.iter() {
            all.extend(&self.substances[at].crosses);
        }
        Some(all)
    }
}

impl Agent {
    /// The limit that applies, and `None` where the register has none.
    pub(crate) fn limit(&self, adrenaline: bool, age: f64) -> Option<&AgentLimit> {
        self.limits.iter().find(|row| {
            row.adrenaline == adrenaline
                && row.from_age.is_none_or(|from| from <= age)
                && row.below_age.is_none_or(|below| age < below)
        })
    }
}

impl AgentFigures for Agent {
    fn most(&self, adrenaline: bool, age: f64) -> Option<(f64, Option<f64>)> {
        self.limit(adrenaline, age)
            .map(|row| (row.per_kg, row.at_most))
    }

    fn most_per_site(&self) -> Option<f64> {
        self.per_site
    }
}
