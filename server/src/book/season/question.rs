//! What is asked about a section's season: its facts on any day, the rounds that are open, its need and its lime.

use domain::{
    application::{Ground, Purpose},
    decision::Verdict,
    facts::{Facts, HeldCredential, KeptDistances, LineFacts, PastApplication, SectionFacts, Supervision},
    ids::{ProductId, PropertyId, SectionId},
    product::Label,
    programme::{PlanProduct, PlanRound, SeasonQuestion, frame::Frame, liming::LimeAsked, need::ComputedNeed},
    quantity::{Area, ProductMass, RainDepth, Temperature},
    time::{Day, Instant},
    weather::{AirTemperature, Alerts, HeavyRain, RainForecast, Weather, WeatherSource},
};
use jiff::{SignedDuration, tz::TimeZone};

use super::{NotPlanned, RoundLeftOut, Season, lime, need};
use crate::{
    acts::{
        credentials, facts,
        rows::{PropertyRow, SectionRow},
    },
    store::programmes::lawns::{Lawn, VisitLine},
};

/// A section's question with everything that it is made from.
pub(super) struct LawnQuestion<'a> {
    season: &'a Season,
    rule_sets: &'a [String],
    zone: TimeZone,
    facts: Facts,
    products: Vec<PlanProduct>,
    lime: Option<LimeAsked>,
    pub from: Day,
    pub area: Area,
    pub need: ComputedNeed,
    pub frame: Option<Frame>,
    pub rounds: Vec<PlanRound>,
    /// Rounds that are not open, and why.
    pub taken: Vec<RoundLeftOut>,
    pub gaps: Vec<String>,
}

impl LawnQuestion<'_> {
    /// Does something with the question.
    pub fn with<T>(&self, work: impl FnOnce(&SeasonQuestion<'_>) -> T) -> T {
        let facts_on = |on: Day| {
            let at = on.starts_at(&self.zone).plus(SignedDuration::from_hours(12));
            Facts { on, at, weather: fair(at), ..self.facts.clone() }
        };
        work(&SeasonQuestion {
            rule_sets: self.rule_sets,
            facts_on: &facts_on,
            rounds: &self.rounds,
            products: &self.products,
            need: self.need.season_need(),
            frame: self.frame.as_ref(),
            lime: self.lime.as_ref(),
            least_product: self.season.programme.least_product_lb_per_1000_sqft,
            aim: self.season.aim,
        })
    }
}

