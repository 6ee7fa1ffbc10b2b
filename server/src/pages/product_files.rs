//! Files of a product: its label and its safety data sheet. Only ever added.

use axum::{extract::State, response::Response};
use domain::ids;

use crate::{
    api::{self, product_files::FileQuery},
    extract::{PathId, ValidQuery},
    file_body::FILE_LIMIT,
    media::FileBody,
    pages::{
        form::{Field, Form, SentFile, also, choices},
        office_session::OfficeSession,
        products,
    },
    problem::{FieldFault, Problem},
    state::App,
    store::{product_files::FileKind, products::Product},
};

/// A form with a file at most: enough to read one that is too large and say so beside its field.
pub const MOST_SENT: usize = 4 * FILE_LIMIT;

const TOO_LARGE: (&str, &str) = ("too_large", "is larger than 4 MiB. Scan it in gray, or fewer pages at once");

/// What a file is, in plain words.
pub const fn kind_words(kind: FileKind) -> &'static str {
    match kind {
        FileKind::Label => "Label",
        FileKind::SafetyDataSheet => "Safety data sheet",
    }
}

/// A size as a person reads it.
pub fn size(bytes: i64) -> String {
    let kib = (bytes + 1023) / 1024;
    if kib < 1024 { format!("{kib} KiB") } else { format!("{}.{} MiB", kib / 1024, kib % 1024 * 10 / 1024) }
}

fn blank(product: &Product) -> Form {
    let at = format!("/office/products/{}", product.id);
    let kinds = choices(&[("label", "the label"), ("safety_data_sheet", "the safety data sheet")]);
    let fields = vec![
        Field::one("kind", "What it is", kinds),
        Field::day("dated", "Date on the file").optional().help("Such as the revision of a safety data sheet."),
        Field::file("file", "The file", ".pdf,.png,.jpg,.jpeg")
            .help("PDF, PNG or JPEG, at most 4 MiB. Choose it again if the form comes back."),
    ];
    Form::new(format!("A file of {}", product.name), format!("{at}/files/new"), "Add the file", fields)
        .back(at)
        .note("A file is never edited: a newer one is added, and the older one stays. The label on the bag in hand prevails over any copy.")
}

pub async fn new(
    _: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Product>,
) -> Result<Response, Problem> {
    Ok(blank(&products::get(&app, id).await?).once(&app).show())
}

pub async fn add(
    desk: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Product>,
    SentFile { sent, bytes, too_large }: SentFile,
) -> Result<Response, Problem> {
    let form = blank(&products::get(&app, id).await?).sent(&sent);
    let (file, fault) = match bytes {
        _ if too_large => (None, Some(TOO_LARGE)),
        None => (None, Some(("missing", "is required"))),
        Some(bytes) if bytes.len() > FILE_LIMIT => (None, Some(TOO_LARGE)),
        Some(bytes) => match FileBody::by_content(bytes) {
            Some(file) => (Some(file), None),
            None => (None, Some(("wrong_format", "is no PDF, PNG or JPEG by its content, whatever it is called"))),
        },
    };
    let faults = fault.map(|(code, words)| FieldFault::parameter("file", code, words)).into_iter().collect();
    let done = async {
        let query = also(form.query::<FileQuery>(&app, "create_product_file"), faults)?;
        let file = file.ok_or_else(|| Problem::not_found("file"))?;
        let (app, key) = (State(app.clone()), form.key()?);
        api::product_files::create_product_file(desk.office(), app, PathId(id), ValidQuery(query), key, file).await
    };
    let done = done.await;
    form.made(&app, done, |_| format!("/office/products/{id}"))
}

#[cfg(test)]
mod tests {
    use super::size;

    #[test]
    fn a_size_is_read_at_a_glance() {
        assert_eq!([1, 2048, 1_572_864, 4_194_304].map(size), ["1 KiB", "2 KiB", "1.5 MiB", "4.0 MiB"]);
    }
}
