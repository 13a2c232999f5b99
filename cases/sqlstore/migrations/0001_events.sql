-- What is kept: events, the files they speak of, names. TEXT compares by bytes in
-- both databases; BYTES, ROWNUMBER are each database's own word (see schema.go).

CREATE TABLE sites (
  site TEXT PRIMARY KEY,
  seq  BIGINT NOT NULL, -- the head of its chain; 0 and '' before the first event
  hash TEXT NOT NULL,
  held BIGINT NOT NULL  -- how many of its events are here; fewer than seq: gaps
);

CREATE TABLE events (
  row_number   ROWNUMBER,
  site         TEXT NOT NULL,
  seq          BIGINT NOT NULL,
  id           TEXT NOT NULL,
  subject_kind TEXT NOT NULL,
  subject      TEXT NOT NULL,
  ord          BIGINT NOT NULL,
  kind         TEXT NOT NULL,
  version      BIGINT NOT NULL,
  at_us        BIGINT NOT NULL, -- microseconds since 1970, UTC
  zone         BIGINT NOT NULL,
  written_by   TEXT NOT NULL,
  place        TEXT NOT NULL,
  corrects     TEXT NOT NULL,
  program      TEXT NOT NULL,
  rulebase     TEXT NOT NULL,
  body         TEXT NOT NULL,
  prev         BYTES NOT NULL,
  hash         BYTES NOT NULL
);
CREATE UNIQUE INDEX events_chain ON events (site, seq);
CREATE UNIQUE INDEX events_id ON events (id);
CREATE INDEX events_subject ON events (subject_kind, subject, ord, site, seq);

CREATE TABLE files (
  digest  TEXT PRIMARY KEY,
  content BYTES NOT NULL
);

CREATE TABLE names (
  id   TEXT PRIMARY KEY,
  name TEXT NOT NULL,
  sum  TEXT NOT NULL -- names are in no chain: a checksum shows a damaged one
);
