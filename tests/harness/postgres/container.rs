//! Postgres in a container, for machines that have an engine: the same as the private cluster for what the tests need.

use std::process::{Child, Command, Stdio};

use testcontainers::core::{IntoContainerPort, WaitFor};
use testcontainers::runners::AsyncRunner;
use testcontainers::{ContainerAsync, GenericImage, ImageExt};
use tokio_postgres::{Client, NoTls};

const IMAGE: &str = "postgres";
const TAG: &str = "17-alpine";
const OWNER: &str = "postgres";
const LOGIN: &str = "rimeyard";
/// The container listens on this machine only, and is gone with the tests.
const PASSWORD: &str = "for tests";

type Result<T> = std::result::Result<T, Box<dyn std::error::Error + Send + Sync>>;

/// A running container.
pub struct Container {
    port: u16,
    _container: ContainerAsync<GenericImage>,
    _undertaker: Child,
}

impl Container {
    /// Starts one.
    pub async fn scratch() -> Result<Self> {
        let container = GenericImage::new(IMAGE, TAG)
            .with_exposed_port(5432.tcp())
            // Postgres says so twice, on either: once while it sets itself up, and then for good.
            .with_wait_for(WaitFor::message_on_stderr(
                "database system is ready to accept connections",
            ))
            .with_wait_for(WaitFor::message_on_stdout(
                "database system is ready to accept connections",
            ))
            .with_env_var("POSTGRES_PASSWORD", PASSWORD)
            .with_cmd([
                "postgres",
                "-c",
                "fsync=off",
                "-c",
                "synchronous_commit=off",
                "-c",
                "max_connections=500",
            ])
            .start()
            .await?;
        let port = container.get_host_port_ipv4(5432).await?;
        // A static is not dropped when the process ends; the end of this pipe is noticed however it does.
        let undertaker = Command::new("/bin/sh")
            .args([
                "-c",
                "read -r never; docker rm --force --volumes \"$1\"",
                "undertaker",
                container.id(),
            ])
            .stdin(Stdio::piped())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()?;
        Ok(Self {
            port,
            _container: container,
            _undertaker: undertaker,
        })
    }

    fn url(&self, login: &str, name: &str) -> String {
        format!(
            "postgres://{login}:{}@127.0.0.1:{}/{name}",
            PASSWORD.replace(' ', "%20"),
            self.port
        )
    }

    /// For its owner.
    pub fn owner_url(&self, name: &str) -> String {
        self.url(OWNER, name)
    }

    /// For the programs.
    pub fn login_url(&self, name: &str) -> String {
        self.url(LOGIN, name)
    }

    /// Makes an empty database.
    pub async fn create_database(&self, name: &str) -> Result<()> {
        self.run(&format!("create database \"{name}\"")).await
    }

    /// Makes a copy.
    pub async fn clone_database(&self, template: &str, name: &str) -> Result<()> {
        self.run(&format!(
            "create database \"{name}\" template \"{template}\" strategy file_copy"
        ))
        .await
    }

    /// Drops it, and whoever is connected to it.
    pub async fn drop_database(&self, name: &str) -> Result<()> {
        self.run(&format!("drop database if exists \"{name}\" with (force)"))
            .await
    }

    async fn run(&self, sql: &str) -> Result<()> {
        let (client, connection): (Client, _) =
            tokio_postgres::connect(&self.owner_url("postgres"), NoTls).await?;
        tokio::spawn(connection);
        Ok(client.batch_execute(sql).await?)
    }
}
