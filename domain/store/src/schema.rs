//! The tables of migrations/, as diesel sees them. A test compares every column with the database.
//!
//! Foreign keys are composite (org_id, id), which `joinable!` cannot say: joins spell their `on`.
#![expect(
    missing_docs,
    reason = "the columns are explained beside their definition, in migrations/"
)]

diesel::table! {
    access_key (org_id, id) {
        org_id -> Uuid,
        id -> Uuid,
        person_id -> Uuid,
        name -> Text,
        key_hash -> Bytea,
        may_write -> Array<Text>,
        created_at -> Timestamptz,
        created_by -> Uuid,
        expires_at -> Timestamptz,
        last_used_at -> Nullable<Timestamptz>,
        revoked_at -> Nullable<Timestamptz>,
        revoked_by -> Nullable<Uuid>,
        rev -> BigInt,
    }
}

diesel::table! {
    alert (org_id, id) {
        org_id -> Uuid,
        id -> Uuid,
        depot_id -> Uuid,
        kind -> Text,
        subject_id -> Uuid,
        unit_id -> Nullable<Uuid>,
        severity -> Text,
        text -> Text,
        opened_at -> Timestamptz,
        raised_at -> Timestamptz,
        escalated_at -> Nullable<Timestamptz>,
        acknowledged_at -> Nullable<Timestamptz>,
        acknowledged_by -> Nullable<Uuid>,
        acknowledged_with -> Nullable<Text>,
        cleared_at -> Nullable<Timestamptz>,
        rev -> BigInt,
    }
}

diesel::table! {
    audit (org_id, id) {
        org_id -> Uuid,
        id -> Uuid,
        at -> Timestamptz,
        person_id -> Nullable<Uuid>,
        action -> Text,
        object_kind -> Text,
        object_id -> Uuid,
        scope_id -> Uuid,
        request_id -> Nullable<Uuid>,
        detail -> Jsonb,
        session -> Nullable<Uuid>,
    }
}

diesel::table! {
    checklist (org_id, id) {
        org_id -> Uuid,
        id -> Uuid,
        name -> Text,
        kind -> Text,
        version -> Integer,
        rev -> BigInt,
        created_at -> Timestamptz,
    }
}

diesel::table! {
    checklist_version (org_id, checklist_id, version) {
        org_id -> Uuid,
        checklist_id -> Uuid,
        version -> Integer,
        content -> Jsonb,
        created_at -> Timestamptz,
        created_by -> Nullable<Uuid>,
    }
}

diesel::table! {
    credential (org_id, person_id) {
        org_id -> Uuid,
        person_id -> Uuid,
        email -> Text,
        password_hash -> Text,
        changed_at -> Timestamptz,
    }
}

diesel::table! {
    deferral (org_id, id) {
        org_id -> Uuid,
        id -> Uuid,
        unit_id -> Uuid,
        depot_id -> Uuid,
        task -> Text,
        until_day -> Date,
        reason -> Text,
        deferred_by -> Uuid,
        deferred_at -> Timestamptz,
        ended_at -> Nullable<Timestamptz>,
        rev -> BigInt,
    }
}

diesel::table! {
    depot (org_id, id) {
        org_id -> Uuid,
        id -> Uuid,
        name -> Text,
        zone -> Text,
        latitude -> Double,
        longitude -> Double,
        season_starts -> Text,
        season_ends -> Text,
        typical_snow_days -> Integer,
        snow_day_mm -> Double,
        design_storm -> Jsonb,
        duties -> Jsonb,
        operators -> Jsonb,
        rev -> BigInt,
        created_at -> Timestamptz,
        travel_minutes -> Integer,
        labour_rev -> BigInt,
    }
}

diesel::table! {
    depot_state (org_id, depot_id) {
        org_id -> Uuid,
        depot_id -> Uuid,
        inputs -> Text,
        as_of -> Timestamptz,
        valid_until -> Timestamptz,
    }
}

diesel::table! {
    device (org_id, id) {
        org_id -> Uuid,
        id -> Uuid,
        name -> Text,
        person_id -> Uuid,
        depot_id -> Nullable<Uuid>,
        code_id -> Uuid,
        session -> Uuid,
        thumbprint -> Text,
        enrolled_at -> Timestamptz,
        enrolled_by -> Uuid,
        revoked_at -> Nullable<Timestamptz>,
        revoked_by -> Nullable<Uuid>,
        revoked_because -> Nullable<Text>,
        rev -> BigInt,
    }
}

