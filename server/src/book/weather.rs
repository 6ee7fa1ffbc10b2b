//! Weather for the acts, and the hours that suit. Services are asked here, before a transaction begins, never inside one.

mod asked;

pub use asked::{for_plan, for_work, of_record};

use domain::{
    application::Purpose,
    decision::{Finding, HourVerdict, Verdict, first_stretch, hours_of, judge_hours},
    equipment::Equipment,
    facts::{Facts, KeptDistances, SiteFacts, Supervision},
    ids::{ProductId, PropertyId, VisitId},
    product::Label,
    time::{Day, Instant, reckoned::ComputedInstant},
    weather::{
        Weather,
        age::AgeClass,
        hourly::HourWeather,
        reported::{Forecast, Reported},
        series::Span,
    },
};
use jiff::{civil::Time, tz::TimeZone};
use serde::Serialize;
use utoipa::ToSchema;

use crate::{
    state::App,
    store::{days::DayVisit, properties::Property, visits::VisitStatus},
    weather::{Patience, Place, ServiceReport, WeatherGap},
    zone::{self, UnknownZone},
};

/// The hours of the local day in which crews work. *Common practice.*
const WORK_BEGINS: Time = Time::constant(7, 0, 0, 0);
const WORK_ENDS: Time = Time::constant(19, 0, 0, 0);
/// Forecasts reach about a week.
const DAYS_AHEAD: i32 = 7;

pub fn place_of(property: &Property) -> Option<Place> {
    Some(Place::new(property.latitude?, property.longitude?))
}

/// Hours that follow one another.
#[derive(Debug, Clone, Copy, Serialize, ToSchema)]
pub struct VerdictPeriod {
    #[schema(value_type = ComputedInstant)]
    pub from: Instant,
    #[schema(value_type = ComputedInstant)]
    pub to: Instant,
    /// `go`, or `care` when no hour is better.
    pub verdict: Verdict,
}

/// What is to go down.
#[derive(Debug, Clone)]
pub struct PlannedProduct {
    pub visit: Option<VisitId>,
    pub product: ProductId,
    pub product_name: String,
    pub label: Label,
    pub purpose: Purpose,
    /// What stands against it by the certificate of whoever is to go.
    pub certificate: Vec<Finding>,
}

/// The working hours of a day for one product, as far as the weather goes.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct ProductHours {
    pub visit_id: Option<VisitId>,
    pub product_id: ProductId,
    #[schema(max_length = 120)]
    pub product_name: String,
    /// The best that any hour of the day offers, with the certificate of whoever is to go.
    pub verdict: Verdict,
    /// What a check would say of that certificate: of the visit's own person, or of a technician who asks. Empty where nothing stands
    /// against it, and where nobody is named.
    #[schema(max_items = 20)]
    pub certificate: Vec<Finding>,
    /// The first hours of the day with the best weather; null when every hour is a stop, or the day's work is over, or the
    /// certificate stops it.
    pub window: Option<VerdictPeriod>,
    /// The next such hours on a later day, within the forecast.
    pub next_window: Option<VerdictPeriod>,
    /// Working hours of the day that are not over yet, each with the reasons why it is not a plain `go`.
    #[schema(max_items = 16)]
    pub hours: Vec<HourVerdict>,
}

/// The working hours of a day on a property.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct WorkingWindow {
    pub property_id: PropertyId,
    pub day: Day,
    /// The state of knowledge: an hour that lies ahead is judged by what is forecast now, and asked again on the spot.
    pub asked_at: Instant,
    #[schema(max_items = 50)]
    pub products: Vec<ProductHours>,
    /// The working hours that are not over, in figures.
    #[schema(max_items = 16)]
    pub hours: Vec<HourWeather>,
    /// What is missing or old in what the services say.
    #[schema(max_items = 100)]
    pub gaps: Vec<WeatherGap>,
}

/// What one service says.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct ServiceWeather {
    /// Which service.
    #[schema(max_length = 40, example = "us_national_weather_service")]
    pub service: &'static str,
    /// A stand-in on the server's own machine answered in its place, as in the demonstration: made up, and no weather.
    pub sample: bool,
    /// What rules would be told about the hour that begins now, each value with its source and age.
    pub weather: Weather,
    /// The station that measured, if one near by has within the last hour.
    #[schema(max_length = 20)]
    pub station: Option<String>,
    pub forecast_fetched_at: Option<Instant>,
    /// When the service says that it made the forecast; null when it does not say.
    pub forecast_issued_at: Option<Instant>,
    /// What the forecast's age is worth; null without a forecast.
    pub forecast_age: Option<AgeClass>,
    /// What is missing or older than it should be, and why.
    #[schema(max_items = 100)]
    pub gaps: Vec<WeatherGap>,
    /// Questions that failed since one was last answered.
    #[schema(minimum = 0, maximum = 1_000_000_000)]
    pub failures_since_success: u64,
    pub last_success_at: Option<Instant>,
}

