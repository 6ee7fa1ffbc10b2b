//! Serving for real: plain HTTP stays on this machine, TLS from files works, a faulty file is said.

use std::{net::SocketAddr, path::PathBuf, sync::Arc};

use axum_server::{Handle, tls_rustls::RustlsConfig};
use clap::Parser;
use domain::law::Lawbook;
use server::{
    clock::{RandomIds, SystemClock},
    config::{Cli, Command, ConfigFault, Demo, Serve},
    demo, serve,
    throttle::Throttle,
};

fn parsed(arguments: &[&str]) -> Serve {
    let cli = Cli::try_parse_from([&["swardbook", "serve"], arguments].concat()).unwrap();
    match cli.command {
        Command::Serve(serve) => serve,
        other => panic!("{other:?}"),
    }
}

#[test]
fn plain_http_is_only_for_this_machine_unless_a_proxy_stands_before_it() {
    let open: SocketAddr = "0.0.0.0:8080".parse().unwrap();
    assert_eq!(parsed(&["--listen", "0.0.0.0:8080"]).check(), Err(ConfigFault::PlainAndOpen(open)));
    assert_eq!(parsed(&["--listen", "0.0.0.0:8080", "--behind-proxy"]).check(), Ok(()));
    assert_eq!(parsed(&["--listen", "127.0.0.1:8080"]).check(), Ok(()));
    assert_eq!(parsed(&["--listen", "[::1]:8080"]).check(), Ok(()));
    let tls = ["--listen", "0.0.0.0:8080", "--tls-certificate", "a.pem", "--tls-key", "b.pem"];
    assert_eq!(parsed(&tls).check(), Ok(()));
    assert!(
        Cli::try_parse_from(["swardbook", "serve", "--tls-key", "b.pem"]).is_err(),
        "a key without its certificate"
    );
}

/// The public service blocks whoever does not say who asks, so a server that could not say so does not ask.
#[tokio::test]
async fn weather_is_not_asked_without_a_contact_nor_at_a_strange_address() {
    let folder = tempfile::tempdir().unwrap();
    let book = folder.path().join("book.db");
    let start = async |arguments: &[&str]| {
        let fixed = ["--file", book.to_str().unwrap(), "--listen", "127.0.0.1:0"];
        serve::serve(&parsed(&[&fixed, arguments].concat())).await.unwrap_err().to_string()
    };
    assert!(start(&["--weather"]).await.contains("--weather-contact"));
    assert!(start(&["--weather", "--weather-contact", "a company"]).await.contains("mailbox"));
    let contact = ["--weather", "--weather-contact", "example.com, office@example.com"];
    let strange = start(&[&contact[..], &["--weather-url", "https://api.weather.gov.example.com"]].concat()).await;
    assert!(strange.contains("is not api.weather.gov"), "{strange}");
    let plain = start(&[&contact[..], &["--weather-url", "http://127.0.0.1:9"]].concat()).await;
    assert!(plain.contains("must begin with https"), "{plain}");
    let second = ["--open-meteo-url", "https://customer-api.example.com", "--open-meteo-key", "key"];
    assert!(start(&second).await.contains("needs --weather"));
    let number = ["--open-meteo-url", "https://192.0.2.1", "--open-meteo-key", "key"];
    assert!(start(&[&contact[..], &number].concat()).await.contains("name of a host"));
    assert!(!book.exists(), "nothing was made before all this was known");
    let without_key = ["swardbook", "serve", "--weather", "--open-meteo-url", "https://weather.example.com"];
    assert!(Cli::try_parse_from(without_key).is_err(), "the free addresses are not for companies");
    let agent = parsed(&contact).weather.agent().unwrap().unwrap();
    assert_eq!(agent, format!("swardbook/{} (example.com, office@example.com)", env!("CARGO_PKG_VERSION")));
}

