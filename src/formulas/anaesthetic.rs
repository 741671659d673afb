//! Doses of local anaesthetic, their limits, and several agents counted together.

use crate::formulas::formula::{
    Agents, Amounts, CutAt, FROM_ZERO, Follows, Formula, Gives, HiddenCut, KnownWhen, Moves, Needs,
    Role, RoleKind,
};
use crate::formulas::given::{GivenInputs, Injected, NoResult, both, result};
use crate::formulas::{not_negative, positive, settled};

/// [`load`] of a plan, and of what was injected before and still counts.
pub(crate) static ANAESTHETIC_LOAD: Formula = Formula {
    name: "anaesthetic-load",
    about: "dose over limit for each anaesthetic, added up; 1 is the limit",
    source: "Weinberg G, LipidRescue, answer on maximum dose of a mixture, 2016 (read); fractions adding up to one: anaesthesia textbooks (from memory)",
    roles: &[
        Role::new("plan", DOSES),
        Role::new("adrenaline", RoleKind::YesNo),
        Role::number("weight", "kg", Moves::Falls),
        Role::number("age", "years", Moves::Stays),
        Role::optional("earlier_given", RoleKind::YesNo),
        Role::optional("earlier", DOSES),
        Role::optional("earlier_adrenaline", RoleKind::YesNo),
    ],
    gives: Gives::Plain,
    whole: false,
    ends: FROM_ZERO,
    cuts: &[HiddenCut {
        role: "age",
        at: CutAt::RegisterAges,
        value_below: false,
    }],
    known: KnownWhen::Exactly(Needs::All(&[
        Needs::Told("plan", Amounts::Doses, Agents::Every),
        Needs::Role("adrenaline"),
        Needs::Role("weight"),
        Needs::Role("age"),
        Needs::Any(&[
            Needs::LeftOut("earlier_given"),
            Needs::Is("earlier_given", "no"),
            Needs::All(&[
                Needs::Is("earlier_given", "yes"),
                Needs::Told("earlier", Amounts::Doses, Agents::Every),
                Needs::Some("earlier"),
                Needs::Role("earlier_adrenaline"),
                Needs::Allowed {
                    plan: "earlier",
                    adrenaline: None,
                    age: "age",
                },
            ]),
        ]),
        // The register may allow no dose at all at some age.
        Needs::Allowed {
            plan: "plan",
            adrenaline: Some("adrenaline"),
            age: "age",
        },
    ])),
    zero: Needs::All(&[
        Needs::Without("plan", Agents::Every),
        Needs::Any(&[
            Needs::LeftOut("earlier_given"),
            Needs::Is("earlier_given", "no"),
        ]),
    ]),
    follows: Follows::Arithmetic,
    even_with: Some("plan"),
    compute: |given| {
        let planned = both(
            told(given, "plan", |line| dose_of(line).is_some()),
            given.yes("adrenaline"),
        );
        let ((plan, adrenaline), ([weight, age], before)) = both(
            planned,
            both(given.numbers(["weight", "age"]), earlier(given)),
        )?;
        let parts = plan
            .iter()
            .map(|line| Some((dose_of(line)?, limit_of(line, adrenaline, weight, age)?)));
        // The register allows no dose at this age: another agent, or the other choice of adrenaline.
        let parts: Option<Vec<(f64, f64)>> = parts.collect();
        let mut parts = parts.ok_or_else(|| NoResult::Unusable(vec!["plan", "adrenaline"]))?;
        let before = earlier_parts(given, before, weight, age);
        parts.extend(before.ok_or_else(|| NoResult::Unusable(vec!["earlier"]))?);
        result(load(&parts))
    },
};

const DOSES: RoleKind = RoleKind::Plan {
    strength: Moves::Rises,
    volume: Moves::Rises,
    limits: true,
};

const VOLUMES: RoleKind = RoleKind::Plan {
    strength: Moves::Stays,
    volume: Moves::Rises,
    limits: false,
};

