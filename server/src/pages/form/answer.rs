//! How a form is answered: on to what was made or changed, or the form again with every fault.

use axum::response::{IntoResponse, Redirect, Response};
use serde_json::Value;

use crate::{
    pages::form::{Field, Form, OWN_PASSWORD},
    problem::{FieldFault, Kind, Problem},
    reply::{Created, ErrorPageRendered},
    state::App,
};

impl Form {
    /// After something was made: its page, or the form with every fault.
    pub fn made(
        self,
        app: &App,
        done: Result<Created, Problem>,
        to: impl FnOnce(&str) -> String,
    ) -> Result<Response, Problem> {
        match done {
            Ok(created) => {
                let made: Value = serde_json::from_str(&created.body)?;
                Ok(Redirect::to(&to(made["id"].as_str().unwrap_or_default())).into_response())
            }
            Err(problem) if problem.code == Kind::KeyReused.about().slug => {
                let mut again = self.once(app);
                again.general.push(
                    "This form was already saved once, with other entries. What is shown here is not saved; send it again only if it is meant as another entry.".to_owned(),
                );
                Ok(refused(again, 409))
            }
            Err(problem) => self.refuse(problem),
        }
    }

    /// After a change: the page of what was changed, or the form with every fault. `stored` is the form as the book has it.
    pub fn changed<T>(self, done: Result<T, Problem>, stored: &Self, to: &str) -> Result<Response, Problem> {
        match done {
            Ok(_) => Ok(Redirect::to(to).into_response()),
            Err(problem) if problem.code == Kind::VersionOutdated.about().slug => {
                let both = self.beside(stored);
                // Sent twice: the book says already what this form says.
                if both.fields.iter().all(|field| field.other.is_none()) {
                    return Ok(Redirect::to(to).into_response());
                }
                Ok(refused(both, problem.status))
            }
            Err(problem) => self.refuse(problem),
        }
    }

    /// Both versions: what was typed in the fields, and beside each that differs what the book has.
    fn beside(mut self, stored: &Self) -> Self {
        for field in &mut self.fields {
            let theirs = stored.fields.iter().find(|other| other.name == field.name);
            field.other = theirs.filter(|theirs| !theirs.same(field)).map(Field::words);
        }
        self.version = stored.version;
        self.general.push(
            "Somebody changed this while the form was open, and your changes are not saved yet. Where the two differ, the saved version is shown beside yours. Correct what you want to keep, and save again.".to_owned(),
        );
        self
    }

    /// The same form with every fault, if the problem is one that a person can mend here.
    pub fn refuse(self, problem: Problem) -> Result<Response, Problem> {
        match self.with_faults(&problem) {
            Some(form) => Ok(refused(form, problem.status)),
            None => Err(problem),
        }
    }

    /// The same form with every fault; nothing where no person can mend it here.
    pub fn with_faults(mut self, problem: &Problem) -> Option<Self> {
        if problem.is(Kind::PasswordNeeded) {
            let field = self.field(OWN_PASSWORD)?;
            field.faults.push("is needed for this; type it here and send the form again".to_owned());
            return Some(self);
        }
        if !matches!(problem.status, 409 | 422) {
            return None;
        }
        for fault in &problem.errors {
            self.place(fault);
        }
        if problem.errors.is_empty() {
            self.general.push(problem.detail.clone());
        }
        Some(self)
    }

    /// Puts a fault beside its field: the one it names, or the nearest around it.
    fn place(&mut self, fault: &FieldFault) {
        // A parameter of a query is a field of its name.
        let pointer = fault.parameter.as_deref().or(fault.pointer.as_deref()).unwrap_or_default();
        let pointer = pointer.trim_start_matches('#');
        let detail = fault.detail.trim_end_matches('.');
        let around = |field: &&mut Field| {
            pointer == field.name
                || pointer.starts_with(&format!("{}/", field.name))
                || field.name.starts_with(&format!("{pointer}/"))
        };
        match self.fields.iter_mut().filter(|field| !field.is_hidden()).find(around) {
            Some(field) => {
                let named = field.chosen_at(pointer).map(|words| format!("{words} ")).unwrap_or_default();
                field.faults.push(format!("{named}{detail}"));
            }
            None => self.general.push(format!("{} {detail}", pointer.trim_start_matches('/'))),
        }
    }
}

/// The form again, under the status that says why.
fn refused(form: Form, status: u16) -> Response {
    let mut response = form.show();
    *response.status_mut() = Problem::status_of(status);
    response.extensions_mut().insert(ErrorPageRendered);
    response
}
