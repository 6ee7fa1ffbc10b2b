//! The load sheet of a person's day: what goes onto the truck for the visits that are still to be made.

use std::collections::BTreeMap;

use domain::{
    calibration::CalibrationStatus,
    explain::{Derivation, Figure, Sentence},
    ids::{PersonId, ProductId, PropertyId, SectionId, VisitId},
    product::{
        Label, ProductForm,
        arithmetic::{GradeNutrient, product_at_rate_rounded_down, product_for_area_rounded_down},
        buying::BuyingFault,
        liquid::volume_rounded_down,
    },
    programme::load::{LoadProduct, LoadStop, ProductLoad, Tank, load_sheet},
    quantity::{Area, Percent, ProductMass, SprayRate, Volume},
    time::{Day, Instant},
};
use serde::Serialize;
use utoipa::ToSchema;

use crate::{
    problem::Problem,
    state::App,
    store::{
        self, calibrations::CalibrationInForce, days::DayVisit, equipment::EquipmentView, products::Product,
        sections::Section, visits::VisitStatus,
    },
};

/// What the truck carries. What was said for this sheet goes before what the book knows of the machines.
#[derive(Debug)]
pub struct Truck {
    pub spare: Percent,
    pub hopper_lb: Option<ProductMass>,
    pub tank: Option<Tank>,
    pub machines: BTreeMap<ProductId, Machine>,
}

/// The machine that a product goes down with.
#[derive(Debug, Clone)]
pub struct Machine {
    pub name: String,
    pub hopper_lb: Option<ProductMass>,
    pub tank_gal: Option<Volume>,
    /// What its calibration in force for product and operator found, unless that is out.
    pub calibrated_gal_per_1000_sqft: Option<SprayRate>,
}

impl Machine {
    pub fn of(equipment: &EquipmentView, calibrated: Option<&CalibrationInForce>) -> Self {
        let stands = calibrated.filter(|calibrated| calibrated.standing != CalibrationStatus::Out);
        Self {
            name: equipment.name.clone(),
            hopper_lb: equipment.hopper_lb,
            tank_gal: equipment.tank_gal,
            calibrated_gal_per_1000_sqft: stands.and_then(|found| found.calibration.result.spray_gal_per_1000_sqft),
        }
    }

    fn tank(&self) -> Option<Tank> {
        let (holds_gal, rate_gal_per_1000_sqft) = self.tank_gal.zip(self.calibrated_gal_per_1000_sqft)?;
        Some(Tank { holds_gal, rate_gal_per_1000_sqft })
    }
}

/// The machine of each product: the one that was named, or the one that the person calibrated last with it.
pub async fn machines(
    app: &App,
    named: Option<&EquipmentView>,
    products: &[ProductId],
    person: PersonId,
    day: Day,
) -> Result<BTreeMap<ProductId, Machine>, Problem> {
    let reader = app.store.reader();
    let calibrated =
        store::calibrations::in_force(reader, named.map(|named| named.id), products, Some(person), day).await?;
    let mut machines = BTreeMap::new();
    for product in products {
        let of_product = calibrated.iter().filter(|found| found.calibration.product_id == *product);
        let latest = of_product
            .filter(|found| found.calibration.result.rate_was_found())
            .max_by_key(|found| (found.calibration.calibrated_on, found.calibration.created_at));
        let machine = match (named, latest) {
            (Some(named), _) => Some(Machine::of(named, latest)),
            (None, None) => None,
            (None, Some(found)) => {
                let equipment = store::equipment::get(reader, found.calibration.equipment_id).await?;
                equipment.map(|equipment| Machine::of(&equipment, latest))
            }
        };
        machines.extend(machine.map(|machine| (*product, machine)));
    }
    Ok(machines)
}

/// The products of the visits that are still to be made.
pub fn products(visits: &[DayVisit]) -> Vec<ProductId> {
    let mut products: Vec<ProductId> = open(visits).map(|visit| visit.product.id).collect();
    products.sort_unstable();
    products.dedup();
    products
}

fn open(visits: &[DayVisit]) -> impl Iterator<Item = &DayVisit> {
    visits.iter().filter(|visit| visit.visit.status == VisitStatus::Planned && !visit.recorded)
}

