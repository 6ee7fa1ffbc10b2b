//! How handlers are mounted. Those of the API say by their own `#[utoipa::path]` for which method and at which path; everything
//! else that is said there describes the operation for the API document. That document is committed, so a server that runs
//! has no use for it: only a build with the feature `describe`, which the tests have, gathers it.

use std::{pin::Pin, sync::Arc};

use axum::{
    Router,
    extract::{DefaultBodyLimit, Request},
    handler::Handler,
    response::Response,
    routing::{MethodFilter, MethodRouter},
};
#[cfg(feature = "describe")]
use utoipa::{
    __dev::{SchemaReferences, Tags},
    openapi::{Paths, RefOr, Schema},
};
use utoipa::{Path, openapi::HttpMethod};

use crate::state::App;

/// Some routes of the API.
#[derive(Default)]
pub struct Routes {
    serving: Router<App>,
    #[cfg(feature = "describe")]
    pub described: Described,
}

/// What operations say of themselves.
#[cfg(feature = "describe")]
#[derive(Default)]
pub struct Described {
    pub paths: Paths,
    /// The named schemas that the operations refer to.
    pub schemas: Vec<(String, RefOr<Schema>)>,
}

impl Routes {
    /// Mounts a handler where `P` says.
    pub fn serve<P: Path, T: 'static>(mut self, handler: impl Handler<T, App, Future = Answering>) -> Self {
        let handler = Erased::from(handler);
        let on = |methods: MethodRouter<App>, method| methods.on(filter(&method), handler.clone());
        self.serving = self.serving.route(&P::path(), P::methods().into_iter().fold(MethodRouter::new(), on));
        self
    }

    /// Takes down what `P` says of its operation. The traits for its tags and schemas are not in the library's manual: they are what its
    /// own macros use.
    #[cfg(feature = "describe")]
    pub fn describe<'t, P: Path + Tags<'t> + SchemaReferences>(mut self) -> Self {
        let mut operation = P::operation();
        operation.tags.get_or_insert_default().extend(P::tags().into_iter().map(str::to_owned));
        self.described.paths.add_path_operation(P::path(), P::methods(), operation);
        P::schemas(&mut self.described.schemas);
        self
    }

    pub fn merge(mut self, other: Self) -> Self {
        self.serving = self.serving.merge(other.serving);
        #[cfg(feature = "describe")]
        {
            self.described.paths.merge(other.described.paths);
            self.described.schemas.extend(other.described.schemas);
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

/// What a handler does once it is called.
type Answering = Pin<Box<dyn Future<Output = Response> + Send>>;

/// A handler whose own type is hidden: what a router does with a handler is compiled once, and not once more for each of two
/// hundred.
#[derive(Clone)]
struct Erased(Arc<dyn Fn(Request, App) -> Answering + Send + Sync>);

impl Erased {
    fn from<T>(handler: impl Handler<T, App, Future = Answering>) -> Self {
        Self(Arc::new(move |request, app| handler.clone().call(request, app)))
    }
}

impl Handler<(), App> for Erased {
    type Future = Answering;

    fn call(self, request: Request, app: App) -> Answering {
        (self.0)(request, app)
    }
}

/// What is shown at an address of a page.
pub fn get<T: 'static>(handler: impl Handler<T, App, Future = Answering>) -> MethodRouter<App> {
    axum::routing::get(Erased::from(handler))
}

/// What a form of a page is sent to.
pub fn post<T: 'static>(handler: impl Handler<T, App, Future = Answering>) -> MethodRouter<App> {
    axum::routing::post(Erased::from(handler))
}

/// What is shown at an address, and what is done with the form that is sent to it.
pub fn get_and_post<G: 'static, P: 'static>(
    shown: impl Handler<G, App, Future = Answering>,
    sent: impl Handler<P, App, Future = Answering>,
) -> MethodRouter<App> {
    get(shown).post(Erased::from(sent))
}

/// Mounts handlers by name. A macro, because `#[utoipa::path]` leaves what it was told under a name made from the handler's.
macro_rules! routes {
    ($($handler:ident),+ $(,)?) => {
        pastey::paste! {{
            let routes = $crate::routes::Routes::default();
            $(let routes = routes.serve::<[<__path_ $handler>], _>($handler);)+
            $(
                #[cfg(feature = "describe")]
                let routes = routes.describe::<[<__path_ $handler>]>();
            )+
            routes
        }}
    };
}

pub(crate) use routes;
