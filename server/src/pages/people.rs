//! Staff and their phones. The owner enters and corrects people; the office connects technicians' phones and locks them out.

use askama::Template;
use axum::{
    extract::{Query, State},
    http::{HeaderMap, HeaderValue, header},
    response::{IntoResponse, Redirect, Response},
};
use domain::{
    actor::Role,
    ids,
    time::{Day, Instant},
};

use crate::{
    api::{self, devices::EnrolmentCode, sessions::Peer},
    extract::PathId,
    pages::{
        form::{Field, Form, FormData, choices},
        local::Local,
        office::{self, ALL_ROWS, After, ROWS, shown},
        office_session::{OfficeSession, OwnerSession},
        page,
        passwords::confirmed,
        phone::enrolment::{Enrolment, enrolment_qr},
    },
    problem::Problem,
    state::App,
    store::{self, credentials::Credential, devices::Device, people::Person, settings::DateOrder},
    version::Versioned,
    zone::earliest_day,
};

fn form(title: &str, action: String, button: &'static str, new: bool) -> Form {
    let roles = choices(&[
        ("technician", "technician: own visits and records"),
        ("office", "office: clients, lawns, stock and visits"),
        ("owner", "owner: everything"),
    ]);
    let again = if new {
        "Only to add another owner."
    } else {
        "To change the role, the password, or whether somebody works here."
    };
    let password = if new {
        "Fifteen characters or more. A technician needs none: the phone is connected with a code."
    } else {
        "Leave it empty to keep the old one. A new one ends every session of this person."
    };
    let fields = vec![
        Field::line("/name", "Name"),
        Field::one("/role", "Role", roles),
        Field::yes_or_no("/active", "Works here").help("“No” ends this person's access at once."),
        Field::line("/sign_in/name", "Name to sign in with")
            .optional()
            .under("Signing in")
            .help("Lowercase letters, digits and . _ @ -"),
        Field::password("/sign_in/password", "Password").optional().help(password),
        Field::own_password(again),
    ];
    Form::new(title, action, button, fields).back("/office/people")
}

fn blank() -> Form {
    form("A new member of staff", "/office/people/new".to_owned(), "Add the person", true)
}

fn stored_form(person: &Person) -> Form {
    let title = format!("Correct {}", person.name);
    let form = form(&title, format!("/office/people/{}", person.id), "Save", false);
    let form = form.filled(person, person.version());
    match &person.sign_in {
        Some(name) => {
            form.note(format!("Signs in as {name}. To set a new password, write that name and the new password."))
        }
        None => form,
    }
}

pub(super) async fn get(app: &App, id: ids::PersonId) -> Result<Person, Problem> {
    let found = store::people::get(app.store.reader(), id).await?;
    found.ok_or_else(|| Problem::not_found("person"))
}

#[derive(Template)]
#[template(path = "people.html")]
struct People {
    staff: Vec<Staff>,
    /// The number after which the rest begins.
    rest: Option<i64>,
    owner: bool,
    dates: DateOrder,
    now: Instant,
    local: Local,
}

impl People {
    /// By the company's day. Where its zone is not known, only what is over everywhere is said to be over.
    #[expect(clippy::trivially_copy_pass_by_ref, reason = "templates hand over by reference")]
    fn ran_out(&self, until: &Day) -> bool {
        let today = if self.local.unknown.is_some() { earliest_day(self.now) } else { self.local.day(self.now) };
        *until < today
    }

    /// The day on which a phone was connected, by which two of one name are told apart.
    fn connected(&self, phone: &Device) -> String {
        self.dates.day(self.local.day(phone.enrolled_at))
    }
}

/// A member of staff with what belongs to them.
struct Staff {
    person: Person,
    credentials: Vec<Credential>,
    phones: Vec<Device>,
}

/// Everybody, with their licences and certificates and their phones.
pub async fn list(
    desk: OfficeSession,
    State(app): State<App>,
    Query(after): Query<After>,
) -> Result<Response, Problem> {
    let (people, rest) = shown(store::people::list(app.store.reader(), after.span()).await?, ROWS.take);
    let devices = store::devices::list(app.store.reader(), ALL_ROWS).await?;
    let held = store::credentials::list_all(app.store.reader()).await?;
    let staff = |person: Person| Staff {
        credentials: held.iter().filter(|one| one.person_id == person.id).cloned().collect(),
        phones: devices.iter().map(|row| &row.item).filter(|one| one.person_id == person.id).cloned().collect(),
        person,
    };
    let staff = people.into_iter().map(staff).collect();
    let dates = office::dates(&app).await?;
    let (_, zone) = api::company(&app).await?;
    let (now, local) = (app.clock.now(), Local::of(&zone));
    Ok(page(People { staff, rest, owner: desk.is_owner(), dates, now, local }.render()))
}

