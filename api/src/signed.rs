//! The person who is signed in: what every handler behind the door takes.

use std::collections::BTreeSet;
use std::future::{Ready, ready};
use std::ops::Deref;

use actix_web::dev::Payload;
use actix_web::web::Data;
use actix_web::{FromRequest, HttpMessage, HttpRequest};
use rimeyard_store::access_key::Writes;
use rimeyard_store::feed::{self, Write};
use rimeyard_store::{Error, Once, Tenant, Tx, idempotency};
use uuid::Uuid;

use crate::answer::Answer;
use crate::problem::Problem;
use crate::state::State;

/// So often a write looks for where what it writes to stands.
const LOOKS_MAX: u32 = 3;

/// What the guard leaves with a request.
#[derive(Debug, Clone)]
pub struct Admitted {
    /// Who asks.
    pub tenant: Tenant,
    /// The session that the token belongs to, or the key.
    pub session: Uuid,
    /// What a depot system may write with its key; what others may write is their role's.
    pub may_write: BTreeSet<Writes>,
}

/// Whoever asks, let in by [`guard`](crate::guard): the [`Tenant`] (it derefs to it) and the ways to the database.
pub struct Signed {
    tenant: Tenant,
    /// The session that the token belongs to.
    pub session: Uuid,
    /// What all requests share.
    pub state: Data<State>,
}

impl Deref for Signed {
    type Target = Tenant;

    fn deref(&self) -> &Tenant {
        &self.tenant
    }
}

impl Signed {
    /// Reads the organisation's facts as of one instant. Finders narrow them to the depots granted.
    pub async fn read<T>(
        &self,
        work: impl AsyncFnOnce(&Tx<'_>) -> rimeyard_store::Result<T>,
    ) -> Result<T, Problem> {
        Ok(self.state.database.read(&self.tenant, work).await?)
    }

    /// Writes through the feed, `scopes` locked first. A request with an Idempotency-Key that was answered before is
    /// answered the same again, and `work` does not run.
    pub async fn write(
        &self,
        once: Option<Once>,
        scopes: &[Uuid],
        work: impl AsyncFn(&mut Write<'_>) -> rimeyard_store::Result<Answer>,
    ) -> Result<Answer, Problem> {
        Ok(self.write_once(once.as_ref(), scopes, &work).await?)
    }

    async fn write_once(
        &self,
        once: Option<&Once>,
        scopes: &[Uuid],
        work: &impl AsyncFn(&mut Write<'_>) -> rimeyard_store::Result<Answer>,
    ) -> rimeyard_store::Result<Answer> {
        feed::write(&self.state.database, &self.tenant, scopes, async |tx| {
            let Some(once) = once else {
                return work(tx).await;
            };
            if let Some(kept) = idempotency::find(tx, once).await? {
                return Ok(kept.into());
            }
            let answer = work(tx).await?;
            idempotency::keep(tx, once, &(&answer).into()).await?;
            Ok(answer)
        })
        .await
    }

    /// The same, where it takes a look at the facts to know the `scopes`. A request that was answered before is answered
    /// before that look: its own effect may be what makes it impossible now.
    pub async fn write_where(
        &self,
        once: Option<Once>,
        scopes: impl AsyncFn(&Tx<'_>) -> rimeyard_store::Result<Vec<Uuid>>,
        work: impl AsyncFn(&mut Write<'_>) -> rimeyard_store::Result<Answer>,
    ) -> Result<Answer, Problem> {
        let mut looks = 0;
        loop {
            let looked = self.read(async |tx| {
                if let Some(once) = &once
                    && let Some(kept) = idempotency::find(tx, once).await?
                {
                    return Ok(Err(kept));
                }
                scopes(tx).await.map(Ok)
            });
            let scopes = match looked.await? {
                Ok(scopes) => scopes,
                Err(kept) => return Ok(kept.into()),
            };
            looks += 1;
            match self.write_once(once.as_ref(), &scopes, &work).await {
                // What it writes to was moved between the look and the lock.
                Err(Error::Moved) if looks < LOOKS_MAX => {}
                outcome => return Ok(outcome?),
            }
        }
    }
}

impl FromRequest for Signed {
    type Error = Problem;
    type Future = Ready<Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let admitted = request.extensions().get::<Admitted>().cloned();
        let state = request.app_data::<Data<State>>().cloned();
        ready(match admitted.zip(state) {
            Some((admitted, state)) => Ok(Self {
                tenant: admitted.tenant,
                session: admitted.session,
                state,
            }),
            None => Err(Problem::internal(
                "a handler behind the door was called without x-roles",
            )),
        })
    }
}
