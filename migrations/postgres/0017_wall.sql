-- +goose Up

-- The wall is to keep rows out, and not a way to find some: where the statistics were
-- old, what was looked up by its id was looked for among all that the kitchen ever
-- had. Written with a plus, the wall can lead to no index; each statement names its
-- kitchen and may take one by that.
-- +goose StatementBegin
DO $$
DECLARE
    walled NAME;
BEGIN
    FOR walled IN SELECT tablename FROM pg_policies WHERE policyname = 'one_kitchen' AND schemaname = current_schema() LOOP
        EXECUTE format('ALTER POLICY one_kitchen ON %I USING (+kitchen_id = (SELECT this_kitchen()))', walled);
    END LOOP;
END $$;
-- +goose StatementEnd
