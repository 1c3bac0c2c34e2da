//! Connections on which results are fetched. The engine's own never give up: whoever waits for an executor that
//! stands still would wait for ever, and have its core taken.

use std::error::Error;
use std::sync::Arc;
use std::time::Duration;

use ballista_core::extension::{BallistaConfigGrpcEndpoint, SessionConfigExt as _};
use datafusion::prelude::SessionConfig;
use tonic::transport::Endpoint;

/// How long making a connection may take.
const CONNECTED: Duration = Duration::from_secs(10);
/// How often the other side is asked for a sign of life, and how long it may take to give one.
const ASKED: Duration = Duration::from_secs(10);
const ANSWERED: Duration = Duration::from_secs(20);

/// Makes a connection give up on a side that shows no sign of life.
fn impatient(endpoint: Endpoint) -> Result<Endpoint, Box<dyn Error + Send + Sync>> {
    Ok(endpoint
        .connect_timeout(CONNECTED)
        .tcp_nodelay(true)
        .http2_keep_alive_interval(ASKED)
        .keep_alive_timeout(ANSWERED)
        .keep_alive_while_idle(true))
}

/// For the client.
pub(crate) fn endpoint() -> Arc<BallistaConfigGrpcEndpoint> {
    Arc::new(BallistaConfigGrpcEndpoint::new(Arc::new(impatient)))
}

/// For an executor, which fetches from others.
pub(crate) fn config() -> SessionConfig {
    SessionConfig::new_with_ballista()
        .with_ballista_override_create_grpc_client_endpoint(Arc::new(impatient))
}