diesel::table! {
    device_code (org_id, id) {
        org_id -> Uuid,
        id -> Uuid,
        code_hash -> Bytea,
        person_id -> Nullable<Uuid>,
        depot_id -> Nullable<Uuid>,
        created_at -> Timestamptz,
        created_by -> Uuid,
        expires_at -> Timestamptz,
        redeemed_at -> Nullable<Timestamptz>,
    }
}

diesel::table! {
    feed_entry (org_id, scope_id, kind, object_id) {
        org_id -> Uuid,
        scope_id -> Uuid,
        kind -> Text,
        object_id -> Uuid,
        seq -> BigInt,
        rev -> BigInt,
        deleted -> Bool,
        digest -> BigInt,
        doc -> Text,
        at -> Timestamptz,
        replaced -> BigInt,
    }
}

diesel::table! {
    feed_scope (org_id, scope_id) {
        org_id -> Uuid,
        scope_id -> Uuid,
        head -> BigInt,
        digest -> BigInt,
        floor -> BigInt,
    }
}

diesel::table! {
    finding (org_id, id) {
        org_id -> Uuid,
        id -> Uuid,
        unit_id -> Uuid,
        depot_id -> Uuid,
        inspection_id -> Uuid,
        check_code -> Text,
        effect -> Text,
        text -> Text,
        opened_at -> Timestamptz,
        closed_at -> Nullable<Timestamptz>,
        closed_by -> Nullable<Uuid>,
        rev -> BigInt,
    }
}

diesel::table! {
    fitted_part (org_id, id) {
        org_id -> Uuid,
        id -> Uuid,
        unit_id -> Uuid,
        part -> Text,
        how -> Text,
        fitted_at -> Nullable<Timestamptz>,
        fitted_hours -> Nullable<Double>,
        removed_at -> Nullable<Timestamptz>,
        removed_hours -> Nullable<Double>,
        failed -> Nullable<Bool>,
        inspection_id -> Nullable<Uuid>,
        created_at -> Timestamptz,
        created_by -> Uuid,
    }
}

diesel::table! {
    hold (org_id, id) {
        org_id -> Uuid,
        id -> Uuid,
        unit_id -> Uuid,
        depot_id -> Uuid,
        reason -> Text,
        finding_id -> Nullable<Uuid>,
        placed_at -> Timestamptz,
        placed_by -> Uuid,
        lifted_at -> Nullable<Timestamptz>,
        lifted_by -> Nullable<Uuid>,
        lifted_inspection -> Nullable<Uuid>,
        rev -> BigInt,
        to_be_lifted_by -> Nullable<Uuid>,
    }
}

diesel::table! {
    idempotency (org_id, person_id, key) {
        org_id -> Uuid,
        person_id -> Uuid,
        key -> Text,
        request_digest -> Bytea,
        status -> Integer,
        headers -> Jsonb,
        body -> Text,
        created_at -> Timestamptz,
    }
}

diesel::table! {
    import (org_id, id) {
        org_id -> Uuid,
        id -> Uuid,
        what -> Text,
        state -> Text,
        dry_run -> Bool,
        dates -> Nullable<Text>,
        decimal_mark -> Text,
        header -> Jsonb,
        created_by -> Uuid,
        applied_by -> Nullable<Uuid>,
        created_at -> Timestamptz,
        changed_at -> Timestamptz,
        checked_at -> Nullable<Timestamptz>,
        applied_at -> Nullable<Timestamptz>,
        row_count -> Integer,
        checked_count -> Integer,
        fault_count -> Integer,
        applied_count -> Integer,
        checked_to -> Integer,
        applied_to -> Bytea,
        depots -> Array<Uuid>,
        halted_because -> Nullable<Text>,
        lease_token -> Nullable<Uuid>,
        leased_until -> Nullable<Timestamptz>,
        attempts -> Integer,
        retry_at -> Nullable<Timestamptz>,
        last_error -> Nullable<Text>,
    }
}

diesel::table! {
    import_fault (org_id, import_id, row, place) {
        org_id -> Uuid,
        import_id -> Uuid,
        row -> Integer,
        place -> Integer,
        field -> Text,
        problem -> Text,
        at -> Timestamptz,
    }
}