/// The sites are known and there is one.
const SOME_SITE: Needs = Needs::All(&[Needs::Role("sites"), Needs::Some("sites")]);

/// [`volume_per_site`] of a plan.
pub(crate) static VOLUME_PER_SITE: Formula = Formula {
    name: "volume-per-site",
    about: "planned volume for each site",
    source: "Arithmetic",
    roles: &[
        Role::new("plan", VOLUMES),
        Role::new("sites", RoleKind::Sites { sided: false }),
    ],
    gives: Gives::In("mL"),
    whole: false,
    ends: FROM_ZERO,
    cuts: &[],
    known: KnownWhen::Exactly(Needs::All(&[
        Needs::Told("plan", Amounts::Volumes, Agents::Every),
        SOME_SITE,
    ])),
    zero: Needs::Without("plan", Agents::Every),
    follows: Follows::Arithmetic,
    even_with: Some("plan"),
    compute: |given| {
        let (plan, n_sites) = plan_and_sites(given, |line| line.volume_ml.is_some())?;
        result(volume(plan).and_then(|volume| volume_per_site(volume, n_sites)))
    },
};

/// Dose in one site over the agent's limit for one site, the highest of the agents that have one. Two strengths of one agent
/// in one site count together.
pub(crate) static SITE_LOAD: Formula = Formula {
    name: "site-load",
    about: "dose in one site over the agent's limit for one site",
    source: "Arithmetic; the limit for one site stands in the rule set",
    roles: &[
        Role::new("plan", DOSES),
        Role::new("sites", RoleKind::Sites { sided: false }),
    ],
    gives: Gives::Plain,
    whole: false,
    ends: FROM_ZERO,
    cuts: &[],
    known: KnownWhen::Exactly(Needs::All(&[
        Needs::Told("plan", Amounts::Doses, Agents::LimitedPerSite),
        SOME_SITE,
    ])),
    zero: Needs::Without("plan", Agents::LimitedPerSite),
    follows: Follows::Arithmetic,
    even_with: Some("plan"),
    compute: |given| {
        let (plan, n_sites) = plan_and_sites(given, |line| {
            line.agent.most_per_site().is_none() || dose_of(line).is_some()
        })?;
        let mut highest = Some(0.0_f64);
        for line in plan {
            let Some(most) = line.agent.most_per_site() else {
                continue;
            };
            let doses: Option<f64> = plan
                .iter()
                .filter(|other| other.position == line.position)
                .map(dose_of)
                .sum();
            let share = doses.and_then(|mg| fraction(mg / f64::from(n_sites), most));
            highest = highest.zip(share).map(|(a, b)| a.max(b));
        }
        result(highest)
    },
};

/// [`adrenaline_total`] of a plan. Without adrenaline, or without any anaesthetic, neither volume nor strength is needed.
pub(crate) static ADRENALINE_TOTAL: Formula = Formula {
    name: "adrenaline-total",
    about: "adrenaline in the planned volume",
    source: "Mass in volume by definition: 1 in 200,000 is 1 g in 200,000 mL",
    roles: &[
        Role::new("plan", VOLUMES),
        Role::new("adrenaline", RoleKind::YesNo),
        Role::new("strength", RoleKind::CountedChoice),
    ],
    gives: Gives::In("microgram"),
    whole: false,
    ends: FROM_ZERO,
    cuts: &[],
    known: KnownWhen::Exactly(Needs::Any(&[
        NO_ADRENALINE,
        Needs::All(&[
            Needs::Is("adrenaline", "yes"),
            Needs::Told("plan", Amounts::Volumes, Agents::Every),
            Needs::Role("strength"),
        ]),
    ])),
    zero: NO_ADRENALINE,
    follows: Follows::Arithmetic,
    even_with: Some("plan"),
    compute: |given| {
        let plan = given.plan("plan");
        if given.yes("adrenaline") == Ok(false) || plan.is_ok_and(<[_]>::is_empty) {
            return Ok(0.0);
        }
        given.yes("adrenaline")?;
        let (plan, strength) = both(
            told(given, "plan", |line| line.volume_ml.is_some()),
            given.chosen("strength"),
        )?;
        let micrograms_per_ml = strength.first().and_then(|option| option.counts);
        result(
            volume(plan)
                .zip(micrograms_per_ml)
                .and_then(|(volume, strength)| adrenaline_total(volume, strength)),
        )
    },
};

