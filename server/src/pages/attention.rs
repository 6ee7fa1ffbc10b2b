//! What needs attention today, each with the place where it is mended.

use std::collections::HashMap;

use domain::{actor::Role, ids::PersonId, time::Day};

use crate::{
    book::attention::{self, Short},
    pages::{
        self, figures,
        local::Local,
        office::{ALL_ROWS, NEWEST},
    },
    paging::PageRequest,
    problem::Problem,
    state::App,
    store::{
        self,
        attention::{NewestReport, Site},
        products::Product,
        settings::{DateOrder, Settings},
    },
};

/// One thing to look at.
#[derive(Debug)]
pub struct Notice {
    /// A sign beside the words, so that nothing depends on a colour.
    pub sign: &'static str,
    pub words: String,
    /// Where it is mended; nothing where no page mends it.
    pub href: Option<String>,
}

/// Everything of one kind.
#[derive(Debug)]
pub struct Group {
    pub heading: &'static str,
    pub notices: Vec<Notice>,
}

fn notice(sign: &'static str, words: String, href: impl Into<String>) -> Notice {
    Notice { sign, words, href: Some(href.into()) }
}

/// All of it; kinds of which there is nothing are left out.
pub async fn today(app: &App, company_zone: &str, dates: DateOrder) -> Result<Vec<Group>, Problem> {
    let reader = app.store.reader();
    let settings = &store::settings::get(reader).await?;
    let now = app.clock.now();
    let local = Local::of(company_zone);
    let today = local.day(now);
    let products = store::products::list(reader, ALL_ROWS).await?.into_iter().map(|row| row.item).collect::<Vec<_>>();
    let wanted = store::attention::wanted(reader).await?;
    let sites = store::attention::sites(reader).await?;
    let reports = store::attention::newest_reports(reader).await?;
    let mut places = places(&sites);
    places.extend(local.unknown.as_ref().map(|zone| Notice { sign: "■", words: of_company(zone), href: None }));
    let mut groups = vec![
        Group { heading: "To review", notices: to_review(app).await? },
        Group { heading: "Visits that are late", notices: late_visits(app, today, dates).await? },
        Group { heading: "Stock", notices: stock(&attention::short(&products, &wanted)) },
        Group {
            heading: "Soil reports",
            notices: soil_reports(&attention::ending(&app.law(), &reports, today), today, dates),
        },
        Group { heading: "Licenses and certificates", notices: credentials(app, &sites, today, dates).await? },
        Group { heading: "Properties", notices: places },
        Group { heading: "Rule sets", notices: rule_sets(app, &sites, &local, settings).await? },
        Group { heading: "Weather services", notices: weather(app, &local, dates) },
        Group { heading: "Disk", notices: disk(app) },
        Group { heading: "Backups", notices: backups(app, &local, dates) },
    ];
    groups.retain(|group| !group.notices.is_empty());
    Ok(groups)
}

/// The company's own zone is set once, with the book, so no page mends it.
fn of_company(zone: &str) -> String {
    format!(
        "The company's time zone “{zone}” is not known to this server, so pages that need the company's today, such as the year, statements and load sheets, report a fault; days on this page are those of UTC and may be a day off. It was chosen at set-up, and no page changes it: start a newer version of the server, which knows newer zones"
    )
}

async fn to_review(app: &App) -> Result<Vec<Notice>, Problem> {
    let rows =
        store::reviews::list(app.store.reader(), PageRequest { after: NEWEST.after, ..ALL_ROWS }, true, None).await?;
    let waiting = attention::waiting(rows.iter().map(|row| &row.item));
    let kinds = [
        ("■", waiting.beyond_the_rules, ["record is", "records are"], "beyond the rules and not reviewed"),
        ("▲", waiting.refused, ["attempt was", "attempts were"], "refused, and neither sent again nor reviewed"),
        ("●", waiting.heavy_rain, ["record is", "records are"], "followed by heavy rain and not reviewed"),
        (
            "▲",
            waiting.measurements,
            ["measurement of a technician is", "measurements of technicians are"],
            "not confirmed",
        ),
        (
            "▲",
            waiting.sightings,
            ["thing that a technician saw of a lawn is", "things that technicians saw of lawns are"],
            "not confirmed",
        ),
        (
            "▲",
            waiting.odd,
            ["record of a changed visit or a moved clock is", "records of changed visits or moved clocks are"],
            "not reviewed",
        ),
        ("▲", waiting.changes, ["change of a lawn is", "changes of lawns are"], "to be looked at by the owner"),
        (
            "▲",
            waiting.doubtful,
            ["thing that was told later makes a record", "things that were told later make records"],
            "doubtful, and the owner has not reviewed it",
        ),
        ("▲", waiting.others, ["further entry is", "further entries are"], "on the owner's list and not reviewed"),
    ];
    let told = kinds.into_iter().filter(|(_, count, ..)| *count > 0).map(|(sign, count, [one, many], words)| {
        let noun = if count == 1 { one } else { many };
        notice(sign, format!("{count} {noun} {words}"), "/reviews")
    });
    Ok(told.collect())
}