diesel::table! {
    import_item (org_id, import_id, place) {
        org_id -> Uuid,
        import_id -> Uuid,
        place -> Bytea,
        row -> Integer,
        key -> Nullable<Text>,
        content -> Text,
        at -> Timestamptz,
    }
}

diesel::table! {
    import_row (org_id, import_id, row) {
        org_id -> Uuid,
        import_id -> Uuid,
        row -> Integer,
        cells -> Text,
        at -> Timestamptz,
    }
}

diesel::table! {
    inspection (org_id, id) {
        org_id -> Uuid,
        id -> Uuid,
        unit_id -> Uuid,
        depot_id -> Uuid,
        kind -> Text,
        performed_at -> Timestamptz,
        received_at -> Timestamptz,
        performed_by -> Uuid,
        run_hours -> Nullable<Double>,
        model_id -> Uuid,
        sheet_version -> Integer,
        checklist_id -> Uuid,
        checklist_version -> Integer,
        corrects -> Nullable<Uuid>,
        note -> Nullable<Text>,
        flags -> Array<Text>,
        took_effect_at -> Timestamptz,
        tasks_shown -> Array<Text>,
    }
}

diesel::table! {
    installation (one) {
        one -> Bool,
        counter -> BigInt,
    }
}

diesel::table! {
    learned (org_id, model_id, version) {
        org_id -> Uuid,
        model_id -> Uuid,
        version -> Integer,
        sheet_version -> Integer,
        facts -> BigInt,
        content -> Jsonb,
        learned_at -> Timestamptz,
    }
}

diesel::table! {
    limited_use (org_id, id) {
        org_id -> Uuid,
        id -> Uuid,
        unit_id -> Uuid,
        depot_id -> Uuid,
        reason -> Text,
        named_by -> Uuid,
        starts_at -> Timestamptz,
        ends_at -> Timestamptz,
        ended_at -> Nullable<Timestamptz>,
        admitted_storm -> Nullable<Uuid>,
        admitted_by -> Nullable<Uuid>,
        rev -> BigInt,
    }
}

diesel::table! {
    mark (org_id, depot_id) {
        org_id -> Uuid,
        depot_id -> Uuid,
        due_at -> Timestamptz,
        #[sql_name = "gen"]
        generation -> BigInt,
        lease_token -> Nullable<Uuid>,
        leased_until -> Nullable<Timestamptz>,
        attempts -> Integer,
        last_error -> Nullable<Text>,
        parked_at -> Nullable<Timestamptz>,
        retry_at -> Nullable<Timestamptz>,
    }
}

diesel::table! {
    meter_reading (org_id, id) {
        org_id -> Uuid,
        id -> Uuid,
        unit_id -> Uuid,
        depot_id -> Uuid,
        read_at -> Timestamptz,
        received_at -> Timestamptz,
        read_by -> Uuid,
        run_hours -> Nullable<Double>,
        estimated -> Bool,
        started -> Nullable<Bool>,
        corrects -> Nullable<Uuid>,
        note -> Nullable<Text>,
        flags -> Array<Text>,
        took_effect_at -> Timestamptz,
        meter_replaced -> Bool,
    }
}

diesel::table! {
    model (org_id, id) {
        org_id -> Uuid,
        id -> Uuid,
        name -> Text,
        kind -> Text,
        checklist_id -> Uuid,
        sheet_version -> Integer,
        rev -> BigInt,
        created_at -> Timestamptz,
        price_minor -> Nullable<BigInt>,
        currency -> Nullable<Text>,
    }
}

diesel::table! {
    organisation (org_id) {
        org_id -> Uuid,
        name -> Text,
        created_at -> Timestamptz,
    }
}

diesel::table! {
    part (org_id, id) {
        org_id -> Uuid,
        id -> Uuid,
        number -> Text,
        name -> Text,
        title -> Text,
        unit -> Text,
        pack_size -> Integer,
        lead_time_days -> Integer,
        price_minor -> Nullable<BigInt>,
        currency -> Nullable<Text>,
        shelf_life_days -> Nullable<Integer>,
        kit -> Nullable<Jsonb>,
        rev -> BigInt,
        created_at -> Timestamptz,
    }
}