#[tokio::test]
async fn tls_from_certificate_files_serves_and_stops() {
    let _ = harness::client();
    let folder = tempfile::tempdir().unwrap();
    let made = rcgen::generate_simple_self_signed(vec!["localhost".to_owned()]).unwrap();
    let file = |name: &str, text: String| -> PathBuf {
        let path = folder.path().join(name);
        std::fs::write(&path, text).unwrap();
        path
    };
    let certificate = file("chain.pem", made.cert.pem());
    let key = file("key.pem", made.signing_key.serialize_pem());
    let law = Arc::new(Lawbook::embedded().unwrap());
    let opened = serve::open(
        &folder.path().join("book.db"),
        Arc::new(SystemClock),
        Arc::new(RandomIds),
        law,
        Throttle::new(false),
    )
    .await
    .unwrap();
    let listener = serve::bind("127.0.0.1:0".parse().unwrap()).unwrap();
    let port = listener.local_addr().unwrap().port();
    let tls = RustlsConfig::from_pem_file(&certificate, &key).await.unwrap();
    let handle = Handle::new();
    let serving = tokio::spawn(serve::listen(listener, Some(tls), handle.clone(), opened));
    let trusted = reqwest::Certificate::from_pem(made.cert.pem().as_bytes()).unwrap();
    let client = reqwest::Client::builder().tls_certs_only([trusted]).build().unwrap();
    let reply = client.get(format!("https://localhost:{port}/healthz")).send().await.unwrap();
    assert_eq!(reply.status().as_u16(), 204);
    drop(client);
    handle.graceful_shutdown(Some(std::time::Duration::from_secs(2)));
    serving.await.unwrap().unwrap();
}

/// A renewed certificate is taken up by a signal, and a faulty one leaves the old one in force.
#[tokio::test]
async fn a_renewed_certificate_is_taken_up_without_a_restart() {
    let _ = harness::client();
    let folder = tempfile::tempdir().unwrap();
    let (certificate, key) = (folder.path().join("chain.pem"), folder.path().join("key.pem"));
    let renew = || {
        let made = rcgen::generate_simple_self_signed(vec!["localhost".to_owned()]).unwrap();
        std::fs::write(&certificate, made.cert.pem()).unwrap();
        std::fs::write(&key, made.signing_key.serialize_pem()).unwrap();
        reqwest::Certificate::from_pem(made.cert.pem().as_bytes()).unwrap()
    };
    let first = renew();
    let law = Arc::new(Lawbook::embedded().unwrap());
    let book = folder.path().join("book.db");
    let opened =
        serve::open(&book, Arc::new(SystemClock), Arc::new(RandomIds), law, Throttle::new(false)).await.unwrap();
    let listener = serve::bind("127.0.0.1:0".parse().unwrap()).unwrap();
    let address = format!("https://localhost:{}/healthz", listener.local_addr().unwrap().port());
    let tls = RustlsConfig::from_pem_file(&certificate, &key).await.unwrap();
    let handle = Handle::new();
    let serving = tokio::spawn(serve::listen(listener, Some(tls.clone()), handle.clone(), opened));
    let renewing = tokio::spawn(serve::renew_on_hangup(Some((tls, (certificate.clone(), key.clone()))), None));
    let trusts = async |root: &reqwest::Certificate| {
        let client = reqwest::Client::builder().tls_certs_only([root.clone()]).build().unwrap();
        client.get(&address).send().await.is_ok()
    };
    assert!(trusts(&first).await);
    let hang_up =
        || std::process::Command::new("kill").args(["-HUP", &std::process::id().to_string()]).status().unwrap();
    let second = renew();
    assert!(!trusts(&second).await, "nobody has asked for it yet");
    for _ in 0..100 {
        // The task that waits for the signal may not wait yet.
        assert!(hang_up().success());
        tokio::time::sleep(std::time::Duration::from_millis(20)).await;
        if trusts(&second).await {
            break;
        }
    }
    assert!(trusts(&second).await && !trusts(&first).await);
    std::fs::write(&certificate, "no certificate").unwrap();
    assert!(hang_up().success());
    tokio::time::sleep(std::time::Duration::from_millis(50)).await;
    assert!(trusts(&second).await, "the one of before stays");
    renewing.abort();
    handle.graceful_shutdown(Some(std::time::Duration::from_secs(2)));
    serving.await.unwrap().unwrap();
}

#[tokio::test]
async fn a_port_that_is_taken_and_a_certificate_that_is_not_there_are_said() {
    let taken = serve::bind("127.0.0.1:0".parse().unwrap()).unwrap();
    let address = taken.local_addr().unwrap();
    let said = serve::bind(address).unwrap_err().to_string();
    assert!(said.contains(&address.to_string()), "{said}");
    let folder = tempfile::tempdir().unwrap();
    let book = folder.path().join("book.db");
    let absent = folder.path().join("absent.pem");
    let config = parsed(&[
        "--file",
        book.to_str().unwrap(),
        "--listen",
        "127.0.0.1:0",
        "--tls-certificate",
        absent.to_str().unwrap(),
        "--tls-key",
        absent.to_str().unwrap(),
    ]);
    let said = serve::serve(&config).await.unwrap_err().to_string();
    assert!(said.contains("absent.pem"), "{said}");
}

