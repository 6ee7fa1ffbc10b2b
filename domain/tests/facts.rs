//! Facts for tests, written short: what is not said is harmless, so that a case says only what it is about.

mod credentials;

pub use credentials::Credential;

use domain::{
    application::{Audience, Ground, Purpose},
    equipment::Equipment,
    facts::{
        Facts, HeldCredential, KeptDistances, LineFacts, PastApplication, PastProduct, SectionFacts, SiteFacts,
        Supervision,
    },
    ids::SectionId,
    land::{PropertyKind, Species, Water},
    law::Lawbook,
    product::{
        Label, Nutrients, ProductForm,
        printed::{NitrogenForms, PrintedLabel},
    },
    quantity::{
        Area, NutrientRate, Percent, Phosphate, Potash, ProductMass, Quantity, QuickNitrogen, TotalNitrogen, Unit,
    },
    soil::{SoilCategory, SoilReport},
    time::{Day, Instant},
    weather::{AirTemperature, Alert, Alerts, HeavyRain, RainForecast, Weather, WeatherSource},
};
use serde::Deserialize;

use credentials::everything_asked;

/// The embedded law, read once for all tests.
pub fn book() -> &'static Lawbook {
    static BOOK: std::sync::LazyLock<Lawbook> =
        std::sync::LazyLock::new(|| Lawbook::embedded().expect("the embedded law"));
    &BOOK
}

pub const SECTION: &str = "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a10";
const REPORT: &str = "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a99";

