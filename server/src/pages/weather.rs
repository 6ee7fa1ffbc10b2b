//! The hours of a day on a property: what each is good for as far as the weather goes, for each product that is planned.

use askama::Template;
use axum::{
    Json,
    extract::{Path, State},
    response::Response,
};
use domain::{
    decision::{Finding, HourVerdict, Verdict},
    ids,
    weather::hourly::HourWeather,
};

use crate::{
    access::AnyStaff,
    api::{self, weather::WindowQuery},
    book::weather::{ProductHours, VerdictPeriod, WorkingWindow},
    extract::{PathId, ValidQuery},
    pages::{
        figures,
        form::{Choice, Field, Form, FormData},
        local::Local,
        office::{ALL_ROWS, dates},
        office_session::OfficeSession,
        page,
        pictures::hours::{Hour, HourStrip, said},
        properties,
    },
    problem::Problem,
    state::App,
    store::{self, products::ProductStatus, properties::Property, settings::DateOrder},
};

/// One product's hours as they are shown.
struct Product {
    name: String,
    /// Visits that are planned with it, all with the same answer.
    visits: usize,
    verdict: Verdict,
    strip: Option<HourStrip>,
    hours: Vec<Hour>,
    /// Hours with one answer: from when to when, the answer, and the gravest reason for it.
    stretches: Vec<Stretch>,
    next: Option<String>,
    certificate: Vec<Finding>,
}

struct Stretch {
    span: String,
    verdict: Verdict,
    why: Option<(String, String)>,
}

impl Product {
    /// The strip has figures that nobody knows.
    fn has_gaps(&self) -> bool {
        self.hours.iter().any(|hour| hour.wind.is_none() || hour.rain.is_none())
    }

    fn said(verdict: Verdict) -> (&'static str, &'static str) {
        said(verdict)
    }
}

#[derive(Template)]
#[template(path = "weather_hours.html")]
struct HoursPage {
    dates: DateOrder,
    property: Property,
    window: WorkingWindow,
    /// The clock's fault, if its zone is not known.
    clock_fault: Option<String>,
    asked: String,
    /// The weather is made up, as in the demonstration.
    sample: bool,
    products: Vec<Product>,
    form: Form,
}

async fn form(app: &App, property: &Property) -> Result<Form, Problem> {
    let products = store::products::list(app.store.reader(), ALL_ROWS).await?.into_iter().map(|row| row.item);
    let products = products.filter(|product| product.status != ProductStatus::Retired);
    let products = products.map(|product| Choice::new(product.id.to_string(), product.name)).collect();
    let at = format!("/office/properties/{}", property.id);
    let fields = vec![
        Field::day("day", "Day").optional().help("Today, if it is empty. Forecasts reach about a week."),
        Field::one("product_id", "Product", products)
            .optional()
            .help("Those of the day's planned visits, if none is chosen."),
    ];
    let form =
        Form::new(format!("Weather hours of {}", property.address), format!("{at}/weather"), "Show the hours", fields);
    Ok(form.back(at).asking())
}

/// A day's hours; today's unless somebody asks for another.
pub async fn hours(
    desk: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Property>,
    sent: FormData,
) -> Result<Response, Problem> {
    let property = properties::get(&app, id).await?;
    let local = Local::of(&property.time_zone);
    let form = form(&app, &property).await?.sent(&sent);
    let day = sent.one("day").filter(|day| !day.trim().is_empty());
    let day = day.unwrap_or_else(|| local.day(app.clock.now()).to_string());
    let asked = async {
        let query = form.query::<WindowQuery>(&app, "get_working_window")?;
        let (staff, path) = (AnyStaff(desk.0), Path((id.to_string(), day)));
        api::weather::get_working_window(staff, State(app.clone()), path, ValidQuery(query)).await
    };
    match asked.await {
        Ok(Json(window)) => {
            let dates = dates(&app).await?;
            let shown = HoursPage {
                dates,
                clock_fault: local.fault(),
                asked: local.minute(window.asked_at, dates),
                sample: app.weather.is_sample(),
                products: products(&window, &local, dates),
                property,
                window,
                form,
            };
            Ok(page(shown.render()))
        }
        Err(problem) => form.refuse(problem),
    }
}

/// Visits with one product and one answer stand together.
fn products(window: &WorkingWindow, local: &Local, dates: DateOrder) -> Vec<Product> {
    let mut found: Vec<(&ProductHours, Product)> = Vec::new();
    for product in &window.products {
        let same = |(other, _): &&mut (&ProductHours, Product)| {
            other.product_id == product.product_id
                && other.hours == product.hours
                && other.certificate == product.certificate
        };
        match found.iter_mut().find(same) {
            Some((_, shown)) => shown.visits += 1,
            None => found.push((product, shown(product, &window.hours, local, dates))),
        }
    }
    found.into_iter().map(|(_, shown)| shown).collect()
}

fn shown(product: &ProductHours, weather: &[HourWeather], local: &Local, dates: DateOrder) -> Product {
    let hours: Vec<Hour> = product.hours.iter().map(|hour| one(hour, weather, local)).collect();
    Product {
        name: product.product_name.clone(),
        visits: 1,
        verdict: product.verdict,
        strip: HourStrip::of(&hours),
        hours,
        stretches: stretches(&product.hours, local),
        next: product.next_window.as_ref().map(|period| later(period, local, dates)),
        certificate: product.certificate.clone(),
    }
}

fn one(hour: &HourVerdict, weather: &[HourWeather], local: &Local) -> Hour {
    let known = weather.iter().find(|known| known.starts_at == hour.starts_at);
    Hour {
        begins: local.hour(hour.starts_at),
        span: format!("{} to {}", local.time(hour.starts_at), local.time(hour.ends_at)),
        verdict: hour.verdict,
        air: known.and_then(|known| known.air_temperature_f).map(|air| figures::tenths_up(&air).shown),
        wind: known.and_then(|known| known.wind_mph).map(|wind| figures::tenths_up(&wind).shown),
        gust: known.and_then(|known| known.gust_mph).map(|gust| figures::tenths_up(&gust).shown),
        rain: known.and_then(|known| known.rain_in).map(|rain| figures::rate(&rain).shown),
    }
}

/// Hours that follow one another with one answer and one reason, which is written once.
fn stretches(hours: &[HourVerdict], local: &Local) -> Vec<Stretch> {
    let mut found: Vec<(&HourVerdict, &HourVerdict)> = Vec::new();
    let rule = |hour: &HourVerdict| hour.findings.first().map(|finding| finding.rule.clone());
    for hour in hours {
        match found.last_mut() {
            Some((first, last)) if first.verdict == hour.verdict && rule(first) == rule(hour) => *last = hour,
            _ => found.push((hour, hour)),
        }
    }
    let shown = |(first, last): (&HourVerdict, &HourVerdict)| Stretch {
        span: format!("{} to {}", local.time(first.starts_at), local.time(last.ends_at)),
        verdict: first.verdict,
        why: first.findings.first().map(|finding| (finding.message.clone(), finding.citation.clone())),
    };
    found.into_iter().map(shown).collect()
}

fn later(period: &VerdictPeriod, local: &Local, dates: DateOrder) -> String {
    format!("{}, {} to {}", dates.day(local.day(period.from)), local.time(period.from), local.time(period.to))
}
