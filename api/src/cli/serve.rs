//! `rimeyard serve`

use actix_web::web::Data;
use rimeyard_store::{Database, Sizes, boot};

use super::Failure;
use crate::settings::Settings;
use crate::state::State;
use crate::{cli, server};

pub async fn run(settings: Settings) -> Result<(), Failure> {
    let sizes = Sizes {
        app: settings.connections,
        ..Sizes::default()
    };
    let database = Database::connect(settings.database_url()?, sizes).await?;
    boot::check(&database, settings.scratch_database).await?;
    let state = Data::new(State::new(database, &settings).await?);
    let (server, address) = server::bind(state.clone(), &settings.listen, settings.threads)?;
    let handle = server.handle();
    let serving = tokio::spawn(server);
    if let Some(listen) = &settings.metrics_listen {
        let (metrics, address) = server::bind_metrics(state, listen)?;
        tracing::info!(server.address = %address, "metrics.ready");
        // It goes with the program, so that the end can be watched, too.
        tokio::spawn(metrics);
    }
    tracing::info!(server.address = %address, "server.ready");
    cli::told_to_stop().await?;
    tracing::info!("server.stopping");
    handle.stop(true).await;
    serving.await??;
    Ok(())
}
