-- +goose Up

-- How often a kitchen's orders, and what its rounds go by (nights, opt-outs, own
-- texts), were changed, by whoever changed them: what was read of them once holds
-- until then.
CREATE TABLE changes (
    kitchen_id    INTEGER PRIMARY KEY,
    orders        INTEGER NOT NULL DEFAULT 0,
    terms         INTEGER NOT NULL DEFAULT 0
);

-- +goose StatementBegin
CREATE TRIGGER orders_insert_counted AFTER INSERT ON orders BEGIN
    INSERT INTO changes (kitchen_id, orders) VALUES (NEW.kitchen_id, 1) ON CONFLICT (kitchen_id) DO UPDATE SET orders = orders + 1;
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER orders_update_counted AFTER UPDATE ON orders BEGIN
    INSERT INTO changes (kitchen_id, orders) VALUES (NEW.kitchen_id, 1) ON CONFLICT (kitchen_id) DO UPDATE SET orders = orders + 1;
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER orders_delete_counted AFTER DELETE ON orders BEGIN
    INSERT INTO changes (kitchen_id, orders) VALUES (OLD.kitchen_id, 1) ON CONFLICT (kitchen_id) DO UPDATE SET orders = orders + 1;
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER nights_insert_counted AFTER INSERT ON nights BEGIN
    INSERT INTO changes (kitchen_id, terms) VALUES (NEW.kitchen_id, 1) ON CONFLICT (kitchen_id) DO UPDATE SET terms = terms + 1;
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER nights_update_counted AFTER UPDATE ON nights BEGIN
    INSERT INTO changes (kitchen_id, terms) VALUES (NEW.kitchen_id, 1) ON CONFLICT (kitchen_id) DO UPDATE SET terms = terms + 1;
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER nights_delete_counted AFTER DELETE ON nights BEGIN
    INSERT INTO changes (kitchen_id, terms) VALUES (OLD.kitchen_id, 1) ON CONFLICT (kitchen_id) DO UPDATE SET terms = terms + 1;
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER optouts_insert_counted AFTER INSERT ON optouts BEGIN
    INSERT INTO changes (kitchen_id, terms) VALUES (NEW.kitchen_id, 1) ON CONFLICT (kitchen_id) DO UPDATE SET terms = terms + 1;
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER optouts_update_counted AFTER UPDATE ON optouts BEGIN
    INSERT INTO changes (kitchen_id, terms) VALUES (NEW.kitchen_id, 1) ON CONFLICT (kitchen_id) DO UPDATE SET terms = terms + 1;
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER optouts_delete_counted AFTER DELETE ON optouts BEGIN
    INSERT INTO changes (kitchen_id, terms) VALUES (OLD.kitchen_id, 1) ON CONFLICT (kitchen_id) DO UPDATE SET terms = terms + 1;
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER texts_insert_counted AFTER INSERT ON texts BEGIN
    INSERT INTO changes (kitchen_id, terms) VALUES (NEW.kitchen_id, 1) ON CONFLICT (kitchen_id) DO UPDATE SET terms = terms + 1;
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER texts_update_counted AFTER UPDATE ON texts BEGIN
    INSERT INTO changes (kitchen_id, terms) VALUES (NEW.kitchen_id, 1) ON CONFLICT (kitchen_id) DO UPDATE SET terms = terms + 1;
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER texts_delete_counted AFTER DELETE ON texts BEGIN
    INSERT INTO changes (kitchen_id, terms) VALUES (OLD.kitchen_id, 1) ON CONFLICT (kitchen_id) DO UPDATE SET terms = terms + 1;
END;
-- +goose StatementEnd
