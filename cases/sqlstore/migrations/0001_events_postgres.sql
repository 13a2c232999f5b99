CREATE FUNCTION events_stay() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  RAISE EXCEPTION 'events are never changed or deleted';
END
$$;
CREATE TRIGGER events_stay BEFORE UPDATE OR DELETE ON events FOR EACH ROW EXECUTE FUNCTION events_stay();
CREATE TRIGGER events_all_stay BEFORE TRUNCATE ON events FOR EACH STATEMENT EXECUTE FUNCTION events_stay();
