//! What an agency has on paper: depots, people and their hours, checklists, models, the list of parts.

use std::collections::BTreeSet;

use rimeyard_store::checklist::{self, NewChecklist};
use rimeyard_store::labour::{self, LabourChange, TechnicianHours};
use rimeyard_store::model::{self, NewModel};
use rimeyard_store::part::{self, NewPart, Price};
use rimeyard_store::person::{self, NewPerson};
use rimeyard_store::{Result, Role, Tenant, depot, feed};
use uuid::Uuid;

use super::Loading;

impl<P: Fn(&str)> Loading<'_, P> {
    /// Depots, people, the checklists and the models.
    pub(super) async fn on_paper(&self) -> Result<()> {
        let agency = self.agency;
        (self.progress)(&format!(
            "depots {}, people {}",
            agency.depots.len(),
            agency.people.len()
        ));
        let depot_ids: Vec<Uuid> = agency
            .depots
            .iter()
            .filter_map(|depot| depot.depot.id)
            .collect();
        feed::write(
            self.database,
            &Tenant::system(self.org_id),
            &[self.org_id],
            async |tx| {
                for depot in &agency.depots {
                    depot::create(tx, &depot.depot).await?;
                }
                for person in &agency.people {
                    let granted = person.depots.iter().flatten();
                    let depots: BTreeSet<Uuid> = granted
                        .filter_map(|index| depot_ids.get(*index).copied())
                        .collect();
                    let new = NewPerson {
                        id: Some(person.id),
                        name: person.name.to_owned(),
                        role: person.role,
                        all_depots: person.depots.is_none(),
                        depots,
                        email: None,
                        password: None,
                    };
                    person::create(tx, &new, None).await?;
                }
                Ok(())
            },
        )
        .await?;
        let administrator = self.of_role(Role::Administrator, 0);
        // What is in a kit is listed before it.
        for kits in [false, true] {
            let new = agency
                .parts
                .iter()
                .filter(|part| part.kit.is_some() == kits);
            let new: Vec<NewPart> = new.cloned().collect();
            feed::write(self.database, &administrator, &[self.org_id], async |tx| {
                part::create_many(tx, &new).await
            })
            .await?;
        }
        feed::write(self.database, &administrator, &[self.org_id], async |tx| {
            for (checklist_id, content) in &agency.checklists {
                let new = NewChecklist {
                    id: Some(*checklist_id),
                    name: format!("{}, bottom up", content.kind),
                    kind: content.kind.clone(),
                    content: Some(content.clone()),
                };
                checklist::create(tx, &new).await?;
            }
            for model in &agency.models {
                let new = NewModel {
                    id: Some(model.id),
                    name: model.name.to_owned(),
                    kind: model.sheet.kind.clone(),
                    checklist_id: model.checklist,
                    sheet: Some(model.sheet.clone()),
                    price: Some(Price {
                        amount_minor: model.price_minor,
                        currency: "USD".to_owned(),
                    }),
                };
                model::create(tx, &new).await?;
            }
            Ok(())
        })
        .await
    }

    /// Whose hours each depot has. One at a time: a person's hours are held against those at other depots.
    pub(super) async fn labour(&self) -> Result<()> {
        let manager = self.of_role(Role::DistrictManager, 0);
        for depot in &self.agency.depots {
            let Some(depot_id) = depot.depot.id else {
                continue;
            };
            let hours = depot
                .labour
                .iter()
                .map(|(person, from, weekly_minutes)| TechnicianHours {
                    person_id: self.agency.people[*person].id,
                    from: *from,
                    until: None,
                    weekly_minutes: *weekly_minutes,
                });
            let change = LabourChange {
                travel_minutes: Some(depot.travel_minutes),
                technicians: Some(hours.collect()),
            };
            feed::write(
                self.database,
                &manager,
                &[depot_id, self.org_id],
                async |tx| {
                    let before = labour::find(tx, depot_id).await?;
                    labour::update(tx, depot_id, before.rev, &change).await
                },
            )
            .await?;
        }
        Ok(())
    }
}
