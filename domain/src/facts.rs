//! The facts that a decision is made from.

use crate::{
    application::{Audience, Ground, Purpose, is_valid_on},
    equipment::Equipment,
    ids::SectionId,
    land::{PropertyKind, Species, Water},
    parts::{Division, Parts},
    product::{Label, Nutrients, ProductForm},
    quantity::{Area, Distance, Percent, ProductMass},
    soil::SoilReport,
    time::{Day, Instant},
    weather::Weather,
};

/// A licence or certificate as rules read it: several laws bind its holder differently.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HeldCredential {
    /// The code by which rule files call it, such as `us-md-certified`; nothing where nobody has said which one it is.
    pub code: Option<String>,
    /// The rule set of the place that gave it, if that is known.
    pub rule_set: Option<String>,
    pub valid_from: Day,
    /// The last day on which it is valid; nothing when it has no end.
    pub valid_until: Option<Day>,
}

impl HeldCredential {
    /// Whether it is the one that rule files call by this code, and valid on a day.
    pub fn is(&self, code: &str, day: Day) -> bool {
        self.code.as_deref() == Some(code) && self.is_valid_on(day)
    }

    /// Whether it is valid on a day. One that ran out yesterday excuses nothing today.
    pub fn is_valid_on(&self, day: Day) -> bool {
        is_valid_on(self.valid_from, self.valid_until, day)
    }
}

/// Who looks after the one who does the work.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub enum Supervision {
    /// Nobody has said yet, as before the work.
    #[default]
    Unsaid,
    /// The work was done without anybody over it.
    Nobody,
    /// By somebody who holds this, whether it is valid on the day or not.
    By(Vec<HeldCredential>),
}

/// What the property is, as far as rules depend on it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SiteFacts {
    /// Nothing when nobody has said.
    pub kind: Option<PropertyKind>,
    /// Day of the written nutrient plan for the site; nothing when the book knows of none.
    pub plan_on: Option<Day>,
    /// All its lawn sections together, as far as they are measured.
    pub area: Area,
}

impl SiteFacts {
    /// A lawn as most are: small, and without a plan.
    pub const LAWN: Self = Self { kind: Some(PropertyKind::Lawn), plan_on: None, area: Area::ZERO };
}

/// One section's share of an application.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LineFacts {
    pub section: SectionFacts,
    /// Ground that is treated: the whole section or a part of it.
    pub area: Area,
    /// The parts of the section that it lies in; nothing when it may lie anywhere.
    pub parts: Option<Parts>,
    pub product: ProductMass,
}

impl LineFacts {
    pub fn section_id(&self) -> SectionId {
        self.section.id
    }

    /// What this line delivers.
    pub fn nutrients(&self, label: &Label) -> Nutrients {
        label.nutrients_in(self.product)
    }
}

/// Distances that were really kept while the work was done.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct KeptDistances {
    pub from_water: Option<Distance>,
    /// From drains, storm inlets and ditches.
    pub from_drains: Option<Distance>,
}

impl KeptDistances {
    /// The shorter of each, where two tell of the same work.
    #[must_use]
    pub fn shortest(self, other: Self) -> Self {
        let of = |one: Option<Distance>, other: Option<Distance>| one.into_iter().chain(other).min();
        Self { from_water: of(self.from_water, other.from_water), from_drains: of(self.from_drains, other.from_drains) }
    }
}

/// Everything a decision is made from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Facts {
    /// Local civil day of application. It decides the law.
    pub on: Day,
    /// The moment the question is about: now for a check, the start of work for a record.
    pub at: Instant,
    pub audience: Audience,
    pub site: SiteFacts,
    /// What the applicator holds, whether it is valid on the day or not.
    pub credentials: Vec<HeldCredential>,
    pub supervision: Supervision,
    /// Whether it is known who will do the work. Where it is not, a certificate that is not among those above may still be held.
    pub applicator_named: bool,
    pub purpose: Purpose,
    pub equipment: Equipment,
    pub label: Label,
    pub weather: Weather,
    /// Whether a weather service was asked, so that what neither it nor anybody on the spot told is not known.
    pub service_asked: bool,
    /// As seen by a person; nothing when nobody has looked yet.
    pub ground: Option<Ground>,
    /// Whether product on pavement was swept or blown back; nothing before the work is done.
    pub pavement_cleaned: Option<bool>,
    /// How far the work was really kept from water and from drains, as far as its record says.
    pub kept: KeptDistances,
    pub lines: Vec<LineFacts>,
}