diesel::table! {
    person (org_id, id) {
        org_id -> Uuid,
        id -> Uuid,
        name -> Text,
        role -> Text,
        all_depots -> Bool,
        active -> Bool,
        rev -> BigInt,
        created_at -> Timestamptz,
    }
}

diesel::table! {
    person_depot (org_id, person_id, depot_id) {
        org_id -> Uuid,
        person_id -> Uuid,
        depot_id -> Uuid,
    }
}

diesel::table! {
    reading (org_id, inspection_id, check_code) {
        org_id -> Uuid,
        inspection_id -> Uuid,
        check_code -> Text,
        unit_id -> Uuid,
        fitted_part_id -> Nullable<Uuid>,
        value -> Nullable<Double>,
        entered -> Nullable<Double>,
        unit -> Nullable<Text>,
        grade -> Nullable<Text>,
        works -> Nullable<Bool>,
        level -> Nullable<Text>,
        temperature_c -> Nullable<Double>,
        full_charge -> Nullable<Double>,
        repeats -> Integer,
        low_c -> Nullable<Double>,
        backed_by -> Nullable<Text>,
        verdict -> Text,
        flags -> Array<Text>,
        note -> Nullable<Text>,
    }
}

diesel::table! {
    refresh_token (org_id, id) {
        org_id -> Uuid,
        id -> Uuid,
        person_id -> Uuid,
        family -> Uuid,
        parent -> Nullable<Uuid>,
        token_hash -> Bytea,
        created_at -> Timestamptz,
        expires_at -> Timestamptz,
        used_at -> Nullable<Timestamptz>,
        revoked_at -> Nullable<Timestamptz>,
    }
}

diesel::table! {
    sheet (org_id, model_id, version) {
        org_id -> Uuid,
        model_id -> Uuid,
        version -> Integer,
        content -> Jsonb,
        created_at -> Timestamptz,
        created_by -> Nullable<Uuid>,
    }
}

diesel::table! {
    signing_key (kid) {
        kid -> Text,
        private_pem -> Text,
        public_pem -> Text,
        created_at -> Timestamptz,
        retired_at -> Nullable<Timestamptz>,
    }
}

diesel::table! {
    snowfall (org_id, depot_id, on_day, id) {
        org_id -> Uuid,
        depot_id -> Uuid,
        on_day -> Date,
        id -> Uuid,
        snowfall_mm -> Double,
        noted_by -> Uuid,
        noted_at -> Timestamptz,
        entered -> Nullable<Double>,
        unit -> Nullable<Text>,
    }
}

diesel::table! {
    stock_level (org_id, id) {
        org_id -> Uuid,
        id -> Uuid,
        depot_id -> Uuid,
        part_id -> Uuid,
        lot_code -> Text,
        made_on -> Nullable<Date>,
        quantity -> BigInt,
        rev -> BigInt,
    }
}

diesel::table! {
    stock_move (org_id, id) {
        org_id -> Uuid,
        id -> Uuid,
        depot_id -> Uuid,
        #[sql_name = "move"]
        kind -> Text,
        part_id -> Uuid,
        quantity -> BigInt,
        lot_code -> Text,
        made_on -> Nullable<Date>,
        to_depot_id -> Nullable<Uuid>,
        kit_id -> Nullable<Uuid>,
        work_order_id -> Nullable<Uuid>,
        reason -> Nullable<Text>,
        happened_at -> Timestamptz,
        received_at -> Timestamptz,
        booked_by -> Uuid,
        corrects -> Nullable<Uuid>,
        flags -> Array<Text>,
        took_effect_at -> Timestamptz,
    }
}

diesel::table! {
    storm (org_id, id) {
        org_id -> Uuid,
        id -> Uuid,
        name -> Text,
        starts_at -> Timestamptz,
        ends_at -> Timestamptz,
        depth_mm -> Double,
        reclear_mm -> Double,
        density_kg_m3 -> Nullable<Double>,
        temperature_c -> Nullable<Double>,
        low_c -> Nullable<Double>,
        cancelled_at -> Nullable<Timestamptz>,
        rev -> BigInt,
        created_at -> Timestamptz,
    }
}

diesel::table! {
    storm_depot (org_id, storm_id, depot_id) {
        org_id -> Uuid,
        storm_id -> Uuid,
        depot_id -> Uuid,
    }
}