/// What a case gives. Numbers are decimal text, rates in pounds on 1,000 sq ft.
#[expect(clippy::struct_excessive_bools, reason = "each is one plain claim of a case")]
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Given {
    pub household: bool,
    /// The owner's own people on ground that is no home.
    pub own_ground: bool,
    /// `unknown`, or a kind of ground; left out, it is a lawn.
    pub kind: Option<String>,
    /// Day of the written nutrient plan for the site.
    pub plan_on: Option<toml::value::Datetime>,
    /// All lawn of the property together; left out, what is treated.
    pub site_area: Option<String>,
    /// Only what the case names is held. Otherwise everything is that a rule asks for.
    pub uncertified: bool,
    /// What the supervisor holds.
    pub supervised_by: Option<Vec<Credential>>,
    pub unsupervised: bool,
    /// Nobody has said who will do it.
    pub applicator_unsaid: bool,
    pub purpose: Option<Purpose>,
    pub equipment: Option<Equipment>,
    pub liquid: bool,
    /// Percent of the product's weight.
    pub n: Option<String>,
    pub slow_n: Option<String>,
    /// Of the slow nitrogen: what the label calls water-insoluble, coated, and slowly available water-soluble.
    pub insoluble_n: Option<String>,
    pub coated_n: Option<String>,
    pub slow_soluble_n: Option<String>,
    pub p2o5: Option<String>,
    pub k2o: Option<String>,
    pub enhanced_efficiency: bool,
    pub release_percent: Option<String>,
    pub organic: bool,
    pub compost: bool,
    pub labelled_for_establishment: bool,
    pub enhanced_efficiency_phosphorus: bool,
    /// EPA registration number of a combination product.
    pub pesticide: Option<String>,
    pub label_product_limit: Option<String>,
    pub label_air_limit: Option<String>,
    /// Either the product, or the rate of nitrogen or of phosphate that it is to deliver.
    pub product_lb: Option<String>,
    pub n_rate: Option<String>,
    pub p2o5_rate: Option<String>,
    pub area: Option<String>,
    pub species: Option<String>,
    /// `none`, `unknown`, or feet.
    pub water: Option<String>,
    pub strip: Option<String>,
    /// Feet that the record says were kept.
    pub kept_from_water: Option<String>,
    pub kept_from_drains: Option<String>,
    /// The ground that is treated, where it is less than the section.
    pub treated: Option<String>,
    pub established_on: Option<toml::value::Datetime>,
    pub pavement: bool,
    pub pavement_cleaned: Option<bool>,
    /// `unseen`, or a state of the ground.
    pub ground: Option<String>,
    /// `unknown`, or inches.
    pub rain: Option<String>,
    pub rain_hours: Option<u16>,
    /// Chance that the rain reaches its depth, in percent.
    pub rain_chance: Option<String>,
    /// Whether heavy rain falls; left out, somebody looked and it does not.
    pub heavy_rain: bool,
    pub heavy_rain_unknown: bool,
    pub credentials: Vec<Credential>,
    pub alerts: Vec<Alert>,
    pub alerts_unknown: bool,
    /// `unknown`, or degrees.
    pub air: Option<String>,
    /// Age of everything known about the weather.
    pub weather_age_hours: i32,
    pub past: Vec<Past>,
    pub soil_reports: Vec<Report>,
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Past {
    pub on: Option<toml::value::Datetime>,
    pub n_rate: Option<String>,
    pub quick_rate: Option<String>,
    pub p2o5_rate: Option<String>,
    pub area: Option<String>,
    pub enhanced_efficiency: bool,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Report {
    pub sampled_on: toml::value::Datetime,
    #[serde(default)]
    pub category: Option<SoilCategory>,
    #[serde(default)]
    pub recommended: Option<String>,
}

pub fn day(text: &str) -> Day {
    Day::parse(text).unwrap_or_else(|_| panic!("{text} is no day"))
}

fn written(date: &toml::value::Datetime) -> Day {
    day(&date.to_string())
}

pub fn amount<U: Unit>(text: &str) -> Quantity<U> {
    Quantity::parse(text).unwrap_or_else(|fault| panic!("{text}: {fault}"))
}

fn or<U: Unit>(text: Option<&String>, otherwise: &str) -> Quantity<U> {
    amount(text.map_or(otherwise, String::as_str))
}

/// A rate on an area as a load in 1e-10 lb, which must come out whole.
pub fn load(rate: NutrientRate, area: Area) -> i64 {
    let exact = i128::from(rate.raw()) * i128::from(area.raw());
    assert_eq!(exact % 10, 0, "{rate} on {area} sq ft is no whole load");
    i64::try_from(exact / 10).expect("a load")
}

/// The product that delivers a rate, which must come out whole.
pub fn product(rate: NutrientRate, area: Area, share: Percent) -> ProductMass {
    let load = load(rate, area);
    assert_eq!(load % share.raw(), 0, "no whole product delivers {rate} at {share} %");
    ProductMass::from_raw(load / share.raw())
}

impl Past {
    fn entry(&self) -> PastApplication {
        let area: Area = or(self.area.as_ref(), "1000");
        let load_of = |text: &Option<String>| text.as_ref().map_or(0, |text| load(amount(text), area));
        PastApplication {
            on: written(self.on.as_ref().expect("an earlier application has a day")),
            area,
            parts: None,
            nutrients: Nutrients {
                nitrogen_lb: TotalNitrogen::from_raw(load_of(&self.n_rate)),
                quick_nitrogen_lb: QuickNitrogen::from_raw(load_of(&self.quick_rate)),
                phosphate_lb: Phosphate::from_raw(load_of(&self.p2o5_rate)),
                potash_lb: Potash::ZERO,
            },
            enhanced_efficiency: self.enhanced_efficiency,
            organic: false,
            purpose: Purpose::Maintenance,
            product: PastProduct::default(),
            held: false,
        }
    }
}

impl Report {
    fn report(&self) -> SoilReport {
        SoilReport {
            id: REPORT.parse().expect("an id"),
            sampled_on: written(&self.sampled_on),
            place: 0,
            laboratory: "A laboratory".to_owned(),
            phosphorus: self.category,
            phosphate_recommended: self.recommended.as_deref().map(amount),
        }
    }
}

impl Given {
    pub fn label(&self) -> Label {
        Label {
            form: if self.liquid { ProductForm::Liquid } else { ProductForm::Granular },
            nitrogen_percent: or(self.n.as_ref(), "0"),
            slow_nitrogen_percent: or(self.slow_n.as_ref(), "0"),
            phosphate_percent: or(self.p2o5.as_ref(), "0"),
            potash_percent: or(self.k2o.as_ref(), "0"),
            enhanced_efficiency: self.enhanced_efficiency,
            release_percent_per_month: self.release_percent.as_deref().map(amount),
            organic: self.organic,
            compost: self.compost,
            labelled_for_establishment: self.labelled_for_establishment,
            enhanced_efficiency_phosphorus: self.enhanced_efficiency_phosphorus,
            product_limit_lb_per_1000_sqft: self.label_product_limit.as_deref().map(amount),
            air_temperature_limit_f: self.label_air_limit.as_deref().map(amount),
            wind_limit_mph: None,
            printed: self.printed(),
        }
    }

    /// The lines beneath total nitrogen, where the case says any; the rest is quick.
    fn printed(&self) -> Option<Box<PrintedLabel>> {
        let said = [&self.insoluble_n, &self.coated_n, &self.slow_soluble_n];
        let [insoluble, coated, soluble] = said.map(|one| or(one.as_ref(), "0"));
        let slow: i64 = [insoluble, coated, soluble].iter().map(|one: &Percent| one.raw()).sum();
        let nitrogen: Percent = or(self.n.as_ref(), "0");
        let forms = NitrogenForms {
            water_insoluble_percent: insoluble,
            coated_slow_release_percent: coated,
            slowly_available_water_soluble_percent: soluble,
            other_water_soluble_percent: Percent::from_raw(nitrogen.raw() - slow),
            ..NitrogenForms::default()
        };
        let forms = said.iter().any(|one| one.is_some()).then_some(forms);
        let pesticide = self.pesticide.as_deref().map(crate::combination::pesticide);
        let any = forms.is_some() || pesticide.is_some();
        any.then(|| Box::new(PrintedLabel { nitrogen_forms: forms, pesticide, ..PrintedLabel::default() }))
    }

    fn product(&self, label: &Label, area: Area) -> ProductMass {
        match (&self.product_lb, &self.n_rate, &self.p2o5_rate) {
            (Some(mass), None, None) => amount(mass),
            (None, Some(rate), None) => product(amount(rate), area, label.nitrogen_percent),
            (None, None, Some(rate)) => product(amount(rate), area, label.phosphate_percent),
            (None, None, None) => amount("1"),
            _ => panic!("give the product, or one rate"),
        }
    }

    fn species(&self) -> Option<Species> {
        let name = self.species.as_deref().unwrap_or("tall_fescue");
        (name != "unknown").then(|| toml::Value::from(name).try_into().expect("a species"))
    }

    fn kind(&self) -> Option<PropertyKind> {
        let name = self.kind.as_deref().unwrap_or("lawn");
        (name != "unknown").then(|| toml::Value::from(name).try_into().expect("a kind of ground"))
    }

    fn held(&self) -> Vec<HeldCredential> {
        let named = self.credentials.iter().map(Credential::held);
        if self.uncertified { named.collect() } else { named.chain(everything_asked()).collect() }
    }

    fn ground(&self) -> Option<Ground> {
        let name = self.ground.as_deref().unwrap_or("moist");
        (name != "unseen").then(|| toml::Value::from(name).try_into().expect("a state of the ground"))
    }

    fn water(&self) -> Water {
        match self.water.as_deref() {
            None | Some("none") => Water::None,
            Some("unknown") => Water::Unknown,
            Some(feet) => Water::At(amount(feet)),
        }
    }

    fn weather(&self, at: Instant) -> Weather {
        let (source, known) = (
            WeatherSource::WeatherService,
            at.plus(jiff::SignedDuration::from_hours(-i64::from(self.weather_age_hours))),
        );
        let air = self.air.as_deref().unwrap_or("70");
        let rain = self.rain.as_deref().unwrap_or("0");
        Weather {
            air_temperature: (air != "unknown").then(|| AirTemperature {
                air_temperature_f: amount(air),
                source,
                observed_at: known,
                service: None,
            }),
            rain_forecast: (rain != "unknown")
                .then(|| RainForecast {
                    rain_in: amount(rain),
                    hours: self.rain_hours.unwrap_or(24),
                    chance_percent: self.rain_chance.as_deref().map(amount),
                    source,
                    issued_at: known,
                    bounds: None,
                    service: None,
                })
                .into_iter()
                .collect(),
            heavy_rain: (!self.heavy_rain_unknown).then_some(HeavyRain {
                falls: self.heavy_rain,
                source,
                observed_at: known,
            }),
            alerts: (!self.alerts_unknown).then(|| Alerts {
                active: self.alerts.clone(),
                source,
                looked_at: known,
                others: Vec::new(),
                service: None,
            }),
            wind: None,
            soil: None,
            doubted: None,
        }
    }

    pub fn facts(&self, on: Day) -> Facts {
        let at = Instant::parse(&format!("{on}T14:00:00Z")).expect("an instant");
        let (label, area) = (self.label(), or(self.area.as_ref(), "1000"));
        let product = self.product(&label, area);
        let section = SectionFacts {
            id: SECTION.parse::<SectionId>().expect("an id"),
            name: "front lawn".to_owned(),
            area,
            species: self.species(),
            water: self.water(),
            natural_strip: self.strip.as_deref().map(amount),
            established_on: self.established_on.as_ref().map(written),
            touches_pavement: self.pavement,
            divisions: Vec::new(),
            soil_reports: self.soil_reports.iter().map(Report::report).collect(),
            past: self.past.iter().map(Past::entry).collect(),
        };
        Facts {
            on,
            at,
            audience: match (self.household, self.own_ground) {
                (true, _) => Audience::Household,
                (_, true) => Audience::OwnGround,
                _ => Audience::Professional,
            },
            site: SiteFacts {
                kind: self.kind(),
                plan_on: self.plan_on.as_ref().map(written),
                area: self.site_area.as_deref().map_or(area, amount),
            },
            credentials: self.held(),
            applicator_named: !self.applicator_unsaid,
            supervision: match &self.supervised_by {
                Some(held) => Supervision::By(held.iter().map(Credential::held).collect()),
                None if self.unsupervised => Supervision::Nobody,
                None => Supervision::Unsaid,
            },
            purpose: self.purpose.unwrap_or(Purpose::Maintenance),
            equipment: self.equipment.unwrap_or(Equipment::DropSpreader),
            label,
            weather: self.weather(at),
            service_asked: false,
            ground: self.ground(),
            pavement_cleaned: self.pavement_cleaned,
            kept: KeptDistances {
                from_water: self.kept_from_water.as_deref().map(amount),
                from_drains: self.kept_from_drains.as_deref().map(amount),
            },
            lines: vec![LineFacts {
                section,
                area: or(self.treated.as_ref(), &area.to_string()),
                parts: None,
                product,
            }],
        }
    }
}
