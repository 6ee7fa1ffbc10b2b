//! What stands around every page of the office: the parts of the work as places, with the one marked where the reader is.
//!
//! A page is made of its own figures alone, and the frame of the request that asked for it: the address, and who reads.

use std::cell::Cell;

use axum::{extract::Request, middleware::Next, response::Response};
use domain::actor::Role;

tokio::task_local! {
    /// The request that is being answered with a page.
    static ASKED: Asked;
}

struct Asked {
    path: String,
    /// Known once the page has looked at who signed in.
    role: Cell<Option<Role>>,
}

/// A part of the work, as the frame names it.
#[derive(Debug, PartialEq, Eq)]
pub struct Place {
    pub href: &'static str,
    pub name: &'static str,
    pub is_here: bool,
}

/// Each place with its address, its name, and the beginnings of the addresses that belong to it.
const PLACES: [(&str, &str, &[&str]); 14] = [
    ("/office", "Today", &["/office/find"]),
    ("/office/week", "The week", &[]),
    (
        "/office/clients",
        "Clients",
        &[
            "/office/properties",
            "/office/sections",
            "/office/measurements",
            "/office/soil-reports",
            "/office/visits",
            "/office/history",
            "/office/entries",
            "/office/sightings",
            "/office/records",
            "/records",
        ],
    ),
    ("/office/programmes", "Programs and plans", &[]),
    ("/office/load-sheet", "Load sheets", &[]),
    ("/office/products", "Products and stock", &[]),
    ("/office/equipment", "Spreaders and sprayers", &["/office/calibrations"]),
    ("/year", "The year", &[]),
    ("/reviews", "To review", &[]),
    ("/office/gaps", "Incomplete records", &[]),
    ("/rules", "Rule sets", &["/office/rules"]),
    (
        "/office/people",
        "People and phones",
        &[
            "/office/credentials",
            "/office/passes",
            "/office/phones",
            "/office/password",
            "/office/sessions",
            "/office/security-log",
        ],
    ),
    (SETTINGS, "Settings", &[]),
    ("/help", "Help", &[]),
];

/// For the owner alone.
const SETTINGS: &str = "/office/settings";

/// Keeps the request for the page that answers it.
pub async fn around(request: Request, next: Next) -> Response {
    let asked = Asked { path: request.uri().path().to_owned(), role: Cell::new(None) };
    ASKED.scope(asked, next.run(request)).await
}

/// Says who reads the page.
pub fn is_read_by(role: Role) {
    // A page that a test makes by hand stands in no frame.
    let _ = ASKED.try_with(|asked| asked.role.set(Some(role)));
}

/// The places that the reader may go to.
pub fn places() -> Vec<Place> {
    let (path, role) =
        ASKED.try_with(|asked| (asked.path.clone(), asked.role.get())).unwrap_or_else(|_| (String::new(), None));
    let may_see = |href: &str| href != SETTINGS || role == Some(Role::Owner);
    let shown = PLACES.iter().filter(|(href, ..)| may_see(href));
    shown.map(|(href, name, more)| Place { href, name, is_here: is_here(&path, href, more) }).collect()
}

/// Whether an address belongs to a place. Today's own is the beginning of most others.
fn is_here(path: &str, href: &str, more: &[&str]) -> bool {
    let is_within = |place: &str| {
        path.strip_prefix(place).is_some_and(|rest| rest.is_empty() || (place != "/office" && rest.starts_with('/')))
    };
    is_within(href) || more.iter().any(|place| is_within(place))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn here(path: &str) -> Vec<&'static str> {
        let found = PLACES.iter().filter(|(href, _, more)| is_here(path, href, more));
        found.map(|(_, name, _)| *name).collect()
    }

    #[test]
    fn every_address_is_in_one_place() {
        let at = [
            ("/office", "Today"),
            ("/office/find", "Today"),
            ("/office/clients/new", "Clients"),
            ("/office/properties/0199", "Clients"),
            ("/office/programmes", "Programs and plans"),
            ("/office/passes/new", "People and phones"),
            ("/office/password", "People and phones"),
            ("/records/0199/correct", "Clients"),
            ("/office/rules/us-md/new", "Rule sets"),
            ("/year/0199", "The year"),
        ];
        for (path, place) in at {
            assert_eq!(here(path), [place], "{path}");
        }
        assert_eq!(here("/officer"), [""; 0]);
    }

    #[tokio::test]
    async fn settings_are_shown_to_the_owner_alone() {
        let seen_by = async |role| {
            let asked = Asked { path: "/office/settings".to_owned(), role: Cell::new(None) };
            let shown = ASKED.scope(asked, async {
                is_read_by(role);
                places()
            });
            shown.await.into_iter().any(|place| place.href == SETTINGS && place.is_here)
        };
        assert!(seen_by(Role::Owner).await);
        assert!(!seen_by(Role::Office).await);
    }
}