pub async fn new(_: OwnerSession, State(app): State<App>) -> Response {
    blank().once(&app).show()
}

pub async fn add(desk: OwnerSession, State(app): State<App>, peer: Peer, sent: FormData) -> Result<Response, Problem> {
    let form = blank().sent(&sent);
    let done = async {
        let confirmed = confirmed(&app, desk.0, &peer, &form).await?;
        let (key, valid) = form.asked(&app)?;
        api::people::create_person(desk.owner(), State(app.clone()), confirmed, key, valid).await
    };
    let done = done.await;
    form.made(&app, done, |_| "/office/people".to_owned())
}

pub async fn one(
    _: OwnerSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Person>,
) -> Result<Response, Problem> {
    Ok(stored_form(&get(&app, id).await?).show())
}

pub async fn change(
    desk: OwnerSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Person>,
    peer: Peer,
    sent: FormData,
) -> Result<Response, Problem> {
    let form = stored_form(&get(&app, id).await?).sent(&sent);
    let done = async {
        let confirmed = confirmed(&app, desk.0, &peer, &form).await?;
        let (version, valid) = form.asked_change(&app)?;
        api::people::replace_person(desk.owner(), State(app.clone()), confirmed, PathId(id), version, valid).await
    };
    let done = done.await;
    form.changed(done, &stored_form(&get(&app, id).await?), "/office/people")
}

fn code_form(person: &Person) -> Form {
    let title = format!("A phone for {}", person.name);
    // Whoever has a technician's phone sees that technician's lawns, and nothing is let in by it but them.
    let again = (person.role != Role::Technician).then(|| {
        Field::own_password("For phones of the office and of owners: whoever has the phone may do all that they may.")
    });
    Form::new(title, format!("/office/people/{}/code", person.id), "Make a code", again.into_iter().collect())
        .back("/office/people")
        .note("Code and picture are shown once; they work once, and for ten minutes. Have the phone at hand.")
}

pub async fn ask_code(
    _: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Person>,
) -> Result<Response, Problem> {
    Ok(code_form(&get(&app, id).await?).show())
}

#[derive(Template)]
#[template(path = "code.html")]
struct CodePage {
    person: Person,
    made: EnrolmentCode,
    enrolment: Enrolment,
}

/// Makes a code and shows it, this once.
pub async fn make_code(
    desk: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Person>,
    headers: HeaderMap,
    peer: Peer,
    sent: FormData,
) -> Result<Response, Problem> {
    // The name under which the browser of the office knows this server is the one for the phone.
    let host = headers.get(header::HOST).and_then(|value| value.to_str().ok()).unwrap_or("localhost");
    let person = get(&app, id).await?;
    let form = code_form(&person).sent(&sent);
    let done = async {
        let confirmed = confirmed(&app, desk, &peer, &form).await?;
        api::devices::new_enrolment_code(desk.office(), &app, confirmed, id).await
    };
    let done = done.await;
    match done {
        Ok(made) => {
            let enrolment = enrolment_qr(&made.code, host)?;
            let mut response = page(CodePage { person, made, enrolment }.render());
            response.headers_mut().insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
            Ok(response)
        }
        Err(problem) => form.refuse(problem),
    }
}

async fn lock_out_form(app: &App, desk: OfficeSession, id: ids::DeviceId) -> Result<Form, Problem> {
    let devices = store::devices::list(app.store.reader(), ALL_ROWS).await?;
    let found = devices.into_iter().map(|row| row.item).find(|device| device.id == id);
    let device = found.ok_or_else(|| Problem::not_found("device"))?;
    let person = get(app, device.person_id).await?;
    let title = format!("Sign out {} of {}", device.name, person.name);
    let again = (device.person_id != desk.0.person).then(|| Field::own_password("For the phone of somebody else."));
    let fields = again.into_iter().collect();
    Ok(Form::new(title, format!("/office/phones/{id}/lock-out"), "Sign this phone out", fields)
        .back("/office/people")
        .note("It is signed out at once. Records that it has not sent yet stay on it, and can be sent after it is connected again."))
}

pub async fn ask_lock_out(
    desk: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Device>,
) -> Result<Response, Problem> {
    Ok(lock_out_form(&app, desk, id).await?.show())
}

/// Locks a phone out; a second time changes nothing.
pub async fn lock_out(
    desk: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Device>,
    peer: Peer,
    sent: FormData,
) -> Result<Response, Problem> {
    let form = lock_out_form(&app, desk, id).await?.sent(&sent);
    let done = async {
        let confirmed = confirmed(&app, desk, &peer, &form).await?;
        api::devices::revoke_device(desk.office(), State(app.clone()), confirmed, PathId(id)).await
    };
    let done = done.await;
    match done {
        Ok(_) => Ok(Redirect::to("/office/people").into_response()),
        Err(problem) => form.refuse(problem),
    }
}
