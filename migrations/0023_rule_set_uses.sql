-- Every text of a rule set that this server held while it had the book open. The text of a version that counts is read from here once
-- the program or the operator's folder has another one. Written when a version is met, by the server; never edited, because its hash is
-- what uses and decisions name. Apart from `rule_set_texts`, whose hashes every act reads: those are the versions that decided something.
CREATE TABLE rule_set_versions (
    hash   TEXT    NOT NULL PRIMARY KEY CONSTRAINT rule_set_versions_hash CHECK (length(hash) = 64),
    code   TEXT    NOT NULL,
    met_at INTEGER NOT NULL,
    text   TEXT    NOT NULL
) STRICT;

CREATE TRIGGER rule_set_versions_keep BEFORE UPDATE ON rule_set_versions BEGIN SELECT RAISE(ABORT, 'versions of rule sets are never edited'); END;
CREATE TRIGGER rule_set_versions_stay BEFORE DELETE ON rule_set_versions BEGIN SELECT RAISE(ABORT, 'versions of rule sets are never deleted'); END;

-- Which version of a rule set counts from when on; the latest row of a code holds. `first`: what was there when the book met the rule
-- set; it has no id, because no entry of the journal is about it. `confirmed`: the owner has seen what it changes. The server itself
-- writes the others at its start, when nobody need look: `same` has equal rules, `unused` binds no property, before `unreadable`
-- the version that counted can no longer be read, before `unfit` it no longer fits the other sets, and at `upgraded` the records had been
-- decided by a version of which this table knew nothing yet. Never edited: another version is another row.
CREATE TABLE rule_set_uses (
    seq       INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    id        TEXT             CONSTRAINT rule_set_uses_id UNIQUE,
    code      TEXT    NOT NULL,
    hash      TEXT    NOT NULL CONSTRAINT rule_set_uses_hash REFERENCES rule_set_versions (hash),
    how       TEXT    NOT NULL CONSTRAINT rule_set_uses_how CHECK (how IN ('first', 'confirmed', 'same', 'unused', 'unreadable', 'unfit', 'upgraded')),
    person_id TEXT             CONSTRAINT rule_set_uses_person REFERENCES people (id),
    since     INTEGER NOT NULL,
    CONSTRAINT rule_set_uses_journaled CHECK ((how = 'first') = (id IS NULL)),
    CONSTRAINT rule_set_uses_who CHECK ((how = 'confirmed') = (person_id IS NOT NULL))
) STRICT;
CREATE INDEX rule_set_uses_by_code ON rule_set_uses (code, seq, hash);

CREATE TRIGGER rule_set_uses_keep BEFORE UPDATE ON rule_set_uses BEGIN SELECT RAISE(ABORT, 'uses of rule sets are never edited'); END;
CREATE TRIGGER rule_set_uses_stay BEFORE DELETE ON rule_set_uses BEGIN SELECT RAISE(ABORT, 'uses of rule sets are never deleted'); END;