/// A section of a visit.
#[derive(Debug, Serialize, ToSchema)]
pub struct SheetStop {
    pub visit_id: VisitId,
    pub property_id: PropertyId,
    #[schema(max_length = 120)]
    pub client_name: String,
    #[schema(max_length = 300)]
    pub address: String,
    pub section_id: SectionId,
    #[schema(max_length = 120)]
    pub section_name: String,
    pub product_id: ProductId,
    #[schema(max_length = 120)]
    pub product_name: String,
    pub area_sqft: Area,
    pub product_lb: ProductMass,
    /// Finished spray, rounded up; null for a granule, and for a liquid without tank.
    pub spray_gal: Option<Volume>,
    /// Water of the spray, rounded up; null as well where the label's pounds per gallon are not in the book.
    pub water_gal: Option<Volume>,
    pub derivation: Derivation,
}

/// What the truck takes of one product.
#[derive(Debug, Serialize, ToSchema)]
pub struct SheetProduct {
    pub product_id: ProductId,
    #[schema(max_length = 120)]
    pub product_name: String,
    pub bag_lb: ProductMass,
    /// What all stops take.
    pub needed_lb: ProductMass,
    /// Whole bags or jugs for it and the spare.
    #[schema(minimum = 0, maximum = 1_000_000_000_000_i64)]
    pub bags: i64,
    pub loaded_lb: ProductMass,
    pub spray_gal: Option<Volume>,
    pub water_gal: Option<Volume>,
    /// How often hopper or tank is filled; null without their capacity.
    #[schema(minimum = 0, maximum = 1_000_000)]
    pub fills: Option<i64>,
    /// The machine whose hopper or tank, and whose calibration of a liquid, the fills are counted with; null where the size was
    /// said in the query.
    #[schema(max_length = 120)]
    pub counted_with: Option<String>,
    /// Product for one full tank, rounded down, where every stop takes the same rate.
    pub product_lb_per_tank: Option<ProductMass>,
    /// How the bags follow.
    pub derivation: Derivation,
    /// How the fills follow, and for a liquid the spray; null without hopper and tank.
    pub fills_derivation: Option<Derivation>,
}

/// What goes onto a truck for a day.
#[derive(Debug, Serialize, ToSchema)]
pub struct DayLoad {
    pub day: Day,
    pub person_id: PersonId,
    #[schema(max_length = 120)]
    pub person_name: String,
    /// Loaded beyond the need; it comes back when it is not used.
    pub spare_percent: Percent,
    /// In the order of the visits; those that are recorded or done are not among them.
    #[schema(max_items = 10_000)]
    pub stops: Vec<SheetStop>,
    #[schema(max_items = 1_000)]
    pub products: Vec<SheetProduct>,
    /// What is not on the sheet and why, in sentences.
    #[schema(max_items = 1_000, value_type = Vec<Sentence>)]
    pub gaps: Vec<String>,
    #[schema(max_length = 400)]
    pub caution: &'static str,
    pub made_at: Instant,
}

const CAUTION: &str = "Fill on pavement and level ground with the gate shut, never on turf or near a drain; sweep spills up at once. A full hopper tips. Read the label and wear what it asks for. The sheet permits nothing: each lawn is checked before product leaves the hopper.";

/// Adds a day up.
pub fn sheet(
    day: Day,
    person: (PersonId, String),
    visits: &[DayVisit],
    truck: &Truck,
    made_at: Instant,
) -> Result<DayLoad, BuyingFault> {
    let mut products: Vec<&Product> = Vec::new();
    let (mut stops, mut loads, mut gaps) = (Vec::new(), Vec::new(), Vec::new());
    for visit in open(visits) {
        // What is recorded is on the lawn, not on the truck.
        for section in visit.sections.iter().filter(|section| !visit.is_covered(section)) {
            match stop(visit, section) {
                Err(gap) => gaps.push(gap),
                Ok(stop) => {
                    let at = products.iter().position(|product| product.id == visit.product.id).unwrap_or_else(|| {
                        products.push(&visit.product);
                        products.len() - 1
                    });
                    loads.push(LoadStop {
                        name: stop.section_name.clone(),
                        product: at,
                        area_sqft: stop.area_sqft,
                        product_lb: stop.product_lb,
                    });
                    stops.push(stop);
                }
            }
        }
    }
    let carried: Vec<LoadProduct> = products.iter().map(|product| carried(product, truck)).collect();
    let summed = load_sheet(&loads, &carried, truck.spare)?;
    for (stop, load) in stops.iter_mut().zip(&summed.stops) {
        stop.spray_gal = load.spray_gal;
        let label = products.get(load.product).map(|product| &product.label);
        stop.water_gal = label.and_then(|label| water(load.spray_gal, load.product_lb, label));
    }
    let products =
        summed.products.into_iter().filter_map(|load| Some(total(products.get(load.product)?, load, truck))).collect();
    let (person_id, person_name) = person;
    Ok(DayLoad {
        day,
        person_id,
        person_name,
        spare_percent: truck.spare,
        stops,
        products,
        gaps,
        caution: CAUTION,
        made_at,
    })
}

