//! The correction of a record: a form with a row a section, what it would change, and only then the correction itself.

use askama::Template;
use axum::{
    Json,
    extract::State,
    response::{IntoResponse, Redirect, Response},
};
use domain::{
    ids::{self, ApplicationId, CorrectionId, SectionId},
    quantity::{Area, ProductMass},
};
use serde_json::{Value, json};

use crate::{
    access::AnyStaff,
    acts::{
        application::{ApplicationView, LineView},
        correction::{CorrectionCheck, CorrectionInput},
    },
    api,
    extract::{PathId, Valid},
    pages::{
        applications::{class, section_names},
        form::{Choice, Field, Form, FormData},
        office::dates,
        office_session::OfficeSession,
        page,
    },
    paging::PageRequest,
    problem::{Kind, Problem},
    reply::ErrorPageRendered,
    scope::Scope,
    state::App,
    store,
};

/// So many corrections of one record are read.
const CORRECTIONS: PageRequest = PageRequest { after: 0, take: 1000 };

/// Ticked when nothing of the record holds.
const WHOLE: &str = "whole";

/// A record as it stands now.
struct Standing {
    record: ApplicationView,
    /// What stands, and the correction that said so last.
    lines: Vec<LineView>,
    last: Option<CorrectionId>,
    /// Every section of the property, those of the record first.
    sections: Vec<(SectionId, String)>,
}

impl Standing {
    async fn of(app: &App, id: ApplicationId) -> Result<Self, Problem> {
        let reader = app.store.reader();
        let record = store::applications::get(reader, id, Scope::Company).await?;
        let record = record.ok_or_else(|| Problem::not_found("application"))?;
        let said = store::applications::corrections(reader, CORRECTIONS, Some(id), None, Scope::Company).await?;
        let last = said.into_iter().last().map(|row| row.item);
        let (lines, last) = match last {
            Some(last) => (last.lines, Some(last.id)),
            None => (record.lines.clone(), None),
        };
        let mut sections = section_names(app, record.property_id).await?;
        sections.sort_by_key(|(id, _)| lines.iter().all(|line| line.section_id != *id));
        Ok(Self { record, lines, last, sections })
    }

    fn line(&self, section: SectionId) -> Option<&LineView> {
        self.lines.iter().find(|line| line.section_id == section)
    }
}

/// The field of a section's figure. A correction names lines in its own order, so the form names them by their section.
fn name(section: SectionId, figure: &str) -> String {
    format!("/sections/{section}/{figure}")
}

fn row(standing: &Standing, (section, called): &(SectionId, String)) -> Vec<Field> {
    let stands = standing.line(*section);
    let mut product =
        Field::amount(&name(*section, "product_lb"), &format!("{called}: product, lb")).optional().under(called);
    let mut area =
        Field::amount(&name(*section, "treated_area_sqft"), &format!("{called}: area treated, sq ft")).optional();
    let mut fields = Vec::new();
    if let Some(line) = stands {
        product.value = vec![line.product_lb.to_string()];
        area.value = vec![line.area_sqft.to_string()];
        let now = format!("On record: {} lb on {} sq ft.", line.product_lb, line.area_sqft);
        let back = Field::tick(&name(*section, "back"), &format!("Nothing was put down on the {called}"));
        fields.extend([product.help(now), area]);
        if !line.parts.is_empty() {
            let parts: Vec<&str> = line.parts.iter().map(|part| part.0.as_str()).collect();
            let words = format!("It may lie anywhere on the {called}, not only in {}", parts.join(", "));
            fields.push(Field::tick(&name(*section, "anywhere"), &words));
        }
        fields.push(back);
    } else {
        fields.push(product.help("Not in this record. Fill it in only if product went down here."));
        fields.push(area.help("Leave it empty if all of it was treated."));
    }
    fields
}

async fn form(app: &App, standing: &Standing) -> Result<Form, Problem> {
    let record = &standing.record;
    let mut fields: Vec<Field> = standing.sections.iter().flat_map(|section| row(standing, section)).collect();
    let whole = Field::tick(WHOLE, "Take the whole record back: nothing of it was put down");
    fields.push(whole.under("The whole record"));
    fields.push(Field::lines("/reason", "Why it is corrected").help("It stands beside the correction."));
    if let Some(last) = standing.last {
        fields.push(Field::hidden("/replaces", last.to_string()));
    }
    let title = format!("Correct the record of {}", dates(app).await?.day(record.applied_on));
    let form = Form::new(title, format!("/records/{}/correct", record.id), "Show what changes", fields);
    Ok(form.back(format!("/records/{}", record.id)).note(
        "Change what was otherwise, and leave the rest. What you leave stands exactly as it does now. The record itself is never edited: the correction stands beside it.",
    ))
}