diesel::table! {
    task_done (org_id, id) {
        org_id -> Uuid,
        id -> Uuid,
        unit_id -> Uuid,
        depot_id -> Uuid,
        task -> Text,
        done -> Bool,
        done_at -> Timestamptz,
        received_at -> Timestamptz,
        done_by -> Uuid,
        run_hours -> Nullable<Double>,
        work_order_id -> Nullable<Uuid>,
        corrects -> Nullable<Uuid>,
        note -> Nullable<Text>,
        took_effect_at -> Timestamptz,
    }
}

diesel::table! {
    technician_hours (org_id, depot_id, person_id, from_day) {
        org_id -> Uuid,
        depot_id -> Uuid,
        person_id -> Uuid,
        from_day -> Date,
        until_day -> Nullable<Date>,
        weekly_minutes -> Integer,
    }
}

diesel::table! {
    unit (org_id, id) {
        org_id -> Uuid,
        id -> Uuid,
        depot_id -> Uuid,
        model_id -> Uuid,
        tag -> Text,
        rigging -> Text,
        away -> Nullable<Text>,
        acquired_on -> Nullable<Date>,
        retired_at -> Nullable<Timestamptz>,
        rev -> BigInt,
        created_at -> Timestamptz,
    }
}

diesel::table! {
    unit_state (org_id, unit_id) {
        org_id -> Uuid,
        unit_id -> Uuid,
        depot_id -> Uuid,
        status -> Text,
        inputs -> Text,
        as_of -> Timestamptz,
        valid_until -> Timestamptz,
        tasks -> Text,
        owed -> SmallInt,
    }
}

diesel::table! {
    unsent (org_id, id) {
        org_id -> Uuid,
        id -> Uuid,
        device_id -> Uuid,
        depot_id -> Nullable<Uuid>,
        what -> Text,
        body -> Text,
        received_at -> Timestamptz,
        settled_at -> Nullable<Timestamptz>,
        settled_by -> Nullable<Uuid>,
        outcome -> Nullable<Text>,
        word -> Nullable<Text>,
        rev -> BigInt,
        operator_id -> Nullable<Uuid>,
    }
}

diesel::table! {
    work_order (org_id, id) {
        org_id -> Uuid,
        id -> Uuid,
        unit_id -> Uuid,
        depot_id -> Uuid,
        state -> Text,
        title -> Text,
        symptom -> Nullable<Text>,
        noticed_at -> Nullable<Timestamptz>,
        planned_for -> Nullable<Date>,
        assigned_to -> Nullable<Uuid>,
        waits_for -> Nullable<Text>,
        needs -> Jsonb,
        downtime -> Jsonb,
        note -> Nullable<Text>,
        drop_reason -> Nullable<Text>,
        proved_by -> Nullable<Uuid>,
        opened_at -> Timestamptz,
        opened_by -> Uuid,
        ended_at -> Nullable<Timestamptz>,
        ended_by -> Nullable<Uuid>,
        rev -> BigInt,
    }
}

diesel::table! {
    work_order_line (org_id, id) {
        org_id -> Uuid,
        id -> Uuid,
        work_order_id -> Uuid,
        title -> Text,
        minutes_planned -> Nullable<Double>,
        minutes_worked -> Nullable<Double>,
        finding_id -> Nullable<Uuid>,
        task -> Nullable<Text>,
        part -> Nullable<Text>,
        takes -> Array<Text>,
        done_at -> Nullable<Timestamptz>,
        taken_off -> Nullable<Text>,
    }
}

diesel::allow_tables_to_appear_in_same_query!(
    access_key,
    alert,
    audit,
    checklist,
    checklist_version,
    credential,
    deferral,
    depot,
    depot_state,
    device,
    device_code,
    feed_entry,
    feed_scope,
    finding,
    fitted_part,
    hold,
    idempotency,
    import,
    import_fault,
    import_item,
    import_row,
    inspection,
    installation,
    learned,
    limited_use,
    mark,
    meter_reading,
    model,
    organisation,
    part,
    person,
    person_depot,
    reading,
    refresh_token,
    sheet,
    signing_key,
    snowfall,
    stock_level,
    stock_move,
    storm,
    storm_depot,
    task_done,
    technician_hours,
    unit,
    unit_state,
    unsent,
    work_order,
    work_order_line,
);
