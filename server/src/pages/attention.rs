//! What needs attention today, each with the place where it is mended.

use std::collections::{BTreeSet, HashMap};

use domain::{ids::ProductId, law::Lawbook, product::product_for_target, quantity::ProductMass, time::Day};

use super::{
    local::Local,
    office::{NEWEST, ROWS},
};
use crate::{
    app::App,
    problem::Problem,
    store::{
        self,
        attention::{NewestReport, Site, Wanted},
        products::{Product, ProductStatus},
        settings::DateOrder,
    },
};

/// Soil reports are told so many days before they end: a sample must be dug, sent and answered. Common practice.
const SOIL_REPORT_DAYS: i32 = 60;
/// Rule sets are read again after so many months, because legislatures and councils sit every year. Common practice.
const RULE_SET_MONTHS: i32 = 12;

/// One thing to look at.
#[derive(Debug)]
pub struct Notice {
    /// A sign beside the words, so that nothing depends on a colour.
    pub sign: &'static str,
    pub words: String,
    pub href: String,
}

/// Everything of one kind.
#[derive(Debug)]
pub struct Group {
    pub heading: &'static str,
    pub notices: Vec<Notice>,
}

fn notice(sign: &'static str, words: String, href: impl Into<String>) -> Notice {
    Notice { sign, words, href: href.into() }
}

/// All of it; kinds of which there is nothing are left out.
pub async fn today(app: &App, company_zone: &str, dates: DateOrder) -> Result<Vec<Group>, Problem> {
    let reader = app.store.reader();
    let now = app.clock.now();
    let local = Local::of(company_zone);
    let today = local.day(now);
    let products = store::products::list(reader, ROWS).await?.into_iter().map(|row| row.item).collect::<Vec<_>>();
    let wanted = store::attention::wanted(reader).await?;
    let sites = store::attention::sites(reader).await?;
    let reports = store::attention::newest_reports(reader).await?;
    let mut places = places(&sites);
    places.extend(local.fault.map(|words| notice("■", format!("Of the company: {words}"), "/office/settings")));
    let mut groups = vec![
        Group { heading: "To review", notices: to_review(app).await? },
        Group { heading: "Visits that are late", notices: late_visits(app, today, dates).await? },
        Group { heading: "Stock", notices: stock(&products, &wanted) },
        Group { heading: "Soil reports", notices: soil_reports(&app.law, &reports, today, dates) },
        Group { heading: "Properties", notices: places },
        Group { heading: "Rule sets", notices: rule_sets(&app.law, &sites, today, dates) },
    ];
    groups.retain(|group| !group.notices.is_empty());
    Ok(groups)
}

async fn to_review(app: &App) -> Result<Vec<Notice>, Problem> {
    let rows = store::reviews::list(app.store.reader(), NEWEST, true, None).await?;
    let kinds = [
        ("■", "beyond_the_rules", "beyond the rules and not reviewed"),
        ("▲", "refused_attempt", "refused, and neither sent again nor reviewed"),
        ("●", "heavy_rain_after", "followed by heavy rain and not reviewed"),
    ];
    let counted = kinds.into_iter().filter_map(|(sign, why, words)| {
        let count = rows.iter().filter(|row| row.item.why == why).count();
        let noun = match (why, count) {
            ("refused_attempt", 1) => "attempt was",
            ("refused_attempt", _) => "attempts were",
            (_, 1) => "record is",
            _ => "records are",
        };
        (count > 0).then(|| notice(sign, format!("{count} {noun} {words}"), "/reviews"))
    });
    Ok(counted.collect())
}

/// Late by the clock of each property: planned for a day before today there.
async fn late_visits(app: &App, today: Day, dates: DateOrder) -> Result<Vec<Notice>, Problem> {
    let now = app.clock.now();
    let open = store::attention::open_visits(app.store.reader(), today.plus_days(2)).await?;
    let late = open.into_iter().filter(|visit| visit.planned_on < Local::of(&visit.time_zone).day(now));
    let told = late.map(|visit| {
        let words = format!(
            "{}: {} was to go on {}, and it is neither recorded nor closed",
            visit.address,
            visit.person,
            dates.day(visit.planned_on)
        );
        notice("▲", words, format!("/office/visits/{}", visit.id))
    });
    Ok(told.collect())
}