const NO_ADRENALINE: Needs = Needs::Any(&[
    Needs::Is("adrenaline", "no"),
    Needs::Without("plan", Agents::Every),
]);

/// [`adrenaline_per_kg`] of a rule set. No adrenaline is none for any weight; the total is 0, and 0 exactly, where none is
/// planned.
pub(crate) static ADRENALINE_PER_KG: Formula = Formula {
    name: "adrenaline-per-kg",
    about: "adrenaline in the planned volume for each kilogram",
    source: "The form of the children's formulary, micrograms for each kilogram: BNF for Children, 2018-19 (read in a copy)",
    roles: &[
        Role::number("total", "microgram", Moves::Rises),
        Role::number("weight", "kg", Moves::Falls),
    ],
    gives: Gives::In("microgram/kg"),
    whole: false,
    ends: FROM_ZERO,
    cuts: &[HiddenCut {
        role: "total",
        at: CutAt::Number(0.0),
        value_below: true,
    }],
    known: KnownWhen::Exactly(Needs::Any(&[Needs::AtMost("total", 0.0), Needs::Every])),
    zero: Needs::AtMost("total", 0.0),
    follows: Follows::Arithmetic,
    even_with: Some("total"),
    compute: |given| {
        if given.number("total").is_ok_and(|total| total <= 0.0) {
            return Ok(0.0);
        }
        let [total, weight] = given.numbers(["total", "weight"])?;
        result(adrenaline_per_kg(total, weight))
    },
};

/// The dose of a line of a plan in mg; `None` if strength or volume is not known.
fn dose_of(line: &Injected<'_>) -> Option<f64> {
    dose_mg(line.volume_ml?, line.percent?)
}

/// The most of its agent in mg; `None` where the register has no limit.
fn limit_of(line: &Injected<'_>, adrenaline: bool, weight_kg: f64, age: f64) -> Option<f64> {
    let (per_kg, at_most) = line.agent.most(adrenaline, age)?;
    limit_mg(per_kg, weight_kg, at_most)
}

/// The share of its limit that was given before and is part of the load; 0 where none was. `None` while that is not known.
pub(crate) fn earlier_share(given: &GivenInputs<'_>) -> Option<f64> {
    let before = earlier(given).ok()?;
    if before.is_empty() {
        return Some(0.0);
    }
    let [weight, age] = given.numbers(["weight", "age"]).ok()?;
    load(&earlier_parts(given, before, weight, age)?)
}

/// What was injected before and still counts.
fn earlier<'g, 'a>(given: &'g GivenInputs<'a>) -> Result<&'g [Injected<'a>], NoResult> {
    if !given.holds("earlier_given") || !given.yes("earlier_given")? {
        return Ok(&[]);
    }
    let before = told(given, "earlier", |line| dose_of(line).is_some())?;
    if before.is_empty() {
        // Something was given, so a list that names nothing leaves it open.
        return Err(NoResult::Lacks(vec!["earlier"]));
    }
    given.yes("earlier_adrenaline")?;
    Ok(before)
}

/// Dose and limit in mg of what was injected before: the limit with adrenaline only if all of it held some, else the lower
/// one.
fn earlier_parts(
    given: &GivenInputs<'_>,
    before: &[Injected<'_>],
    weight: f64,
    age: f64,
) -> Option<Vec<(f64, f64)>> {
    let with_adrenaline = given.yes("earlier_adrenaline") == Ok(true);
    let limit = |line: &Injected<'_>| {
        let of = |adrenaline: bool| limit_of(line, adrenaline, weight, age);
        let with = if with_adrenaline { of(true) } else { None };
        with.or_else(|| [of(false), of(true)].into_iter().flatten().reduce(f64::min))
    };
    before
        .iter()
        .map(|line| Some((dose_of(line)?, limit(line)?)))
        .collect()
}

