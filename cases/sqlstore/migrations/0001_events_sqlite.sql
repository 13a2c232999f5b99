CREATE TRIGGER events_are_not_changed BEFORE UPDATE ON events
BEGIN
  SELECT RAISE(ABORT, 'events are never changed');
END;
CREATE TRIGGER events_are_not_deleted BEFORE DELETE ON events
BEGIN
  SELECT RAISE(ABORT, 'events are never deleted');
END;