fn carried(product: &Product, truck: &Truck) -> LoadProduct {
    let granular = product.label.form == ProductForm::Granular;
    let machine = truck.machines.get(&product.id);
    let hopper = truck.hopper_lb.or_else(|| machine?.hopper_lb);
    let tank = truck.tank.or_else(|| machine?.tank());
    LoadProduct {
        name: product.name.clone(),
        bag_lb: product.net_weight_lb,
        hopper_lb: hopper.filter(|_| granular),
        tank: tank.filter(|_| !granular),
    }
}

/// The machine whose hopper or tank was counted with; nothing where the size was said for this sheet.
fn counted_with(product: &Product, load: &ProductLoad, truck: &Truck) -> Option<String> {
    let granular = product.label.form == ProductForm::Granular;
    let said = if granular { truck.hopper_lb.is_some() } else { truck.tank.is_some() };
    let machine = truck.machines.get(&product.id).filter(|_| !said)?;
    load.fills.map(|_| machine.name.clone())
}

/// The product of a visit for an area, by its target of product or of nitrogen.
fn amount(visit: &DayVisit, place: &str, area: Area) -> Result<Figure<ProductMass>, String> {
    if let Some(rate) = visit.visit.target_product_lb_per_1000_sqft {
        let figure = product_at_rate_rounded_down(rate, area);
        return figure
            .ok_or_else(|| format!("The visit to {place} takes more than can be written; it is not on the sheet."));
    }
    let target = visit
        .visit
        .target_nitrogen_lb_per_1000_sqft
        .ok_or_else(|| format!("The visit to {place} has no nitrogen target; its product is not on the sheet."))?;
    let figure = product_for_area_rounded_down(&visit.product.label, GradeNutrient::Nitrogen, target, area);
    figure.ok_or_else(|| {
        format!(
            "{} has no nitrogen, by which the visit to {place} states its amount; it is not on the sheet.",
            visit.product.name
        )
    })
}

/// What one section takes, or why that is not known.
fn stop(visit: &DayVisit, section: &Section) -> Result<SheetStop, String> {
    let place = format!("{}, {} ({})", section.name, visit.property.address, visit.client_name);
    let area = visit
        .open_area(section)
        .ok_or_else(|| format!("{place} has no measurement; its product is not on the sheet."))?;
    let figure = amount(visit, &place, area)?;
    Ok(SheetStop {
        visit_id: visit.visit.id,
        property_id: visit.property.id,
        client_name: visit.client_name.clone(),
        address: visit.property.address.clone(),
        section_id: section.id,
        section_name: section.name.clone(),
        product_id: visit.product.id,
        product_name: visit.product.name.clone(),
        area_sqft: area,
        product_lb: figure.value,
        spray_gal: None,
        water_gal: None,
        derivation: figure.derivation,
    })
}

/// Spray without the product in it. The product's volume is rounded down, so there is never too little water.
fn water(spray: Option<Volume>, product: ProductMass, label: &Label) -> Option<Volume> {
    let product = volume_rounded_down(product, label.density()?).value;
    spray.map(|spray| Volume::from_raw((spray.raw() - product.raw()).max(0)))
}

fn total(product: &Product, load: ProductLoad, truck: &Truck) -> SheetProduct {
    SheetProduct {
        counted_with: counted_with(product, &load, truck),
        product_id: product.id,
        product_name: product.name.clone(),
        bag_lb: product.net_weight_lb,
        needed_lb: load.needed_lb,
        bags: load.bags,
        loaded_lb: load.loaded_lb,
        spray_gal: load.spray_gal,
        water_gal: water(load.spray_gal, load.needed_lb, &product.label),
        fills: load.fills,
        product_lb_per_tank: load.product_lb_per_tank,
        derivation: load.derivation,
        fills_derivation: load.fills_derivation,
    }
}
