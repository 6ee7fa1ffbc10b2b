-- What an addition makes doubtful of its record, where it does: that the work went beyond the rules, by a distance that was kept and is
-- told only now, or that less was kept than the record says. Judged when it is written, so that the owner looks at it. Nothing for the
-- additions of earlier versions.
ALTER TABLE record_additions ADD COLUMN doubt TEXT
    CONSTRAINT record_additions_doubt CHECK (doubt IN ('beyond_the_rules', 'shorter_distance'));
CREATE INDEX record_additions_in_doubt ON record_additions (seq) WHERE doubt IS NOT NULL;

-- A record that became doubtful by what was entered or withdrawn after it was written: a measurement, a soil report or an entry about its
-- section, after which a rule stops it that did not before, or it lies on more ground than the lawn had. Judged when that is written, so
-- that the owner looks at it; all rows of one cause are one entry of the list, under the id of the first. Never changed. What was learned
-- before there was this table was judged by nobody.
CREATE TABLE doubted_records (
    seq            INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    id             TEXT    NOT NULL CONSTRAINT doubted_records_id UNIQUE,
    application_id TEXT    NOT NULL CONSTRAINT doubted_records_application REFERENCES applications (id),
    cause          TEXT    NOT NULL CONSTRAINT doubted_records_kind CHECK (cause IN ('measurement', 'soil_report', 'entry')),
    cause_id       TEXT    NOT NULL,
    noted_at       INTEGER NOT NULL,
    CONSTRAINT doubted_records_once UNIQUE (cause_id, application_id)
) STRICT;
CREATE INDEX doubted_records_by_application ON doubted_records (application_id);
CREATE TRIGGER doubted_records_keep BEFORE UPDATE ON doubted_records BEGIN SELECT RAISE(ABORT, 'doubts are never edited'); END;
CREATE TRIGGER doubted_records_stay BEFORE DELETE ON doubted_records BEGIN SELECT RAISE(ABORT, 'doubts are never deleted'); END;
