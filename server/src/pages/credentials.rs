//! Licenses and certificates of the staff: each under its person, corrected where it was copied wrongly.

use axum::{extract::State, response::Response};
use domain::ids;

use crate::{
    api,
    extract::PathId,
    pages::{
        form::{Choice, Field, Form, FormData},
        office_session::OfficeSession,
        people,
    },
    problem::Problem,
    state::App,
    store::{self, credentials::Credential, people::Person},
    version::Versioned,
};

/// The choices of this server, and what stands already, even if no rule set of today knows it.
fn with_standing(mut choices: Vec<Choice>, standing: Option<&str>) -> Vec<Choice> {
    let unknown = standing.filter(|standing| choices.iter().all(|choice| choice.value != *standing));
    choices.extend(unknown.map(|code| Choice::new(code, format!("{code} (not known to this server)"))));
    choices
}

fn form(app: &App, person: &Person, standing: Option<&Credential>, action: String) -> Form {
    let law = app.law();
    let sets = law.rule_sets().iter().map(|set| &set.about).filter(|about| about.code != "company");
    let sets = sets.map(|about| Choice::new(about.code.clone(), format!("{} ({})", about.name, about.code))).collect();
    let codes = law.credentials().into_iter().map(|code| Choice::new(code, code)).collect();
    let set = standing.and_then(|one| one.rule_set.as_ref()).map(|code| code.0.as_str());
    let code = standing.and_then(|one| one.code.as_deref());
    let fields = vec![
        Field::line("/name", "What it is called, with its category"),
        Field::line("/number", "Number"),
        Field::line("/issued_by", "Issued by"),
        Field::day("/valid_from", "Valid from"),
        Field::day("/valid_until", "Valid until, that day included").optional().help("Empty when it has no end."),
        Field::one("/rule_set", "Jurisdiction in which it counts", with_standing(sets, set))
            .optional()
            .help("Once it has run out, work there asks for care, and is stopped where the law asks for it."),
        Field::one("/code", "Which one it is, as rules name it", with_standing(codes, code))
            .optional()
            .help("Rules that ask for a certificate, or that do not bind its holder, go by this. Without it such a rule asks for care."),
    ];
    let (title, button) = match standing {
        None => (format!("A license or certificate of {}", person.name), "Add it"),
        Some(one) => (format!("Correct: {}, {}", one.name, person.name), "Save"),
    };
    Form::new(title, action, button, fields).back("/office/people").note(
        "Copied from the paper. A renewal is a further one, so that who held what on a past day can still be seen.",
    )
}

fn blank(app: &App, person: &Person) -> Form {
    form(app, person, None, format!("/office/people/{}/credentials/new", person.id))
}

pub async fn new(
    _: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Person>,
) -> Result<Response, Problem> {
    Ok(blank(&app, &people::get(&app, id).await?).once(&app).show())
}

pub async fn add(
    desk: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Person>,
    sent: FormData,
) -> Result<Response, Problem> {
    let form = blank(&app, &people::get(&app, id).await?).sent(&sent);
    let done = async {
        let (key, valid) = form.asked(&app)?;
        api::credentials::create_credential(desk.office(), State(app.clone()), PathId(id), key, valid).await
    };
    let done = done.await;
    form.made(&app, done, |_| "/office/people".to_owned())
}

async fn stored_form(app: &App, id: ids::CredentialId) -> Result<Form, Problem> {
    let found = store::credentials::get(app.store.reader(), id).await?;
    let found = found.ok_or_else(|| Problem::not_found("credential"))?;
    let person = people::get(app, found.person_id).await?;
    let form = form(app, &person, Some(&found), format!("/office/credentials/{id}"));
    Ok(form.filled(&found, found.version()))
}

pub async fn one(
    _: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Credential>,
) -> Result<Response, Problem> {
    Ok(stored_form(&app, id).await?.show())
}

pub async fn change(
    desk: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Credential>,
    sent: FormData,
) -> Result<Response, Problem> {
    let form = stored_form(&app, id).await?.sent(&sent);
    let done = async {
        let (version, valid) = form.asked_change(&app)?;
        api::credentials::replace_credential(desk.office(), State(app.clone()), PathId(id), version, valid).await
    };
    let done = done.await;
    form.changed(done, &stored_form(&app, id).await?, "/office/people")
}