/// The request of the API that the form sends, and for each of its places the field that it came from.
fn asked(form: &Form, standing: &Standing) -> (Value, Vec<(String, String)>) {
    let said = |name: &str| form.fields.iter().find(|field| field.name == name).map_or("", Field::text);
    let mut body = json!({ "application_id": standing.record.id });
    for member in ["reason", "replaces"] {
        let text = said(&format!("/{member}"));
        if !text.is_empty() {
            body[member] = text.into();
        }
    }
    let mut places = Vec::new();
    if said(WHOLE) == "true" {
        return (body, places);
    }
    let (mut lines, mut back, mut anywhere) = (Vec::new(), Vec::new(), Vec::new());
    for (section, _) in &standing.sections {
        let field = |figure| name(*section, figure);
        let (product, area) = (said(&field("product_lb")), said(&field("treated_area_sqft")));
        let stands = standing.line(*section);
        if stands.is_some() && said(&field("back")) == "true" {
            places.push((format!("/change/taken_back/{}", back.len()), field("back")));
            back.push(json!(section));
            continue;
        }
        let same_area = area.is_empty() || stands.is_some_and(|line| Area::parse(area) == Ok(line.area_sqft));
        let as_it_stands = match stands {
            Some(line) => ProductMass::parse(product) == Ok(line.product_lb) && same_area,
            None => product.is_empty() && area.is_empty(),
        };
        let loose = stands.is_some() && said(&field("anywhere")) == "true";
        if as_it_stands && !loose {
            continue;
        }
        if loose {
            places.push((format!("/change/anywhere/{}", anywhere.len()), field("anywhere")));
            anywhere.push(json!(section));
        }
        let mut line = json!({ "section_id": section });
        if !product.is_empty() {
            line["product_lb"] = product.into();
        }
        if !same_area {
            line["treated_area_sqft"] = area.into();
        }
        let at = format!("/change/lines/{}", lines.len());
        places.extend(["product_lb", "treated_area_sqft"].map(|figure| (format!("{at}/{figure}"), field(figure))));
        places.push((at, field("product_lb")));
        lines.push(line);
    }
    body["change"] = json!({ "lines": lines, "taken_back": back });
    if !anywhere.is_empty() {
        body["change"]["anywhere"] = anywhere.into();
    }
    (body, places)
}

/// The same problem, with each fault at the field of the form that it is about.
fn placed(mut problem: Problem, places: &[(String, String)]) -> Problem {
    if problem.errors.iter().any(|fault| fault.pointer.as_deref() == Some("#/change")) {
        problem.errors.clear();
        "Nothing would change: this is what stands already.".clone_into(&mut problem.detail);
    }
    for fault in &mut problem.errors {
        let pointer = fault.pointer.as_deref().unwrap_or_default().trim_start_matches('#').to_owned();
        let known = places.iter().find(|(place, _)| pointer == *place || pointer.starts_with(&format!("{place}/")));
        if let Some((_, field)) = known {
            fault.pointer = Some(format!("#{field}"));
        }
    }
    problem
}

#[derive(Template)]
#[template(path = "correction.html")]
struct PreviewPage {
    title: String,
    preview: CorrectionCheck,
    word: &'static str,
    form: Form,
}

/// The request that was shown, which is what is sent, word for word.
const SEEN: &str = "seen";

