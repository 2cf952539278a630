-- +goose Up

-- How often a kitchen's orders, and what its rounds go by (nights, opt-outs, own
-- texts), were changed, by whoever changed them: what was read of them once holds
-- until then.
CREATE TABLE changes (
    kitchen_id    BIGINT PRIMARY KEY,
    orders        BIGINT NOT NULL DEFAULT 0,
    terms         BIGINT NOT NULL DEFAULT 0
);
ALTER TABLE changes ENABLE ROW LEVEL SECURITY;
ALTER TABLE changes FORCE ROW LEVEL SECURITY;
CREATE POLICY one_kitchen ON changes USING (+kitchen_id = (SELECT this_kitchen()));

-- +goose StatementBegin
CREATE FUNCTION count_change() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
    here     BIGINT := this_kitchen();
    of_order BIGINT := CASE TG_ARGV[0] WHEN 'orders' THEN 1 ELSE 0 END;
BEGIN
    UPDATE changes c SET orders = c.orders + of_order, terms = c.terms + 1 - of_order WHERE c.kitchen_id = here;
    IF NOT FOUND THEN
        -- Whoever works past the wall, such as one who mends a night by hand, names no
        -- kitchen: then it may be any.
        INSERT INTO changes AS c (kitchen_id, orders, terms) SELECT k.id, of_order, 1 - of_order
        FROM kitchens k WHERE k.id = coalesce(here, k.id)
        ON CONFLICT (kitchen_id) DO UPDATE SET orders = c.orders + excluded.orders, terms = c.terms + excluded.terms;
    END IF;
    RETURN NULL;
END $$;
-- +goose StatementEnd
CREATE TRIGGER counted AFTER INSERT OR UPDATE OR DELETE ON orders FOR EACH STATEMENT EXECUTE FUNCTION count_change('orders');
CREATE TRIGGER counted AFTER INSERT OR UPDATE OR DELETE ON nights FOR EACH STATEMENT EXECUTE FUNCTION count_change('terms');
CREATE TRIGGER counted AFTER INSERT OR UPDATE OR DELETE ON optouts FOR EACH STATEMENT EXECUTE FUNCTION count_change('terms');
CREATE TRIGGER counted AFTER INSERT OR UPDATE OR DELETE ON texts FOR EACH STATEMENT EXECUTE FUNCTION count_change('terms');
