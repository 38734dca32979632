//! Starting, serving and stopping.

use std::future::{Ready, ready};
use std::net::SocketAddr;
use std::num::NonZeroU32;
use std::rc::Rc;
use std::sync::Arc;
use std::sync::atomic::Ordering;

use actix_web::body::MessageBody;
use actix_web::dev::{Payload, Server, ServiceFactory, ServiceRequest, ServiceResponse};
use actix_web::http::header;
use actix_web::middleware::{Compress, Next, from_fn};
use actix_web::{App, FromRequest, HttpRequest, HttpServer, web};
use sqlx::postgres::PgConnectOptions;
use utoipa_actix_web::AppExt as _;

use super::document::OPERATIONS;
use super::public::STOPPING;
use crate::auth::arrive::Door;
use crate::auth::password::Passwords;
use crate::auth::seal::Seal;
use crate::auth::token::SigningKeys;
use crate::auth::{Db, System, front, nowhere};
use crate::error::ApiError;
use crate::webhooks::{AddressRules, Worker};

/// Everything the server needs to know, already read and checked.
#[derive(Clone, Debug)]
pub struct Options {
    /// The database, as the runtime role.
    pub database: PgConnectOptions,
    /// Where to listen; port 0 takes a free one.
    pub listen: SocketAddr,
    /// HTTP workers.
    pub workers: usize,
    /// Database connections of all workers together.
    pub connections: u32,
    /// The keys of access tokens.
    pub keys: SigningKeys,
    /// The key that seals what must be read again.
    pub seal: Seal,
    /// Whether administrators, unit managers and overseers must have a second factor.
    pub second_factor_required: bool,
    /// Requests a minute and principal.
    pub requests_per_minute: NonZeroU32,
    /// Proxies whose word about the sender's address is taken.
    pub trusted_proxies: Vec<ipnet::IpNet>,
    /// The address under which people reach this server, for links that are printed or mailed.
    pub public_url: String,
    /// The mail servers.
    pub mail: crate::mail::Transports,
    /// The parser of uploaded lists.
    pub parser: crate::parser_door::ParserDoor,
    /// Which programs outside may be told what is done.
    pub webhooks: AddressRules,
    /// Whether the ticker runs (a test moves time by itself and ticks by hand).
    pub ticker: bool,
}

/// What handlers find beside the database.
#[derive(Clone, Debug)]
pub struct Surroundings {
    /// The keys of access tokens.
    pub keys: SigningKeys,
    /// The key that seals what must be read again.
    pub seal: Seal,
    /// The hashing threads.
    pub passwords: Passwords,
    /// The address under which people reach this server.
    pub public_url: String,
    /// The mail servers.
    pub mail: crate::mail::Transports,
    /// The parser of uploaded lists.
    pub parser: crate::parser_door::ParserDoor,
    /// The program itself, for work that goes on after an answer.
    pub system: System,
    /// The open streams of events.
    pub streams: crate::events::Places,
    /// Which programs outside may be told what is done.
    pub webhooks: AddressRules,
}

/// The surroundings, in a handler's hand.
#[derive(Clone, Debug)]
pub struct Around(Rc<Surroundings>);

impl std::ops::Deref for Around {
    type Target = Surroundings;

    fn deref(&self) -> &Surroundings {
        &self.0
    }
}

impl FromRequest for Around {
    type Error = ApiError;
    type Future = Ready<Result<Self, ApiError>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let around = request.app_data::<Rc<Surroundings>>().cloned();
        ready(around.map(Around).ok_or_else(|| ApiError::broken("a handler without its surroundings")))
    }
}

impl Surroundings {
    /// The link of an invitation. The secret stands behind `#`, so that it reaches no server's log.
    #[must_use]
    pub fn invitation_link(&self, token: &str) -> String {
        format!("{}/invitation#{token}", self.public_url.trim_end_matches('/'))
    }

    /// The address at which a calendar program finds somebody's calendar.
    #[must_use]
    pub fn calendar_link(&self, secret: &str) -> String {
        format!("{}/calendar/{secret}", self.public_url.trim_end_matches('/'))
    }

    /// The link that confirms a new e-mail address.
    #[must_use]
    pub fn email_link(&self, token: &str) -> String {
        format!("{}/email#{token}", self.public_url.trim_end_matches('/'))
    }
}

/// Why the server could not start.
#[derive(Debug, thiserror::Error)]
pub enum StartError {
    /// The address is taken or not allowed.
    #[error("cannot listen on {0}: {1}")]
    Listen(SocketAddr, std::io::Error),
    /// The system refused something.
    #[error(transparent)]
    System(#[from] std::io::Error),
}

/// A server that listens, with its address.
pub struct Running {
    /// Where it listens.
    pub address: SocketAddr,
    /// The server: await it to serve.
    pub server: Server,
    /// The program itself, over a pool of its own.
    pub system: System,
    /// What hands messages to mail servers.
    pub post: crate::mail::worker::Post,
    /// Who tells programs outside.
    pub webhooks: Worker,
}

impl std::fmt::Debug for Running {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Running({})", self.address)
    }
}