impl Facts {
    /// Whether the work is done, so that nobody can look or measure before it. Only of such work pavement is said to be clean.
    pub(crate) fn are_of_done_work(&self) -> bool {
        self.pavement_cleaned.is_some()
    }
}

/// An earlier application on a section, or room that another clearance holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PastApplication {
    pub on: Day,
    pub area: Area,
    /// The parts of the section that it lies in; nothing when it may lie anywhere.
    pub parts: Option<Parts>,
    pub nutrients: Nutrients,
    pub enhanced_efficiency: bool,
    pub organic: bool,
    pub purpose: Purpose,
    pub product: PastProduct,
    /// Room held by a clearance, not yet put down.
    pub held: bool,
}

impl PastApplication {
    /// A load of a product on the whole of a section, as it will stand in the book.
    pub fn planned(label: &Label, mass: ProductMass, (on, area): (Day, Area), purpose: Purpose) -> Self {
        Self {
            on,
            area,
            parts: None,
            nutrients: label.nutrients_in(mass),
            enhanced_efficiency: label.enhanced_efficiency,
            organic: label.organic,
            purpose,
            product: PastProduct::of(label),
            held: false,
        }
    }
}

/// What else is known of a product that went down earlier. A rule that counts only some products counts one of which it is not
/// known whether it is among them, since what is not known never clears.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct PastProduct {
    pub form: Option<ProductForm>,
    pub labelled_for_establishment: Option<bool>,
    pub compost: Option<bool>,
    pub enhanced_efficiency_phosphorus: Option<bool>,
    pub phosphate_percent: Option<Percent>,
    pub pesticide: PastPesticide,
    /// Its mass, where it is known to be the very product that is asked about. Else the nutrients tell, and a product without any
    /// leaves no trace.
    pub mass_of_this: Option<ProductMass>,
}

/// Which pesticide a product that went down earlier was, too.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum PastPesticide {
    /// Its label is not known.
    #[default]
    Unsaid,
    None,
    /// By company and product number.
    Registered([u32; 2]),
}

impl PastProduct {
    /// What a label says of it.
    pub fn of(label: &Label) -> Self {
        Self {
            form: Some(label.form),
            labelled_for_establishment: Some(label.labelled_for_establishment),
            compost: Some(label.compost),
            enhanced_efficiency_phosphorus: Some(label.enhanced_efficiency_phosphorus),
            phosphate_percent: Some(label.phosphate_percent),
            pesticide: label
                .pesticide()
                .map_or(PastPesticide::None, |part| PastPesticide::Registered(part.epa_registration.basic())),
            mass_of_this: None,
        }
    }
}

/// A lawn section and its year, as it stood when the decision was made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SectionFacts {
    pub id: SectionId,
    /// What people call it: "front lawn".
    pub name: String,
    /// Area by the measurement in force on the day.
    pub area: Area,
    pub species: Option<Species>,
    /// Shortest distance from the treated ground to water, if there is any and it was measured.
    pub water: Water,
    /// Width of the strip of natural vegetation between lawn and water.
    pub natural_strip: Option<Distance>,
    /// When the turf was seeded or sodded, if that is known.
    pub established_on: Option<Day>,
    /// Pavement, walks or drives beside the section.
    pub touches_pavement: bool,
    /// Every way in which it was divided, for the names of its parts; in no order.
    pub divisions: Vec<Division>,
    /// Reports for this section, in no order.
    pub soil_reports: Vec<SoilReport>,
    /// Everything that was put down on it, before and after the day asked about, and what other clearances hold, in no
    /// order.
    pub past: Vec<PastApplication>,
}