/// A service's words of now, with their ages.
pub fn service(app: &App, said: &ServiceReport, now: Instant) -> ServiceWeather {
    let seen = app.weather.all().iter().find(|service| service.name() == said.provider).map(|s| s.seen());
    let forecast = said.reported.forecast.as_ref();
    ServiceWeather {
        service: said.provider,
        sample: app.weather.is_sample(),
        weather: said.reported.weather(now, now),
        forecast_fetched_at: forecast.map(|forecast| forecast.fetched_at),
        forecast_issued_at: forecast.and_then(|forecast| forecast.issued_at),
        forecast_age: forecast.map(|forecast| AgeClass::of(now, forecast.fetched_at, forecast.issued_at)),
        station: said.station.clone(),
        gaps: said.gaps.iter().take(100).cloned().collect(),
        failures_since_success: seen.map_or(0, |seen| seen.failures_since_success),
        last_success_at: seen.and_then(|seen| seen.last_success_at),
    }
}

/// Hours of a day with one verdict and one reason.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct DayPeriod {
    #[schema(value_type = ComputedInstant)]
    pub from: Instant,
    #[schema(value_type = ComputedInstant)]
    pub to: Instant,
    pub verdict: Verdict,
    /// The gravest reason why it is not a plain `go`.
    #[schema(max_length = 2000)]
    pub why: Option<String>,
    /// Whether hot air is that reason.
    pub too_hot: bool,
}

/// The weather for a visit, as the book had it when the day was put together. Nobody was asked for it.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct VisitWeather {
    pub visit_id: VisitId,
    /// The best that any hour of the day offers; null when the working hours are over.
    pub verdict: Option<Verdict>,
    /// Working hours that are not over, in stretches.
    #[schema(max_items = 16)]
    pub stretches: Vec<DayPeriod>,
    /// The next such hours on a later day, within the forecast.
    pub next_window: Option<VerdictPeriod>,
    /// What each service had said, each value with its source and age.
    #[schema(max_items = 4)]
    pub services: Vec<ServiceWeather>,
    /// What is missing or old in it.
    #[schema(max_items = 100)]
    pub gaps: Vec<WeatherGap>,
}

/// The weather for planned visits of a day, from what the book holds already; nothing when no service is configured.
pub async fn of_visits(app: &App, day: Day, visits: &[DayVisit]) -> Vec<VisitWeather> {
    if app.weather.are_off() {
        return Vec::new();
    }
    let now = app.clock.now();
    let one = async |visit: &DayVisit| {
        let said = match place_of(&visit.property) {
            Some(place) => app.weather.report_within(&app.store, place, Patience::AsKnownAt(now)).await,
            None => Vec::new(),
        };
        let planned = PlannedProduct {
            visit: Some(visit.visit.id),
            product: visit.product.id,
            product_name: visit.product.name.clone(),
            label: visit.product.label.clone(),
            purpose: visit.visit.purpose,
            // It is among what is open about the stop.
            certificate: Vec::new(),
        };
        let services = said.iter().map(|said| service(app, said, now)).collect();
        let (hours, gaps) = match window(app, &visit.property, day, &[planned], &said) {
            Ok(window) => (window.products.into_iter().next()?, window.gaps),
            // The rest of the day is not held up by it; of this visit the hours are not known, and that is said.
            Err(unknown) => return Some(without_hours(visit.visit.id, services, &unknown)),
        };
        Some(VisitWeather {
            visit_id: visit.visit.id,
            verdict: (!hours.hours.is_empty()).then_some(hours.verdict),
            stretches: stretches(&hours.hours),
            next_window: hours.next_window,
            services,
            gaps,
        })
    };
    let planned = visits.iter().filter(|visit| visit.visit.status == VisitStatus::Planned);
    futures_util::future::join_all(planned.map(one)).await.into_iter().flatten().collect()
}

fn without_hours(visit_id: VisitId, services: Vec<ServiceWeather>, unknown: &UnknownZone) -> VisitWeather {
    let gaps = vec![WeatherGap { part: "forecast", why: unknown.to_string() }];
    VisitWeather { visit_id, verdict: None, stretches: Vec::new(), next_window: None, services, gaps }
}