/// Binds and builds a server; it serves once [`Running::server`] is awaited.
///
/// # Errors
/// If the address or the hashing threads are not to be had.
pub fn start(options: &Options) -> Result<Running, StartError> {
    let passwords = Passwords::start()?;
    crate::common::page::sign_with(options.keys.for_page_markers());
    let door_rate = crate::auth::Rate::per_minute(options.requests_per_minute);
    let workers = options.workers.max(1);
    let each = options.connections / u32::try_from(workers).unwrap_or(1).max(1);
    let system = System::new(Db::new(options.database.clone(), 4));
    let shared = options.clone();
    let streams = crate::events::Places::default();
    let trusted = Arc::new(options.trusted_proxies.clone());
    let listener_options = options.clone();
    let server = HttpServer::new(move || {
        let db = Db::new(shared.database.clone(), each.max(1));
        let door = Rc::new(Door {
            db: db.clone(),
            operations: Arc::clone(&OPERATIONS),
            keys: shared.keys.clone(),
            rate: door_rate.clone(),
            second_factor_required: shared.second_factor_required,
            trusted_proxies: Arc::clone(&trusted),
        });
        let surroundings = Surroundings {
            keys: shared.keys.clone(),
            seal: shared.seal.clone(),
            passwords: passwords.clone(),
            public_url: shared.public_url.clone(),
            mail: shared.mail.clone(),
            parser: shared.parser.clone(),
            system: System::new(db.clone()),
            streams: streams.clone(),
            webhooks: shared.webhooks.clone(),
        };
        app(db, door, surroundings)
    })
    .workers(workers)
    .shutdown_timeout(25)
    .client_request_timeout(std::time::Duration::from_secs(5))
    .bind(listener_options.listen)
    .map_err(|error| StartError::Listen(listener_options.listen, error))?;
    let address = server.addrs().first().copied().unwrap_or(options.listen);
    let server = server.disable_signals().run();
    let post = crate::mail::worker::Post {
        system: system.clone(),
        transports: options.mail.clone(),
        seal: options.seal.clone(),
        own_address: options.public_url.trim_end_matches('/').to_owned(),
    };
    let webhooks = Worker::new(system.clone(), options.seal.clone(), options.webhooks.clone());
    Ok(Running { address, server, system, post, webhooks })
}

/// The application of one worker: the only place that puts routes together.
fn app(
    db: Db,
    door: Rc<Door>,
    surroundings: Surroundings,
) -> App<
    impl ServiceFactory<
        ServiceRequest,
        Config = (),
        Response = ServiceResponse<impl MessageBody>,
        Error = actix_web::Error,
        InitError = (),
    >,
> {
    let mut app = App::new().app_data(db).app_data(door).app_data(Rc::new(surroundings)).into_utoipa_app();
    for feature in crate::FEATURES {
        app = app.configure(feature.routes);
    }
    let (app, _) = app.split_for_parts();
    // Without the bar that asks for other documents, and without keeping a secret in the browser when the page is left.
    let page = utoipa_swagger_ui::Config::from("/openapi.json").use_base_layout().try_it_out_enabled(true);
    // It opens on the groups: who comes for one thing need not scroll past a hundred others.
    let page = page.doc_expansion("none");
    let reference = utoipa_swagger_ui::SwaggerUi::new("/reference/{_:.*}").config(page);
    #[expect(
        clippy::disallowed_methods,
        reason = "the vendored page and the answer to unknown paths are no operations"
    )]
    let app = app
        .service(reference)
        .service(web::redirect("/reference", "/reference/"))
        .default_service(web::to(|request: HttpRequest| async move { nowhere(&OPERATIONS, &request) }));
    app.wrap(from_fn(front)).wrap(Compress::default()).wrap(from_fn(as_it_is))
}

/// What must not be compressed (a stream, whose parts would be held back) says so inside by a field that is not sent: RFC 9110,
/// section 8.4.1, leaves `identity` out.
async fn as_it_is(
    request: ServiceRequest,
    next: Next<impl MessageBody>,
) -> Result<ServiceResponse<impl MessageBody>, actix_web::Error> {
    let mut response = next.call(request).await?;
    let headers = response.headers_mut();
    if headers.get(header::CONTENT_ENCODING).is_some_and(|said| said == "identity") {
        headers.remove(header::CONTENT_ENCODING);
    }
    Ok(response)
}

/// How serving ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ended {
    /// What was under way is finished.
    Finished,
    /// A second signal: leave at once, with requests under way. The server is past being told: leave the process.
    AtOnce,
}

/// Serves until SIGTERM or SIGINT: then says so to `/readyz`, finishes what is under way and returns. A second signal
/// ends it within a second.
///
/// # Errors
/// If serving fails.
pub async fn serve(running: Running, ticker: bool) -> Result<Ended, StartError> {
    let Running { server, system, post, webhooks, .. } = running;
    let handle = server.handle();
    let work = tokio::spawn(crate::jobs::run(system.clone(), webhooks, ticker));
    let mail = crate::jobs::mail::Sending::start(post);
    let serving = actix_web::rt::spawn(server);
    let mut terminate = tokio::signal::unix::signal(tokio::signal::unix::SignalKind::terminate())?;
    let mut interrupt = tokio::signal::unix::signal(tokio::signal::unix::SignalKind::interrupt())?;
    tokio::select! { _ = terminate.recv() => {}, _ = interrupt.recv() => {} }
    STOPPING.store(true, Ordering::Relaxed);
    tracing::info!("stopping: finishing what is under way");
    work.abort();
    let finished = async { tokio::join!(handle.stop(true), mail.finish()) };
    tokio::select! {
        _ = finished => {}
        _ = terminate.recv() => return Ok(Ended::AtOnce),
        _ = interrupt.recv() => return Ok(Ended::AtOnce),
    }
    match serving.await {
        Ok(outcome) => outcome?,
        Err(error) => tracing::warn!(cause = %error, "the server did not end by itself"),
    }
    Ok(Ended::Finished)
}
