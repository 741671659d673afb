//! Local names of medicines and substances, added to the registers.

use crate::document::diagnostic::{Code, did_you_mean};
use crate::document::reading::Tells;
use crate::document::source::Node;
use crate::rule_set::read::local::{Done, LocalKind, Overlay};
use crate::rule_set::read::symbols::Names;
use crate::rule_set::recognise;
use crate::rule_set::recognise::{is_dose, known_medicine, known_substance};
use crate::rule_set::{AllergenRegister, Bits, MedicineRegister, Substance};

/// How a name loosens a rule set.
const HOW: &str = "an entry with this name no longer holds the verdict until somebody has read it";

impl Overlay<'_> {
    /// Adds the clinic's names to the registers that were just read.
    pub(crate) fn names(&mut self, names: &mut Names) {
        if names.medicines.medicines.is_empty() {
            self.reading.excuse();
            return;
        }
        self.each(LocalKind::MedicineName, |this, node, about, _| {
            let form = this.new_name("medicine name", about)?;
            let (place, means) = this.means(node)?;
            let Some(&at) = names.medicines.names.get(&means) else {
                let known = names.medicines.medicines.iter().map(|it| it.name.as_str());
                let help = names
                    .medicines
                    .classes
                    .iter()
                    .any(|it| it.id == means)
                    .then(|| "a class is not a medicine: name one".to_owned());
                this.unknown(
                    Code::UnknownMedicine,
                    place,
                    format!("there is no medicine `{means}`"),
                    help.or_else(|| did_you_mean(&means, known)),
                );
                return None;
            };
            let name = names.medicines.medicines[at].name.clone();
            let as_substance = names
                .allergens
                .names
                .get(&name)
                .map_or_else(Bits::new, Clone::clone);
            if let Some(now) = medicine_now(&names.medicines, &form)
                .or_else(|| substance_now(&names.allergens, &form, Some(&as_substance)))
            {
                this.known(about, &form, &now);
                return None;
            }
            names.medicines.names.insert(form.clone(), at);
            names.medicines.medicines[at].also.push(form.clone());
            names.allergens.names.insert(form.clone(), as_substance);
            Some(Done::loosening(
                &form,
                format!("medicine name \"{form}\" added: means {name}"),
                HOW,
            ))
        });
        self.each(LocalKind::AllergenName, |this, node, about, _| {
            let form = this.new_name("allergen name", about)?;
            let (place, means) = this.means(node)?;
            let group = names
                .allergens
                .groups
                .iter()
                .find(|it| it.id == means)
                .map(|it| it.members.clone());
            let Some(meant) = group.or_else(|| names.allergens.names.get(&means).cloned()) else {
                let known = names
                    .allergens
                    .names
                    .keys()
                    .map(String::as_str)
                    .chain(names.allergens.groups.iter().map(|it| it.id.as_str()));
                let mut known: Vec<&str> = known.collect();
                known.sort_unstable();
                this.unknown(
                    Code::UnknownSubstance,
                    place,
                    format!("there is no substance or group `{means}`"),
                    did_you_mean(&means, known),
                );
                return None;
            };
            if let Some(now) = substance_now(&names.allergens, &form, None) {
                this.known(about, &form, &now);
                return None;
            }
            names.allergens.names.insert(form.clone(), meant);
            Some(Done::loosening(
                &form,
                format!("allergen name \"{form}\" added: means {means}"),
                HOW,
            ))
        });
    }

    /// The name in the form in which names are compared; `None` if it is written in another form or a second time.
    fn new_name(&mut self, what: &'static str, about: &Node) -> Option<String> {
        let form = recognise::form(about.written(self.reading.source)?);
        self.first(what, &form, &about.span).then_some(form)
    }

    /// What a name is said to mean, with its place.
    fn means<'n>(&mut self, node: &'n Node) -> Option<(&'n Node, String)> {
        let place = node.get("means")?;
        Some((place, recognise::form(place.written(self.reading.source)?)))
    }

    fn unknown(&mut self, code: Code, place: &Node, title: String, help: Option<String>) {
        self.reading
            .wrong(code, place, title, "no such name")
            .help_if(help);
    }

    fn known(&mut self, place: &Node, form: &str, now: &str) {
        let title = format!("`{form}` is a known name already");
        let help = format!("{now}: delete the change, or write another name");
        self.reading
            .wrong(Code::NameTwice, place, title, "known already")
            .help(help);
    }
}

/// What a name means now where medicines are listed; `None` if it is not known.
pub(crate) fn medicine_now(register: &MedicineRegister, form: &str) -> Option<String> {
    if register.classes.iter().any(|it| it.id == form) {
        return Some(format!("`{form}` is a class of medicines"));
    }
    if form.split(' ').all(|word| is_dose(register, word)) {
        return Some(format!(
            "`{form}` says strength, form or frequency, and is passed over behind another name"
        ));
    }
    let (at, _) = known_medicine(register, form).ok()?;
    Some(format!("it means {}", register.medicines[at].name))
}

/// What a name means now where allergies are listed; `None` if it is not known, or means just this.
pub(crate) fn substance_now(
    register: &AllergenRegister,
    form: &str,
    this: Option<&Bits<Substance>>,
) -> Option<String> {
    if register.groups.iter().any(|it| it.id == form) {
        return Some(format!("`{form}` is a group of substances"));
    }
    match known_substance(register, form) {
        Some(found) if Some(&found) != this => {
            let substances: Vec<&str> = found
                .iter()
                .map(|at| register.substances[at].name.as_str())
                .take(3)
                .collect();
            Some(format!(
                "among allergies it means {}",
                substances.join(", ")
            ))
        }
        _ => None,
    }
}
