-- What Find looks through. All of it follows from the events and is written in the
-- same transaction with them; Rebuild makes it anew.

CREATE TABLE summaries (
  number   ROWNUMBER,
  id       TEXT NOT NULL,
  events   BIGINT NOT NULL, -- how many the case has
  code     TEXT NOT NULL,
  location TEXT NOT NULL,
  on_drop  BIGINT NOT NULL,
  type     TEXT NOT NULL,
  serial   TEXT NOT NULL,
  state    TEXT NOT NULL,
  waiting  TEXT NOT NULL,
  opened   BIGINT NOT NULL, -- microseconds since 1970, UTC
  changed  BIGINT NOT NULL,
  complaint TEXT NOT NULL,
  causes   TEXT NOT NULL,   -- a JSON list
  outcome  TEXT NOT NULL,
  verdict  TEXT NOT NULL,
  in_place BIGINT NOT NULL
);
CREATE UNIQUE INDEX summaries_id ON summaries (id);
CREATE INDEX summaries_changed ON summaries (changed DESC, id);
CREATE INDEX summaries_state ON summaries (state, changed DESC, id);

CREATE TABLE terms (
  kind   TEXT NOT NULL, -- see projection.go
  term   TEXT NOT NULL,
  number BIGINT NOT NULL,
  PRIMARY KEY (kind, term, number)
) WITHOUT_ROWID;
CREATE INDEX terms_of ON terms (number);

-- Every word that stands in terms, by the page: a part of a word is looked for in
-- all of them.
CREATE TABLE words (
  number ROWNUMBER,
  words  TEXT NOT NULL -- each with a line feed behind it
);
