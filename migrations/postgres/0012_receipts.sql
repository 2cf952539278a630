-- +goose Up

-- A receipt over a line of many kitchens asks each of them for its part: one look
-- into the index each, and not through all that the kitchen has sent.
-- +goose StatementBegin
CREATE OR REPLACE FUNCTION kitchens_that_sent(kitchens JSON, by_adapter TEXT, ids JSON) RETURNS TABLE (kitchen BIGINT, id TEXT) LANGUAGE plpgsql AS $$
DECLARE
    was   TEXT := coalesce(current_setting('passbell.kitchen', true), '');
    these TEXT[] := ARRAY(SELECT json_array_elements_text(ids));
BEGIN
    FOR kitchen IN SELECT json_array_elements_text(kitchens)::BIGINT LOOP
        PERFORM set_config('passbell.kitchen', kitchen::TEXT, true);
        FOR id IN SELECT p.provider_id FROM parts p
            WHERE p.kitchen_id = kitchen AND p.adapter = by_adapter AND p.provider_id = ANY (these)
        LOOP
            RETURN NEXT;
        END LOOP;
    END LOOP;
    PERFORM set_config('passbell.kitchen', was, true);
END $$;
-- +goose StatementEnd

-- What they ask is planned once, and not again for each kitchen.
ALTER FUNCTION kitchens_that_sent SET plan_cache_mode = force_generic_plan;
ALTER FUNCTION kitchens_that_have SET plan_cache_mode = force_generic_plan;
ALTER FUNCTION kitchens_expecting SET plan_cache_mode = force_generic_plan;
ALTER FUNCTION kitchens_astir SET plan_cache_mode = force_generic_plan;
