drop table idempotency, audit, mark, feed_entry, feed_scope, depot_state, unit_state, limited_use, storm_depot, storm,
    hold, finding, meter_reading, reading, fitted_part, inspection, unit, sheet, model, checklist_version, checklist,
    signing_key, refresh_token, credential, person_depot, person, depot, installation, organisation;
