//! How the API is mounted: each handler by the method and at the path that its own `#[utoipa::path]` names. Everything else that is
//! said there describes the operation for the API document. That document is committed, so a server that runs has no use for
//! it: only a build with the feature `describe`, which the tests have, gathers it.

use axum::{
    Router,
    extract::DefaultBodyLimit,
    handler::Handler,
    routing::{MethodFilter, MethodRouter},
};
use utoipa::{Path, openapi::HttpMethod};
#[cfg(feature = "describe")]
use utoipa_axum::router::{OpenApiRouter, UtoipaMethodRouter};

use crate::state::App;

/// Some routes of the API.
#[derive(Default)]
pub(crate) struct Routes {
    serving: Router<App>,
    #[cfg(feature = "describe")]
    described: OpenApiRouter<App>,
}

impl Routes {
    /// Mounts a handler where `P` says.
    pub fn serve<P: Path, T: 'static>(mut self, handler: impl Handler<T, App>) -> Self {
        let on = |methods: MethodRouter<App>, method| methods.on(filter(&method), handler.clone());
        self.serving = self.serving.route(&P::path(), P::methods().into_iter().fold(MethodRouter::new(), on));
        self
    }

    #[cfg(feature = "describe")]
    pub fn describe(mut self, operation: UtoipaMethodRouter<App>) -> Self {
        self.described = self.described.routes(operation);
        self
    }

    pub fn merge(mut self, other: Self) -> Self {
        self.serving = self.serving.merge(other.serving);
        #[cfg(feature = "describe")]
        {
            self.described = self.described.merge(other.described);
        }
        self
    }

    /// Takes bodies up to this many bytes.
    pub fn with_body_limit(mut self, most: usize) -> Self {
        self.serving = self.serving.layer(DefaultBodyLimit::max(most));
        self
    }

    pub fn into_router(self) -> Router<App> {
        self.serving
    }

    #[cfg(feature = "describe")]
    pub fn into_description(self) -> OpenApiRouter<App> {
        self.described
    }
}

fn filter(method: &HttpMethod) -> MethodFilter {
    match method {
        HttpMethod::Get => MethodFilter::GET,
        HttpMethod::Put => MethodFilter::PUT,
        HttpMethod::Post => MethodFilter::POST,
        HttpMethod::Delete => MethodFilter::DELETE,
        HttpMethod::Options => MethodFilter::OPTIONS,
        HttpMethod::Head => MethodFilter::HEAD,
        HttpMethod::Patch => MethodFilter::PATCH,
        HttpMethod::Trace => MethodFilter::TRACE,
    }
}

/// Mounts handlers by name. A macro, because `#[utoipa::path]` leaves what it was told under a name made from the handler's.
macro_rules! routes {
    ($($handler:ident),+ $(,)?) => {
        pastey::paste! {{
            let routes = $crate::routes::Routes::default();
            $(let routes = routes.serve::<[<__path_ $handler>], _>($handler);)+
            $(
                #[cfg(feature = "describe")]
                let routes = routes.describe(utoipa_axum::routes!($handler));
            )+
            routes
        }}
    };
}

pub(crate) use routes;