/// What was typed, carried along to be changed, and the request to be sent, with a box for each reason that must be read.
fn to_send(form: Form, body: &Value, preview: &CorrectionCheck, sent: &FormData) -> Form {
    let carried = form.fields.iter().map(|field| Field::hidden(&field.name, field.text()));
    let mut fields: Vec<Field> = carried.collect();
    fields.push(Field::hidden(SEEN, body.to_string()));
    if !preview.to_acknowledge.is_empty() {
        let findings = preview.decision.iter().flat_map(|decision| &decision.findings);
        let stops = findings.filter(|finding| preview.to_acknowledge.iter().any(|key| key.0 == finding.key));
        let read = stops.map(|finding| Choice::new(finding.key.clone(), finding.message.clone())).collect();
        let mut boxes = Field::many("/acknowledged", "I have read it, and it is what truly happened", read)
            .under("Beyond the rules")
            .help("Tick each. The correction is stored, marked as beyond the rules, and stands on the owner's list.");
        boxes.value = sent.all("/acknowledged");
        fields.push(boxes);
    }
    Form { fields, button: "Correct the record", look: Some("Change the entries"), notes: Vec::new(), ..form }
}

fn show(form: Form, preview: CorrectionCheck) -> Response {
    let word = preview.decision.as_ref().map_or("go", |decision| class(decision.verdict));
    page(PreviewPage { title: form.title.clone(), preview, word, form }.render())
}

/// The form to correct a record.
pub async fn new(
    _: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Application>,
) -> Result<Response, Problem> {
    let standing = Standing::of(&app, id).await?;
    Ok(form(&app, &standing).await?.once(&app).show())
}

/// Shows what a correction would change; makes it once that was seen.
pub async fn correct(
    desk: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Application>,
    sent: FormData,
) -> Result<Response, Problem> {
    let standing = Standing::of(&app, id).await?;
    let form = form(&app, &standing).await?.sent(&sent);
    if sent.one("look").is_some() {
        return Ok(form.show());
    }
    let (typed, places) = asked(&form, &standing);
    let seen = sent.one(SEEN).map(|seen| serde_json::from_str::<Value>(&seen)).transpose();
    let seen = seen.map_err(|_| Problem::new(Kind::Malformed, "The form could not be read. Open it again."))?;
    if let Some(seen) = &seen {
        match make(desk, &app, &form, with_read(seen, &sent)).await {
            Ok(_) => return Ok(Redirect::to(&format!("/records/{id}")).into_response()),
            // It is shown anew, with every reason to be read.
            Err(problem) if problem.code == Kind::StoppedByRules.about().slug => {}
            Err(problem) if problem.code == Kind::IdReused.about().slug => {
                let detail = "This form was already sent, with other entries. Look at the record, and send it again only if it is to be corrected further.";
                return form.once(&app).refuse(Problem::new(Kind::Conflict, detail));
            }
            Err(problem) => return form.refuse(placed(problem, &places)),
        }
    }
    let body = seen.clone().unwrap_or(typed);
    let checked = async {
        let valid = form.valid_body::<CorrectionInput>(&app, body.clone())?;
        api::corrections::check_correction(AnyStaff(desk.0), State(app.clone()), valid).await
    };
    let Json(preview) = match checked.await {
        Ok(preview) => preview,
        Err(problem) => return form.refuse(placed(problem, &places)),
    };
    let mut form = to_send(form, &body, &preview, &sent);
    if seen.is_none() {
        return Ok(show(form, preview));
    }
    form.general.push(UNREAD.to_owned());
    let mut response = show(form, preview);
    *response.status_mut() = Problem::status_of(422);
    response.extensions_mut().insert(ErrorPageRendered);
    Ok(response)
}

/// Why a correction that was seen is shown once more.
const UNREAD: &str =
    "Nothing is corrected yet: a rule says stop. If it is what truly happened, read and tick each reason below.";

/// A request with the reasons that were ticked.
fn with_read(seen: &Value, sent: &FormData) -> Value {
    let (mut body, read) = (seen.clone(), sent.all("/acknowledged"));
    if !read.is_empty() {
        body["acknowledged"] = json!(read);
    }
    body
}

/// Makes the correction under the id that the form has carried since it was opened, so that one sent twice is one.
async fn make(desk: OfficeSession, app: &App, form: &Form, body: Value) -> Result<Response, Problem> {
    let lost = || Problem::new(Kind::Malformed, "The form came without its own key. Open it again from the record.");
    let id: CorrectionId = form.key.as_deref().and_then(|key| key.parse().ok()).ok_or_else(lost)?;
    let valid: Valid<CorrectionInput> = form.valid_body(app, body)?;
    api::corrections::correct_application(AnyStaff(desk.0), State(app.clone()), PathId(id), valid).await
}
