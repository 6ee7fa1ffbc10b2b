//! What the operator's page says to do, done: each command of it is run as far as a test may, in folders of its own; the unit is held
//! against systemd's own check; the container file and the proxy's are held against the options and limits that there are.

use std::{
    os::unix::fs::PermissionsExt as _,
    path::Path,
    process::{Command as Program, ExitCode},
};

use clap::{CommandFactory as _, Parser as _};
use harness::world::Company;
use server::{
    book::{backup, restore},
    config::{Cli, Command, Serve},
};

const PAGE: &str = include_str!("../server/help/operating.md");
/// What changes the machine itself, its users or its services, or builds the program, and is not done here. The unit has a test of its own.
const NOT_HERE: [&str; 5] = ["useradd", "systemctl", "systemd-analyze", "journalctl", "RUSTFLAGS=\"-C"];

/// The blocks of one kind.
fn blocks<'a>(page: &'a str, kind: &str) -> Vec<&'a str> {
    let begin = format!("```{kind}\n");
    page.split(begin.as_str()).skip(1).map(|rest| rest.split("```").next().unwrap()).collect()
}

fn served(arguments: &str) -> Serve {
    match Cli::try_parse_from(arguments.split_whitespace()).unwrap().command {
        Command::Serve(serve) => serve,
        other => panic!("{other:?}"),
    }
}

/// Runs a command of this program; says whether it did what it should.
async fn ours(line: &str) -> bool {
    let done = match Cli::try_parse_from(line.split_whitespace()) {
        Ok(cli) => match cli.command {
            Command::Backup(config) => backup::run(&config).await,
            Command::Restore(config) => restore::run(&config).await,
            Command::Verify(config) => restore::verify(&config).await,
            other => panic!("nothing here runs {other:?}"),
        },
        Err(said) => return said.kind() == clap::error::ErrorKind::DisplayVersion,
    };
    done == ExitCode::SUCCESS
}

/// Runs a command of the system, away from the threads that answer.
async fn theirs(program: &str, arguments: &[&str]) -> bool {
    let (program, arguments) = (program.to_owned(), arguments.iter().map(|one| (*one).to_owned()).collect::<Vec<_>>());
    let run = tokio::task::spawn_blocking(move || Program::new(program).args(arguments).status());
    run.await.unwrap().unwrap().success()
}

#[tokio::test]
async fn every_command_of_the_page_does_what_it_says() {
    let company = Company::in_maryland().await;
    company.put_down(&company.front, "20").await;
    let machine = tempfile::tempdir().unwrap();
    let at = |name: &str| machine.path().join(name).to_str().unwrap().to_owned();
    std::fs::create_dir(at("bin")).unwrap();
    let (records, copies) = (company.app.folder().to_str().unwrap().to_owned(), at("copies"));
    let (mut run, mut left) = (0, 0);
    for line in blocks(PAGE, "sh").into_iter().flat_map(str::lines) {
        let here = line
            .replace("/var/lib/swardbook/company.db", &format!("{records}/book.db"))
            .replace("/var/lib/swardbook", &records)
            .replace("/var/backups/swardbook", &copies)
            // There is no such user here, and another program stands in for this one.
            .replace("-o swardbook -g swardbook ", "")
            .replace("target/release/swardbook", "/bin/true")
            .replace("/usr/local/bin", &at("bin"))
            .replace("http://127.0.0.1:8080", &format!("http://{}", company.app.address));
        let words: Vec<&str> = here.split_whitespace().collect();
        match words[0] {
            "swardbook" => assert!(ours(&here).await, "{line} did not do what it should"),
            "curl" | "install" | "rm" => assert!(theirs(words[0], &words[1..]).await, "{line}"),
            other if NOT_HERE.contains(&other) => {
                left += 1;
                continue;
            }
            other => {
                panic!(
                    "If you are here because the page says {other}: run it in this test, or say in NOT_HERE why not."
                )
            }
        }
        run += 1;
    }
    assert_eq!((run, left), (13, 8), "commands that were run and that were not");
    assert!(!Path::new(&records).join("tried.db").exists());
    assert!(Path::new(&copies).join("before-upgrade.db").exists());
    let mode = std::fs::metadata(&copies).unwrap().permissions().mode();
    assert_eq!(mode & 0o777, 0o700);
}

