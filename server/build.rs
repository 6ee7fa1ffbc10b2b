//! What is made while the server is built: the interactive API page's own files, out of the archive of a library.

use std::{
    env,
    error::Error,
    fs,
    io::{Cursor, Read as _, Write as _},
    path::Path,
};

use flate2::{Compression, write::GzEncoder};
use utoipa_swagger_ui_vendored::SWAGGER_UI_VENDORED;
use zip::ZipArchive;

/// Of the archive's thirteen files these two are asked for. They are kept compressed: browsers take them so.
const API_PAGE: [&str; 2] = ["swagger-ui.css", "swagger-ui-bundle.js"];

fn main() -> Result<(), Box<dyn Error>> {
    println!("cargo::rerun-if-changed=build.rs");
    // A new migration must be built in, and the compiler does not look into the folder by itself.
    println!("cargo::rerun-if-changed=../migrations");
    let folder = out_folder()?;
    let mut archive = ZipArchive::new(Cursor::new(SWAGGER_UI_VENDORED))?;
    for name in API_PAGE {
        let wanted = format!("/dist/{name}");
        let index = (0..archive.len())
            .find(|&index| matches!(archive.name_for_index(index), Some(Ok(path)) if path.ends_with(&wanted)));
        let mut file = archive.by_index(index.ok_or_else(|| format!("the archive has no {name}"))?)?;
        let mut content = Vec::new();
        file.read_to_end(&mut content)?;
        let mut packed = GzEncoder::new(Vec::new(), Compression::best());
        packed.write_all(&content)?;
        fs::write(Path::new(&folder).join(format!("{name}.gz")), packed.finish()?)?;
    }
    Ok(())
}

#[expect(clippy::disallowed_methods, reason = "this is where cargo says what it wants of a build script")]
fn out_folder() -> Result<String, env::VarError> {
    env::var("OUT_DIR")
}
