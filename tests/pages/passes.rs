//! Passes on pages: the owner makes and ends one, and whoever has it reads and changes nothing.

use harness::world::Company;

use super::visitor::{Visitor, written};

const OWN: [(&str, &str); 1] = [("sec-fetch-site", "same-origin")];

fn code(html: &str) -> String {
    html.split_once("<code id=\"pass-code\">").unwrap().1.split_once('<').unwrap().0.to_owned()
}

async fn enter<'a>(company: &'a Company, code: &str) -> Visitor<'a> {
    let nobody = Visitor { company, cookie: String::new() };
    let entered = nobody.post("/inspector", &[("code".to_owned(), code.to_owned())], &OWN).await;
    assert_eq!((entered.status, entered.to.as_deref()), (303, Some("/inspector")), "{}", entered.html);
    let cookie = entered.cookie.unwrap();
    assert!(cookie.contains("; HttpOnly") && cookie.contains("Max-Age=259200"), "{cookie}");
    Visitor { company, cookie: cookie.split(';').next().unwrap().to_owned() }
}

#[tokio::test]
async fn the_owner_makes_a_pass_and_an_inspector_reads_with_it() {
    let company = Company::in_maryland().await;
    let record = company.put_down(&company.front, "25.6").await;
    let owner = Visitor::named(&company, "owner").await;
    let form = owner.open("/office/passes/new").await;
    let refused = owner.send(&form, &[("/name", "Inspector of the state"), ("/days", "100")]).await;
    assert_eq!(refused.status, 422);
    assert!(refused.beside("/days", "fault").starts_with('■'), "{}", refused.html);
    let made = owner.send(&refused, &[("/days", "3"), ("/client_ids", &company.client)]).await;
    assert_eq!(made.status, 200, "{}", made.html);
    assert!(made.html.contains("It shows Client 001 until 2026-09-18 10:00 EDT"), "{}", made.html);
    let code = code(&made.html);

    // As it is read out: without dashes and in lower case.
    let inspector = enter(&company, &code.replace('-', " ").to_lowercase()).await;
    let shows = inspector.open("/inspector").await.html;
    assert!(shows.contains("Client 001") && shows.contains("links were recomputed just now and fit"), "{shows}");
    let statement = format!("/year/{}?year=2026", company.client);
    assert!(shows.contains(&format!("href=\"{statement}\"")), "{shows}");
    let before = written(&company).await;
    for path in [statement.clone(), format!("/records/{record}"), "/rules".to_owned()] {
        let page = inspector.open(&path).await;
        assert_eq!(page.status, 200, "{path}: {}", page.html);
        for staff in ["/office", "/correct", "Sign out"] {
            assert!(!page.html.contains(staff), "{path} leads to {staff}: {}", page.html);
        }
        assert!(page.html.contains("action=\"/inspector/leave\""), "{path}");
    }
    for staff in ["/office", "/office/people", "/year", "/reviews", "/office/security-log"] {
        assert_eq!(inspector.open(staff).await.status, 303, "{staff}: to the sign-in");
    }
    let tried = inspector.post(&format!("/records/{record}/correct"), &[], &OWN).await;
    assert!(matches!(tried.status, 303 | 403), "{}", tried.status);
    assert_eq!(written(&company).await, before);

    let log = owner.open("/office/security-log").await.html;
    for line in ["read with a pass", &format!("/records/{record}"), "Inspector of the state", "pass made"] {
        assert!(log.contains(line), "{line}: {log}");
    }
    let listed = owner.open("/office/passes").await.html;
    let end = listed.split("/office/passes/").find(|part| part.contains("/end\"")).unwrap().split_once('"').unwrap().0;
    let ask = owner.open(&format!("/office/passes/{end}")).await;
    assert_eq!(owner.send(&ask, &[]).await.status, 303);
    assert_eq!(inspector.open(&statement).await.status, 303, "the pass has ended");
    assert!(owner.open("/office/passes").await.html.contains("ended on 2026-09-15"));
}

#[tokio::test]
async fn a_wrong_code_opens_nothing_and_leaving_takes_the_code_away() {
    let company = Company::in_maryland().await;
    let nobody = Visitor { company: &company, cookie: String::new() };
    let wrong = [("code".to_owned(), "ABCDE-FGHJK-LMNPQ-RSTUV-WXYZ2-3".to_owned())];
    let refused = nobody.post("/inspector", &wrong, &OWN).await;
    assert_eq!((refused.status, refused.cookie), (401, None));
    assert!(refused.html.contains("This code is not known"), "{}", refused.html);
    assert_eq!(nobody.post("/inspector", &wrong, &[("sec-fetch-site", "cross-site")]).await.status, 403);
    let office = Visitor::named(&company, "office").await;
    assert_eq!(office.open("/office/passes").await.status, 403);
    assert_eq!(office.open("/office/security-log").await.status, 403);
    let left = nobody.post("/inspector/leave", &[], &OWN).await;
    assert!(left.cookie.unwrap().contains("Max-Age=0"));
}

#[tokio::test]
async fn somebody_sees_where_they_are_signed_in_and_ends_it() {
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    let page = office.open("/office/sessions").await.html;
    assert!(page.contains("a program without a name (this one)"), "{page}");
    assert_eq!(page.matches("<tr><th scope=\"row\">").count(), 2, "{page}");
    let done = office.post("/office/sessions", &[], &OWN).await;
    assert_eq!((done.status, done.to.as_deref()), (303, Some("/sign-in")));
    assert_eq!(office.open("/office").await.status, 303);
    let _ = company.office.get("/api/v1/me").await.problem(401, "not-signed-in");
}

#[tokio::test]
async fn the_owner_makes_a_code_and_its_holder_sets_a_password() {
    let company = Company::in_maryland().await;
    let owner = Visitor::named(&company, "owner").await;
    let id = company.office.id.as_deref().unwrap();
    let form = owner.open(&format!("/office/people/{id}/password-code")).await;
    let shown = owner.send(&form, &[("own_password", harness::PASSWORD)]).await;
    assert_eq!(shown.status, 200, "{}", shown.html);
    let code = shown.html.split_once("<code id=\"password-code\">").unwrap().1.split_once('<').unwrap().0.to_owned();
    let nobody = Visitor { company: &company, cookie: String::new() };
    let set = async |new: &str| {
        let fields = [("code".to_owned(), code.clone()), ("new".to_owned(), new.to_owned())];
        nobody.post("/new-password", &fields, &OWN).await
    };
    let short = set("too short").await;
    assert_eq!(short.status, 422);
    assert!(short.html.contains("The new password") && !short.html.contains("too short"), "{}", short.html);
    let done = set("four other plain words").await;
    assert_eq!((done.status, done.to.as_deref()), (303, Some("/sign-in")), "{}", done.html);
    assert_eq!(set("five other plain words").await.status, 422, "once");
    let fields = [("name", "office"), ("password", "four other plain words"), ("to", "/office")];
    let fields = fields.map(|(name, text)| (name.to_owned(), text.to_owned()));
    assert_eq!(nobody.post("/sign-in", &fields, &OWN).await.status, 303);
}