/// Commands of this program stand in other topics too; each is one.
#[test]
fn every_command_of_the_help_is_one() {
    let mut held = 0;
    for (slug, text) in [
        ("server", include_str!("../server/help/server.md")),
        ("proof", include_str!("../server/help/proof.md")),
        ("law", include_str!("../server/help/law.md")),
    ] {
        let joined = text.replace("\\\n", " ");
        for line in blocks(&joined, "").into_iter().flat_map(str::lines) {
            let line = line.trim().trim_start_matches("target/release/");
            if let Some(arguments) = line.strip_prefix("swardbook ") {
                // A text in quotes is one argument.
                let mut words = vec!["swardbook"];
                for (number, part) in arguments.split('"').enumerate() {
                    if number.is_multiple_of(2) { words.extend(part.split_whitespace()) } else { words.push(part) }
                }
                assert!(Cli::try_parse_from(&words).is_ok(), "{slug} says {line}");
                held += 1;
            }
        }
    }
    assert!(held >= 6, "{held}");
}

#[test]
fn the_unit_is_one_and_starts_what_may_be_started() {
    let [unit] = blocks(PAGE, "ini")[..] else { panic!("one unit") };
    let start = unit.lines().find_map(|line| line.strip_prefix("ExecStart=/usr/local/bin/")).unwrap();
    let serve = served(start);
    serve.check().unwrap();
    let files: usize = unit.lines().find_map(|line| line.strip_prefix("LimitNOFILE=")).unwrap().parse().unwrap();
    assert!(files > serve.limits.connections + 128, "{files} files are too few for the connections");
    for folder in [serve.book.file.parent().unwrap(), Path::new(serve.backups.backup_to.as_deref().unwrap())] {
        let writable = unit.lines().find(|line| line.starts_with("ReadWritePaths=")).unwrap();
        assert!(writable.contains(folder.to_str().unwrap()), "{} could not be written", folder.display());
    }
    // The program is not where it will be, so another one stands in for it.
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("swardbook.service");
    std::fs::write(&file, unit.replace("/usr/local/bin/swardbook", "/bin/true")).unwrap();
    // A machine without systemd cannot check it.
    let Ok(checked) = Program::new("systemd-analyze").arg("verify").arg(&file).output() else { return };
    let said = String::from_utf8_lossy(&checked.stderr);
    assert!(checked.status.success() && !said.contains("swardbook.service"), "{said}");
}

#[test]
fn the_container_file_names_options_and_the_proxy_takes_what_the_server_takes() {
    let [file] = blocks(PAGE, "dockerfile")[..] else { panic!("one container file") };
    let command = Cli::command();
    let serve = command.find_subcommand("serve").unwrap();
    let known: Vec<&str> = serve.get_arguments().filter_map(|one| one.get_env()?.to_str()).collect();
    let set = file.lines().find_map(|line| line.strip_prefix("ENV ")).unwrap();
    let mut options = vec!["swardbook".to_owned(), "serve".to_owned()];
    for one in set.split_whitespace() {
        let (name, value) = one.split_once('=').unwrap();
        assert!(known.contains(&name), "{name} is no option");
        let option = serve.get_arguments().find(|one| one.get_env().is_some_and(|env| env == name)).unwrap();
        options.push(format!("--{}", option.get_long().unwrap()));
        if option.get_action().takes_values() {
            options.push(value.to_owned());
        }
    }
    let serve = served(&options.join(" "));
    serve.check().unwrap();
    for volume in [serve.book.file.parent().unwrap(), Path::new(serve.backups.backup_to.as_deref().unwrap())] {
        assert!(file.contains(&format!("\"{}\"", volume.display())), "{} is no volume", volume.display());
    }
    assert!(file.contains(&format!("EXPOSE {}", serve.listen.port())));
    let [proxy] = blocks(PAGE, "nginx")[..] else { panic!("one proxy") };
    for needed in
        ["proxy_set_header Host $http_host;", "X-Forwarded-For $proxy_add_x_forwarded_for;", "client_max_body_size 5m;"]
    {
        assert!(proxy.contains(needed), "{needed}");
    }
}