impl Season {
    /// What is asked about one section. `offered` are the products, in an order that all sections share.
    pub(super) fn ask(
        &self,
        lawn: &Lawn,
        offered: &[(ProductId, PlanProduct)],
    ) -> Result<LawnQuestion<'_>, NotPlanned> {
        let missing = |code, why: String| NotPlanned { code, why };
        let section = self.world.sections.get(&lawn.section_id);
        let property = self.world.properties.get(&lawn.property_id);
        let (Some(section), Some(property)) = (section, property) else {
            return Err(missing("not_found", "is not on record".to_owned()));
        };
        let zone = facts::zone(lawn.property_id, property, self.now)
            .map_err(|unknown| missing("unknown_zone", unknown.to_string()))?;
        let from = self.from.unwrap_or_else(|| self.now.day_in(&zone));
        let area = section.area_on(from).ok_or_else(|| {
            missing("not_measured", "has no measurement that counts; measure it, and it can be planned".to_owned())
        })?;
        let past = section.past(None, None, None, |id| self.world.earlier_product(id));
        let (mut past, mut gaps) = (past.map_err(|fault| missing("not_found", fault.to_string()))?, Vec::new());
        past.extend(self.open_visits(lawn.section_id, area, &mut gaps));
        let (need, frame) = need::of(&self.programme, lawn, section.on(from).species, &past, from)?;
        let (rounds, taken) = self.rounds(lawn.section_id, from, property.cancelled_on(from));
        let label = offered.first().map(|(_, product)| &product.label).ok_or_else(|| {
            missing("no_product", "cannot be planned: no product of the program may be used".to_owned())
        })?;
        let facts = self.facts((property, section), lawn.section_id, (from, area), past, label);
        let lime = lime::asked(self, lawn, section.on(from).species, (from, area)).unwrap_or_else(|why| {
            gaps.push(why);
            None
        });
        let products: Vec<PlanProduct> = offered.iter().map(|(_, product)| product.clone()).collect();
        let rule_sets = &property.on(from).rule_sets;
        let season = self;
        Ok(LawnQuestion {
            season,
            rule_sets,
            zone,
            facts,
            products,
            lime,
            from,
            area,
            need,
            frame,
            rounds,
            taken,
            gaps,
        })
    }

    /// The section's facts without weather, label and product of a line, which the planning puts in.
    fn facts(
        &self,
        (property, row): (&PropertyRow, &SectionRow),
        id: SectionId,
        (from, area): (Day, Area),
        past: Vec<PastApplication>,
        label: &Label,
    ) -> Facts {
        let stood = row.on(from);
        let section = SectionFacts {
            id,
            water: stood.water(),
            name: stood.name,
            area,
            species: stood.species,
            natural_strip: stood.natural_strip_ft,
            established_on: stood.established_on,
            touches_pavement: stood.touches_pavement,
            divisions: row.divisions(),
            soil_reports: row.soil_reports(),
            past,
        };
        Facts {
            on: from,
            at: self.now,
            audience: property.on(from).worked_by,
            site: property.site_on(from, &[id]),
            credentials: self.held(from),
            // Who supervises is named before the work; a plan lends nobody's certificate to another.
            supervision: Supervision::Unsaid,
            applicator_named: true,
            purpose: Purpose::Maintenance,
            equipment: self.programme.equipment,
            label: label.clone(),
            weather: Weather::default(),
            service_asked: false,
            ground: Some(Ground::Moist),
            pavement_cleaned: Some(true),
            kept: KeptDistances::default(),
            lines: vec![LineFacts { section, area, parts: None, product: ProductMass::ZERO }],
        }
    }

    /// What somebody holds who may be sent. What frees its holder from a rule counts as that only if each of them holds it as long
    /// as the plan looks ahead: which of them goes is settled by their days. Otherwise it is a certificate of which nobody
    /// said what it is, which asks for care.
    fn held(&self, from: Day) -> Vec<HeldCredential> {
        let each: Vec<Vec<HeldCredential>> =
            self.sent.iter().filter_map(|id| self.world.people.get(id)).map(credentials::held).collect();
        let ahead = self.programme.rounds.iter().map(|round| round.to).max().unwrap_or(from).max(from);
        let by_each =
            |code: &str| each.iter().all(|own| own.iter().any(|one| one.is(code, from) && one.is(code, ahead)));
        let of_whom = |mut one: HeldCredential| {
            one.code = one.code.filter(|code| !self.law.frees(code) || by_each(code));
            one
        };
        each.iter().flatten().cloned().map(of_whom).collect()
    }

    /// Whether a technician holds what the law asks for on a day, of everything that goes down at a stop: which product at which
    /// property.
    pub(super) fn may_go(
        &self,
        technician: usize,
        places: impl IntoIterator<Item = (PropertyId, usize)>,
        offered: &[(ProductId, PlanProduct)],
        on: Day,
    ) -> Result<(), String> {
        let sent = self.technicians.get(technician).map(|one| one.person_id);
        let Some(person) = sent.and_then(|id| self.world.people.get(&id)) else { return Ok(()) };
        for (property, product) in places {
            let (property, offer) = (self.world.properties.get(&property), offered.get(product));
            let Some((property, (_, offer))) = property.zip(offer) else { continue };
            let label = (&offer.label, Purpose::Maintenance);
            let findings = credentials::of_stop(&self.law, property, label, person, on);
            if let Some(stops) = findings.iter().find(|finding| finding.verdict == Verdict::Stop) {
                return Err(format!("{}: {}", person.name, stops.message.trim_end_matches('.')));
            }
        }
        Ok(())
    }

    /// What open visits will put down here, as it will count.
    fn open_visits(&self, section: SectionId, area: Area, gaps: &mut Vec<String>) -> Vec<PastApplication> {
        let mut planned = Vec::new();
        for line in self.visits.iter().filter(|line| line.open && line.section_id == section) {
            let product = self.world.products.get(&line.product_id);
            match (product, self.visit_product(line)) {
                (Some(product), Some(mass)) => planned.push(PastApplication {
                    held: true,
                    ..PastApplication::planned(&product.label, mass, (line.planned_on, area), line.purpose)
                }),
                _ => gaps.push(format!(
                    "The visit on {} has no target that its product can meet; what it will put down is not counted.",
                    line.planned_on
                )),
            }
        }
        planned.sort_by_key(|planned| planned.on);
        planned
    }

    /// Rounds that are still to be planned here, and why the others are not.
    fn rounds(&self, section: SectionId, from: Day, cancelled_on: Option<Day>) -> (Vec<PlanRound>, Vec<RoundLeftOut>) {
        let (mut open, mut taken) = (Vec::new(), Vec::new());
        for round in &self.programme.rounds {
            let own = |line: &&VisitLine| {
                let of = line.of.as_ref().map(|(id, round)| (*id, round.as_str()));
                line.section_id == section && of == Some((self.programme.id, round.name.as_str()))
            };
            let visit = self.visits.iter().find(own);
            let mut leave = |why: String| taken.push(RoundLeftOut { round: round.name.clone(), why });
            let last = cancelled_on.map_or(round.to, |day| round.to.min(day.plus_days(-1)));
            match (visit, &self.only) {
                (Some(visit), _) => {
                    let how = if visit.open { "is planned" } else { "was made" };
                    leave(format!("It {how} already: the visit of {}.", visit.planned_on));
                }
                (None, _) if round.to < from => leave(format!("It is over: it ended on {}.", round.to)),
                (None, _) if last < round.from.max(from) => leave("The client's service ends before it.".to_owned()),
                (None, Some((only, day))) if *only == round.name => {
                    let window = PlanRound { from: *day, to: *day, ..round.clone() };
                    if *day <= last && *day >= from {
                        open.push(window);
                    } else {
                        leave(format!("Its day lies before {from}, or after the end of the client's service."));
                    }
                }
                (None, _) => open.push(PlanRound { from: round.from.max(from), to: last, ..round.clone() }),
            }
        }
        (open, taken)
    }
}

/// The weather that is planned for: seen at the moment itself, mild, dry and without an alert.
fn fair(at: Instant) -> Weather {
    let source = WeatherSource::Technician;
    let rain = |hours| RainForecast {
        rain_in: RainDepth::ZERO,
        hours,
        chance_percent: None,
        source,
        issued_at: at,
        bounds: None,
        service: None,
    };
    Weather {
        air_temperature: Some(AirTemperature {
            air_temperature_f: Temperature::from_raw(650),
            source,
            observed_at: at,
            service: None,
        }),
        rain_forecast: vec![rain(24), rain(168)],
        alerts: Some(Alerts { active: Vec::new(), source, looked_at: at, others: Vec::new(), service: None }),
        heavy_rain: Some(HeavyRain { falls: false, source, observed_at: at }),
        wind: None,
        soil: None,
        doubted: None,
    }
}
