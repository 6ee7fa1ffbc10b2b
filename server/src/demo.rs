//! demo
use crate::{config::Demo, serve::ServeError};
pub async fn run(_: &Demo) -> Result<(), ServeError> {
    Ok(())
}