/// Products below zero by the book, and those of which less is there than the planned visits want.
fn stock(products: &[Product], wanted: &[Wanted]) -> Vec<Notice> {
    let mut needs: HashMap<ProductId, i64> = HashMap::new();
    for one in wanted {
        let product = products.iter().find(|product| product.id == one.product);
        let (Some(product), Some(target), Some(area)) = (product, one.target, one.area) else { continue };
        let mass = product_for_target(&product.label, area, target).map_or(0, ProductMass::raw);
        let need = needs.entry(one.product).or_default();
        *need = need.saturating_add(mass);
    }
    let mut told = Vec::new();
    for product in products {
        let href = format!("/office/products/{}", product.id);
        let there = product.balance_lb.raw();
        let need = needs.get(&product.id).copied().unwrap_or(0);
        let (name, balance) = (&product.name, product.balance_lb);
        if there < 0 {
            let words =
                format!("{name}: {balance} lb by the book, which cannot be. Book the missing delivery, or count");
            told.push(notice("■", words, href));
        } else if there < need {
            let need = ProductMass::from_raw(need);
            let words = format!("{name}: {balance} lb by the book, and the planned visits want {need} lb");
            told.push(notice("▲", words, href));
        } else if need > 0 && product.status != ProductStatus::Active {
            let words = format!("{name} is on hold or retired, and visits are planned with it");
            told.push(notice("▲", words, href));
        }
    }
    told
}

/// Soil reports that end soon or have just ended, by the rule of the place that takes them for the shortest time.
fn soil_reports(law: &Lawbook, reports: &[NewestReport], today: Day, dates: DateOrder) -> Vec<Notice> {
    let mut told = Vec::new();
    for report in reports {
        let taken = law.report_taken(&report.rule_sets, today, report.sampled_on);
        let Some(ends) = taken.iter().filter_map(|rule| rule.until).min() else { continue };
        let left = ends.days_since(today);
        let (sign, when) = if left < 0 { ("■", "ended") } else { ("▲", "ends") };
        if left <= SOIL_REPORT_DAYS {
            let words = format!("{}, {}: the soil report {when} on {}", report.address, report.name, dates.day(ends));
            told.push(notice(sign, words, format!("/office/sections/{}", report.section)));
        }
    }
    told
}

/// Properties of which nothing can be cleared, or whose clock is not known.
fn places(sites: &[Site]) -> Vec<Notice> {
    let mut told = Vec::new();
    for site in sites {
        let href = format!("/office/properties/{}/edit", site.id);
        if site.rule_sets.is_empty() {
            let words = format!("{}: no rule set is confirmed, so nothing can be cleared there", site.address);
            told.push(notice("■", words, href.clone()));
        }
        if let Some(fault) = Local::of(&site.time_zone).fault {
            told.push(notice("■", format!("{}: {fault}", site.address), href));
        }
    }
    told
}

/// Rule sets that bind one of the properties and were read long ago.
fn rule_sets(law: &Lawbook, sites: &[Site], today: Day, dates: DateOrder) -> Vec<Notice> {
    let named: BTreeSet<&Vec<String>> =
        sites.iter().map(|site| &site.rule_sets).filter(|codes| !codes.is_empty()).collect();
    let used: BTreeSet<String> = named.into_iter().flat_map(|codes| law.over(codes)).map(|set| set.code).collect();
    let old = used
        .iter()
        .filter_map(|code| law.rule_set(code))
        .map(|set| &set.about)
        .filter(|about| about.last_checked.plus_months(RULE_SET_MONTHS) < today);
    let told = old.map(|about| {
        let words = format!(
            "{} was read on {}, more than a year ago: ask what has changed",
            about.name,
            dates.day(about.last_checked)
        );
        notice("▲", words, "/rules")
    });
    told.collect()
}