/// A plan, once this holds for each line of it.
fn told<'g, 'a>(
    given: &'g GivenInputs<'a>,
    role: &'static str,
    complete: fn(&Injected<'_>) -> bool,
) -> Result<&'g [Injected<'a>], NoResult> {
    let plan = given.plan(role)?;
    if plan.iter().all(complete) {
        Ok(plan)
    } else {
        Err(NoResult::Lacks(vec![role]))
    }
}

/// The whole volume of a plan in mL.
fn volume(plan: &[Injected<'_>]) -> Option<f64> {
    plan.iter().map(|line| line.volume_ml).sum()
}

/// The plan, once this holds for each line of it, and how many sites; both must say something.
fn plan_and_sites<'g, 'a>(
    given: &'g GivenInputs<'a>,
    complete: fn(&Injected<'_>) -> bool,
) -> Result<(&'g [Injected<'a>], u32), NoResult> {
    let (plan, sites) = both(told(given, "plan", complete), given.chosen("sites"))?;
    match u32::try_from(sites.len()) {
        Ok(0) | Err(_) => Err(NoResult::Unusable(vec!["sites"])),
        Ok(n_sites) => Ok((plan, n_sites)),
    }
}

/// Milligrams in each millilitre of a solution of one per cent.
const MG_PER_ML_PER_PERCENT: f64 = 10.0;

/// Dose in mg in a volume of a solution: mL x per cent x 10.
///
/// # Missing data
/// Volume and strength are known. A strength is never assumed.
///
/// # Returns
/// `None` if the volume is below zero or the strength is not above zero.
///
/// # Source
/// Mass in volume by definition (1 % is 1 g in 100 mL), as worked in a podiatry dictionary, percentage mass (no year
/// shown; read).
pub fn dose_mg(volume_ml: f64, percent: f64) -> Option<f64> {
    settled(not_negative(volume_ml)? * positive(percent)? * MG_PER_ML_PER_PERCENT)
}

/// The most of one agent, in mg: so much for each kilogram, but never more than the absolute limit if there is one.
///
/// # Missing data
/// The weight is known. Which limit applies (agent, adrenaline, age) is settled before.
///
/// # Returns
/// `None` unless every number is above zero.
///
/// # Source
/// The form is that of the British National Formulary and of product texts; the figures stand in the rule set.
pub fn limit_mg(mg_per_kg: f64, weight_kg: f64, at_most_mg: Option<f64>) -> Option<f64> {
    let by_weight = settled(positive(mg_per_kg)? * positive(weight_kg)?)?;
    match at_most_mg {
        Some(at_most_mg) => Some(by_weight.min(positive(at_most_mg)?)),
        None => Some(by_weight),
    }
}

/// A dose as a fraction of its limit; 1 is the limit. Both in mg.
///
/// # Returns
/// `None` if the dose is below zero or the limit is not above zero.
pub fn fraction(dose_mg: f64, limit_mg: f64) -> Option<f64> {
    load(&[(dose_mg, limit_mg)])
}

/// The anaesthetic load: each agent's dose over its own limit, added up; 1 is the limit. Pairs of dose and limit in mg.
///
/// Toxic effects of local anaesthetics are at least additive. The sum is freed of binary noise (less than one part in
/// 10^12), so that three thirds are exactly 1.
///
/// # Missing data
/// Every dose and limit is known. An agent without a limit makes the whole load unknown; it is not left out.
///
/// # Returns
/// `None` if any dose is below zero or any limit is not above zero. No agents at all are a load of 0.
///
/// # Source
/// Additive toxicity: Weinberg G, LipidRescue, answer on maximum dose of a mixture, 2016 (read). Fractions adding up to
/// one: from memory, anaesthesia textbooks; equal by arithmetic to the worked examples of podiatry teaching slides,
/// Local anaesthetic drugs (no year shown; read).
pub fn load(doses_and_limits_mg: &[(f64, f64)]) -> Option<f64> {
    let mut sum = 0.0;
    for (dose_mg, limit_mg) in doses_and_limits_mg {
        sum += not_negative(*dose_mg)? / positive(*limit_mg)?;
    }
    settled(sum)
}

/// The largest volume in mL of the same mixture that keeps the load at 1: planned volume over planned load.
///
/// Round it down to show it.
///
/// # Returns
/// `None` unless volume and load are above zero.
///
/// # Source
/// Arithmetic from [`load`]; worked by hand.
pub fn largest_volume_same_mix(total_volume_ml: f64, load: f64) -> Option<f64> {
    settled(positive(total_volume_ml)? / positive(load)?)
}

/// A volume in mL rounded down to whole tenths, as a syringe is read.
///
/// # Returns
/// `None` if the volume is not above zero, or less than a tenth.
///
/// # Source
/// Arithmetic; worked by hand.
pub(crate) fn whole_tenths(volume_ml: f64) -> Option<f64> {
    let tenths = settled(positive(volume_ml)? * 10.0)?.floor();
    positive(tenths / 10.0)
}

/// Adrenaline in micrograms for each kilogram.
///
/// # Missing data
/// Both are known. Where there is no adrenaline at all, the caller needs no weight.
///
/// # Returns
/// `None` if the total is below zero or the weight not above zero.
///
/// # Source
/// The form is that of the children's formulary: micrograms/kg (BNF for Children, 2018-19; read in a copy).
pub fn adrenaline_per_kg(total_micrograms: f64, weight_kg: f64) -> Option<f64> {
    settled(not_negative(total_micrograms)? / positive(weight_kg)?)
}

/// The largest volume in mL of the same mixture where only a share of the usual limit is allowed.
///
/// Round it down to show it.
///
/// # Returns
/// `None` unless volume, load and share are above zero.
///
/// # Source
/// As [`largest_volume_same_mix`].
pub fn largest_volume_of_share(total_volume_ml: f64, load: f64, share: f64) -> Option<f64> {
    settled(positive(total_volume_ml)? * positive(share)? / positive(load)?)
}

/// The most of one agent in mg where only a share of the usual limit is allowed.
///
/// # Returns
/// `None` unless both are above zero.
///
/// # Source
/// A third less in pregnancy: UK product text, lidocaine 1 %; a fifth less over 70: Metodebok (Norway), 2023. Read. The
/// shares stand in the rule set.
pub fn reduced_mg(limit_mg: f64, share: f64) -> Option<f64> {
    settled(positive(limit_mg)? * positive(share)?)
}

/// Volume in mL for each site, if the planned total is shared equally.
///
/// # Returns
/// `None` if the volume is below zero or there is no site.
///
/// # Source
/// Arithmetic; worked by hand.
pub fn volume_per_site(total_volume_ml: f64, n_sites: u32) -> Option<f64> {
    settled(not_negative(total_volume_ml)? / positive(f64::from(n_sites))?)
}

/// Adrenaline in micrograms in the whole volume of the plan, in mL, at so many micrograms in each millilitre.
///
/// All of the volume is taken to hold it, which counts too much and never too little if one of several solutions is
/// plain. A solution of 1 in 200,000 holds 5 micrograms in each mL.
///
/// # Missing data
/// Volume and strength are known. That no adrenaline is planned is settled before, and is 0.
///
/// # Returns
/// `None` if either is below zero.
///
/// # Source
/// Mass in volume by definition (1 in 200,000 is 1 g in 200,000 mL); clinical pharmacology textbook extract, local
/// anaesthetics (no year shown; read): 500 micrograms in 100 mL.
pub fn adrenaline_total(total_volume_ml: f64, micrograms_per_ml: f64) -> Option<f64> {
    settled(not_negative(total_volume_ml)? * not_negative(micrograms_per_ml)?)
}
