use utoipa_axum::router::OpenApiRouter;

use crate::app::App;

pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new()
}
