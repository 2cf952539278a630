-- +goose Up

-- A transaction's first word: it takes the turn, an advisory lock, where it is to
-- have one, names the kitchen to the row-level policies, and gives what was counted
-- of the kitchen's changes up to then.
-- +goose StatementBegin
CREATE FUNCTION enter_kitchen(kitchen BIGINT, turn BIGINT, OUT orders BIGINT, OUT terms BIGINT) LANGUAGE plpgsql AS $$
BEGIN
    IF turn IS NOT NULL THEN
        PERFORM pg_advisory_xact_lock(turn);
    END IF;
    PERFORM set_config('passbell.kitchen', kitchen::TEXT, true);
    SELECT c.orders, c.terms INTO orders, terms FROM changes c WHERE c.kitchen_id = kitchen;
END $$;
-- +goose StatementEnd