async fn late_visits(app: &App, today: Day, dates: DateOrder) -> Result<Vec<Notice>, Problem> {
    let open = store::attention::open_visits(app.store.reader(), today.plus_days(2)).await?;
    let told = attention::late(open, app.clock.now()).into_iter().map(|visit| {
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

fn stock(short: &[(&Product, Short)]) -> Vec<Notice> {
    let told = short.iter().map(|(product, short)| {
        let (name, balance) = (&product.name, figures::pounds(&product.balance_lb).shown);
        let (sign, words) = match short {
            Short::Negative => (
                "■",
                format!("{name}: the records show {balance} lb, which cannot be. Enter the missing delivery, or count"),
            ),
            Short::PlannedDemand(need) => {
                // What is there and what is needed must not read the same.
                let balance = figures::pounds_against(&product.balance_lb, need).shown;
                let need = figures::exact(need).shown;
                ("▲", format!("{name}: {balance} lb in stock, and the planned visits need {need} lb"))
            }
            Short::NotInUse => ("▲", format!("{name} is on hold or retired, and visits are planned with it")),
        };
        notice(sign, words, format!("/office/products/{}", product.id))
    });
    told.collect()
}

fn soil_reports(ending: &[(&NewestReport, Day)], today: Day, dates: DateOrder) -> Vec<Notice> {
    let told = ending.iter().map(|(report, ends)| {
        let (sign, when) = if *ends < today { ("■", "ended") } else { ("▲", "ends") };
        let words = format!("{}, {}: the soil report {when} on {}", report.address, report.name, dates.day(*ends));
        notice(sign, words, format!("/office/sections/{}", report.section))
    });
    told.collect()
}

async fn credentials(app: &App, sites: &[Site], today: Day, dates: DateOrder) -> Result<Vec<Notice>, Problem> {
    let reader = app.store.reader();
    let people = store::people::list(reader, ALL_ROWS).await?.into_iter().map(|row| row.item);
    let people: Vec<_> = people.filter(|one| one.active).collect();
    let in_field: Vec<PersonId> = people.iter().filter(|one| one.role == Role::Technician).map(|one| one.id).collect();
    let people: HashMap<PersonId, String> = people.into_iter().map(|one| (one.id, one.name)).collect();
    let held = store::credentials::list_all(reader).await?;
    let law = app.law();
    let uncertified = attention::uncertified(&law, sites, &in_field, (&held, today));
    let lacking = uncertified.into_iter().map(|((place, stops), count)| {
        let many = if count == 1 { "person has" } else { "people have" };
        let (sign, then) = if stops {
            ("■", "is stopped")
        } else {
            ("▲", "asks for care, or is stopped if nobody supervises it,")
        };
        let words = format!("{count} {many} no certificate that {place} asks for: work by them {then} there");
        notice(sign, words, "/office/people")
    });
    let told = attention::running_out(&held, today).into_iter().filter_map(|(one, until)| {
        let (sign, when) = if until < today { ("■", "ran out") } else { ("▲", "ends") };
        let words = format!("{}: {} {when} on {}", people.get(&one.person_id)?, one.name, dates.day(until));
        Some(notice(sign, words, "/office/people"))
    });
    Ok(lacking.chain(told).collect())
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
        if let Some(fault) = Local::of(&site.time_zone).fault() {
            told.push(notice("■", format!("{}: {fault}", site.address), href));
        }
    }
    told
}

/// What stands against recording or soon will: a file that is not where it was, disks that have little left.
fn disk(app: &App) -> Vec<Notice> {
    let low = app.space.low().into_iter().map(|left| {
        notice("▲", left.sentence() + ". Whoever runs the server makes room", "/help/server#a-floor-of-free-space")
    });
    let astray = app.store.misplaced().map(|astray| {
        let words =
            format!("Nothing can be recorded: {}. Phones keep what they have. {}", astray.sentence(), astray.way_out());
        notice("■", words.trim_end_matches('.').to_owned(), "/help/server#a-file-that-is-not-where-it-was")
    });
    astray.into_iter().chain(low).collect()
}

/// How old the newest copy is that the server made by itself. Where none are made, nothing is known of them.
pub fn newest_copy(app: &App, company_zone: &str, dates: DateOrder) -> Option<String> {
    let at = app.store.metrics().last_backup()?.at?;
    let minutes = app.clock.now().since(at).as_mins().max(0);
    let age = match minutes {
        0 => "just now".to_owned(),
        1 => "a minute ago".to_owned(),
        2..120 => format!("{minutes} minutes ago"),
        _ => format!("{} hours ago", minutes / 60),
    };
    Some(format!("The newest copy of the records is of {}, {age}.", Local::of(company_zone).minute(at, dates)))
}

fn span(seconds: u64) -> String {
    match seconds {
        ..120 => format!("{seconds} seconds"),
        _ => format!("{} minutes", seconds / 60),
    }
}

/// Copies that the server makes by itself and that fail or do not come.
fn backups(app: &App, local: &Local, dates: DateOrder) -> Vec<Notice> {
    let metrics = app.store.metrics();
    let told = metrics.backups_fail().map(|(since, why)| {
        let last = metrics.last_backup().and_then(|last| last.at).map_or_else(
            || "There is none.".to_owned(),
            |at| format!("The newest one is of {}.", local.minute(at, dates)),
        );
        let words = format!(
            "Since {} the copies of the records are not as they should be: {why}. {last} Whoever runs the server mends it",
            local.minute(since, dates)
        );
        notice("■", words, "/help/server#back-up")
    });
    let late = metrics.backup_late(app.clock.now()).map(|(since, every)| {
        let words = format!(
            "No copy of the records was made since {}, and one is due every {}. Whoever runs the server looks at the disk of the copies",
            local.minute(since, dates),
            span(every.as_secs())
        );
        notice("■", words, "/help/server#back-up")
    });
    told.into_iter().chain(late).collect()
}

async fn rule_sets(app: &App, sites: &[Site], local: &Local, settings: &Settings) -> Result<Vec<Notice>, Problem> {
    let ago = match settings.rule_sets_months {
        12 => "a year".to_owned(),
        1 => "a month".to_owned(),
        months => format!("{months} months"),
    };
    let law = app.law();
    let mut notices = pages::rule_sets::notices(app, local, settings.date_order).await?;
    notices.extend(attention::gone_rule_sets(&law, sites).into_iter().map(|(code, count)| {
        let places = if count == 1 { "1 property".to_owned() } else { format!("{count} properties") };
        let words = format!(
            "“{code}” binds {places}, and this server does not have its file: what it asks is not known, and nothing there is go. Whoever runs the server puts the file back"
        );
        notice("■", words, "/help/law")
    }));
    let today = local.day(app.clock.now());
    let told = attention::old_rule_sets(&law, sites, today, settings.rule_sets_months).into_iter().map(|about| {
        let words = format!(
            "{} was read on {}, more than {ago} ago: ask what has changed",
            about.name,
            settings.date_order.day(about.last_checked)
        );
        notice("▲", words, "/rules")
    });
    notices.extend(told);
    Ok(notices)
}

/// Answers of weather services that could not be read: nobody here mends them, but decisions ask for care while it lasts, and whoever
/// runs the server may have to act.
fn weather(app: &App, local: &Local, dates: DateOrder) -> Vec<Notice> {
    let told = attention::unreadable(app.weather.all(), app.clock.now()).into_iter().map(|(service, unread)| {
        let service = match service {
            "us_national_weather_service" => "The US National Weather Service",
            _ => "Open-Meteo",
        };
        let part = match unread.part {
            "place" => "what it says of the place",
            "observation" => "its measurements",
            "alerts" => "its alerts",
            _ => "its forecasts",
        };
        let words = format!(
            "{service}: in {part}, {} could not be read or was of another place. The first was “{}”, at {}",
            if unread.count == 1 { "one value".to_owned() } else { format!("{} values", unread.count) },
            unread.first,
            local.minute(unread.first_at, dates)
        );
        notice("▲", words, "/help/weather")
    });
    told.collect()
}
