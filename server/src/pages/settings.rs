//! The company's settings, as the owner sets them.

use axum::{extract::State, response::Response};

use crate::{
    api,
    pages::{
        form::{Field, Form, FormData, choices},
        office_session::OwnerSession,
    },
    problem::Problem,
    signing,
    state::App,
    store::{self, settings::Settings},
    version::Versioned,
};

fn form(app: &App, settings: &Settings) -> Form {
    let orders =
        choices(&[("year_month_day", "2026-09-15, year first"), ("month_day_year", "09/15/2026, month first")]);
    let fields = vec![
        Field::one("/date_order", "How pages write a date", orders),
        Field::number("/rule_sets_months", "Rule sets are read again after so many months")
            .help("From then on Today asks for a new look at each rule set that binds one of the properties."),
        Field::number("/idle_minutes", "Minutes after which an unused sign-in ends")
            .under("Sign-in")
            .help("5 to 720. A sign-in ends after twelve hours in any case; phones that are connected with a code stay connected."),
        Field::number("/security_log_days", "Days for which the security log is kept")
            .help("90 to 3650. What is older is deleted by itself."),
    ];
    Form::new("Settings", "/office/settings", "Save", fields)
        .filled(settings, settings.version())
        .note("Amounts are in pounds, square feet and pounds per 1,000 square feet, as the labels and the law write them: another unit would have to be converted, and a converted figure is not the one that binds.")
        .note("Where a day is typed, the browser shows it in its own order.")
        .note(format!(
            "Public key of this company's receipts (ed25519): {}. It belongs to records {}. Give it to whoever keeps receipts; GET /api/v1/public-key answers it to everybody, in the form that common tools read.",
            signing::public_text(app.signing.public()),
            app.signing.book()
        ))
}

pub async fn one(_: OwnerSession, State(app): State<App>) -> Result<Response, Problem> {
    Ok(form(&app, &store::settings::get(app.store.reader()).await?).show())
}

pub async fn change(desk: OwnerSession, State(app): State<App>, sent: FormData) -> Result<Response, Problem> {
    let form_sent = form(&app, &store::settings::get(app.store.reader()).await?).sent(&sent);
    let done = async {
        let (version, valid) = form_sent.asked_change(&app)?;
        api::settings::replace_settings(desk.owner(), State(app.clone()), version, valid).await
    };
    let done = done.await;
    let now = form(&app, &store::settings::get(app.store.reader()).await?);
    form_sent.changed(done, &now, "/office")
}
