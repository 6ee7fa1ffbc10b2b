//! How long one decision takes: five stacked rule sets, forty earlier records.

use criterion::{Criterion, criterion_group, criterion_main};
use domain::{
    application::{Audience, Ground, Purpose},
    decision::decide,
    equipment::Equipment,
    facts::{Facts, KeptDistances, LineFacts, PastApplication, SectionFacts, SiteFacts, Supervision},
    ids::SectionId,
    land::{Species, Water},
    law::Lawbook,
    product::{Label, ProductForm},
    quantity::{Area, Percent, ProductMass, RainDepth, Temperature},
    time::{Day, Instant},
    weather::{AirTemperature, Alerts, RainForecast, Weather, WeatherSource},
};

/// Mild, dry, and looked at.
fn mild(source: WeatherSource, at: Instant) -> Weather {
    Weather {
        air_temperature: Some(AirTemperature {
            air_temperature_f: Temperature::from_raw(700),
            source,
            observed_at: at,
            service: None,
        }),
        rain_forecast: vec![RainForecast {
            rain_in: RainDepth::ZERO,
            hours: 24,
            chance_percent: None,
            source,
            issued_at: at,
            bounds: None,
            service: None,
        }],
        alerts: Some(Alerts { active: Vec::new(), source, looked_at: at, others: Vec::new(), service: None }),
        ..Weather::default()
    }
}

fn facts(partial: bool) -> Option<Facts> {
    let on = Day::parse("2026-05-15").ok()?;
    let at = Instant::parse("2026-05-15T14:00:00Z").ok()?;
    let label = Label {
        form: ProductForm::Granular,
        nitrogen_percent: Percent::from_raw(2_400),
        slow_nitrogen_percent: Percent::from_raw(1_200),
        phosphate_percent: Percent::ZERO,
        potash_percent: Percent::from_raw(1_000),
        enhanced_efficiency: false,
        release_percent_per_month: None,
        organic: false,
        compost: false,
        labelled_for_establishment: false,
        enhanced_efficiency_phosphorus: false,
        product_limit_lb_per_1000_sqft: None,
        air_temperature_limit_f: None,
        wind_limit_mph: None,
        printed: None,
    };
    let area = Area::from_raw(820_000);
    let past = (0..40).map(|record| PastApplication {
        on: on.plus_days(-record * 9),
        area: if partial && record % 5 == 0 { Area::from_raw(410_000) } else { area },
        parts: None,
        nutrients: label.nutrients_in(ProductMass::from_raw(1_500_000)),
        enhanced_efficiency: false,
        organic: false,
        purpose: Purpose::Maintenance,
        product: domain::facts::PastProduct::default(),
        held: false,
    });
    let source = WeatherSource::WeatherService;
    let section = SectionFacts {
        id: "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a10".parse::<SectionId>().ok()?,
        name: "front lawn".to_owned(),
        area,
        species: Some(Species::TallFescue),
        water: Water::None,
        natural_strip: None,
        established_on: None,
        touches_pavement: true,
        divisions: Vec::new(),
        soil_reports: Vec::new(),
        past: past.collect(),
    };
    Some(Facts {
        on,
        at,
        audience: Audience::Professional,
        site: SiteFacts::LAWN,
        credentials: Vec::new(),
        supervision: Supervision::Unsaid,
        applicator_named: true,
        purpose: Purpose::Maintenance,
        equipment: Equipment::DropSpreader,
        weather: mild(source, at),
        service_asked: false,
        label,
        ground: Some(Ground::Moist),
        pavement_cleaned: None,
        kept: KeptDistances::default(),
        lines: vec![LineFacts { section, area, parts: None, product: ProductMass::from_raw(20_000_000) }],
    })
}

fn decisions(criterion: &mut Criterion) {
    let Ok(book) = Lawbook::embedded() else { return };
    let codes = ["us-md", "us-pa", "us-ny", "us-fl-pinellas"].map(str::to_owned);
    for (name, partial) in [("whole sections", false), ("partial areas too", true)] {
        let Some(facts) = facts(partial) else { return };
        let title = format!("decision: five sets and the company's, forty records, {name}");
        criterion.bench_function(&title, |bench| bench.iter(|| decide(&book, &codes, &facts)));
    }
    criterion.bench_function("reading the embedded law", |bench| bench.iter(Lawbook::embedded));
}

criterion_group!(benches, decisions);
criterion_main!(benches);