fn stretches(hours: &[HourVerdict]) -> Vec<DayPeriod> {
    let mut stretches: Vec<DayPeriod> = Vec::new();
    for hour in hours {
        let why = hour.findings.first().map(|finding| finding.message.chars().take(2000).collect::<String>());
        match stretches.last_mut() {
            Some(last) if last.verdict == hour.verdict && last.why == why => last.to = hour.ends_at,
            _ => stretches.push(DayPeriod {
                from: hour.starts_at,
                to: hour.ends_at,
                verdict: hour.verdict,
                why,
                too_hot: hour.is_too_hot(),
            }),
        }
    }
    stretches
}

/// Judges the working hours of a day for each product, from what services said.
pub fn window(
    app: &App,
    property: &Property,
    day: Day,
    planned: &[PlannedProduct],
    said: &[ServiceReport],
) -> Result<WorkingWindow, UnknownZone> {
    let now = app.clock.now();
    let told: Vec<&Reported> = said.iter().map(|said| &said.reported).collect();
    let mut gaps: Vec<WeatherGap> = said.iter().flat_map(|said| said.gaps.iter().cloned()).take(100).collect();
    if app.weather.are_off() {
        gaps.push(WeatherGap { part: "forecast", why: "No weather service is configured.".to_owned() });
    } else if place_of(property).is_none() {
        gaps.push(WeatherGap { part: "forecast", why: "The property has no coordinates.".to_owned() });
    }
    let zone = zone::of_property(property.id, &property.time_zone)?;
    let judged = |planned| product_hours(app, (property, &zone), day, planned, &told, now);
    let products = planned.iter().map(judged).collect();
    let hours = working_hours(day, &zone, now).into_iter().map(|hour| HourWeather::of(&told, hour, now)).collect();
    Ok(WorkingWindow { property_id: property.id, day, asked_at: now, products, hours, gaps })
}

fn product_hours(
    app: &App,
    (property, zone): (&Property, &TimeZone),
    day: Day,
    planned: &PlannedProduct,
    told: &[&Reported],
    now: Instant,
) -> ProductHours {
    let judge = |on: Day| {
        let hours = working_hours(on, zone, now);
        let rule_sets: Vec<String> = property.rule_sets.iter().map(|code| code.0.clone()).collect();
        judge_hours(&app.law(), &rule_sets, &facts(property, planned, on, now), told, &hours, now)
    };
    let hours = judge(day);
    let (weather, held) = (best(&hours), planned.certificate.iter().map(|finding| finding.verdict).max());
    let verdict = weather.max(held.unwrap_or(Verdict::Go));
    let may_go = held != Some(Verdict::Stop);
    let last = told.iter().filter_map(|told| told.forecast.as_ref().and_then(Forecast::ends_at)).max();
    let later = (1..=DAYS_AHEAD).map(|days| day.plus_days(days));
    let mut within = later.take_while(|on| last.is_some_and(|last| on.starts_at(zone) < last));
    let next_window = within.find_map(|on| stretch(&judge(on), Verdict::Go)).filter(|_| may_go);
    ProductHours {
        visit_id: planned.visit,
        product_id: planned.product,
        product_name: planned.product_name.clone(),
        verdict,
        certificate: planned.certificate.clone(),
        window: stretch(&hours, weather).filter(|_| may_go),
        next_window,
        hours,
    }
}

/// The best of some hours; none at all is a stop.
fn best(hours: &[HourVerdict]) -> Verdict {
    hours.iter().map(|hour| hour.verdict).min().unwrap_or(Verdict::Stop)
}

fn stretch(hours: &[HourVerdict], verdict: Verdict) -> Option<VerdictPeriod> {
    let (from, to) = first_stretch(hours, verdict).filter(|_| verdict != Verdict::Stop)?;
    Some(VerdictPeriod { from, to, verdict })
}

/// The working hours of a day that are not over.
fn working_hours(day: Day, zone: &TimeZone, now: Instant) -> Vec<Span> {
    let Some(span) = Span::of_clock(day, WORK_BEGINS, WORK_ENDS, zone) else { return Vec::new() };
    let span = Span { start: span.start.max(now), ..span };
    if span.start < span.end { hours_of(span) } else { Vec::new() }
}

/// A question about the product alone: no section, since the weather is the same on all of them.
fn facts(property: &Property, planned: &PlannedProduct, on: Day, at: Instant) -> Facts {
    Facts {
        on,
        at,
        audience: property.worked_by,
        site: SiteFacts { kind: property.kind, plan_on: property.nutrient_plan_on, ..SiteFacts::LAWN },
        credentials: Vec::new(),
        supervision: Supervision::Unsaid,
        applicator_named: false,
        purpose: planned.purpose,
        equipment: Equipment::RotarySpreader,
        label: planned.label.clone(),
        weather: Weather::default(),
        service_asked: true,
        ground: None,
        pavement_cleaned: None,
        kept: KeptDistances::default(),
        lines: Vec::new(),
    }
}
