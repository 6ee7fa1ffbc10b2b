-- Failures at the door come by the thousand where somebody guesses. Those of one kind, name and address within an hour are one line,
-- which says how many there were and when the last one was; a day has room for so many of such lines, and what finds none counts
-- up one without an address. Null for whatever happens once. Nothing else of a line ever changes.
ALTER TABLE security_events ADD COLUMN tries INTEGER CONSTRAINT security_events_tries CHECK (tries >= 1);
ALTER TABLE security_events ADD COLUMN last_at INTEGER CONSTRAINT security_events_last CHECK ((last_at IS NULL) = (tries IS NULL));
CREATE INDEX security_events_of_failures ON security_events (at) WHERE tries IS NOT NULL;
-- From where somebody was let in before: such an address waits for no stranger's guesses.
CREATE INDEX security_events_of_entries ON security_events (address) WHERE kind IN ('signed_in', 'phone_connected');
DROP TRIGGER security_events_keep;
CREATE TRIGGER security_events_keep BEFORE UPDATE ON security_events
    WHEN coalesce(NEW.tries > OLD.tries AND NEW.last_at >= OLD.last_at, 0) = 0
        OR NEW.seq IS NOT OLD.seq OR NEW.at IS NOT OLD.at OR NEW.kind IS NOT OLD.kind OR NEW.person_id IS NOT OLD.person_id
        OR NEW.by_id IS NOT OLD.by_id OR NEW.pass_id IS NOT OLD.pass_id OR NEW.name IS NOT OLD.name
        OR NEW.address IS NOT OLD.address OR NEW.detail IS NOT OLD.detail
    BEGIN SELECT RAISE(ABORT, 'the security log is never edited'); END;

-- Sessions that are looked at once a minute, so that one that nobody used has ended and does not come back when the time allowed
-- grows. What has ended leaves the index.
CREATE INDEX tokens_open ON tokens (created_at) WHERE ended_at IS NULL;
-- Until when a session may do what asks for the password again: its holder has just shown it.
ALTER TABLE tokens ADD COLUMN confirmed_until INTEGER;

-- A browser into which the code of a pass was typed. It ends when nobody uses it for as long as the settings say, and the pass goes
-- on. Kept as a hash; ended, never deleted.
CREATE TABLE pass_sessions (
    hash         TEXT    NOT NULL PRIMARY KEY,
    pass_id      TEXT    NOT NULL CONSTRAINT pass_sessions_pass REFERENCES passes (id),
    created_at   INTEGER NOT NULL,
    last_used_at INTEGER NOT NULL,
    ended_at     INTEGER
) STRICT, WITHOUT ROWID;
CREATE INDEX pass_sessions_by_pass ON pass_sessions (pass_id);
CREATE INDEX pass_sessions_open ON pass_sessions (created_at) WHERE ended_at IS NULL;