#[tokio::test]
async fn one_book_has_one_server() {
    let folder = tempfile::tempdir().unwrap();
    let open = async |name: &str| {
        let law = Arc::new(Lawbook::embedded().unwrap());
        let file = folder.path().join(name);
        serve::open(&file, Arc::new(SystemClock), Arc::new(RandomIds), law, Throttle::new(false)).await
    };
    let first = open("book.db").await.unwrap();
    let second = open("book.db").await.unwrap_err().to_string();
    assert!(second.contains("another server has this book open") && second.contains("book.db.lock"), "{second}");
    let nowhere = open("nowhere/book.db").await.unwrap_err().to_string();
    assert!(nowhere.contains("nowhere/book.db") && nowhere.contains("Does the folder exist"), "{nowhere}");
    // Nor by another name of the same file.
    std::os::unix::fs::symlink(folder.path().join("book.db"), folder.path().join("link.db")).unwrap();
    let linked = open("link.db").await.unwrap_err().to_string();
    assert!(linked.contains("another server has this book open"), "{linked}");
    std::fs::hard_link(folder.path().join("book.db"), folder.path().join("hard.db")).unwrap();
    let hard = open("hard.db").await.unwrap_err().to_string();
    assert!(hard.contains("has a second name"), "{hard}");
    std::fs::remove_file(folder.path().join("hard.db")).unwrap();
    drop(first.router);
    first.writer.finish().await.unwrap();
    let third = open("book.db").await.unwrap();
    drop(third.router);
    third.writer.finish().await.unwrap();
}

#[tokio::test]
async fn a_write_that_panics_is_rolled_back_and_the_writer_goes_on() {
    let folder = tempfile::tempdir().unwrap();
    let law = Arc::new(Lawbook::embedded().unwrap());
    let (store, writer) = server::store::Store::open(&folder.path().join("book.db"), law).await.unwrap();
    let at = domain::time::Instant::parse("2026-09-15T14:00:00Z").unwrap();
    let code = "code";
    let write = async |panics: bool| {
        store
            .write(move |connection| {
                Box::pin(async move {
                    let made = server::store::people::installation(&mut *connection, b"key", code).await?;
                    let set = server::store::people::set_up(connection, code, "Company", "UTC", at).await?;
                    assert!(!panics, "as asked for");
                    Ok((made.company, set))
                })
            })
            .await
    };
    let lost = write(true).await.unwrap_err();
    assert_eq!(lost.status, 500);
    assert_eq!(write(false).await.unwrap(), (None, true), "what the first wrote is not there");
    drop(store);
    writer.finish().await.unwrap();
}

#[tokio::test]
async fn the_demonstration_does_the_whole_job_and_leaves_a_sound_book() {
    // Chooses the cryptography for the demonstration's own client, as the command does.
    let _ = harness::client();
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("book.db");
    let config = Demo { once: true, small: true, listen: "127.0.0.1:0".parse().unwrap(), file: Some(file.clone()) };
    demo::run(&config).await.unwrap();
    let found = server::book::verify::check_file(&file).await.unwrap();
    assert!(found.faults.is_empty(), "{:?}", found.faults);
    assert_eq!(found.sections, 30);
    // It never writes over a book that is there.
    let again = demo::run(&config).await.unwrap_err().to_string();
    assert!(again.contains("book.db"), "{again}");
}

#[tokio::test]
async fn a_backup_is_a_whole_book_made_while_the_server_is_at_work() {
    let company = harness::world::Company::in_maryland().await;
    let id = company.put_down(&company.front, "20").await;
    let folder = tempfile::tempdir().unwrap();
    let copy = folder.path().join("book.db");
    server::store::backup::copy(&company.app.file(), &copy).await.unwrap();
    assert!(server::store::backup::copy(&company.app.file(), &copy).await.is_err(), "never over anything");
    let found = server::book::verify::check_file(&copy).await.unwrap();
    assert!(found.faults.is_empty() && found.entries > 10, "{found:?}");
    let restored = harness::TestApp::reopen(folder).await;
    let owner = restored.user(company.owner.token.as_deref().unwrap(), None);
    assert_eq!(owner.get(&format!("/api/v1/applications/{id}")).await.expect(200).body["lines"][0]["product_lb"], "20");
}
