-- +goose Up

-- A text of which nobody knows for which of several kitchens it is stands in
-- all of them.
ALTER TABLE inbounds ADD COLUMN shared INTEGER NOT NULL DEFAULT 0; -- other kitchens that have it as well
ALTER TABLE inbounds ADD COLUMN silent INTEGER NOT NULL DEFAULT 0; -- 1 where another one answers

-- What a process that works for several kitchens may ask of all of them at once.
-- Each function goes from kitchen to kitchen behind the wall, as any transaction
-- does, and gives nothing but ids; the wall has no door for them. The kitchens
-- are those that the caller names.

-- +goose StatementBegin
CREATE FUNCTION kitchens_expecting(kitchens JSON, address TEXT, states JSON) RETURNS SETOF BIGINT LANGUAGE plpgsql AS $$
DECLARE
    was   TEXT := coalesce(current_setting('passbell.kitchen', true), '');
    these TEXT[] := ARRAY(SELECT json_array_elements_text(states));
    k     RECORD;
    n     BIGINT;
BEGIN
    FOR k IN SELECT * FROM json_to_recordset(kitchens) AS x (id BIGINT, date TEXT, slot INTEGER) LOOP
        PERFORM set_config('passbell.kitchen', k.id::TEXT, true);
        -- Night by night, so that each look is one into the index.
        FOR n IN SELECT id FROM nights WHERE kitchen_id = k.id AND (date > k.date OR date = k.date AND last_slot >= k.slot) LOOP
            IF EXISTS (
                SELECT 1 FROM orders WHERE kitchen_id = k.id AND night_id = n AND phone = address AND state = ANY (these))
            OR position('@' IN address) > 0 AND EXISTS (
                SELECT 1 FROM orders WHERE kitchen_id = k.id AND night_id = n AND lower(email) = lower(address) AND state = ANY (these))
            THEN
                RETURN NEXT k.id;
                EXIT;
            END IF;
        END LOOP;
    END LOOP;
    PERFORM set_config('passbell.kitchen', was, true);
END $$;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE FUNCTION kitchens_that_sent(kitchens JSON, by_adapter TEXT, ids JSON) RETURNS TABLE (kitchen BIGINT, id TEXT) LANGUAGE plpgsql AS $$
DECLARE
    was TEXT := coalesce(current_setting('passbell.kitchen', true), '');
BEGIN
    FOR kitchen IN SELECT json_array_elements_text(kitchens)::BIGINT LOOP
        PERFORM set_config('passbell.kitchen', kitchen::TEXT, true);
        FOR id IN SELECT p.provider_id FROM parts p
            WHERE p.kitchen_id = kitchen AND p.adapter = by_adapter AND p.provider_id IN (SELECT json_array_elements_text(ids))
        LOOP
            RETURN NEXT;
        END LOOP;
    END LOOP;
    PERFORM set_config('passbell.kitchen', was, true);
END $$;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE FUNCTION kitchens_that_have(kitchens JSON, by_adapter TEXT, text_id TEXT) RETURNS SETOF BIGINT LANGUAGE plpgsql AS $$
DECLARE
    was TEXT := coalesce(current_setting('passbell.kitchen', true), '');
    k   BIGINT;
BEGIN
    FOR k IN SELECT json_array_elements_text(kitchens)::BIGINT LOOP
        PERFORM set_config('passbell.kitchen', k::TEXT, true);
        IF EXISTS (SELECT 1 FROM inbounds WHERE kitchen_id = k AND adapter = by_adapter AND provider_id = text_id) THEN
            RETURN NEXT k;
        END IF;
    END LOOP;
    PERFORM set_config('passbell.kitchen', was, true);
END $$;
-- +goose StatementEnd
