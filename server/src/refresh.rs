//! In the background: the forecasts that the coming visits need, the rain that fell after a record, and the end of what nothing
//! refers to. Started by `serve` alone, never while a test runs.

use std::time::Duration;

use domain::{
    time::{Day, Instant},
    weather::value::Billionths,
};
use futures_util::{StreamExt, stream};
use jiff::SignedDuration;
use tokio::time;

use crate::{
    problem::Problem,
    state::App,
    store::{
        self,
        journal::JournalContext,
        weather::{AfterRow, At},
    },
    weather::BACKGROUND_WAITS,
    weather::Round,
    weather::{Fallen, Patience, Place, client::random, fetcher::USED},
    zone,
};

/// What nothing refers to is kept a day longer than it is used.
const KEPT: SignedDuration = SignedDuration::from_hours(24 + USED.as_hours());
/// Pause between two places, the greater part of it by chance.
const PAUSE_MS: (u32, u32) = (100, 900);
/// Places that are asked about at the same time. Each keeps at most a few questions waiting, of which the client lets four out.
const PLACES_AT_ONCE: usize = 3;
/// Days back for which rain after a record is looked for: stations report some days late.
const DAYS_BACK: i32 = 3;
/// More than this within an hour is heavy: American Meteorological Society, Glossary of Meteorology, "rain": over 0.30 in/h.
const HEAVY_HOUR_MM: Billionths = Billionths::from_raw(7_620_000_000);
/// This much within the day puts the record on the owner's list too: 2 in, the amount that county ordinances name.
const HEAVY_DAY_MM: Billionths = Billionths::from_raw(50_800_000_000);

/// Goes round and round, some 45 minutes apart and never on the full hour, when everybody else asks.
pub async fn run(app: App) {
    loop {
        time::sleep(wait(app.clock.now(), random())).await;
        match round(&app).await {
            Ok(round) => tracing::info!(
                places = round.places,
                gaps = round.gaps,
                after = round.after,
                purged = round.purged,
                "weather refreshed"
            ),
            Err(problem) => tracing::warn!(detail = problem.detail, "weather could not be refreshed"),
        }
    }
}

/// Between 35 and 55 minutes by chance; moved on by five minutes or more if that would end within five minutes of an hour.
fn wait(now: Instant, chance: u32) -> Duration {
    let seconds = 35 * 60 + u64::from(chance) % (20 * 60);
    let ends = now.plus(SignedDuration::from_secs(i64::try_from(seconds).unwrap_or(0)));
    let into_hour = ends.millis().div_euclid(1000).rem_euclid(3600);
    let past_five = match into_hour {
        0..300 => 300 - into_hour,
        3300.. => 3600 - into_hour + 300,
        _ => 0,
    };
    Duration::from_secs(seconds + u64::try_from(past_five).unwrap_or(0))
}

/// One round over the places of today's and tomorrow's visits, and the records of the last days.
pub async fn round(app: &App) -> Result<Round, Problem> {
    let mut round = Round::default();
    if app.weather.are_off() {
        return Ok(round);
    }
    let now = app.clock.now();
    // Before the set-up there are neither visits nor records to ask for.
    let Some((_, office)) = store::people::company(app.store.reader()).await? else { return Ok(round) };
    let today = now.day_in(&zone::of_company(&office)?);
    let mut places: Vec<Place> = store::weather::planned_places(app.store.reader(), [today, today.plus_days(1)])
        .await?
        .iter()
        .map(|at| Place::new(at.latitude, at.longitude))
        .collect();
    places.sort_unstable();
    places.dedup();
    round.places = places.len();
    round.gaps = ask_for(app, places).await;
    round.after = after(app, today, now).await?;
    let before = now.plus(-KEPT);
    round.purged = app
        .store
        .write(move |connection| Box::pin(async move { Ok(store::weather::purge(connection, before).await?) }))
        .await?;
    app.weather.note_round(app.clock.now(), round);
    Ok(round)
}

/// Asks about places, each begun after a pause, few at once: what belongs together is fetched together, and nobody is flooded. A
/// slow place has its own time and holds up no other. Gives the number of gaps.
async fn ask_for(app: &App, places: Vec<Place>) -> usize {
    let begun = stream::iter(places.into_iter().enumerate()).then(async |(at, place)| {
        if at > 0 {
            time::sleep(Duration::from_millis(u64::from(PAUSE_MS.0 + random() % PAUSE_MS.1))).await;
        }
        place
    });
    let asked = begun.map(async |place| {
        let patience = Patience::Until(time::Instant::now() + BACKGROUND_WAITS);
        let said = app.weather.report_within(&app.store, place, patience).await;
        said.iter().map(|said| said.gaps.len()).sum::<usize>()
    });
    asked.buffer_unordered(PLACES_AT_ONCE).fold(0, async |sum, gaps| sum + gaps).await
}

/// Attaches rain that has fallen within 24 hours to the records that it followed, once those hours are over.
async fn after(app: &App, today: Day, now: Instant) -> Result<usize, Problem> {
    let mut noted = 0;
    for service in app.weather.all() {
        let from = today.plus_days(-DAYS_BACK);
        for at in store::weather::missing_rain_followup(app.store.reader(), service.name(), from).await? {
            let At { of: (application, started), latitude, longitude } = at;
            if now.since(started) < SignedDuration::from_hours(25) {
                continue;
            }
            let place = Place::new(latitude, longitude);
            let Some(fallen) = service.fallen(&app.store, place, started).await else { continue };
            let row = row(application, &fallen);
            let kept = app.store.write(move |connection| {
                Box::pin(async move {
                    let kept = store::weather::keep_after(&mut *connection, &row, now).await?;
                    if kept {
                        let deed = JournalContext {
                            actor: None,
                            at: now,
                            act: "application.rain_noted",
                            subject: application.uuid(),
                        };
                        store::journal::append(connection, deed, &serde_json::to_string(&row)?).await?;
                    }
                    Ok(kept)
                })
            });
            noted += usize::from(kept.await?);
        }
    }
    Ok(noted)
}

fn row(application_id: domain::ids::ApplicationId, fallen: &Fallen) -> AfterRow {
    AfterRow {
        application_id,
        provider: fallen.provider,
        basis: fallen.basis,
        station: fallen.station.clone(),
        rain: fallen.total.inches_up().raw(),
        wettest_hour: fallen.wettest_hour.inches_up().raw(),
        covered_s: fallen.covered_s.clamp(0, 86_400),
        heavy: fallen.wettest_hour > HEAVY_HOUR_MM || fallen.total >= HEAVY_DAY_MM,
        fetch: fallen.fetch,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_round_never_begins_near_the_full_hour() {
        let start = Instant::parse("2026-06-18T14:00:00Z").expect("an instant");
        for minute in 0..60 {
            for chance in (0..1200).step_by(7) {
                let now = start.plus(SignedDuration::from_mins(minute));
                let wait = wait(now, chance);
                let at = now.plus(SignedDuration::try_from(wait).expect("a duration"));
                let into = at.millis().div_euclid(1000).rem_euclid(3600);
                assert!((300..3300).contains(&into), "{at}");
                assert!((35..=65).contains(&(wait.as_secs() / 60)), "{wait:?}");
            }
        }
    }
}
