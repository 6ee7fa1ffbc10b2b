//! A product's label against the rules that bind labels and sellers. Such rules limit what a label may say, not what an
//! applicator does, so they stop no application; they tell the office which products may not be sold or used as labelled.

use serde::{Deserialize, Serialize};

use super::{
    answer::{Finding, MetRule, Verdict},
    run::{Origin, Run},
};
use crate::{
    application::{Audience, Ground, Purpose},
    equipment::Equipment,
    facts::{Facts, KeptDistances, LineFacts, SectionFacts, SiteFacts, Supervision},
    ids::SectionId,
    land::Water,
    law::{
        Lawbook,
        kind::BoundParty,
        model::{InForceStatus, Rule, Value},
    },
    product::Label,
    quantity::{Area, ProductMass},
    rules::{self, Answer},
    time::Day,
    weather::Weather,
};

/// What the rules for labels and sellers say of a product.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct LabelCheck {
    pub on: Day,
    /// The gravest of the findings; it judges the label, never an application.
    pub verdict: Verdict,
    #[schema(max_items = 200)]
    pub findings: Vec<Finding>,
    #[schema(max_items = 200)]
    pub met: Vec<MetRule>,
}

/// One thousand square feet, on which the label's largest amount is laid out.
const KSF: Area = Area::from_raw(100_000);

/// Judges a label by the rules of the stacked sets that bind labels and sellers. Rates are those of the largest amount of
/// product that the label allows in one application; a label that states none cannot be compared with them.
pub fn check_label(lawbook: &Lawbook, rule_sets: &[String], label: &Label, on: Day) -> LabelCheck {
    let facts = at_the_labels_rate(label, on);
    let mut run = Run::new(lawbook, rule_sets, &facts);
    let with_phosphorus = label.phosphate_percent.raw() > 0;
    let running: Vec<_> = run.stack.sets.iter().filter(|stacked| stacked.force.runs_for(with_phosphorus)).collect();
    let all: Vec<_> = running.iter().flat_map(|stacked| &stacked.set.rules).collect();
    let on_labels: Vec<&Rule> = all.into_iter().filter(|rule| rule.binds != BoundParty::Applicator).collect();
    for rule in on_labels.iter().filter(|rule| rule.scope.covers(label, Purpose::Maintenance)) {
        let (origin, answer) = match rule.on(on) {
            Some(InForceStatus::InForce(value, duty)) if duty.concerns(label) => {
                let section = run.case.sections.first();
                let answer = section.and_then(|section| rules::of_label(rule, duty, &run.case, section));
                (Origin::of(rule, value, None), answer)
            }
            Some(InForceStatus::Unknown(first)) if first.duty.as_ref().is_none_or(|duty| duty.concerns(label)) => {
                let origin = Origin { since: None, may_refuse: false, ..Origin::of(rule, first, None) };
                (origin, Some(unread(on, first)))
            }
            _ => continue,
        };
        if let Some(answer) = answer {
            run.push(&origin, answer);
        }
    }
    run.unknown_labels();
    if run.said_nothing() {
        run.no_rule_on_labels(!on_labels.is_empty());
    }
    let (findings, met) = run.into_answers();
    let verdict = findings.iter().map(|finding| finding.verdict).max().unwrap_or(Verdict::Go);
    LabelCheck { on, verdict, findings, met }
}

/// No text of the rule was read for the day, which shows neither that the label is in order nor that it is not.
fn unread(on: Day, first: &Value) -> Answer {
    let message = format!("No text of this rule was read for {on}; the oldest that was read is of {}.", first.from);
    Answer::law_unknown(message, "Ask the office what the law on labels was on that day.")
}

/// An application of the label's largest amount on 1,000 sq ft where nothing but the label matters.
fn at_the_labels_rate(label: &Label, on: Day) -> Facts {
    let product =
        label.product_limit_lb_per_1000_sqft.map_or(ProductMass::ZERO, |rate| ProductMass::from_raw(rate.raw()));
    let section = SectionFacts {
        id: SectionId::from_uuid(uuid::Uuid::nil()),
        name: "ground the label speaks of".to_owned(),
        area: KSF,
        species: None,
        water: Water::None,
        natural_strip: None,
        established_on: None,
        touches_pavement: false,
        divisions: Vec::new(),
        soil_reports: Vec::new(),
        past: Vec::new(),
    };
    Facts {
        on,
        at: on.starts_at(&jiff::tz::TimeZone::UTC),
        audience: Audience::Professional,
        site: SiteFacts::LAWN,
        credentials: Vec::new(),
        supervision: Supervision::Unsaid,
        applicator_named: true,
        purpose: Purpose::Maintenance,
        equipment: Equipment::RotarySpreader,
        label: label.clone(),
        weather: Weather::default(),
        service_asked: false,
        ground: Some(Ground::Moist),
        pavement_cleaned: None,
        kept: KeptDistances::default(),
        lines: vec![LineFacts { section, area: KSF, parts: None, product }],
    }
}
